//! What a scenario measured, on paper: metrics with one limit as a group, in a
//! column of half a sheet. It holds no words of its own but the titles.

use super::block::{Reading, Readings};
use super::figures::gauge::gauge;
use super::sheets::{COLUMN as WIDTH, Piece, Rows};
use crate::drawing::typeface::{face, shrunk, wrapped};
use crate::drawing::{Anchor, BLACK, Drawing, GREY, PALE, Role, TINT};
use crate::measurement::in_words;
use std::collections::BTreeMap;

/// Edge, anchor, width and title of each cell of a row.
const CELLS: [(f64, Anchor, f64, &str); 6] = [
    (4.0, Anchor::Start, 68.0, ""),
    (116.0, Anchor::End, 43.0, "VALUE"),
    (156.0, Anchor::End, 38.0, "U"),
    (160.0, Anchor::Start, 26.0, "ON LIMIT"),
    (219.0, Anchor::End, 32.0, "MARGIN"),
    (WIDTH, Anchor::End, 27.0, "VERDICT"),
];
/// Which of them is drawn.
const GAUGE: usize = 3;
const SIZE: f64 = 6.2;
const LINE: f64 = 7.0;
const SMALL: f64 = 5.4;
const SMALL_LINE: f64 = 6.0;
/// A remark made of more metrics of a scenario is told once, with a letter.
const TOLD_EACH: usize = 1;

/// A scenario's metrics, ready to be placed.
pub(super) fn rows(readings: &Readings) -> Rows {
    let letters = Letters::of(&readings.rows);
    let mut groups: Vec<Vec<&Reading>> = Vec::new();
    for reading in &readings.rows {
        let kind = |r: &Reading| (r.key.clone(), r.limit.clone(), r.rule.clone());
        let wanted = kind(reading);
        match groups.iter_mut().find(|group| kind(group[0]) == wanted) {
            Some(group) => group.push(reading),
            None => groups.push(vec![reading]),
        }
    }
    let piece = |drawing, count| Piece {
        drawing,
        heads: false,
        group: None,
        count,
    };
    let drawn = groups.iter().flat_map(|group| drawn(group, &letters));
    let mut pieces: Vec<Piece> = drawn.map(|drawing| piece(drawing, 1)).collect();
    let below = match pieces.is_empty() {
        true => Some(told(&["No metric was found.".to_owned()])),
        false => letters.told(),
    };
    match (below, pieces.last_mut()) {
        // A few lines stay with the last row.
        (Some(told), Some(last)) if told.height < 3.0 * SMALL_LINE => {
            last.drawing.place(&told, (0.0, last.drawing.height));
            last.drawing.height += told.height;
        }
        (told, _) => pieces.extend(told.map(|drawing| piece(drawing, 0))),
    }
    let again = format!("{}, continued", readings.name);
    Rows {
        names: Some([
            name(&readings.name, 9.0, Role::Heading(2)),
            name(&again, 7.5, Role::Paragraph),
        ]),
        headings: titles(),
        pieces,
        groups: Vec::new(),
        after: 3.0,
    }
}

/// A scenario's name, with room for the titles beside or below it.
fn name(text: &str, size: f64, role: Role) -> Drawing {
    let mut drawing = Drawing::new(WIDTH, 4.0);
    let lines = wrapped(text, size, true, WIDTH);
    drawing.as_role(role, |drawing| {
        for line in &lines {
            drawing.height += 10.0;
            let at = (0.0, drawing.height - 1.0);
            drawing.write(at, size, true, Anchor::Start, BLACK, line);
        }
    });
    if lines.len() > 1 || face(true).width(text) * size > CELLS[1].0 - 24.0 {
        drawing.height += 7.0;
    }
    drawing
}

fn titles() -> Drawing {
    let mut drawing = Drawing::new(WIDTH, 3.0);
    drawing.as_role(Role::Row, |drawing| {
        for (x, anchor, _, title) in CELLS {
            drawing.as_role(Role::Header, |drawing| {
                drawing.write((x, -1.0), 5.0, false, anchor, GREY, title);
            });
        }
    });
    drawing.line(&[(0.0, 1.2), (WIDTH, 1.2)], BLACK, 0.8);
    drawing
}

/// Lines in small letters across the column.
fn told(lines: &[String]) -> Drawing {
    let mut drawing = Drawing::new(WIDTH, SMALL_LINE * lines.len() as f64 + 2.0);
    drawing.as_role(Role::Row, |drawing| {
        drawing.as_role(Role::Cell, |drawing| small(drawing, (0.0, 0.0), lines));
    });
    drawing
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

/// Metrics of one name against one limit: the group's line with its first row,
/// then each other row.
fn drawn(group: &[&Reading], letters: &Letters) -> Vec<Drawing> {
    let (alone, last) = (group.len() == 1, group.len() - 1);
    let rows = group.iter().enumerate();
    rows.map(|(index, reading)| {
        let mut drawing = Drawing::new(WIDTH, 0.0);
        let remarks = letters.remarks(reading);
        let mut below = remarks.as_str();
        if index == 0 {
            // A group of one has room for its remark beside its name.
            let long = face(false).width(&remarks) * SMALL > CELLS[0].2;
            if alone && long && named(&mut drawing, reading, &reading.label, &remarks) {
                below = "";
            } else {
                let key = in_words(&reading.key);
                let name = if alone { &reading.label } else { &key };
                named(&mut drawing, reading, name, "");
            }
        }
        let place = if alone { "" } else { &reading.at };
        metric(&mut drawing, reading, place, below);
        if index == last {
            let y = drawing.height + 0.8;
            drawing.line(&[(0.0, y), (WIDTH, y)], PALE, 0.4);
            drawing.height += 1.6;
        }
        drawing
    })
    .collect()
}

/// What was measured, and the limit that it has; false, and nothing drawn,
/// where the remark has no room between them.
fn named(drawing: &mut Drawing, reading: &Reading, name: &str, remark: &str) -> bool {
    let limit = match reading.rule.as_str() {
        "" => reading.limit.clone(),
        rule => format!("{}   rule {rule}", reading.limit),
    };
    let width = face(false).width(&limit) * SIZE;
    let beside = width < WIDTH / 2.0;
    let room = if beside { WIDTH - width - 6.0 } else { WIDTH };
    let end = face(true).width(name) * SIZE + 5.0;
    if !remark.is_empty() && (!beside || end + face(false).width(remark) * SMALL > room) {
        return false;
    }
    let names = wrapped(name, SIZE, true, room);
    let limits = wrapped(&limit, SIZE, false, WIDTH);
    let first = if beside { 0 } else { names.len() };
    let lines = |drawing: &mut Drawing, first: usize, lines: &[String], bold: bool| {
        let (x, anchor) = match bold {
            true => (0.0, Anchor::Start),
            false => (WIDTH, Anchor::End),
        };
        for (line, text) in lines.iter().enumerate() {
            let y = LINE * ((first + line) as f64 + 0.9);
            drawing.write((x, y), SIZE, bold, anchor, BLACK, text);
        }
    };
    drawing.as_role(Role::Row, |drawing| {
        drawing.as_role(Role::Cell, |drawing| {
            lines(drawing, 0, &names, true);
            if !remark.is_empty() {
                small(drawing, (end, 1.2), &[remark.to_owned()]);
            }
        });
        drawing.as_role(Role::Cell, |drawing| lines(drawing, first, &limits, false));
    });
    let below = if beside { 0 } else { limits.len() };
    drawing.height += LINE * (names.len() + below) as f64;
    true
}

/// One metric's cells below what the drawing has, and its remarks under them.
fn metric(drawing: &mut Drawing, reading: &Reading, place: &str, remarks: &str) {
    let stands_out = matches!(reading.verdict, "FAIL" | "INCONCLUSIVE");
    let top = drawing.height;
    // A short remark has room beside the place.
    let after = match place {
        "" => 0.0,
        place => face(stands_out).width(place) * SIZE + 3.0,
    };
    let room = CELLS[0].2 - after;
    let inside = face(false).width(remarks) * SMALL <= room;
    let texts = [
        place,
        &reading.value,
        &reading.uncertainty,
        "",
        &reading.margin,
        reading.verdict,
    ];
    let cells = texts.into_iter().zip(CELLS).enumerate();
    let cells = cells.map(|(index, (text, (_, _, width, title)))| {
        let verdict = title == "VERDICT";
        let bold = verdict || (stands_out && index == 0);
        let size = match verdict {
            // One word, whole.
            true => SIZE.min(width / face(true).width(text).max(0.1)),
            false => shrunk(text, SIZE, bold, width),
        };
        (wrapped(text, size, bold, width + 0.1), size, bold)
    });
    let cells: Vec<_> = cells.collect();
    let lines = cells.iter().map(|cell| cell.0.len()).max().unwrap_or(1);
    let most = if inside { room } else { WIDTH - 8.0 };
    let remarks = wrapped(remarks, SMALL, false, most);
    let below = match inside || remarks[0].is_empty() {
        true => 0.0,
        false => SMALL_LINE * remarks.len() as f64,
    };
    let height = LINE * lines as f64 + below;
    if stands_out {
        drawing.block((-2.0, top + 0.6), (WIDTH + 4.0, height), TINT);
    }
    let y = top + LINE * 0.85;
    drawing.as_role(Role::Row, |drawing| {
        for (index, ((lines, size, bold), (x, anchor, ..))) in
            cells.into_iter().zip(CELLS).enumerate()
        {
            drawing.as_role(Role::Cell, |drawing| {
                for (line, text) in lines.into_iter().enumerate() {
                    let at = (x, y + LINE * line as f64);
                    drawing.write(at, size, bold, anchor, BLACK, text);
                }
                match index {
                    0 if inside => small(drawing, (x + after, top + 1.0), &remarks),
                    0 if below > 0.0 => small(drawing, (8.0, top + height - below), &remarks),
                    GAUGE => on_limit(drawing, reading, (x, y - 5.9)),
                    _ => {}
                }
            });
        }
    });
    drawing.height = top + height;
}

fn on_limit(drawing: &mut Drawing, reading: &Reading, at: (f64, f64)) {
    let size = (CELLS[GAUGE].2, 7.6);
    let gauge = |(finding, limit): &(_, _)| gauge(finding, limit, size);
    if let Some(line) = reading.gauge.as_ref().and_then(gauge) {
        drawing.as_role(Role::Figure(reading.against()), |drawing| {
            drawing.place(&line, at);
        });
    }
}

/// Small grey lines from `top` on.
fn small(drawing: &mut Drawing, (x, top): (f64, f64), lines: &[String]) {
    for (line, text) in lines.iter().enumerate() {
        let at = (x, top + SMALL_LINE * (line as f64 + 0.82));
        drawing.write(at, SMALL, false, Anchor::Start, GREY, text);
    }
}
