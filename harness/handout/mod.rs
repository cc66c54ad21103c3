//! Documents to hand out: each is a list of blocks, made from a record, a lot or
//! a proof alone, and every one becomes a page of HTML that needs nothing else or
//! a tagged PDF on A4. Nothing here reads a file or a clock, computes or judges;
//! the same input gives the same bytes.

mod block;
mod certificate;
mod comparison;
mod conditions;
mod figures;
mod front;
mod grid;
mod html;
mod label;
mod label_sheet;
pub(crate) mod lot_words;
mod paper;
mod proof;
mod readings;
mod sheets;
mod summary;

pub use crate::drawing::pdf::PdfFault;
pub use block::{Handout, Letterhead, Logo};
pub use certificate::{BoardRun, Sources, certificate};
pub use comparison::lots_compared;
pub use label::{NoLabel, labels, may_have_label};
pub use label_sheet::{LabelSheet, SheetFault, StatedSheet};
pub use proof::plan_proof;
pub use summary::lot_summary;

use crate::drawing::pdf::{self, About};

/// The forms a document is handed out in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// One page for a screen.
    Html,
    /// Pages of A4.
    Pdf,
}

impl Form {
    /// Every form.
    pub const ALL: [Self; 2] = [Self::Html, Self::Pdf];

    /// What a file's name ends in.
    pub fn ending(self) -> &'static str {
        match self {
            Self::Html => "html",
            Self::Pdf => "pdf",
        }
    }
}

impl Handout {
    /// The document in that form.
    ///
    /// # Errors
    /// A [`PdfFault`], which is a bug here.
    pub fn bytes(&self, form: Form) -> Result<Vec<u8>, PdfFault> {
        match form {
            Form::Html => Ok(html::page(self).into_bytes()),
            Form::Pdf => {
                let head = &self.head;
                let about = About {
                    title: head.titles[1].clone(),
                    version: &head.version,
                    identity: &head.identity,
                    at: head.at,
                };
                pdf::write(&about, &paper::pages(self))
            }
        }
    }
}

#[cfg(test)]
mod tests;
