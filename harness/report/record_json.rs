//! `record.json`: the whole record as JSON, written and read back. It chooses
//! nothing and leaves nothing out.

use super::format::{Format, Made};
use crate::judgement::Verdict;
use crate::record::{Issued, Note, Record};
use serde::{Deserialize, Serialize};

/// Version of the shape of `record.json`.
const VERSION: u32 = 1;

/// `record.json`.
pub(super) const FORMAT: Format = Format {
    name: "record",
    about: "The record as JSON instead, as `record.json` of the run's folder.",
    made: Made::Whole("record.json", json),
};

/// The record as `record.json` holds it: indented, keys in a fixed order, with
/// the format and the verdict in front.
pub fn json(record: &Record) -> String {
    text(&Document::of(record))
}

/// The same with what was added to the run later, for the screen: the file
/// beside the store is written before anything can be added.
pub fn json_with_later(record: &Record, notes: &[Note], issued: &[Issued]) -> String {
    text(&Later {
        document: Document::of(record),
        notes,
        issued,
    })
}

pub(super) fn text(document: &impl Serialize) -> String {
    let mut text =
        serde_json::to_string_pretty(document).expect("plain structs and lists have a JSON form");
    text.push('\n');
    text
}

/// Why a text is not a `record.json`.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum JsonFault {
    /// Another version's shape.
    #[error("the record is in format {0}; this program knows format {VERSION}")]
    Format(u32),
    /// Not a record at all.
    #[error("this is not a record: {0}")]
    Malformed(String),
}

/// The record in the text of a `record.json`.
///
/// # Errors
/// A [`JsonFault`] saying what is wrong.
pub fn from_json(text: &str) -> Result<Record, JsonFault> {
    let malformed = |fault: serde_json::Error| JsonFault::Malformed(fault.to_string());
    let head: Head = serde_json::from_str(text).map_err(malformed)?;
    if head.format != VERSION {
        return Err(JsonFault::Format(head.format));
    }
    serde_json::from_str::<Body>(text)
        .map(|body| body.record)
        .map_err(malformed)
}

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    headline: String,
    verdict: Verdict,
    record: &'a Record,
}

impl<'a> Document<'a> {
    fn of(record: &'a Record) -> Self {
        Self {
            format: VERSION,
            headline: record.headline(),
            verdict: record.verdict(),
            record,
        }
    }
}

#[derive(Serialize)]
struct Later<'a> {
    #[serde(flatten)]
    document: Document<'a>,
    notes: &'a [Note],
    issued: &'a [Issued],
}

#[derive(Deserialize)]
struct Head {
    format: u32,
}

#[derive(Deserialize)]
struct Body {
    record: Record,
}
