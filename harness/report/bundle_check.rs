//! Whether a run that was handed out as one file is whole: every link, every
//! digest, and a record that says what its entries say. It needs no store and
//! finds only what the file itself can tell: with a link printed elsewhere,
//! also whether it is that run.

use super::bundle::FORMAT;
use crate::digest::Digest;
use crate::record::chain::{self, Linked};
use crate::record::{Content, Line, Note, Record};
use base64::prelude::{BASE64_STANDARD, Engine as _};
use serde::Deserialize;
use std::collections::BTreeMap;

/// What a whole file holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Whole {
    /// The record, told again from the entries.
    pub record: Record,
    /// The link of the run's last entry.
    pub closing_link: Option<Digest>,
    /// Lines with their links.
    pub lines: usize,
    /// The bytes that are there, with their names.
    pub bytes: Vec<(String, Vec<u8>)>,
}

/// The first thing wrong with a file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BundleFault {
    /// Not such a file at all.
    #[error("this is no run handed out by `records export`: {0}")]
    NotABundle(String),
    /// Another version's shape.
    #[error("the file is in format {0}; this program knows format {FORMAT}")]
    Format(u32),
    /// A line and its link, or two neighbours, do not belong together.
    #[error("line {0} does not follow from the link before it")]
    Link(u64),
    /// A line that does not belong to the run or cannot be read.
    #[error("line {0} does not belong to the run of this file")]
    Line(u64),
    /// The record says something else than the entries.
    #[error("the record does not say what its entries say")]
    Record,
    /// The remarks say something else than their lines.
    #[error("the notes do not say what their lines say")]
    Notes,
    /// The closing link is not that of the last entry.
    #[error("the closing link is not that of the last entry")]
    Closing,
    /// Bytes that are not those they are named after.
    #[error("the bytes of '{0}' are not those that were kept")]
    Bytes(String),
    /// Something that an entry names and the file leaves out.
    #[error("what entry or document {0} names is missing from the file")]
    Missing(Digest),
}

#[derive(Deserialize)]
struct Head {
    format: u32,
}

#[derive(Deserialize)]
struct Document {
    closing_link: Option<Digest>,
    record: Record,
    notes: Vec<Note>,
    chain: Vec<Linked>,
    bytes: Vec<Encoded>,
}

#[derive(Deserialize)]
struct Encoded {
    name: String,
    digest: Digest,
    base64: Option<String>,
}

/// Checks the text of a file of `records export`.
///
/// # Errors
/// The first [`BundleFault`].
pub fn check_bundle(text: &str) -> Result<Whole, BundleFault> {
    let malformed = |fault: serde_json::Error| BundleFault::NotABundle(fault.to_string());
    let head: Head = serde_json::from_str(text).map_err(malformed)?;
    if head.format != FORMAT {
        return Err(BundleFault::Format(head.format));
    }
    let document: Document = serde_json::from_str(text).map_err(malformed)?;
    let told = told(&document)?;
    if told.record != document.record {
        return Err(BundleFault::Record);
    }
    if told.notes != document.notes {
        return Err(BundleFault::Notes);
    }
    if told.closing != document.closing_link {
        return Err(BundleFault::Closing);
    }
    let mut kept = BTreeMap::new();
    let mut bytes = Vec::new();
    for encoded in document.bytes {
        let wrong = || BundleFault::Bytes(encoded.name.clone());
        if let Some(text) = &encoded.base64 {
            let decoded = BASE64_STANDARD.decode(text).map_err(|_| wrong())?;
            if Digest::of(&decoded) != encoded.digest {
                return Err(wrong());
            }
            bytes.push((encoded.name.clone(), decoded));
        }
        kept.insert(encoded.digest, encoded.base64.is_some());
    }
    let observed = told.record.scenarios.iter().flat_map(|s| &s.observations);
    // Captures of bulk runs are not kept; a document that was handed out is.
    if let Some(gone) = observed.into_iter().find(|d| !kept.contains_key(d)) {
        return Err(BundleFault::Missing(*gone));
    }
    if let Some(gone) = told.issued.iter().find(|d| kept.get(d) != Some(&true)) {
        return Err(BundleFault::Missing(*gone));
    }
    Ok(Whole {
        record: told.record,
        closing_link: told.closing,
        lines: document.chain.len(),
        bytes,
    })
}

/// What the lines tell.
struct Told {
    record: Record,
    notes: Vec<Note>,
    issued: Vec<Digest>,
    closing: Option<Digest>,
}

fn told(document: &Document) -> Result<Told, BundleFault> {
    let run = &document.record.started.run;
    let (mut entries, mut notes, mut issued) = (Vec::new(), Vec::new(), Vec::new());
    let mut last: Option<&Linked> = None;
    let mut closing = None;
    for linked in &document.chain {
        let wrong = BundleFault::Link(linked.position);
        let previous: Digest = linked.previous.parse().map_err(|_| wrong.clone())?;
        let link = chain::next(&previous, &linked.text);
        let follows = last.is_none_or(|last| {
            last.position < linked.position
                && (last.position + 1 != linked.position || last.link == linked.previous)
        });
        if link.to_string() != linked.link || !follows {
            return Err(wrong);
        }
        last = Some(linked);
        let line = Line::parse(&linked.text).ok().filter(|l| l.run == *run);
        match line.map(|line| line.content) {
            None => return Err(BundleFault::Line(linked.position)),
            Some(Content::Entry(entry)) => {
                entries.push(entry);
                closing = Some(link);
            }
            Some(Content::Note(note)) => notes.push(note),
            Some(Content::Issued(document)) => issued.push(document.digest),
        }
    }
    let record = Record::fold(&entries).map_err(|_| BundleFault::Record)?;
    let closing = closing.filter(|_| !record.is_open());
    Ok(Told {
        record,
        notes,
        issued,
        closing,
    })
}
