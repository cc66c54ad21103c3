//! What a record looks like as bytes: JUnit-style XML, JSON and plain text,
//! each a pure function of the record. It writes no file and judges nothing.

mod bundle;
mod bundle_check;
mod junit;
mod metrics;
mod plain;
mod summary;
mod table;
pub(crate) mod words;
mod xml;

pub use bundle::{Bytes, bundle};
pub use bundle_check::{BundleFault, Whole, check_bundle};
pub use junit::junit;
pub use metrics::{csv_head, csv_rows, json_rows};
pub use plain::{plain, plain_lines};
pub use summary::{notes, summary};
pub use table::{MetricTable, TableFault};

use crate::judgement::Verdict;
use crate::record::{Issued, Note, Record};
use serde::{Deserialize, Serialize};

/// Version of the shape of `record.json`.
const FORMAT: u32 = 1;

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

fn text(document: &impl Serialize) -> String {
    let mut text =
        serde_json::to_string_pretty(document).expect("plain structs and lists have a JSON form");
    text.push('\n');
    text
}

/// Why a text is not a `record.json`.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum JsonFault {
    /// Another version's shape.
    #[error("the record is in format {0}; this program knows format {FORMAT}")]
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
    if head.format != FORMAT {
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
            format: FORMAT,
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

#[cfg(test)]
mod tests;
