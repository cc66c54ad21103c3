//! Sheets of A4 filled from the top, in one column or two: room, headings,
//! wrapped lines, and rows whose headings come again after a column's or a
//! sheet's end. It knows no content.

use crate::drawing::typeface::{fitted, wrapped};
use crate::drawing::{Anchor, BLACK, Drawing, Item, PALE, Role};

const PAGE: (f64, f64) = (595.0, 842.0);
/// Left edge of the text.
pub(super) const LEFT: f64 = 42.0;
/// Right edge of the text.
pub(super) const RIGHT: f64 = 553.0;
const TOP: f64 = 42.0;
/// Lowest place for text.
const FOOT: f64 = 800.0;
/// Width of each of two columns.
pub(super) const COLUMN: f64 = 248.0;
/// Least room at a column's foot for a heading and what follows.
const START: f64 = 44.0;
/// Height of a heading.
pub(super) const HEADING: f64 = 20.0;

/// Sheets being filled from the top.
pub(super) struct Sheets {
    done: Vec<Drawing>,
    pub(super) page: Drawing,
    pub(super) y: f64,
    /// Edges of the column that is being filled.
    pub(super) edges: (f64, f64),
    /// Where it ends.
    foot: f64,
    columns: Option<Columns>,
    /// No sheet is left.
    pub(super) full: bool,
    most: usize,
}

/// Two columns; on their last sheet they end alike.
struct Columns {
    top: f64,
    second: bool,
    /// Where the first column of this sheet ended.
    ended: f64,
    /// Height of all that is still to be placed.
    rest: f64,
}

/// Rows below their headings, each ready to be placed.
pub(super) struct Rows {
    /// What stands above the headings, the first time and again.
    pub(super) names: Option<[Drawing; 2]>,
    pub(super) headings: Drawing,
    pub(super) pieces: Vec<Piece>,
    /// What a piece may stand below when its column has begun anew.
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
    pub(super) fn height(&self) -> f64 {
        let pieces = self.pieces.iter().map(|piece| piece.drawing.height);
        self.start() + pieces.sum::<f64>() + self.after
    }

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
            foot: FOOT,
            columns: None,
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

    /// Whether `height` fits in this column.
    pub(super) fn fits(&self, height: f64) -> bool {
        self.y + height <= self.foot
    }

    /// Whether about `height` fits on this sheet and those that may follow.
    pub(super) fn fits_in_all(&self, height: f64) -> bool {
        let more = self.most.saturating_sub(self.done.len() + 1) as f64;
        self.y + height <= FOOT + more * (FOOT - TOP)
    }

    /// Whether `height` fits, in a new column or on a new sheet if need be.
    pub(super) fn room(&mut self, height: f64) -> bool {
        let tries = if self.columns.is_some() { 3 } else { 1 };
        for _ in 0..tries {
            if self.fits(height) {
                return true;
            }
            if !self.next() {
                return false;
            }
        }
        true
    }

    /// Goes on in the next column; false where no sheet is left.
    fn next(&mut self) -> bool {
        if let Some(columns) = self.columns.as_mut().filter(|columns| !columns.second) {
            columns.second = true;
            columns.ended = self.y;
            self.edges = (RIGHT - COLUMN, RIGHT);
            (self.y, self.foot) = (columns.top, FOOT);
            return true;
        }
        if self.full || self.done.len() + 1 == self.most {
            self.full = true;
            return false;
        }
        let fresh = Drawing::new(PAGE.0, PAGE.1);
        self.done.push(std::mem::replace(&mut self.page, fresh));
        self.y = TOP;
        if let Some(columns) = self.columns.take() {
            self.two_columns(columns.rest);
        }
        true
    }

    /// From here on two columns, for things of that height in all.
    pub(super) fn two_columns(&mut self, rest: f64) {
        self.edges = (LEFT, LEFT + COLUMN);
        self.foot = FOOT.min(self.y + rest / 2.0 + START / 2.0);
        self.columns = Some(Columns {
            top: self.y,
            second: false,
            ended: self.y,
            rest,
        });
    }

    /// From here on one column again, below both.
    pub(super) fn one_column(&mut self) {
        if let Some(columns) = self.columns.take() {
            self.y = self.y.max(columns.ended);
        }
        (self.edges, self.foot) = ((LEFT, RIGHT), FOOT);
    }

    /// Puts a drawing below what is there.
    pub(super) fn place(&mut self, drawing: &Drawing) {
        self.page.place(drawing, (self.edges.0, self.y));
        self.skip(drawing.height);
    }

    pub(super) fn skip(&mut self, height: f64) {
        self.y += height;
        if let Some(columns) = &mut self.columns {
            columns.rest -= height;
        }
    }

    /// Rows below their headings, these again in every column; returns how many
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
            let text = fitted(foot, 7.0, true, 420.0);
            page.write((LEFT, 823.0), 7.0, true, Anchor::Start, BLACK, text);
            let number = format!("page {} of {count}", index + 1);
            page.write((RIGHT, 823.0), 7.0, false, Anchor::End, BLACK, number);
        }
        pages
    }
}
