//! The matrix of defects and scenarios as a picture that needs no colour: who
//! detected what, and who first.

use crate::drawing::typeface::fitted;
use crate::drawing::{Anchor, BLACK, Drawing, GREY, PALE, Picture};
use crate::proof::{Cell, PlanProof};

const WIDTH: f64 = 511.0;
const FROM: f64 = 124.0;
const TO: f64 = 470.0;
const ROW: f64 = 13.5;
const HEAD: f64 = 18.0;
/// Side of a mark.
const MARK: f64 = 8.0;
/// Scenarios beside each other on one picture.
const MOST_ACROSS: usize = 14;
/// Defects below each other on one picture, which with its heading takes less than a
/// third of a sheet.
const MOST_DOWN: usize = 14;

pub(in crate::handout) const LEGEND: &str = "Filled: detected, and first in the plan's order. Hollow: detected as well. Question mark: inconclusive. Point: passed. A number says in how many boards, where it was not in all of them.";

pub(in crate::handout) fn pictures(found: &PlanProof) -> Vec<Picture> {
    let mut all = Vec::new();
    let defects: Vec<usize> = (0..found.defects.len()).collect();
    let scenarios: Vec<usize> = (0..found.scenarios.len()).collect();
    for rows in defects.chunks(MOST_DOWN) {
        for columns in scenarios.chunks(MOST_ACROSS) {
            all.push(picture(found, rows, columns));
        }
    }
    all
}

fn picture(found: &PlanProof, rows: &[usize], columns: &[usize]) -> Picture {
    let height = HEAD + ROW * rows.len() as f64 + 2.0;
    let mut drawing = Drawing::new(WIDTH, height);
    let pitch = (TO - FROM) / columns.len().max(1) as f64;
    let x = |column: usize| FROM + pitch * (column as f64 + 0.5);
    for (column, scenario) in columns.iter().enumerate() {
        let name = fitted(&found.scenarios[*scenario].name, 7.0, false, pitch - 3.0);
        drawing.write((x(column), 10.0), 7.0, false, Anchor::Middle, GREY, name);
    }
    drawing.write((WIDTH, 10.0), 7.0, false, Anchor::End, GREY, "detected");
    drawing.line(&[(0.0, HEAD - 3.0), (WIDTH, HEAD - 3.0)], BLACK, 0.8);
    let mut words = String::from("Which scenario detected which defect.");
    for (row, defect) in rows.iter().map(|at| &found.defects[*at]).enumerate() {
        let middle = HEAD + ROW * (row as f64 + 0.5) - 1.0;
        let floor = middle + ROW / 2.0;
        drawing.line(&[(0.0, floor), (WIDTH, floor)], PALE, 0.3);
        let all = defect.detected == defect.tried;
        let name = fitted(&defect.name, 7.5, !all, FROM - 6.0);
        drawing.write((0.0, middle + 2.6), 7.5, !all, Anchor::Start, BLACK, name);
        let mut by = Vec::new();
        for (column, scenario) in columns.iter().enumerate() {
            let cell = defect.cells[*scenario];
            mark(&mut drawing, (x(column), middle), cell, defect.tried);
            if cell.detected > 0 {
                by.push(found.scenarios[*scenario].name.as_str());
            }
        }
        let count = format!("{} of {}", defect.detected, defect.tried);
        drawing.write((WIDTH, middle + 2.6), 7.5, !all, Anchor::End, BLACK, &count);
        let by = if by.is_empty() {
            "none here".to_owned()
        } else {
            by.join(", ")
        };
        words.push_str(&format!(" {}: {count}, by {by}.", defect.name));
    }
    Picture { drawing, words }
}

fn mark(drawing: &mut Drawing, (x, y): (f64, f64), cell: Cell, tried: usize) {
    let boards = match cell {
        Cell {
            detected: 0,
            inconclusive: 0,
            ..
        } => {
            drawing.square((x, y), 0.7, GREY);
            return;
        }
        Cell {
            detected: 0,
            inconclusive,
            ..
        } => {
            drawing.write((x, y + 2.8), 8.0, true, Anchor::Middle, BLACK, "?");
            inconclusive
        }
        Cell {
            first: 0, detected, ..
        } => {
            drawing.hollow((x, y), MARK / 2.0, 1.0);
            detected
        }
        Cell { detected, .. } => {
            drawing.square((x, y), MARK / 2.0, BLACK);
            detected
        }
    };
    if boards < tried {
        let at = (x + MARK / 2.0 + 2.0, y + 2.4);
        drawing.write(at, 6.5, false, Anchor::Start, BLACK, boards.to_string());
    }
}
