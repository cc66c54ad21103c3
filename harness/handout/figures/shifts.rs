//! The shift of each metric with its interval, on a scale of its own margin, so
//! that all metrics can be seen at once. Numbers are in the tables.

use crate::comparison::Row;
use crate::drawing::typeface::fitted;
use crate::drawing::{Anchor, BLACK, Drawing, GREY, PALE, Picture, WHITE};
use crate::handout::lot_words::{interval, span};
use crate::measurement::in_words;
use crate::statistics::lots::Outcome;

const WIDTH: f64 = 511.0;
const FROM: f64 = 168.0;
const TO: f64 = 368.0;
const ROW: f64 = 12.5;
const HEAD: f64 = 22.0;
/// Margins to either side; beyond, an arrow.
const REACH: f64 = 2.0;
/// Metrics on one picture, which with its heading takes less than a third of a sheet.
const MOST: usize = 15;

pub(in crate::handout) const LEGEND: &str = "Each shift (candidate less baseline) with its 90 % interval, in units of its own margin. Filled diamond: equivalent; hollow square: not proven equivalent; filled square: different. The interval must lie between the thick lines; an arrow runs on beyond the scale. Where it lay beyond them and that was not enough for all metrics together, the wider interval is drawn that a difference needs.";

/// As many pictures as the metrics fill.
pub(in crate::handout) fn pictures(rows: &[&Row]) -> Vec<Picture> {
    let drawn: Vec<&&Row> = rows
        .iter()
        .filter(|row| row.margin.is_some() && row.interval.is_some())
        .collect();
    drawn.chunks(MOST).map(picture).collect()
}

fn picture(rows: &[&&Row]) -> Picture {
    let height = HEAD + ROW * rows.len() as f64 + 4.0;
    let mut drawing = Drawing::new(WIDTH, height);
    for (at, text) in [(-1.0, "-1 margin"), (0.0, "no shift"), (1.0, "+1 margin")] {
        let x = x(at);
        let width = if at == 0.0 { 0.6 } else { 1.8 };
        drawing.line(&[(x, HEAD - 6.0), (x, height)], BLACK, width);
        drawing.write((x, 10.0), 6.5, false, Anchor::Middle, GREY, text);
    }
    let mut words = String::from("Shifts in units of their margins.");
    for (index, row) in rows.iter().enumerate() {
        let y = HEAD + ROW * (index as f64 + 0.5);
        let (Some(margin), Some(found), Some(shift)) = (row.margin, row.interval, row.difference)
        else {
            continue;
        };
        let scaled = |si: f64| {
            if si < 0.0 {
                -si / margin.lower()
            } else {
                si / margin.upper()
            }
        };
        drawing.line(&[(0.0, y + ROW / 2.0), (WIDTH, y + ROW / 2.0)], PALE, 0.3);
        let label = format!("{} {}", row.scenario, in_words(&row.label));
        let label = fitted(&label, 7.0, false, FROM - 8.0);
        drawing.write((0.0, y + 2.5), 7.0, false, Anchor::Start, BLACK, label);
        let (low, high) = (scaled(found.lower), scaled(found.upper));
        end(&mut drawing, low, y);
        end(&mut drawing, high, y);
        drawing.line(&[(x(low), y), (x(high), y)], BLACK, 1.0);
        mark(&mut drawing, row.outcome, (x(scaled(shift)), y));
        let text = row.words();
        let bold = row.outcome == Some(Outcome::Different);
        let text = fitted(&text, 6.5, bold, WIDTH - TO - 10.0);
        drawing.write((TO + 10.0, y + 2.5), 6.5, bold, Anchor::Start, BLACK, text);
        words.push_str(&format!(
            " {} {}: {}, 90 % interval {}, {}.",
            row.scenario,
            in_words(&row.label),
            span(shift, row.dimension),
            interval(row),
            row.words()
        ));
    }
    Picture { drawing, words }
}

fn x(margins: f64) -> f64 {
    let share = (margins.clamp(-REACH, REACH) + REACH) / (2.0 * REACH);
    FROM + share * (TO - FROM)
}

/// An end of the interval: a bar, or an arrow beyond the scale.
fn end(drawing: &mut Drawing, at: f64, y: f64) {
    let x = x(at);
    if at.abs() <= REACH {
        drawing.line(&[(x, y - 2.5), (x, y + 2.5)], BLACK, 1.0);
        return;
    }
    let tip = 5.0_f64.copysign(at);
    drawing.shape(&[(x + tip, y), (x, y - 3.0), (x, y + 3.0)], BLACK);
}

fn mark(drawing: &mut Drawing, outcome: Option<Outcome>, at: (f64, f64)) {
    match outcome {
        Some(Outcome::Equivalent) => drawing.diamond(at, 3.4),
        Some(Outcome::Different) => drawing.square(at, 3.2, BLACK),
        _ => {
            drawing.square(at, 3.2, BLACK);
            drawing.square(at, 2.2, WHITE);
        }
    }
}
