//! One line of the store: an entry, a note or an issued document, with the run
//! it belongs to. Its text is what the chain is computed over, so it is made
//! once and kept as it is.

use crate::digest::Digest;
use crate::event::Entry;
use crate::ident::RunId;
use serde::{Deserialize, Serialize};

/// A line of the store.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// The run it belongs to; inside the text, so that a line cannot be moved
    /// to another run unnoticed.
    pub run: RunId,
    /// What it says.
    #[serde(flatten)]
    pub content: Content,
}

/// What a line says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[expect(
    clippy::large_enum_variant,
    reason = "lines are read and written one at a time, never held in numbers"
)]
pub enum Content {
    /// Something that happened in the run.
    Entry(Entry),
    /// A remark added later.
    Note(Note),
    /// A document that was handed out.
    Issued(Issued),
}

/// A remark added after the run, such as a repair.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// When it was written.
    pub at: jiff::Timestamp,
    /// Who wrote it.
    pub author: Option<String>,
    /// The remark.
    pub text: String,
    /// Whether its author says of having looked at the bench that everything on it
    /// is off, after a run whose end proved less.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub bench_is_off: bool,
}

/// A document handed out for a run; its bytes are kept under their digest.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Issued {
    /// When it was made.
    pub at: jiff::Timestamp,
    /// What it is, such as `certificate`.
    pub kind: String,
    /// The name it was handed out under.
    pub name: String,
    /// Digest of its bytes.
    pub digest: Digest,
}

/// A line that cannot be kept or read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LineFault {
    /// Its text does not say the same as the line: a number that is not
    /// finite, which is a bug in whoever made it.
    #[error("the line would not read back as it was written")]
    NotFaithful,
    /// The text is not a line.
    #[error("the text is not a line of this store: {0}")]
    Unreadable(String),
}

impl Line {
    /// The line as the JSON text that is stored.
    ///
    /// # Errors
    /// [`LineFault::NotFaithful`] when the text would not read back as this
    /// line.
    pub fn text(&self) -> Result<String, LineFault> {
        let text = serde_json::to_string(self).map_err(|_| LineFault::NotFaithful)?;
        match Self::parse(&text) {
            Ok(back) if back == *self => Ok(text),
            _ => Err(LineFault::NotFaithful),
        }
    }

    /// The line in `text`.
    ///
    /// # Errors
    /// [`LineFault::Unreadable`] when it is not one.
    pub fn parse(text: &str) -> Result<Self, LineFault> {
        serde_json::from_str(text).map_err(|fault| LineFault::Unreadable(fault.to_string()))
    }

    /// The entry, where it is one.
    pub fn entry(&self) -> Option<&Entry> {
        match &self.content {
            Content::Entry(entry) => Some(entry),
            Content::Note(_) | Content::Issued(_) => None,
        }
    }
}
