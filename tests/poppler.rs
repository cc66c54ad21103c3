//! The sheets of a PDF as a reader that nobody here wrote draws them. It judges nothing
//! that is on them.

use std::path::Path;
use std::process::Command;

/// A sheet as it is drawn.
pub(crate) struct Sheet {
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// A row after the other from the top; one byte a dot where it is grey, red, green
    /// and blue where it is not.
    pub(crate) dots: Vec<u8>,
}

/// Every sheet of `document` with `density` dots an inch, as pdftoppm draws it with
/// `more` options; nothing where nobody can draw it.
pub(crate) fn sheets(document: &Path, density: u32, more: &[&str]) -> Option<Vec<Sheet>> {
    let drawn = Command::new("pdftoppm")
        .args(["-r", &density.to_string()])
        .args(more)
        .arg(document)
        .output();
    let Ok(done) = drawn else {
        crate::tools::absent("pdftoppm (poppler-utils) is not installed");
        return None;
    };
    assert!(done.status.success(), "pdftoppm refuses {document:?}");
    let mut rest = done.stdout.as_slice();
    let mut sheets = Vec::new();
    while !rest.is_empty() {
        let sheet;
        (sheet, rest) = first(rest);
        sheets.push(sheet);
    }
    Some(sheets)
}

/// The first picture in `bytes`, and what follows it: P5 where it is grey, P6 where it is
/// coloured, width and height, and 255, a line each, and the dots (netpbm, pgm(5), ppm(5)).
fn first(bytes: &[u8]) -> (Sheet, &[u8]) {
    let mut lines = bytes.splitn(4, |byte| *byte == b'\n');
    let mut line = || lines.next().expect("a head of three lines");
    let (kind, size, _) = (line(), line(), line());
    let rest = line();
    let mut sizes = size
        .split(|byte| *byte == b' ')
        .map(|word| std::str::from_utf8(word).expect("ASCII"))
        .map(|word| word.parse::<usize>().expect("a number"));
    let width = sizes.next().expect("a width");
    let height = sizes.next().expect("a height");
    let (dots, rest) = rest.split_at(width * height * if kind == b"P6" { 3 } else { 1 });
    let dots = dots.to_vec();
    (
        Sheet {
            width,
            height,
            dots,
        },
        rest,
    )
}
