//! Markup that cannot be broken by what it shows: only texts of this program enter
//! as they stand, everything else is escaped. It knows no page.

use crate::drawing::svg::escape_markup;
use crate::ident::harmless;
use std::fmt::{Display, Write as _};

/// A piece of a page.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Markup(String);

impl Markup {
    /// Text of this program, as it stands.
    pub(super) fn of(text: &'static str) -> Self {
        Self(text.to_owned())
    }

    /// Adds text of this program, with each `{}` in it replaced by a value, escaped.
    ///
    /// # Panics
    /// Where places and values are not as many: a bug here that the first test of
    /// the page finds.
    pub(super) fn put(&mut self, pattern: &'static str, values: &[&dyn Display]) -> &mut Self {
        let mut values = values.iter();
        let mut parts = pattern.split("{}");
        self.0.push_str(parts.next().unwrap_or_default());
        for part in parts {
            let value = values.next().expect("a value for each place");
            escape_markup(&mut self.0, &harmless(&value.to_string()));
            self.0.push_str(part);
        }
        assert!(values.next().is_none(), "a place for each value");
        self
    }

    /// Adds text of this program.
    pub(super) fn raw(&mut self, text: &'static str) -> &mut Self {
        self.0.push_str(text);
        self
    }

    /// Adds a text of several lines as it is, escaped: nothing of it is changed for
    /// the eye, so that it can be edited.
    pub(super) fn lines(&mut self, text: &str) -> &mut Self {
        escape_markup(&mut self.0, text);
        self
    }

    /// Adds another piece.
    pub(super) fn add(&mut self, other: &Self) -> &mut Self {
        self.0.push_str(&other.0);
        self
    }

    /// Adds numbers of a drawing, which are never markup.
    pub(super) fn numbers(&mut self, numbers: impl IntoIterator<Item = f64>) -> &mut Self {
        for number in numbers {
            let _ = write!(self.0, "{number:.1} ");
        }
        self
    }

    /// The page's text.
    pub(super) fn as_str(&self) -> &str {
        &self.0
    }

    /// The page's text.
    pub(super) fn into_string(self) -> String {
        self.0
    }
}

/// `text` as a part of an address.
pub(super) fn in_address(text: &str) -> String {
    let mut out = String::new();
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-_.".contains(&byte) {
            out.push(char::from(byte));
        } else {
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every character that means something in HTML, in text and in attributes (HTML
    /// Living Standard, 13.1.2.3 and 13.1.4), and those that turn the reading direction.
    #[test]
    fn nothing_that_is_shown_becomes_markup() {
        let hostile = "<script>alert(\"1\")</script>' onx='&amp;\u{202E}\n";
        let mut page = Markup::default();
        page.put("<p title=\"{}\">{}</p>", &[&hostile, &hostile]);
        let text = page.as_str();
        let inside = text
            .trim_start_matches("<p title=\"")
            .trim_end_matches("</p>");
        assert_eq!(inside.matches('<').count(), 0, "{text}");
        assert_eq!(inside.matches('"').count(), 1, "{text}");
        assert_eq!(inside.matches('\'').count(), 0, "{text}");
        assert!(text.contains("&lt;script&gt;"), "{text}");
        assert!(!text.contains('\u{202E}') && !text.contains('\n'), "{text}");
        assert_eq!(in_address("../a b"), "..%2Fa%20b");
    }
}
