//! Tables on the pages of a report about lots: how wide each column is, and
//! what a page's end divides. It holds no words of its own.

use super::content::{Table, across};
use super::words::{NO_BREAK, bound};
use crate::drawing::sheets::{LEFT, RIGHT, Sheets};
use crate::drawing::typeface::{face, wrapped};
use crate::drawing::{Anchor, BLACK, GREY, Item, PALE, Role};

const SIZE: f64 = 6.6;
const LINE: f64 = 8.2;
const GAP: f64 = 6.0;
/// Size and height of a row that heads others.
const GROUP: f64 = 7.6;
const GROUP_HEIGHT: f64 = 13.0;
/// Width that a column of words gets before any number gets more than it must.
const WORDS: f64 = 88.0;

/// Room below its heading without which a table is not begun.
pub(super) const LEAST: f64 = 4.0 * LINE + 3.0 * GROUP_HEIGHT;

/// The table, its headings again on every page.
pub(super) fn rows(sheets: &mut Sheets, table: &Table) {
    let grid = Grid::of(table);
    if !sheets.room(LEAST) {
        return;
    }
    grid.begin(sheets);
    let mut group = "";
    let mut rows = table.rows.iter().peekable();
    while let Some(row) = rows.next() {
        // A row that heads others stays with the first of them.
        let (own, heads) = (grid.height(row), across(table, row));
        let next = rows.peek().filter(|_| heads);
        let height = own + next.map_or(0.0, |next| grid.height(next));
        if heads {
            group = row.first().map_or("", String::as_str);
        }
        if !sheets.fits(height) {
            // No table goes on over a page's end: the next page has its own.
            sheets.page.items.push(Item::End);
            if !sheets.room(height) {
                return;
            }
            grid.begin(sheets);
            if !heads && !group.is_empty() {
                grid.group(sheets, &format!("{group}, continued"));
            }
        }
        if heads {
            grid.group(sheets, group);
        } else {
            grid.line(sheets, row, false);
        }
    }
    sheets.page.items.push(Item::End);
    sheets.y += 6.0;
}

struct Grid {
    headings: Vec<String>,
    /// Which columns hold numbers and stand to the right.
    right: Vec<bool>,
    widths: Vec<f64>,
}

impl Grid {
    fn of(table: &Table) -> Self {
        let right: Vec<bool> = table.headings.iter().map(|h| h.starts_with('>')).collect();
        let headings: Vec<String> = table
            .headings
            .iter()
            .map(|h| h.trim_start_matches('>').to_owned())
            .collect();
        let widths = widths(table, &headings, &right);
        Self {
            headings,
            right,
            widths,
        }
    }

    fn begin(&self, sheets: &mut Sheets) {
        sheets.page.items.push(Item::Begin(Role::Table));
        self.line(sheets, &self.headings, true);
    }

    fn cells(&self, row: &[String], heading: bool) -> Vec<Vec<String>> {
        let columns = self.widths.iter().zip(&self.right);
        let cells = row.iter().zip(columns);
        cells
            .map(|(cell, (width, right))| broken(cell, *right && !heading, *width))
            .collect()
    }

    fn height(&self, row: &[String]) -> f64 {
        if row.len() == 1 && self.headings.len() > 1 {
            return GROUP_HEIGHT;
        }
        let cells = self.cells(row, false);
        let lines = cells.iter().map(Vec::len).max().unwrap_or(1);
        lines as f64 * LINE + 4.0
    }

    fn group(&self, sheets: &mut Sheets, text: &str) {
        let at = (LEFT, sheets.y + 9.5);
        sheets.page.as_role(Role::Row, |page| {
            page.as_role(Role::Cell, |page| {
                let lines = wrapped(text, GROUP, true, RIGHT - LEFT);
                let text = lines.into_iter().next().unwrap_or_default();
                page.write(at, GROUP, true, Anchor::Start, BLACK, text);
            });
        });
        sheets.y += GROUP_HEIGHT;
        let y = sheets.y - 1.0;
        sheets.page.line(&[(LEFT, y), (RIGHT, y)], PALE, 0.4);
    }

    fn line(&self, sheets: &mut Sheets, row: &[String], heading: bool) {
        let top = sheets.y;
        let mut x = LEFT;
        let ink = if heading { GREY } else { BLACK };
        let role = if heading { Role::Header } else { Role::Cell };
        let cells = self.cells(row, heading);
        let lines = cells.iter().map(Vec::len).max().unwrap_or(1);
        sheets.page.items.push(Item::Begin(Role::Row));
        for ((cell, width), right) in cells.into_iter().zip(&self.widths).zip(&self.right) {
            let (anchor, at) = if *right {
                (Anchor::End, x + width)
            } else {
                (Anchor::Start, x)
            };
            // Headings of several lines stand on the line below them.
            let first = if heading { lines - cell.len() } else { 0 };
            sheets.page.as_role(role.clone(), |page| {
                for (index, text) in cell.into_iter().enumerate() {
                    let y = top + LINE * (first + index + 1) as f64;
                    page.write((at, y), SIZE, false, anchor, ink, text);
                }
            });
            x += width + GAP;
        }
        sheets.page.items.push(Item::End);
        sheets.y += lines as f64 * LINE + 4.0;
        let y = sheets.y - 1.0;
        let (ink, width) = if heading { (BLACK, 0.8) } else { (PALE, 0.4) };
        sheets.page.line(&[(LEFT, y), (RIGHT, y)], ink, width);
    }
}

fn broken(cell: &str, number: bool, width: f64) -> Vec<String> {
    let lines = wrapped(&bound(cell, number), SIZE, false, width + 0.1);
    let plain = |line: String| line.replace(NO_BREAK, " ");
    lines.into_iter().map(plain).collect()
}

/// Each column is as wide as what cannot be broken in it; of what is left,
/// words get first what reads well, then numbers what keeps them on one line,
/// then words the rest.
fn widths(table: &Table, headings: &[String], right: &[bool]) -> Vec<f64> {
    let face = face(false);
    let columns = headings.len();
    let longest = |text: &str| {
        let words = text.split(' ').map(|word| face.width(word));
        words.fold(0.0, f64::max)
    };
    let cells = |at: usize| {
        let rows = table.rows.iter().filter(|row| !across(table, row));
        rows.filter_map(move |row| row.get(at))
    };
    let least = |at: usize| {
        let unbroken = cells(at).map(|cell| match right[at] {
            true => longest(&bound(cell, true)),
            false => longest(&bound(cell, false)).min(10.0),
        });
        unbroken.fold(longest(&headings[at]), f64::max) * SIZE + 0.5
    };
    let whole = |at: usize, heading: f64| {
        let whole = cells(at).map(|cell| face.width(cell));
        whole.fold(heading, f64::max) * SIZE + 0.5
    };
    let room = RIGHT - LEFT - GAP * (columns.max(1) - 1) as f64;
    let all = (0..columns).map(|at| whole(at, face.width(&headings[at])));
    let all: Vec<f64> = all.collect();
    if all.iter().sum::<f64>() <= room {
        return all;
    }
    let wanted: Vec<f64> = (0..columns)
        .map(|at| whole(at, longest(&headings[at])))
        .collect();
    let mut widths: Vec<f64> = (0..columns).map(least).collect();
    let sum: f64 = widths.iter().sum();
    if sum > room {
        return widths.into_iter().map(|width| width * room / sum).collect();
    }
    for (numbers, most) in [
        (false, WORDS),
        (true, f64::INFINITY),
        (false, f64::INFINITY),
    ] {
        let short: Vec<f64> = (0..columns)
            .map(|at| match right[at] == numbers {
                true => (wanted[at].min(most) - widths[at]).max(0.0),
                false => 0.0,
            })
            .collect();
        let left = room - widths.iter().sum::<f64>();
        let all: f64 = short.iter().sum();
        let share = if all > left { left / all } else { 1.0 };
        for (width, short) in widths.iter_mut().zip(short) {
            *width += share * short;
        }
    }
    widths
}
