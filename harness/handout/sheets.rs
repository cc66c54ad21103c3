//! Sheets of A4 filled from the top: room, headings, wrapped lines, and rows
//! whose headings come again after a sheet's end. It knows no content.

use crate::drawing::typeface::{fitted, wrapped};
use crate::drawing::{Anchor, BLACK, Drawing, Item, PALE, Role};

const PAGE: (f64, f64) = (595.0, 842.0);
/// Left edge of the text.
pub(super) const LEFT: f64 = 42.0;
/// Right edge of the text.
pub(super) const RIGHT: f64 = 553.0;
pub(super) const TOP: f64 = 42.0;
/// Lowest place for text.
const FOOT: f64 = 800.0;
/// Width of each of two columns beside each other.
pub(super) const COLUMN: f64 = 248.0;
/// Least room at a sheet's foot for a heading and what follows.
const START: f64 = 44.0;
/// What is filled of a sheet at least before another begins.
const FILLED: f64 = 2.0 / 3.0;
/// Height of a heading.
pub(super) const HEADING: f64 = 20.0;

/// Sheets being filled from the top.
pub(super) struct Sheets {
    done: Vec<Drawing>,
    pub(super) page: Drawing,
    pub(super) y: f64,
    /// Edges of what is being filled.
    pub(super) edges: (f64, f64),
    /// No sheet is left.
    pub(super) full: bool,
    most: usize,
}

/// Rows below their headings, each ready to be placed.
pub(super) struct Rows {
    /// What stands above the headings, the first time and again.
    pub(super) names: Option<[Drawing; 2]>,
    pub(super) headings: Drawing,
    pub(super) pieces: Vec<Piece>,
    /// What a piece may stand below when a new sheet has begun.
    pub(super) groups: Vec<Drawing>,
    /// Room below all.
    pub(super) after: f64,
}

/// One row, or one that heads others.
pub(super) struct Piece {
    pub(super) drawing: Drawing,
    /// It stays with the next.
    pub(super) heads: bool,
    pub(super) group: Option<usize>,
    /// Items in it, for counting what found no room.
    pub(super) count: usize,
}

impl Rows {
    /// Height of what comes before the first piece.
    fn start(&self) -> f64 {
        let name = self.names.as_ref().map_or(0.0, |names| names[0].height);
        name + self.headings.height
    }

    /// Height that a piece needs: one that heads others stays with the next.
    fn needed(&self, index: usize) -> f64 {
        let height = |at: usize| self.pieces.get(at).map_or(0.0, |p| p.drawing.height);
        let heads = self.pieces.get(index).is_some_and(|piece| piece.heads);
        height(index) + if heads { height(index + 1) } else { 0.0 }
    }

    /// Room without which the rows are not begun.
    fn least(&self) -> f64 {
        START.max(self.start() + self.needed(0))
    }
}

impl Sheets {
    /// One empty sheet, to become at most `most`.
    pub(super) fn new(most: usize) -> Self {
        Self {
            done: Vec::new(),
            page: Drawing::new(PAGE.0, PAGE.1),
            y: TOP,
            edges: (LEFT, RIGHT),
            full: false,
            most,
        }
    }

    pub(super) fn width(&self) -> f64 {
        self.edges.1 - self.edges.0
    }

    /// From here on no sheet after the first `most` is begun.
    pub(super) fn end_after(&mut self, most: usize) {
        self.most = self.most.min(most.max(self.done.len() + 1));
    }

    /// Whether `height` fits on this sheet.
    pub(super) fn fits(&self, height: f64) -> bool {
        self.y + height <= FOOT
    }

    /// Whether about `height` fits on this sheet and those that may follow.
    pub(super) fn fits_in_all(&self, height: f64) -> bool {
        let more = self.most.saturating_sub(self.done.len() + 1) as f64;
        self.y + height <= FOOT + more * (FOOT - TOP)
    }

    /// Whether `height` fits, on a new sheet if need be.
    pub(super) fn room(&mut self, height: f64) -> bool {
        self.fits(height) || self.next()
    }

    /// What follows begins a sheet of its own, where one is left and this one is
    /// filled: no sheet is left blank by more than a third.
    pub(super) fn fresh(&mut self) {
        if self.is_filled() {
            self.next();
        }
    }

    /// Whether at least two thirds of this sheet are filled.
    pub(super) fn is_filled(&self) -> bool {
        self.y >= TOP + FILLED * (FOOT - TOP)
    }

    /// Goes on on the next sheet; false where none is left.
    fn next(&mut self) -> bool {
        if self.full || self.done.len() + 1 == self.most {
            self.full = true;
            return false;
        }
        let fresh = Drawing::new(PAGE.0, PAGE.1);
        self.done.push(std::mem::replace(&mut self.page, fresh));
        self.y = TOP;
        true
    }

    /// Puts a drawing below what is there.
    pub(super) fn place(&mut self, drawing: &Drawing) {
        self.page.place(drawing, (self.edges.0, self.y));
        self.skip(drawing.height);
    }

    pub(super) fn skip(&mut self, height: f64) {
        self.y += height;
    }

    /// Rows below their headings, these again on every sheet; returns how many
    /// items found no room.
    pub(super) fn rows(&mut self, rows: &Rows) -> usize {
        let left = |from: usize| rows.pieces[from..].iter().map(|piece| piece.count).sum();
        if !self.room(rows.least()) {
            return left(0);
        }
        self.begin(rows, 0, None);
        for (index, piece) in rows.pieces.iter().enumerate() {
            let height = rows.needed(index);
            if !self.fits(height) {
                // No table goes on over a sheet's end: the next has its own.
                self.page.items.push(Item::End);
                if !self.room(rows.start() + height) {
                    return left(index);
                }
                self.begin(rows, 1, piece.group);
            }
            self.place(&piece.drawing);
        }
        self.page.items.push(Item::End);
        self.skip(rows.after);
        0
    }

    fn begin(&mut self, rows: &Rows, again: usize, group: Option<usize>) {
        if let Some(names) = &rows.names {
            self.place(&names[again]);
        }
        self.page.items.push(Item::Begin(Role::Table));
        self.place(&rows.headings);
        if let Some(group) = group.and_then(|at| rows.groups.get(at)) {
            self.place(group);
        }
    }

    /// A paragraph; one that a sheet's end divides is two.
    pub(super) fn lines(&mut self, text: &str, (size, step): (f64, f64)) {
        let mut lines = wrapped(text, size, false, self.width()).into_iter();
        let mut next = lines.next();
        while next.is_some() && self.room(step) {
            self.page.items.push(Item::Begin(Role::Paragraph));
            while self.fits(step)
                && let Some(line) = next.take()
            {
                self.y += step;
                self.page.text((self.edges.0, self.y), size, line);
                next = lines.next();
            }
            self.page.items.push(Item::End);
        }
    }

    pub(super) fn heading(&mut self, text: &str) {
        let ((from, to), y) = (self.edges, self.y + 14.0);
        let text = fitted(text, 10.5, true, to - from);
        self.page.as_role(Role::Heading(2), |page| {
            page.write((from, y), 10.5, true, Anchor::Start, BLACK, text);
        });
        self.page.line(&[(from, y + 4.0), (to, y + 4.0)], PALE, 0.6);
        self.y += HEADING;
    }

    /// The sheets, each with the same foot and its number.
    pub(super) fn finish(mut self, foot: &str) -> Vec<Drawing> {
        self.done.push(self.page);
        let mut pages = self.done;
        let count = pages.len();
        for (index, page) in pages.iter_mut().enumerate() {
            page.line(&[(LEFT, 812.0), (RIGHT, 812.0)], PALE, 0.6);
            let text = fitted(foot, 8.0, true, 430.0);
            page.write((LEFT, 823.0), 8.0, true, Anchor::Start, BLACK, text);
            let number = format!("page {} of {count}", index + 1);
            page.write((RIGHT, 823.0), 8.0, false, Anchor::End, BLACK, number);
        }
        pages
    }
}
