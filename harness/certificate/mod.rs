//! The certificate of a run: one self-contained page of HTML or one to three
//! pages of PDF, made from the record and its observations alone. It reads no
//! file and no clock, so the same record gives the same bytes; it judges
//! nothing.

mod axes;
mod content;
mod drawing;
mod gauge;
mod half_bits;
mod html;
mod marks;
mod pages;
mod pdf;
mod plots;
mod qr;
mod svg;
mod typeface;

pub use html::html;

use crate::digest::Digest;
use crate::observation::Observation;
use crate::record::{Note, Record};

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
}

/// Why no PDF came out: a bug here, never the record.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the certificate cannot be written as PDF: {0}")]
pub struct PdfFault(pub String);

/// The certificate as PDF, one to three pages of A4.
///
/// # Errors
/// A [`PdfFault`], which is a bug here.
pub fn pdf(sources: &Sources<'_>) -> Result<Vec<u8>, PdfFault> {
    pdf::write(sources.record, &pages::pages(sources))
}

#[cfg(test)]
mod tests;
