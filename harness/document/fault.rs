//! What is wrong in a file, where, what was expected instead and what would
//! help. It prints nothing; see `render`.

use super::Place;
use serde::{Deserialize, Serialize};
use std::ops::Range;

/// Whether a file can be used in spite of a fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// The file cannot be used.
    Error,
    /// It can, but somebody should know.
    Warning,
}

/// One thing wrong with a file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fault {
    /// The file's name as the user typed it.
    pub file: String,
    /// Bytes from the start of the text.
    pub span: Range<usize>,
    /// From one.
    pub line: usize,
    /// From one, in characters.
    pub column: usize,
    /// What is wrong, as a sentence without its full stop.
    pub message: String,
    /// What would have been right.
    pub expected: Option<String>,
    /// What to do about it.
    pub hint: Option<String>,
    /// Whether the file can still be used.
    pub severity: Severity,
}

impl Fault {
    /// An error at `place`.
    pub fn error(place: &Place, message: impl Into<String>) -> Self {
        let (line, column) = place.line_and_column();
        Self {
            file: place.source.name.clone(),
            span: place.span.clone(),
            line,
            column,
            message: message.into(),
            expected: None,
            hint: None,
            severity: Severity::Error,
        }
    }

    /// A warning at `place`.
    pub fn warning(place: &Place, message: impl Into<String>) -> Self {
        Self {
            severity: Severity::Warning,
            ..Self::error(place, message)
        }
    }

    /// With what would have been right.
    #[must_use]
    pub fn expected(mut self, expected: impl Into<String>) -> Self {
        self.expected = Some(expected.into());
        self
    }

    /// With what to do about it.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// With a hint where there is one.
    #[must_use]
    pub fn maybe_hint(mut self, hint: Option<String>) -> Self {
        self.hint = hint.or(self.hint);
        self
    }
}

/// Faults gathered while a file is read.
#[derive(Clone, Debug, Default)]
pub struct Faults {
    list: Vec<Fault>,
}

impl Faults {
    /// None yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// One more.
    pub fn push(&mut self, fault: Fault) {
        self.list.push(fault);
    }

    /// Several more.
    pub fn extend(&mut self, faults: impl IntoIterator<Item = Fault>) {
        self.list.extend(faults);
    }

    /// Whether any of them forbids using the file.
    pub fn any_error(&self) -> bool {
        self.list.iter().any(|f| f.severity == Severity::Error)
    }

    /// How many so far.
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// All of them, file by file in the order of their places, none twice.
    pub fn into_list(self) -> Vec<Fault> {
        let mut list = self.list;
        // Stable, so faults at one place keep the order in which they arose.
        list.sort_by(|a, b| (&a.file, a.span.start).cmp(&(&b.file, b.span.start)));
        list.dedup();
        list
    }

    /// The value with its warnings, or every fault when any of them is an
    /// error.
    ///
    /// # Errors
    /// All faults, warnings among them, when the file cannot be used.
    pub fn conclude<T>(self, value: Option<T>) -> Result<(T, Vec<Fault>), Vec<Fault>> {
        match value {
            Some(value) if !self.any_error() => Ok((value, self.into_list())),
            _ => {
                debug_assert!(self.any_error(), "no value and no fault");
                Err(self.into_list())
            }
        }
    }
}
