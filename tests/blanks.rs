//! How far each sheet of a document is filled, as a reader that nobody here wrote draws
//! it. It judges no layout.

use std::path::Path;
use std::process::Command;

/// Points of a sheet of A4, and what of it is for content: the foot stands below.
const HEIGHT: f64 = 842.0;
const CONTENT: (f64, f64) = (42.0, 800.0);
/// Dots an inch; a line is seen by them.
const DENSITY: f64 = 36.0;

/// Says which sheet but the last is blank by more than a third.
///
/// # Panics
/// Where one is.
pub(crate) fn no_sheet_is_blank_by_a_third(document: &Path) {
    let Some(sheets) = filled(document) else {
        crate::tools::absent("pdftoppm (poppler-utils) is not installed");
        return;
    };
    let (_, but_last) = sheets.split_last().expect("a sheet");
    let blank = but_last.iter().any(|filled| *filled < 0.66);
    assert!(!blank, "{}: {sheets:.2?}", document.display());
}

/// What is filled of each sheet, from its top to the lowest ink; nothing where nobody can
/// draw it.
fn filled(document: &Path) -> Option<Vec<f64>> {
    let done = Command::new("pdftoppm")
        .args(["-gray", "-r", &DENSITY.to_string()])
        .arg(document)
        .output()
        .ok()?;
    assert!(done.status.success(), "pdftoppm refuses {document:?}");
    let mut rest = done.stdout.as_slice();
    let mut sheets = Vec::new();
    while !rest.is_empty() {
        let (width, height);
        (width, height, rest) = size(rest);
        let rows = rest[..width * height].chunks(width);
        rest = &rest[width * height..];
        let point = |row: usize| (row as f64 + 1.0) * HEIGHT / height as f64;
        let inked = rows.enumerate().filter(|(row, dots)| {
            point(*row) < CONTENT.1 + 3.0 && dots.iter().any(|dot| *dot < 200)
        });
        let lowest = inked.map(|(row, _)| point(row)).fold(0.0, f64::max);
        sheets.push((lowest - CONTENT.0) / (CONTENT.1 - CONTENT.0));
    }
    Some(sheets)
}

/// Width and height of the first picture in `bytes`, and what follows its head: P5, width
/// and height, and 255, a line each (netpbm, pgm(5)).
fn size(bytes: &[u8]) -> (usize, usize, &[u8]) {
    let mut ends = bytes.iter().enumerate().filter(|(_, byte)| **byte == b'\n');
    let ends: Vec<usize> = ends.by_ref().take(3).map(|(at, _)| at).collect();
    let words = String::from_utf8_lossy(&bytes[ends[0]..ends[1]]).into_owned();
    let mut sizes = words
        .split_whitespace()
        .map(|word| word.parse().expect("a number"));
    let (width, height) = (sizes.next(), sizes.next());
    (
        width.expect("a width"),
        height.expect("a height"),
        &bytes[ends[2] + 1..],
    )
}
