//! Tables on paper: how wide each column is, and each row as a drawing. It
//! holds no words of its own and places nothing.

use super::block::{NO_BREAK, Table, bound};
use super::sheets::{Piece, Rows};
use crate::drawing::typeface::{face, wrapped};
use crate::drawing::{Anchor, BLACK, Drawing, GREY, PALE, Role};

const SIZE: f64 = 8.0;
const LINE: f64 = 9.8;
const GAP: f64 = 6.0;
/// Size and height of a row that heads others.
const GROUP: f64 = 8.6;
const GROUP_HEIGHT: f64 = 14.0;
/// Width that a column of words gets before any number gets more than it must.
const WORDS: f64 = 88.0;

/// The table's rows where it may be so wide; a row takes that much besides its
/// lines.
pub(super) fn rows(table: &Table, width: f64, room: f64) -> Rows {
    let columns = &table.headings;
    let gaps = gaps(columns);
    let widths = widths(table, width - gaps.iter().sum::<f64>());
    let set = widths.into_iter().zip(columns).zip(gaps);
    let grid = Grid {
        columns: set
            .map(|((width, column), gap)| (width, column.1, gap))
            .collect(),
        width,
        room,
    };
    let headings: Vec<String> = columns.iter().map(|c| c.0.to_owned()).collect();
    let mut groups = Vec::new();
    let pieces = table.rows.iter().map(|row| {
        let heads = table.across(row);
        if heads {
            groups.push(grid.group(&format!("{}, continued", row[0])));
        }
        Piece {
            drawing: match heads {
                true => grid.group(&row[0]),
                false => grid.row(row, false),
            },
            heads,
            group: groups.len().checked_sub(1).filter(|_| !heads),
            count: usize::from(!heads),
        }
    });
    Rows {
        names: None,
        headings: grid.row(&headings, true),
        pieces: pieces.collect(),
        groups,
        after: 6.0,
    }
}

struct Grid {
    /// How wide each column is, whether it stands to the right, and the room
    /// after it.
    columns: Vec<(f64, bool, f64)>,
    width: f64,
    room: f64,
}

impl Grid {
    fn group(&self, text: &str) -> Drawing {
        let mut drawing = Drawing::new(self.width, GROUP_HEIGHT);
        let lines = wrapped(text, GROUP, true, self.width);
        let text = lines.into_iter().next().unwrap_or_default();
        drawing.as_role(Role::Row, |drawing| {
            drawing.as_role(Role::Cell, |drawing| {
                drawing.write((0.0, 9.5), GROUP, true, Anchor::Start, BLACK, text);
            });
        });
        self.underlined(drawing, PALE, 0.4)
    }

    fn row(&self, row: &[String], heading: bool) -> Drawing {
        let cells = row.iter().zip(&self.columns);
        let cells = cells.map(|(cell, (width, right, _))| broken(cell, *right && !heading, *width));
        let cells: Vec<Vec<String>> = cells.collect();
        let lines = cells.iter().map(Vec::len).max().unwrap_or(1);
        let (ink, role, room) = match heading {
            true => (GREY, Role::Header, 4.0),
            false => (BLACK, Role::Cell, self.room),
        };
        let mut drawing = Drawing::new(self.width, lines as f64 * LINE + room);
        drawing.as_role(Role::Row, |drawing| {
            let mut x = 0.0;
            for (cell, (width, right, gap)) in cells.into_iter().zip(&self.columns) {
                let (anchor, at) = match right {
                    true => (Anchor::End, x + width),
                    false => (Anchor::Start, x),
                };
                // Headings of several lines stand on the line below them.
                let first = if heading { lines - cell.len() } else { 0 };
                drawing.as_role(role.clone(), |drawing| {
                    for (index, text) in cell.into_iter().enumerate() {
                        let y = LINE * (first + index + 1) as f64;
                        drawing.write((at, y), SIZE, false, anchor, ink, text);
                    }
                });
                x += width + gap;
            }
        });
        let (ink, width) = if heading { (BLACK, 0.8) } else { (PALE, 0.4) };
        self.underlined(drawing, ink, width)
    }

    fn underlined(&self, mut drawing: Drawing, ink: [u8; 3], width: f64) -> Drawing {
        let y = drawing.height - self.room.min(4.0) / 4.0;
        drawing.line(&[(0.0, y), (self.width, y)], ink, width);
        drawing
    }
}

/// The room after each column: more where numbers and words would meet.
fn gaps(columns: &[(&str, bool)]) -> Vec<f64> {
    let pairs = columns.windows(2);
    let gaps = pairs.map(|pair| match pair[0].1 && !pair[1].1 {
        true => 2.0 * GAP,
        false => GAP,
    });
    gaps.chain([0.0]).collect()
}

fn broken(cell: &str, number: bool, width: f64) -> Vec<String> {
    let lines = wrapped(&bound(cell, number), SIZE, false, width + 0.1);
    let plain = |line: String| line.replace(NO_BREAK, " ");
    lines.into_iter().map(plain).collect()
}

/// Each column is as wide as what cannot be broken in it; of what is left,
/// words get first what reads well, then numbers what keeps them on one line,
/// then words the rest.
fn widths(table: &Table, room: f64) -> Vec<f64> {
    let face = face(false);
    let longest = |text: &str| {
        let words = text.split(' ').map(|word| face.width(word));
        words.fold(0.0, f64::max)
    };
    // The widest of a column's cells as `measure` finds them, in points.
    let widest = |at: usize, heading: f64, measure: &dyn Fn(&str) -> f64| {
        let rows = table.rows.iter().filter(|row| !table.across(row));
        let cells = rows.filter_map(|row| row.get(at));
        let widest = cells.fold(heading, |most, cell| most.max(measure(cell)));
        widest * SIZE + 0.5
    };
    let each = |width: &dyn Fn(usize, &str, bool) -> f64| -> Vec<f64> {
        let columns = table.headings.iter().enumerate();
        let widths = columns.map(|(at, (heading, right))| width(at, heading, *right));
        widths.collect()
    };
    let whole = |cell: &str| face.width(cell);
    let all = each(&|at, heading, _| widest(at, face.width(heading), &whole));
    if all.iter().sum::<f64>() <= room {
        return all;
    }
    let wanted = each(&|at, heading, _| widest(at, longest(heading), &whole));
    let mut widths = each(&|at, heading, right| {
        let most = if right { f64::INFINITY } else { 10.0 };
        widest(at, longest(heading), &|cell| {
            longest(&bound(cell, right)).min(most)
        })
    });
    let sum: f64 = widths.iter().sum();
    if sum > room {
        return widths.into_iter().map(|width| width * room / sum).collect();
    }
    for (numbers, most) in [
        (false, WORDS),
        (true, f64::INFINITY),
        (false, f64::INFINITY),
    ] {
        let short = each(&|at, _, right| match right == numbers {
            true => (wanted[at].min(most) - widths[at]).max(0.0),
            false => 0.0,
        });
        let left = room - widths.iter().sum::<f64>();
        let all: f64 = short.iter().sum();
        let share = if all > left { left / all } else { 1.0 };
        for (width, short) in widths.iter_mut().zip(short) {
            *width += share * short;
        }
    }
    widths
}
