//! Names that come from people and files, checked once. A name is data: it is
//! never taken for a path, markup or a command.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// The most letters a serial number or a lot name may have.
pub const LONGEST_NAME: usize = 64;

/// Why a text cannot be a name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NameFault {
    /// Nothing was given.
    #[error("it is empty")]
    Empty,
    /// More letters than [`LONGEST_NAME`].
    #[error("it has {0} characters, more than {LONGEST_NAME}")]
    TooLong(usize),
    /// A character outside the alphabet, shown escaped.
    #[error(
        "character {position} is {shown}; only letters A-Z and a-z, digits, '-', '_' and '.' may be used"
    )]
    Character {
        /// Counted from one.
        position: usize,
        /// The character in quotes, control characters escaped.
        shown: String,
    },
    /// A leading dot or dash, which programs take for something else.
    #[error("it starts with '{0}'; start with a letter or a digit")]
    Start(char),
}

fn checked(text: &str) -> Result<String, NameFault> {
    let count = text.chars().count();
    if count > LONGEST_NAME {
        return Err(NameFault::TooLong(count));
    }
    let allowed = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    if let Some((index, c)) = text.chars().enumerate().find(|&(_, c)| !allowed(c)) {
        return Err(NameFault::Character {
            position: index + 1,
            shown: format!("'{}'", c.escape_default()),
        });
    }
    match text.chars().next() {
        None => Err(NameFault::Empty),
        Some(first) if !first.is_ascii_alphanumeric() => Err(NameFault::Start(first)),
        Some(_) => Ok(text.to_owned()),
    }
}

macro_rules! name {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(String);

        impl $name {
            /// The name as it was given.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl FromStr for $name {
            type Err = NameFault;
            fn from_str(text: &str) -> Result<Self, NameFault> {
                checked(text).map(Self)
            }
        }

        impl TryFrom<String> for $name {
            type Error = NameFault;
            fn try_from(text: String) -> Result<Self, NameFault> {
                text.parse()
            }
        }

        impl From<$name> for String {
            fn from(name: $name) -> String {
                name.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&self.0)
            }
        }
    };
}

name! {
    /// The serial number of one board, as on its label.
    Serial
}
name! {
    /// The name of a lot: boards built together from one parts list.
    LotName
}
name! {
    /// The identifier of one run: a plan on a board, once.
    RunId
}

/// `text` made harmless for a terminal or a page: control characters and
/// characters that change the reading direction are shown escaped.
pub fn harmless(text: &str) -> String {
    let turns = |c: char| matches!(c, '\u{061C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}');
    let mut shown = String::with_capacity(text.len());
    for c in text.chars() {
        if c.is_control() || turns(c) {
            shown.extend(c.escape_unicode());
        } else {
            shown.push(c);
        }
    }
    shown
}

/// A closed set of words, one for each variant.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$variant_doc:meta])* $variant:ident = $word:literal,)* }) => {
        $(#[$doc])*
        #[derive(
            Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
        )]
        pub enum $name {
            $($(#[$variant_doc])* #[serde(rename = $word)] $variant,)*
        }

        impl $name {
            /// Every variant, in the order of the list.
            pub const ALL: [Self; [$($word),*].len()] = [$(Self::$variant),*];

            /// Each variant with the word it is written as.
            pub const WORDS: &'static [(&'static str, Self)] = &[$(($word, Self::$variant),)*];

            /// The word used in files and on screens.
            pub const fn word(self) -> &'static str {
                match self {
                    $(Self::$variant => $word,)*
                }
            }
        }
    };
}

pub(crate) use words;

words! {
    /// What an instrument is on the bench, in the order in which ports are opened.
    Role {
        /// Feeds the board.
        Supply = "supply",
        /// Draws a set current from the board's output.
        Load = "load",
        /// Samples voltages, currents and logic lines.
        Capture = "capture",
        /// Closes the short, the bus and the section gap.
        Switch = "switch",
        /// Makes the track signal and the board's control lines.
        Drive = "drive",
        /// The board's own serial console.
        Console = "console",
        /// Measures the ambient and the board.
        Thermometer = "thermometer",
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_serials_are_refused_with_a_reason() {
        let long = "x".repeat(300);
        for (text, reason) in [
            ("", "empty"),
            ("../../x", "'/'"),
            ("..", "starts with '.'"),
            ("-rf", "starts with '-'"),
            ("a\u{7}b", "\\u{7}"),
            ("bel\u{1F514}", "1f514"),
            (long.as_str(), "300 characters"),
            ("a b", "' '"),
        ] {
            let fault = text.parse::<Serial>().expect_err(text).to_string();
            assert!(fault.contains(reason), "{text:?}: {fault}");
        }
    }

    #[test]
    fn ordinary_serials_pass() {
        for text in ["GR-0042", "2026.11_7", "7", &"x".repeat(64)] {
            assert_eq!(
                text.parse::<Serial>().expect("a plain serial").as_str(),
                text
            );
        }
    }
}
