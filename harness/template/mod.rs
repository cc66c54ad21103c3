//! Command lines with named gaps, `"VOLT {volts}"`: checked when a profile is
//! read, filled when an instrument is spoken to. It knows no instrument and
//! sends nothing.
//!
//! A line is text whose characters up to U+00FF stand for one byte each, so that
//! it can also name bytes that are no letters: `\x01`.

#[cfg(test)]
mod tests;

use std::fmt::Write as _;

/// The most bytes a template may have.
pub const LONGEST_TEMPLATE: usize = 1024;

/// The most bytes a filled line may have.
pub const LONGEST_LINE: usize = 65_536;

/// A checked command line with named gaps.
///
/// ```
/// use bufferstop::template::{Argument, Template};
/// let template = Template::parse("CURR:TRIG {amperes};:INIT").unwrap();
/// assert_eq!(template.placeholders().collect::<Vec<_>>(), ["amperes"]);
/// let line = template.fill(&[("amperes", Argument::Number(4.5))]).unwrap();
/// assert_eq!(line, "CURR:TRIG 4.5;:INIT");
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Template {
    text: String,
    pieces: Vec<Piece>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Piece {
    Text(String),
    Gap(String),
}

/// What fills a gap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Argument<'a> {
    /// A number, written as the shortest decimal that reads back the same.
    Number(f64),
    /// A whole number.
    Integer(i64),
    /// Printable ASCII that starts no further command.
    Text(&'a str),
    /// Bytes, a character each, as a profile's own format writes them.
    Bytes(&'a str),
}

/// Why a text is no template: the profile's fault. Positions are bytes from
/// the start of the text.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TemplateFault {
    /// Nothing to send.
    #[error("the command is empty")]
    Empty,
    /// Longer than [`LONGEST_TEMPLATE`].
    #[error("the command has {0} bytes, more than {LONGEST_TEMPLATE}")]
    TooLong(usize),
    /// A character that is no byte, or one that ends lines.
    #[error("{shown} at byte {position} is not a byte of a command; write one as \\x41")]
    Character {
        /// Where.
        position: usize,
        /// The character, escaped.
        shown: String,
    },
    /// A `{` without its `}`, or the other way round.
    #[error("the brace at byte {position} has no partner")]
    Brace {
        /// Where.
        position: usize,
    },
    /// A gap's name that is not lower-case letters, digits and underscores.
    #[error("'{name}' at byte {position} is no name; use lower-case letters, digits and '_'")]
    Name {
        /// Where.
        position: usize,
        /// The name as written.
        name: String,
    },
}

/// Why a template could not be filled: a bug in the caller, or a value that
/// cannot be sent.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FillFault {
    /// A gap got no value.
    #[error("'{{{name}}}' got no value")]
    Missing {
        /// The gap.
        name: String,
    },
    /// A value has no gap.
    #[error("the command has no '{{{name}}}'")]
    Unknown {
        /// The value's name.
        name: String,
    },
    /// The same name was given twice.
    #[error("'{{{name}}}' was given twice")]
    Twice {
        /// The value's name.
        name: String,
    },
    /// Infinite or not a number.
    #[error("the value for '{{{name}}}' is not finite")]
    NotFinite {
        /// The gap.
        name: String,
    },
    /// A control character, one outside ASCII, or a `;`.
    #[error("the text for '{{{name}}}' holds {shown}, which could start another command")]
    Character {
        /// The gap.
        name: String,
        /// The character, escaped.
        shown: String,
    },
    /// A value that the profile's own format cannot write.
    #[error("{value} for '{{{name}}}' is beyond what the profile's format can write")]
    Beyond {
        /// The gap.
        name: String,
        /// The value.
        value: String,
    },
    /// The line would be longer than [`LONGEST_LINE`].
    #[error("the filled command would be longer than {LONGEST_LINE} bytes")]
    TooLong,
}

impl Template {
    /// Checks `text`.
    ///
    /// # Errors
    /// The first [`TemplateFault`].
    pub fn parse(text: &str) -> Result<Self, TemplateFault> {
        if text.trim().is_empty() {
            return Err(TemplateFault::Empty);
        }
        if text.len() > LONGEST_TEMPLATE {
            return Err(TemplateFault::TooLong(text.len()));
        }
        if let Some((position, c)) = text.char_indices().find(|&(_, c)| !sendable(c)) {
            let shown = format!("'{}'", c.escape_default());
            return Err(TemplateFault::Character { position, shown });
        }
        let mut pieces = Vec::new();
        let mut position = 0;
        while let Some(found) = text[position..].find(['{', '}']) {
            let brace = position + found;
            let partner = text[brace + 1..].find(['{', '}']).map(|at| brace + 1 + at);
            let close = match partner {
                Some(close) if text.as_bytes()[brace] == b'{' && text.as_bytes()[close] == b'}' => {
                    close
                }
                _ => return Err(TemplateFault::Brace { position: brace }),
            };
            let name = &text[brace + 1..close];
            if !is_name(name) {
                return Err(TemplateFault::Name {
                    position: brace + 1,
                    name: name.to_owned(),
                });
            }
            if brace > position {
                pieces.push(Piece::Text(unescaped(&text[position..brace])));
            }
            pieces.push(Piece::Gap(name.to_owned()));
            position = close + 1;
        }
        if position < text.len() {
            pieces.push(Piece::Text(unescaped(&text[position..])));
        }
        let text = text.to_owned();
        Ok(Self { text, pieces })
    }

    /// The names of the gaps, in order, each as often as it stands there.
    pub fn placeholders(&self) -> impl Iterator<Item = &str> {
        self.pieces.iter().filter_map(|piece| match piece {
            Piece::Gap(name) => Some(name.as_str()),
            Piece::Text(_) => None,
        })
    }

    /// The template as it was written.
    pub fn source(&self) -> &str {
        &self.text
    }

    /// The line with every gap filled, without its ending.
    ///
    /// # Errors
    /// A [`FillFault`]; nothing is filled by halves.
    pub fn fill(&self, arguments: &[(&str, Argument<'_>)]) -> Result<String, FillFault> {
        for (index, (name, _)) in arguments.iter().enumerate() {
            if arguments[..index].iter().any(|(other, _)| other == name) {
                let name = (*name).to_owned();
                return Err(FillFault::Twice { name });
            }
            if !self.placeholders().any(|gap| gap == *name) {
                let name = (*name).to_owned();
                return Err(FillFault::Unknown { name });
            }
        }
        let mut line = String::new();
        for piece in &self.pieces {
            match piece {
                Piece::Text(text) => line.push_str(text),
                Piece::Gap(gap) => {
                    let found = arguments.iter().find(|(name, _)| name == gap);
                    let (_, argument) = found.ok_or_else(|| FillFault::Missing {
                        name: gap.to_owned(),
                    })?;
                    append(&mut line, gap, *argument)?;
                }
            }
            if line.len() > LONGEST_LINE {
                return Err(FillFault::TooLong);
            }
        }
        Ok(line)
    }
}

fn append(line: &mut String, gap: &str, argument: Argument<'_>) -> Result<(), FillFault> {
    match argument {
        Argument::Number(value) => {
            let text = decimal(value).ok_or_else(|| FillFault::NotFinite {
                name: gap.to_owned(),
            })?;
            line.push_str(&text);
        }
        // Writing to a string cannot fail.
        Argument::Integer(value) => drop(write!(line, "{value}")),
        Argument::Text(text) => {
            if let Some(c) = text.chars().find(|&c| !printable(c) || c == ';') {
                return Err(FillFault::Character {
                    name: gap.to_owned(),
                    shown: format!("'{}'", c.escape_default()),
                });
            }
            line.push_str(text);
        }
        Argument::Bytes(text) => line.push_str(text),
    }
    Ok(())
}

/// `text` with each `\x41` as the byte that it names; any other backslash stays.
pub fn unescaped(text: &str) -> String {
    let mut found = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find("\\x") {
        found.push_str(&rest[..at]);
        let digits = rest.get(at + 2..at + 4);
        let digits = digits.filter(|two| two.bytes().all(|b| b.is_ascii_hexdigit()));
        match digits.and_then(|digits| u8::from_str_radix(digits, 16).ok()) {
            Some(byte) => {
                found.push(char::from(byte));
                rest = &rest[at + 4..];
            }
            None => {
                found.push_str("\\x");
                rest = &rest[at + 2..];
            }
        }
    }
    found.push_str(rest);
    found
}

/// `line` for a message: what is no printable ASCII as `\x0A`.
pub fn shown(line: &str) -> String {
    let shown = line.chars().map(|c| match c {
        ' '..='~' => c.to_string(),
        _ => format!("\\x{:02X}", u32::from(c)),
    });
    shown.collect()
}

/// The bytes of a line, a character each.
pub fn bytes(line: &str) -> Vec<u8> {
    let bytes = line.chars().map(|c| u8::try_from(c).unwrap_or(b'?'));
    // What is no byte was refused when the line was made.
    bytes.collect()
}

/// The line that has these bytes.
pub fn line_of(bytes: &[u8]) -> String {
    bytes.iter().map(|&byte| char::from(byte)).collect()
}

/// The shortest decimal that reads back as `value`, in the flexible numeric
/// form of IEEE 488.2 clause 7.7.2; `None` when it is not finite.
fn decimal(value: f64) -> Option<String> {
    if !value.is_finite() {
        return None;
    }
    if value == 0.0 {
        return Some("0".to_owned());
    }
    // Both spellings are shortest; the plain one stays readable in between.
    if (1e-6..1e9).contains(&value.abs()) {
        Some(format!("{value}"))
    } else {
        Some(format!("{value:E}"))
    }
}

fn sendable(c: char) -> bool {
    u8::try_from(c).is_ok() && !matches!(c, '\n' | '\r' | '\t')
}

fn printable(c: char) -> bool {
    matches!(c, ' '..='~')
}

fn is_name(name: &str) -> bool {
    name.starts_with(|c: char| c.is_ascii_lowercase())
        && name
            .chars()
            .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
}
