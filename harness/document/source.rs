//! A file's text under the name the user typed, and places in it. It does not
//! open files.

use super::Fault;
use std::collections::BTreeMap;
use std::fmt;
use std::ops::Range;
use std::sync::Arc;

/// The largest file worth reading, in bytes; callers refuse larger ones before
/// they read them.
pub const LARGEST_FILE: u64 = 1 << 20;

/// A file's text and the name under which the user asked for it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// The name as the user typed it.
    pub name: String,
    /// The whole text.
    pub text: String,
}

impl Source {
    /// A source from text already in memory.
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            text: text.into(),
        }
    }
}

/// Bytes that are no text, with what can be shown of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotText {
    /// What is wrong and where.
    pub fault: Fault,
    /// The text as far as it can be shown, for rendering the fault.
    pub source: Source,
}

impl Source {
    /// A source from a file's bytes.
    ///
    /// # Errors
    /// [`NotText`] when they are not UTF-8 or more than [`LARGEST_FILE`].
    pub fn from_bytes(name: &str, bytes: &[u8]) -> Result<Self, Box<NotText>> {
        let refuse = |text: &str, message: &str, hint: &str| {
            let source = Self::new(name, text);
            let end = source.text.len();
            let place = Place::new(&Arc::new(source.clone()), end..end);
            let fault = Fault::error(&place, message)
                .expected("TOML text in UTF-8")
                .hint(hint);
            Err(Box::new(NotText { fault, source }))
        };
        if bytes.len() as u64 > LARGEST_FILE {
            return refuse(
                "",
                "the file is larger than 1 MiB",
                "give the plan, bench or profile itself, not a capture",
            );
        }
        match std::str::from_utf8(bytes) {
            Ok(text) => Ok(Self::new(name, text)),
            Err(error) => {
                let sound = &bytes[..error.valid_up_to()];
                refuse(
                    &String::from_utf8_lossy(sound),
                    "the file is not text in UTF-8 from here on",
                    "save it as UTF-8; is it the right file?",
                )
            }
        }
    }
}

/// A stretch of a source.
#[derive(Clone)]
pub struct Place {
    /// The file it is in.
    pub source: Arc<Source>,
    /// Bytes from the start of the text; always on character boundaries.
    pub span: Range<usize>,
}

impl Place {
    /// The stretch `span` of `source`, moved inwards to lie within the text.
    pub fn new(source: &Arc<Source>, span: Range<usize>) -> Self {
        let text = &source.text;
        let start = boundary_before(text, span.start);
        let end = boundary_before(text, span.end.max(span.start)).max(start);
        Self {
            source: Arc::clone(source),
            span: start..end,
        }
    }

    /// The stretch itself.
    pub fn text(&self) -> &str {
        &self.source.text[self.span.clone()]
    }

    /// Line and column of its start, both from one; columns in characters.
    pub fn line_and_column(&self) -> (usize, usize) {
        let before = &self.source.text[..self.span.start];
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        (
            before.matches('\n').count() + 1,
            before[line_start..].chars().count() + 1,
        )
    }
}

/// Only the position: the whole text would drown a failing test's message.
impl fmt::Debug for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (line, column) = self.line_and_column();
        write!(f, "{}:{line}:{column}", self.source.name)
    }
}

fn boundary_before(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// Where the values of a checked file were written, by dotted path, so that
/// checks against other files can still point at them.
#[derive(Clone, Default)]
pub struct Places(BTreeMap<String, Place>);

impl Places {
    /// Remembers where `path` was written.
    pub fn note(&mut self, path: impl Into<String>, place: Place) {
        self.0.insert(path.into(), place);
    }

    /// Whether exactly `path` was written.
    pub fn holds(&self, path: &str) -> bool {
        self.0.contains_key(path)
    }

    /// Where `path`, or else the nearest table around it, was written.
    pub fn find(&self, path: &str) -> Option<&Place> {
        let mut path = path;
        loop {
            if let Some(place) = self.0.get(path) {
                return Some(place);
            }
            if path.is_empty() {
                return None;
            }
            path = path.rfind('.').map_or("", |at| &path[..at]);
        }
    }
}

/// Only their number: all of them would drown a failing test's message.
impl fmt::Debug for Places {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} places", self.0.len())
    }
}

/// Two checked files are the same when their values are, wherever written.
impl PartialEq for Places {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}
