//! Tables on the pages of a certificate: rows as high as their texts, column
//! titles again on every page. It holds no words of its own but the titles.

use super::content::{self, Rules};
use super::gauge::gauge;
use crate::drawing::sheets::{LEFT, RIGHT, Sheets};
use crate::drawing::typeface::{shrunk, wrapped};
use crate::drawing::{Anchor, BLACK, GREY, Item, PALE, Role, TINT};
use crate::judgement::Verdict;
use crate::record::{JudgedMetric, ScenarioRecord};

/// Edge, anchor, width and title of each column.
const COLUMNS: [(f64, Anchor, f64, &str); 8] = [
    (LEFT, Anchor::Start, 138.0, "METRIC"),
    (238.0, Anchor::End, 56.0, "VALUE"),
    (292.0, Anchor::End, 52.0, "U"),
    (300.0, Anchor::Start, 80.0, "LIMIT"),
    (384.0, Anchor::Start, 40.0, "ON ITS LIMIT"),
    (472.0, Anchor::End, 46.0, "MARGIN"),
    (478.0, Anchor::Start, 56.0, "VERDICT"),
    (RIGHT, Anchor::End, 18.0, "RULE"),
];
/// Which of them is drawn.
const GAUGE: usize = 4;
const LINE: f64 = 9.0;

/// One scenario's metrics; returns how many found no room.
pub(super) fn scenario(sheets: &mut Sheets, scenario: &ScenarioRecord, rules: &mut Rules) -> usize {
    let verdict = scenario.verdict.map_or("UNFINISHED", Verdict::word);
    let name = format!("{}: {verdict}", scenario.name);
    if !sheets.room(52.0) {
        return scenario.metrics.len();
    }
    sheets.heading(&name);
    if scenario.metrics.is_empty() {
        sheets.lines("No metric was found.", 7.5, 10.0);
        return 0;
    }
    titles(sheets);
    for (index, judged) in scenario.metrics.iter().enumerate() {
        let row = Row::of(judged, rules);
        if !sheets.fits(row.height()) {
            sheets.page.items.push(Item::End);
            if !sheets.room(52.0 + row.height()) {
                return scenario.metrics.len() - index;
            }
            sheets.heading(&format!("{name}, continued"));
            titles(sheets);
        }
        row.draw(sheets, judged);
    }
    sheets.page.items.push(Item::End);
    sheets.y += 6.0;
    0
}

/// Begins a table with its titles.
fn titles(sheets: &mut Sheets) {
    sheets.y += 7.0;
    let y = sheets.y;
    sheets.page.items.push(Item::Begin(Role::Table));
    sheets.page.as_role(Role::Row, |page| {
        for (x, anchor, _, title) in COLUMNS {
            page.as_role(Role::Header, |page| {
                page.write((x, y), 6.0, false, anchor, GREY, title);
            });
        }
    });
    sheets.y += 3.0;
    let y = sheets.y;
    sheets.page.line(&[(LEFT, y), (RIGHT, y)], BLACK, 0.8);
}

/// A metric's cells in lines, and its remarks under them.
struct Row {
    cells: [Vec<String>; 8],
    remarks: Vec<String>,
    stands_out: bool,
    words: String,
}

impl Row {
    fn of(judged: &JudgedMetric, rules: &mut Rules) -> Self {
        let row = content::row(judged);
        let rule = rules.number(&row);
        let stands_out = row.verdict == "FAIL" || row.verdict == "INCONCLUSIVE";
        let words = format!("{} against {}", row.value, row.limit);
        let texts = [
            row.label,
            row.value,
            row.uncertainty,
            row.limit,
            String::new(),
            row.margin,
            row.verdict.to_owned(),
            rule,
        ];
        let mut columns = COLUMNS.iter();
        let cells = texts.map(|text| {
            let (.., width, title) = columns.next().expect("a column a text");
            let bold = bold(title, stands_out);
            let size = shrunk(&text, 7.5, bold, *width);
            wrapped(&text, size, bold, *width)
        });
        let notes = judged.metric.notes.iter();
        let remarks = notes.flat_map(|note| wrapped(note, 6.0, false, RIGHT - LEFT - 8.0));
        Self {
            cells,
            remarks: remarks.collect(),
            stands_out,
            words,
        }
    }

    fn height(&self) -> f64 {
        let lines = self.cells.iter().map(Vec::len).max().unwrap_or(1);
        4.0 + LINE * lines as f64 + 7.5 * self.remarks.len() as f64
    }

    fn draw(&self, sheets: &mut Sheets, judged: &JudgedMetric) {
        let (top, height) = (sheets.y, self.height());
        let y = top + 9.0;
        let page = &mut sheets.page;
        if self.stands_out {
            let size = (RIGHT - LEFT + 6.0, height - 1.4);
            page.block((LEFT - 3.0, top + 0.8), size, TINT);
        }
        page.as_role(Role::Row, |page| {
            for (index, (cell, column)) in self.cells.iter().zip(COLUMNS).enumerate() {
                let (x, anchor, width, title) = column;
                let bold = bold(title, self.stands_out);
                page.items.push(Item::Begin(Role::Cell));
                for (line, text) in cell.iter().enumerate() {
                    let size = shrunk(text, 7.5, bold, width);
                    let at = (x, y + LINE * line as f64);
                    page.write(at, size, bold, anchor, BLACK, text);
                }
                if index == 0 {
                    let below = y + LINE * cell.len() as f64 - 1.5;
                    for (line, text) in self.remarks.iter().enumerate() {
                        let at = (LEFT + 8.0, below + 7.5 * line as f64);
                        page.write(at, 6.0, false, Anchor::Start, GREY, text);
                    }
                }
                if index == GAUGE
                    && let Some(limit) = &judged.limit
                    && let Some(line) = gauge(&judged.metric.finding, limit, width, 9.0)
                {
                    page.as_role(Role::Figure(self.words.clone()), |page| {
                        page.place(&line, (x, y - 7.0));
                    });
                }
                page.items.push(Item::End);
            }
        });
        sheets.y = top + height;
        let y = sheets.y;
        sheets.page.line(&[(LEFT, y), (RIGHT, y)], PALE, 0.4);
    }
}

fn bold(title: &str, stands_out: bool) -> bool {
    title == "VERDICT" || (stands_out && title == "METRIC")
}

/// A table of three columns of text; returns how many rows found no room.
pub(super) fn plain(
    sheets: &mut Sheets,
    name: &str,
    columns: [(&str, f64); 3],
    rows: &[[String; 3]],
) -> usize {
    if rows.is_empty() {
        return 0;
    }
    let ends = [columns[1].1, columns[2].1, RIGHT + 6.0];
    begin(sheets, columns);
    for (index, row) in rows.iter().enumerate() {
        let mut widths = columns.iter().zip(ends);
        let cells = row.each_ref().map(|text| {
            let ((_, from), to) = widths.next().expect("a column a text");
            wrapped(text, 7.5, false, to - from - 6.0)
        });
        let lines = cells.iter().map(Vec::len).max().unwrap_or(1);
        let height = 2.0 + LINE * lines as f64;
        if !sheets.fits(height) {
            sheets.page.items.push(Item::End);
            if !sheets.room(40.0 + height) {
                return rows.len() - index;
            }
            sheets.heading(&format!("{name}, continued"));
            begin(sheets, columns);
        }
        let y = sheets.y + 9.0;
        sheets.page.as_role(Role::Row, |page| {
            for (cell, (_, x)) in cells.iter().zip(columns) {
                page.as_role(Role::Cell, |page| {
                    for (line, text) in cell.iter().enumerate() {
                        page.text((x, y + LINE * line as f64), 7.5, text);
                    }
                });
            }
        });
        sheets.y += height;
    }
    sheets.page.items.push(Item::End);
    0
}

fn begin(sheets: &mut Sheets, columns: [(&str, f64); 3]) {
    sheets.y += 9.0;
    let y = sheets.y;
    sheets.page.items.push(Item::Begin(Role::Table));
    sheets.page.as_role(Role::Row, |page| {
        for (title, x) in columns {
            page.as_role(Role::Header, |page| {
                page.write((x, y), 6.0, false, Anchor::Start, GREY, title);
            });
        }
    });
    sheets.y += 2.0;
}
