//! The certificate of a run: one self-contained page of HTML or pages of a
//! tagged PDF, made from the record and its observations alone. It reads no
//! file and no clock, so the same record gives the same bytes; it judges
//! nothing.

mod content;
mod gauge;
mod half_bits;
mod html;
mod label;
mod marks;
mod pages;
mod plots;
mod qr;
mod rows;
mod sense_line;
mod table;
mod warming;

pub use crate::drawing::pdf::PdfFault;
pub use html::html;
pub use label::{Grid, NoLabel, labels, may_have_label};

use crate::digest::Digest;
use crate::drawing::pdf::{self, About};
use crate::ident::RunId;
use crate::record::seal::Seal;
use crate::record::{Note, Record};
use crate::scenario::Observation;

/// What a certificate is made from.
#[derive(Clone, Copy, Debug)]
pub struct Sources<'a> {
    /// The record.
    pub record: &'a Record,
    /// What its scenarios saw, with the scenario's name.
    pub observations: &'a [(String, Observation)],
    /// Remarks added after the run.
    pub notes: &'a [Note],
    /// The link of the chain that closes the run, where it is known.
    pub head: Option<Digest>,
    /// The signature under it, where there is one that holds.
    pub seal: Option<&'a Seal>,
    /// Every run of this board in the store, this one included, oldest first.
    pub runs: &'a [BoardRun],
}

/// One run of the board that a certificate is for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BoardRun {
    /// The run.
    pub run: RunId,
    /// When it started.
    pub started: jiff::Timestamp,
    /// Its verdict as it may be shown.
    pub headline: String,
    /// Whether only one scenario was run, which accepts nothing.
    pub diagnosis: bool,
}

/// The certificate as tagged PDF on pages of A4.
///
/// # Errors
/// A [`PdfFault`], which is a bug here.
pub fn pdf(sources: &Sources<'_>) -> Result<Vec<u8>, PdfFault> {
    let record = sources.record;
    let started = &record.started;
    let about = About {
        title: format!("Certificate {}: {}", started.serial, record.headline()),
        version: &started.version,
        identity: started.run.as_str(),
        at: record.started_at,
    };
    pdf::write(&about, &pages::pages(sources))
}

#[cfg(test)]
mod tests;
