//! What a scenario measured, on paper: a metric a line across the sheet, and of
//! all scenarios the metrics that decided. It holds no words of its own but the
//! titles.

use super::block::{Reading, Readings};
use super::figures::gauge::gauge;
use super::sheets::{LEFT, Piece, RIGHT, Rows};
use crate::drawing::typeface::wrapped;
use crate::drawing::{Anchor, BLACK, Drawing, GREY, PALE, Role, TINT};
use std::collections::BTreeMap;

const WIDTH: f64 = RIGHT - LEFT;
const SIZE: f64 = 8.0;
const LINE: f64 = 9.8;
/// Size of titles and remarks.
const SMALL: f64 = 8.0;
/// A remark made of more metrics of a scenario is told once, with a letter.
const TOLD_EACH: usize = 1;

/// A column: its edge, its anchor, its width and its title.
type Column = (f64, Anchor, f64, &'static str);

/// Columns of a scenario's metrics.
const METRIC: [Column; 8] = [
    (0.0, Anchor::Start, 128.0, "Metric"),
    (132.0, Anchor::Start, 84.0, "Limit"),
    (276.0, Anchor::End, 56.0, "Value"),
    (328.0, Anchor::End, 48.0, "U"),
    (332.0, Anchor::Start, 36.0, "On limit"),
    (418.0, Anchor::End, 46.0, "Margin"),
    (424.0, Anchor::Start, 66.0, "Verdict"),
    (WIDTH, Anchor::End, 18.0, "Rule"),
];

/// Columns of what decided each scenario.
const DECIDING: [Column; 6] = [
    (0.0, Anchor::Start, 58.0, "Scenario"),
    (62.0, Anchor::Start, 136.0, "Decided by"),
    (302.0, Anchor::End, 100.0, "Value and U"),
    (308.0, Anchor::Start, 84.0, "Limit"),
    (394.0, Anchor::Start, 46.0, "On limit"),
    (445.0, Anchor::Start, 66.0, "Verdict"),
];

/// A scenario's metrics, ready to be placed.
pub(super) fn rows(readings: &Readings) -> Rows {
    let letters = Letters::of(&readings.rows);
    let drawn = readings.rows.iter().map(|reading| {
        let remarks = letters.remarks(reading);
        // A letter or two have room behind the name.
        let (label, remarks) = match remarks.len() {
            1..=8 => (format!("{} {remarks}", reading.label), ""),
            _ => (reading.label.clone(), remarks.as_str()),
        };
        let cells = [
            label.as_str(),
            &reading.limit,
            &reading.value,
            &reading.uncertainty,
            "",
            &reading.margin,
            reading.verdict,
            &reading.rule,
        ];
        row(&METRIC, cells, reading, remarks)
    });
    let mut pieces: Vec<Piece> = drawn.map(|drawing| piece(drawing, 1)).collect();
    let below = match pieces.is_empty() {
        true => Some(told(&["No metric was found.".to_owned()])),
        false => letters.told(),
    };
    pieces.extend(below.map(|drawing| piece(drawing, 0)));
    let again = format!("{}, continued", readings.name);
    Rows {
        names: Some([
            name(&readings.name, 10.5, Role::Heading(2)),
            name(&again, 8.5, Role::Paragraph),
        ]),
        headings: titles(&METRIC),
        pieces,
        groups: Vec::new(),
        after: 4.0,
    }
}

/// What decided each scenario, ready to be placed.
pub(super) fn deciding(readings: &[Reading]) -> Rows {
    let drawn = readings.iter().map(|reading| {
        let cells = [
            reading.scenario.as_str(),
            &reading.label,
            &reading.result,
            &reading.limit,
            "",
            reading.verdict,
        ];
        piece(row(&DECIDING, cells, reading, ""), 1)
    });
    Rows {
        names: None,
        headings: titles(&DECIDING),
        pieces: drawn.collect(),
        groups: Vec::new(),
        after: 6.0,
    }
}

fn piece(drawing: Drawing, count: usize) -> Piece {
    Piece {
        drawing,
        heads: false,
        group: None,
        count,
    }
}

/// A scenario's name.
fn name(text: &str, size: f64, role: Role) -> Drawing {
    let mut drawing = Drawing::new(WIDTH, 6.0);
    drawing.as_role(role, |drawing| {
        for line in wrapped(text, size, true, WIDTH) {
            drawing.height += size + 2.0;
            let at = (0.0, drawing.height - 1.0);
            drawing.write(at, size, true, Anchor::Start, BLACK, line);
        }
    });
    drawing.height += 2.0;
    drawing
}

fn titles(columns: &[Column]) -> Drawing {
    let mut drawing = Drawing::new(WIDTH, SMALL + 4.0);
    drawing.as_role(Role::Row, |drawing| {
        for &(x, anchor, _, title) in columns {
            drawing.as_role(Role::Header, |drawing| {
                drawing.write((x, SMALL), SMALL, false, anchor, GREY, title);
            });
        }
    });
    let y = SMALL + 2.6;
    drawing.line(&[(0.0, y), (WIDTH, y)], BLACK, 0.8);
    drawing
}

/// Lines across the sheet.
fn told(lines: &[String]) -> Drawing {
    let mut drawing = Drawing::new(WIDTH, LINE * lines.len() as f64 + 2.0);
    drawing.as_role(Role::Row, |drawing| {
        drawing.as_role(Role::Cell, |drawing| small(drawing, (0.0, 0.0), lines));
    });
    drawing
}

/// One metric's cells, and its remarks below them.
fn row<const N: usize>(
    columns: &[Column; N],
    texts: [&str; N],
    reading: &Reading,
    remarks: &str,
) -> Drawing {
    let stands_out = matches!(reading.verdict, "FAIL" | "INCONCLUSIVE");
    let cells = texts.into_iter().zip(columns).enumerate();
    let cells: Vec<_> = cells
        .map(|(index, (text, &(_, _, width, title)))| {
            let bold = title == "Verdict" || (stands_out && index == 0);
            (wrapped(text, SIZE, bold, width + 0.1), bold)
        })
        .collect();
    let lines = cells.iter().map(|cell| cell.0.len()).max().unwrap_or(1);
    let remarks = match remarks {
        "" => Vec::new(),
        remarks => wrapped(remarks, SMALL, false, WIDTH - 10.0),
    };
    let height = LINE * (lines + remarks.len()) as f64;
    let mut drawing = Drawing::new(WIDTH, height + 2.4);
    if stands_out {
        drawing.block((-2.0, 0.6), (WIDTH + 4.0, height + 1.0), TINT);
    }
    drawing.as_role(Role::Row, |drawing| {
        for (index, ((lines, bold), &(x, anchor, width, title))) in
            cells.into_iter().zip(columns).enumerate()
        {
            drawing.as_role(Role::Cell, |drawing| {
                for (line, text) in lines.into_iter().enumerate() {
                    let at = (x, LINE * (line as f64 + 0.85));
                    drawing.write(at, SIZE, bold, anchor, BLACK, text);
                }
                if index == 0 {
                    small(
                        drawing,
                        (10.0, height - LINE * remarks.len() as f64),
                        &remarks,
                    );
                }
                if title == "On limit" {
                    on_limit(drawing, reading, (x, 1.0), width);
                }
            });
        }
    });
    let y = height + 1.8;
    drawing.line(&[(0.0, y), (WIDTH, y)], PALE, 0.4);
    drawing
}

fn on_limit(drawing: &mut Drawing, reading: &Reading, at: (f64, f64), width: f64) {
    let gauge = |(finding, limit): &(_, _)| gauge(finding, limit, (width, 9.0));
    if let Some(line) = reading.gauge.as_ref().and_then(gauge) {
        drawing.as_role(Role::Figure(reading.against()), |drawing| {
            drawing.place(&line, at);
        });
    }
}

/// Grey lines from `top` on.
fn small(drawing: &mut Drawing, (x, top): (f64, f64), lines: &[String]) {
    for (line, text) in lines.iter().enumerate() {
        let at = (x, top + LINE * (line as f64 + 0.82));
        drawing.write(at, SMALL, false, Anchor::Start, GREY, text);
    }
}

/// Remarks that many metrics of a scenario share.
struct Letters(Vec<String>);

impl Letters {
    fn of(rows: &[Reading]) -> Self {
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        let remarks = || rows.iter().flat_map(|reading| &reading.remarks);
        for remark in remarks() {
            *counts.entry(remark).or_default() += 1;
        }
        let mut shared: Vec<String> = Vec::new();
        for remark in remarks() {
            let often = counts[remark.as_str()] > TOLD_EACH;
            if often && !shared.contains(remark) && shared.len() < 26 {
                shared.push(remark.clone());
            }
        }
        Self(shared)
    }

    fn letter(index: usize) -> char {
        char::from(b'a' + u8::try_from(index).unwrap_or(25).min(25))
    }

    /// A metric's own remarks, and the letters of those it shares.
    fn remarks(&self, reading: &Reading) -> String {
        let remark = |remark: &String| match self.0.iter().position(|shared| shared == remark) {
            Some(index) => format!("({})", Self::letter(index)),
            None => remark.clone(),
        };
        let remarks: Vec<String> = reading.remarks.iter().map(remark).collect();
        remarks.join("; ")
    }

    /// What each letter stands for.
    fn told(&self) -> Option<Drawing> {
        let letters = self.0.iter().enumerate();
        let lines = letters.flat_map(|(index, remark)| {
            let text = format!("({}) {remark}", Self::letter(index));
            wrapped(&text, SMALL, false, WIDTH)
        });
        let lines: Vec<String> = lines.collect();
        (!lines.is_empty()).then(|| told(&lines))
    }
}
