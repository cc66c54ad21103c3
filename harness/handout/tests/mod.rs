//! Documents of invented runs and lots.

mod certificates;
mod lots;

use super::{Form, Handout, PdfFault, paper};
use crate::drawing::Item;

impl Handout {
    fn html(&self) -> String {
        let bytes = self.bytes(Form::Html).expect("a page");
        String::from_utf8(bytes).expect("UTF-8")
    }

    fn pdf(&self) -> Result<Vec<u8>, PdfFault> {
        self.bytes(Form::Pdf)
    }
}

/// The lowest place that is drawn on, the foot aside.
fn lowest(page: &crate::drawing::Drawing) -> f64 {
    let places = page.items.iter().flat_map(|item| match item {
        Item::Line { points, .. } | Item::Shape { points, .. } => {
            points.iter().map(|point| point.1).collect()
        }
        Item::Text(text) => vec![text.at.1],
        Item::Image { at, size, .. } | Item::Vector { at, size, .. } => vec![at.1 + size.1],
        Item::Begin(_) | Item::End => Vec::new(),
    });
    places.filter(|y| *y < 803.0).fold(0.0, f64::max)
}

/// No sheet but the last is blank by more than a third: of 842 points, 42 to 800 are
/// for content.
fn no_sheet_is_blank_by_a_third(what: &str, handout: &Handout) {
    let pages = paper::pages(handout);
    let filled = pages
        .iter()
        .map(|page| (lowest(page) - 42.0) / (800.0 - 42.0));
    let filled: Vec<f64> = filled.collect();
    let (_, but_last) = filled.split_last().expect("a sheet");
    assert!(
        but_last.iter().all(|filled| *filled >= 0.66),
        "{what}: {filled:.2?}"
    );
}
