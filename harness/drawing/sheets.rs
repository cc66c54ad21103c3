//! Pages of A4 filled from the top: room, headings, wrapped lines and a foot on
//! every page. It knows no content.

use super::typeface::{fitted, wrapped};
use super::{Anchor, BLACK, Drawing, Item, PALE, Role};

const PAGE: (f64, f64) = (595.0, 842.0);
/// Left edge of the text.
pub(crate) const LEFT: f64 = 42.0;
/// Right edge of the text.
pub(crate) const RIGHT: f64 = 553.0;
const TOP: f64 = 42.0;
/// Lowest place for text.
pub(crate) const FOOT: f64 = 800.0;

/// Pages being filled from the top.
pub(crate) struct Sheets {
    done: Vec<Drawing>,
    pub(crate) page: Drawing,
    pub(crate) y: f64,
    /// No page is left.
    full: bool,
    most: usize,
}

impl Sheets {
    /// One empty page, to become at most `most`.
    pub(crate) fn new(most: usize) -> Self {
        Self {
            done: Vec::new(),
            page: Drawing::new(PAGE.0, PAGE.1),
            y: TOP,
            full: false,
            most,
        }
    }

    /// From here on no page after the first `most` is begun.
    pub(crate) fn end_after(&mut self, most: usize) {
        self.most = self.most.min(most.max(self.done.len() + 1));
    }

    /// Whether `height` fits on this page.
    pub(crate) fn fits(&self, height: f64) -> bool {
        self.y + height <= FOOT
    }

    /// Whether about `height` fits on this page and those that may follow.
    pub(crate) fn fits_in_all(&self, height: f64) -> bool {
        let more = self.most.saturating_sub(self.done.len() + 1) as f64;
        self.y + height <= FOOT + more * (FOOT - TOP)
    }

    /// Whether `height` fits, on a new page if need be.
    pub(crate) fn room(&mut self, height: f64) -> bool {
        if self.y + height <= FOOT {
            return true;
        }
        if self.full || self.done.len() + 1 == self.most {
            self.full = true;
            return false;
        }
        let fresh = Drawing::new(PAGE.0, PAGE.1);
        self.done.push(std::mem::replace(&mut self.page, fresh));
        self.y = TOP;
        true
    }

    /// A paragraph; one that a page's end divides is two.
    pub(crate) fn lines(&mut self, text: &str, size: f64, step: f64) {
        let mut lines = wrapped(text, size, false, RIGHT - LEFT).into_iter();
        let mut next = lines.next();
        while next.is_some() && self.room(step) {
            self.page.items.push(Item::Begin(Role::Paragraph));
            while self.y + step <= FOOT
                && let Some(line) = next.take()
            {
                self.y += step;
                self.page.text((LEFT, self.y), size, line);
                next = lines.next();
            }
            self.page.items.push(Item::End);
        }
    }

    pub(crate) fn heading(&mut self, text: &str) {
        self.y += 14.0;
        let text = fitted(text, 10.5, true, RIGHT - LEFT);
        let at = (LEFT, self.y);
        self.page.as_role(Role::Heading(2), |page| {
            page.write(at, 10.5, true, Anchor::Start, BLACK, text);
        });
        self.y += 5.0;
    }

    /// The pages, each with the same foot and its number.
    pub(crate) fn finish(mut self, foot: &str) -> Vec<Drawing> {
        self.done.push(self.page);
        let mut pages = self.done;
        let count = pages.len();
        for (index, page) in pages.iter_mut().enumerate() {
            page.line(&[(LEFT, 812.0), (RIGHT, 812.0)], PALE, 0.6);
            let text = fitted(foot, 7.0, true, 420.0);
            page.write((LEFT, 823.0), 7.0, true, Anchor::Start, BLACK, text);
            let number = format!("page {} of {count}", index + 1);
            page.write((RIGHT, 823.0), 7.0, false, Anchor::End, BLACK, number);
        }
        pages
    }
}
