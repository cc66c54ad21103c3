//! Reports about many boards: two lots compared, one summed up, or what a plan
//! catches, as one page of HTML that needs nothing else, or as PDF for print. It
//! computes and judges nothing; the same input gives the same bytes.

mod chart;
mod comparison;
mod content;
mod grid;
mod html;
mod marks;
mod pages;
mod pareto;
mod proof;
mod shifts;
mod strips;
mod summary;
mod words;

pub(crate) use crate::report::words::show_span as span;
pub(crate) use words::{
    bounds, check_cells, conclusion, failing_rows, index, interval, margin, retest_row, yields,
};

pub use crate::drawing::pdf::PdfFault;

use crate::comparison::{LotSummary, LotsCompared};
use crate::drawing::pdf::{self, About};
use crate::proof::{PlanProof, Setting};
use content::Content;

/// Two lots compared, as HTML. `model` says that no real board was measured.
pub fn comparison_html(found: &LotsCompared, model: bool) -> String {
    html::page(&comparison::content(found, model))
}

/// The same as PDF.
///
/// # Errors
/// A [`PdfFault`], which is a bug here.
pub fn comparison_pdf(found: &LotsCompared, model: bool) -> Result<Vec<u8>, PdfFault> {
    printed(&comparison::content(found, model))
}

/// A lot summed up, as HTML.
pub fn summary_html(found: &LotSummary, model: bool) -> String {
    html::page(&summary::content(found, model))
}

/// The same as PDF.
///
/// # Errors
/// A [`PdfFault`], which is a bug here.
pub fn summary_pdf(found: &LotSummary, model: bool) -> Result<Vec<u8>, PdfFault> {
    printed(&summary::content(found, model))
}

/// What a plan catches, as HTML; `at` is when that was tried.
pub fn proof_html(found: &PlanProof, setting: &Setting, at: jiff::Timestamp) -> String {
    html::page(&proof::content(found, setting, at))
}

/// The same as PDF.
///
/// # Errors
/// A [`PdfFault`], which is a bug here.
pub fn proof_pdf(
    found: &PlanProof,
    setting: &Setting,
    at: jiff::Timestamp,
) -> Result<Vec<u8>, PdfFault> {
    printed(&proof::content(found, setting, at))
}

fn printed(content: &Content) -> Result<Vec<u8>, PdfFault> {
    let about = About {
        title: format!("{}: {}", content.kind, content.headline),
        version: env!("CARGO_PKG_VERSION"),
        identity: &content.identity,
        at: content.at,
    };
    pdf::write(&about, &pages::pages(content))
}

#[cfg(test)]
mod tests;
