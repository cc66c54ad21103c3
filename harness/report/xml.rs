//! Just enough of an XML writer: elements, attributes and text, always well
//! formed. It knows nothing of reports.

use crate::drawing::plain::{plain, plain_lines};

/// A document in the making; elements are closed by the calls that opened
/// them.
pub(super) struct Xml {
    text: String,
    depth: usize,
}

impl Xml {
    pub(super) fn new() -> Self {
        Self {
            text: "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n".to_owned(),
            depth: 0,
        }
    }

    pub(super) fn finish(self) -> String {
        assert_eq!(self.depth, 0, "every element is closed");
        self.text
    }

    /// An element with elements inside.
    pub(super) fn parent(
        &mut self,
        name: &str,
        attributes: &[(&str, &str)],
        inside: impl FnOnce(&mut Self),
    ) {
        self.open(name, attributes);
        self.text.push_str(">\n");
        self.depth += 1;
        inside(self);
        self.depth -= 1;
        self.indent();
        self.close(name);
    }

    /// An element with text inside, or with nothing where there is no text.
    pub(super) fn leaf(&mut self, name: &str, attributes: &[(&str, &str)], text: &str) {
        self.open(name, attributes);
        if text.is_empty() {
            self.text.push_str("/>\n");
            return;
        }
        self.text.push('>');
        self.escape(&plain_lines(text));
        self.close(name);
    }

    fn open(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.indent();
        self.text.push('<');
        self.text.push_str(name);
        for (key, value) in attributes {
            self.text.push(' ');
            self.text.push_str(key);
            self.text.push_str("=\"");
            // On one line: a parser would turn line ends into blanks anyway.
            self.escape(&plain(value));
            self.text.push('"');
        }
    }

    fn close(&mut self, name: &str) {
        self.text.push_str("</");
        self.text.push_str(name);
        self.text.push_str(">\n");
    }

    fn indent(&mut self) {
        let blanks = 2 * self.depth;
        self.text.extend(std::iter::repeat_n(' ', blanks));
    }

    fn escape(&mut self, harmless: &str) {
        for c in harmless.chars() {
            match c {
                '&' => self.text.push_str("&amp;"),
                '<' => self.text.push_str("&lt;"),
                // Only `]]>` needs it, but always is simpler and as valid.
                '>' => self.text.push_str("&gt;"),
                '"' => self.text.push_str("&quot;"),
                '\'' => self.text.push_str("&apos;"),
                c => self.text.push(c),
            }
        }
    }
}
