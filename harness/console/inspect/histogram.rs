//! Half-bits by whole microseconds as columns of blocks, over an axis with the
//! limits marked. It counts nothing.

use crate::inspection::Inspection;
use crate::track::SignalReport;
use std::fmt::Write as _;

const BLOCKS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
/// Rows of the drawing.
const HEIGHT: usize = 4;
/// First and last microsecond drawn.
pub(super) const SHOWN: (u32, u32) = (46, 121);

/// The share of the axis that `count` takes on a logarithmic axis that begins
/// at a tenth, so that a single half-bit is seen.
pub(super) fn share(count: u64, most: u64) -> f64 {
    if count == 0 {
        return 0.0;
    }
    let decades = |count: u64| libm::log10(count.max(1) as f64) + 1.0;
    decades(count) / decades(most)
}

/// The columns with their axis, and what lies beyond it in words.
pub(super) fn histogram(text: &mut String, inspection: &Inspection, signal: &SignalReport) {
    let count = |us: u32| {
        let found = signal.histogram.iter().find(|(at, _)| *at == us);
        found.map_or(0, |(_, count)| *count)
    };
    let most = signal.histogram.iter().map(|(_, n)| *n).max().unwrap_or(0);
    if most == 0 {
        return;
    }
    let _ = writeln!(
        text,
        "  half-bits, us (log axis: the highest column is {most}, the lowest 1)"
    );
    for row in (0..HEIGHT).rev() {
        let mut line = String::from("  ");
        for us in SHOWN.0..=SHOWN.1 {
            let eighths = libm::ceil(share(count(us), most) * (HEIGHT * 8) as f64) as usize;
            line.push(BLOCKS[eighths.saturating_sub(row * 8).min(8)]);
        }
        let _ = writeln!(text, "{}", line.trim_end());
    }
    let place = |us: f64| us as usize - SHOWN.0 as usize;
    let width = (SHOWN.1 - SHOWN.0 + 1) as usize;
    let (mut axis, mut labels) = (vec!['─'; width], vec![' '; width]);
    for tick in (SHOWN.0..=SHOWN.1).filter(|us| us % 10 == 0) {
        axis[place(f64::from(tick))] = '┴';
    }
    let mut name = |at: usize, words: &str| {
        let end = at + words.len();
        let room = labels.get(at.saturating_sub(1)..end.min(width));
        if end <= width && room.is_some_and(|room| room.iter().all(|c| *c == ' ')) {
            for (slot, letter) in labels[at..].iter_mut().zip(words.chars()) {
                *slot = letter;
            }
        }
    };
    for limit in inspection.limits {
        let us = libm::round(limit * 1e6);
        if us <= f64::from(SHOWN.1) {
            axis[place(us)] = '▲';
            name(place(us), &format!("{us}"));
        }
    }
    for tick in (SHOWN.0..=SHOWN.1).filter(|us| us % 10 == 0) {
        name(place(f64::from(tick)), &tick.to_string());
    }
    let _ = writeln!(text, "  {}", axis.iter().collect::<String>());
    let labels = labels.iter().collect::<String>();
    let _ = writeln!(text, "  {}   ▲ limits", labels.trim_end());
    let outside = |keep: &dyn Fn(u32) -> bool| -> u64 {
        let bins = signal.histogram.iter().filter(|(us, _)| keep(*us));
        bins.map(|(_, n)| n).sum()
    };
    let shorter = outside(&|us| us < SHOWN.0);
    let longer = outside(&|us| us > SHOWN.1) + signal.histogram_beyond;
    if shorter + longer > 0 {
        let _ = writeln!(
            text,
            "  not drawn: {shorter} shorter than {} us, {longer} longer than {} us",
            SHOWN.0, SHOWN.1
        );
    }
}
