//! A stretch of the signal in two rows of characters with a third that points.
//! It chooses no stretch.

use crate::clock::BenchInstant;
use crate::inspection::Stretch;
use crate::track::Polarity;
use std::fmt::Write as _;

/// Columns of the drawing.
const WIDTH: usize = 72;

pub(super) fn sketch(text: &mut String, stretch: &Stretch) {
    let (from, to) = stretch.window;
    let span = (to - from).picoseconds().max(1);
    let column = |at: BenchInstant| {
        let place = i128::from((at - from).picoseconds()) * WIDTH as i128 / i128::from(span);
        place.clamp(0, WIDTH as i128 - 1) as usize
    };
    let mut cells = vec![None; WIDTH];
    let mut polarity = stretch.before;
    let mut begun = 0;
    for edge in &stretch.edges {
        let end = column(edge.at);
        let polarity = polarity.replace(edge.to);
        cells[begun.min(end)..end].fill(polarity);
        begun = end;
    }
    cells[begun..].fill(polarity);
    let (mut high, mut low) = (String::new(), String::new());
    let mut last = None;
    for cell in cells {
        let (above, below) = match cell {
            _ if last.is_some() && last != Some(cell) => match cell {
                Some(Polarity::Positive) => ('┌', '┘'),
                Some(Polarity::Negative) => ('┐', '└'),
                _ => ('┐', '┘'),
            },
            Some(Polarity::Positive) => ('─', ' '),
            Some(Polarity::Negative) => (' ', '─'),
            Some(Polarity::Zero) => ('_', ' '),
            None => ('?', '?'),
        };
        high.push(above);
        low.push(below);
        last = Some(cell);
    }
    let (start, end) = (column(stretch.mark.0), column(stretch.mark.1));
    let pointer = "^".repeat((end - start.min(end)).max(1));
    let us = span as f64 / 1e6;
    let _ = writeln!(text, "  {}", stretch.title);
    let _ = writeln!(text, "    {}", high.trim_end());
    let _ = writeln!(text, "    {}", low.trim_end());
    let _ = writeln!(
        text,
        "    {}{pointer}  (width {us:.0} us)",
        " ".repeat(start)
    );
}
