//! How far each sheet of a document is filled, as a reader that nobody here wrote draws
//! it. It judges no layout.

use crate::poppler::{Sheet, sheets};
use std::path::Path;

/// Points of a sheet of A4, and what of it is for content: the foot stands below.
const HEIGHT: f64 = 842.0;
const CONTENT: (f64, f64) = (42.0, 800.0);
/// Dots an inch; a line is seen by them.
const DENSITY: u32 = 36;

/// Says which sheet but the last is blank by more than a third.
///
/// # Panics
/// Where one is.
pub(crate) fn no_sheet_is_blank_by_a_third(document: &Path) {
    let Some(sheets) = sheets(document, DENSITY, &["-gray"]) else {
        return;
    };
    let filled: Vec<f64> = sheets.iter().map(filled).collect();
    let (_, but_last) = filled.split_last().expect("a sheet");
    let blank = but_last.iter().any(|filled| *filled < 0.66);
    assert!(!blank, "{}: {filled:.2?}", document.display());
}

/// What is filled of a sheet, from its top to the lowest ink.
fn filled(sheet: &Sheet) -> f64 {
    let point = |row: usize| (row as f64 + 1.0) * HEIGHT / sheet.height as f64;
    let rows = sheet.dots.chunks(sheet.width).enumerate();
    let inked = rows
        .filter(|(row, dots)| point(*row) < CONTENT.1 + 3.0 && dots.iter().any(|dot| *dot < 200));
    let lowest = inked.map(|(row, _)| point(row)).fold(0.0, f64::max);
    (lowest - CONTENT.0) / (CONTENT.1 - CONTENT.0)
}
