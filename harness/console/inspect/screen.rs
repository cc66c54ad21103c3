//! An inspection as one screen of lines, colour only repeating words. It
//! decides nothing.

use super::conclusion::conclusion;
use super::histogram::histogram;
use super::sketch::sketch;
use crate::console::Screen;
use crate::console::row::padded;
use crate::ident::harmless;
use crate::inspection::{Inspection, Measure, RuleRow, Standing, Trip};
use crate::track::SignalReport;
use crate::units::{Dimension, Quantity, show, show_with_uncertainty};
use anstyle::{AnsiColor, Style};
use std::fmt::Write as _;

/// Lines and columns of a screen, at most.
const LINES: usize = 40;
const COLUMNS: usize = 100;

/// How much of what is not decisive is shown.
#[derive(Clone, Copy)]
struct Room {
    histogram: bool,
    /// Stretches drawn.
    stretches: usize,
    /// Kinds of packets listed.
    packets: usize,
    /// Lines on what is odd.
    odd: usize,
}

/// From all that is worth showing to what must be.
const ROOMS: [Room; 6] = [
    room(true, 2, 6, 12),
    room(true, 1, 6, 8),
    room(true, 1, 3, 6),
    room(true, 0, 3, 6),
    room(true, 0, 0, 6),
    room(false, 0, 0, 6),
];

const fn room(histogram: bool, stretches: usize, packets: usize, odd: usize) -> Room {
    Room {
        histogram,
        stretches,
        packets,
        odd,
    }
}

/// The inspection as lines: 40 of 100 columns at most. A screen that is not
/// watched gets no drawings.
pub fn screen(inspection: &Inspection, screen: Screen) -> String {
    let mut text = String::new();
    for room in ROOMS {
        text = wrapped(&lines(inspection, screen, room));
        if text.lines().count() <= LINES {
            break;
        }
    }
    text
}

fn lines(inspection: &Inspection, screen: Screen, room: Room) -> String {
    let mut text = String::new();
    head(&mut text, inspection);
    if let Some(signal) = &inspection.signal {
        match (screen.live, room.histogram) {
            (true, true) => histogram(&mut text, inspection, signal),
            (false, true) => bins(&mut text, signal),
            (_, false) => {}
        }
        for row in &inspection.rows {
            rule(&mut text, row);
        }
        sources(&mut text, inspection);
        facts(&mut text, signal);
        packets(&mut text, inspection, signal, room.packets);
    }
    if let Some(found) = &inspection.trip {
        trip(&mut text, found);
    }
    for line in inspection.odd.iter().take(room.odd) {
        let _ = writeln!(text, "  odd: {}", harmless(line));
    }
    if inspection.odd.len() > room.odd {
        let more = inspection.odd.len() - room.odd;
        let _ = writeln!(text, "  odd: {more} things more (--json lists them)");
    }
    for (index, stretch) in inspection.stretches.iter().enumerate() {
        if screen.live && index < room.stretches {
            sketch(&mut text, stretch);
        } else if index < room.stretches.max(1) {
            let _ = writeln!(text, "  see: {}", stretch.title);
        }
    }
    conclusion(&mut text, inspection);
    text
}

/// Lines broken between words where they are too long, and set in; colours take
/// no room.
fn wrapped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for line in text.lines() {
        let wide = |words: &str| {
            let mut coloured = false;
            let shows = |c: char| {
                let shown = !coloured && c != '\u{1b}';
                coloured = (coloured || c == '\u{1b}') && c != 'm';
                shown
            };
            words.chars().map(shows).filter(|shown| *shown).count()
        };
        if wide(line) <= COLUMNS {
            out.push_str(line);
            out.push('\n');
            continue;
        }
        let mut column = 0;
        for word in line.split_inclusive(' ') {
            let width = wide(word.trim_end());
            if column > 4 && column + width > COLUMNS {
                out.truncate(out.trim_end_matches(' ').len());
                out.push_str("\n    ");
                column = 4;
            }
            out.push_str(word);
            column += wide(word);
        }
        out.push('\n');
    }
    out
}

/// Where the limits are written.
fn sources(text: &mut String, inspection: &Inspection) {
    let mut known: Vec<&str> = Vec::new();
    for row in &inspection.rows {
        if !known.contains(&row.source.as_str()) {
            known.push(&row.source);
        }
    }
    if !known.is_empty() {
        let _ = writeln!(text, "  limits: {}", known.join("; "));
    }
}

fn head(text: &mut String, inspection: &Inspection) {
    let bold = Style::new().bold();
    let edges = inspection
        .signal
        .as_ref()
        .map(|signal| format!(", {} edges", signal.edges))
        .unwrap_or_default();
    let _ = writeln!(
        text,
        "{bold}{}{bold:#}  {}, {}",
        harmless(&inspection.file),
        inspection.format,
        harmless(&inspection.channel)
    );
    let _ = writeln!(
        text,
        "  {} samples, {}, one every {} ({}){edges}",
        inspection.samples,
        show(inspection.length, Dimension::Time),
        show(inspection.period, Dimension::Time),
        inspection.period_from,
    );
    let left = if inspection.scale_known {
        ", and the bench's calibration"
    } else {
        "; probe gain and time base are not in the file"
    };
    let _ = writeln!(
        text,
        "  U (k = 2) holds sampling, noise and resolution{left}"
    );
}

fn bins(text: &mut String, signal: &SignalReport) {
    let bins: Vec<String> = signal
        .histogram
        .iter()
        .take(24)
        .map(|(us, count)| format!("{us}: {count}"))
        .collect();
    if !bins.is_empty() {
        let _ = writeln!(text, "  half-bits by whole us  {}", bins.join(", "));
    }
}

/// `value` of a demand as people read it.
pub(super) fn shown(measure: Measure, value: f64, expanded: Option<f64>) -> String {
    let dimension = match measure {
        Measure::Time => Dimension::Time,
        Measure::Count => return format!("{value}"),
        Measure::Slew => Dimension::VoltageSlew,
        Measure::Voltage => Dimension::Voltage,
    };
    match expanded {
        Some(expanded) if expanded > 0.0 => {
            show_with_uncertainty(value, expanded, dimension).replace("+/-", "±")
        }
        _ => show(value, dimension),
    }
}

pub(super) fn style(standing: Standing) -> Style {
    let colour = match standing {
        Standing::Within => AnsiColor::Green,
        Standing::Undecided => AnsiColor::Yellow,
        Standing::Violation => AnsiColor::Red,
    };
    Style::new().fg_color(Some(colour.into()))
}

fn rule(text: &mut String, row: &RuleRow) {
    let style = style(row.standing);
    let value = row.value.map_or("-".to_owned(), |value| {
        shown(row.measure, value, row.expanded)
    });
    let relation = if row.lower { ">=" } else { "<=" };
    let limit = match row.measure {
        // Limits are round numbers.
        Measure::Time => format!("{relation} {} us", (row.limit * 1e9).round() / 1e3),
        Measure::Slew => format!("{relation} {} V/us", row.limit / 1e6),
        Measure::Voltage => format!("{relation} {} V", row.limit),
        Measure::Count => format!("{relation} {}", row.limit),
    };
    let counts = match (row.beyond, row.near) {
        (0, 0) => format!("of {}", row.checked),
        (beyond, 0) => format!("{beyond} beyond of {}", row.checked),
        (0, near) => format!("{near} too near of {}", row.checked),
        (beyond, near) => format!("{beyond} beyond, {near} too near of {}", row.checked),
    };
    let _ = writeln!(
        text,
        "  {style}{}{style:#} {} {} {} {}",
        padded(row.standing.word(), 9),
        padded(&row.what, 31),
        padded(&value, 20),
        padded(&limit, 11),
        counts
    );
}

fn facts(text: &mut String, signal: &SignalReport) {
    let us = |seconds: f64| format!("{:.2}", seconds * 1e6);
    let mut parts = Vec::new();
    for (name, half) in [("1", &signal.ones), ("0", &signal.zeros)] {
        if let (Some(a), Some(b)) = (&half.positive, &half.negative) {
            parts.push(format!(
                "halves of {name}: {} us positive, {} negative",
                us(a.mean.value),
                us(b.mean.value)
            ));
        }
    }
    if let Some(asymmetry) = &signal.asymmetry {
        let mean = asymmetry.mean;
        parts.push(format!(
            "asymmetry {} ± {} us in the mean",
            us(mean.value),
            us(mean.expanded())
        ));
    }
    if !parts.is_empty() {
        for pair in parts.chunks(2) {
            let _ = writeln!(text, "  {}", pair.join(" · "));
        }
    }
    if let Some(levels) = &signal.levels {
        let _ = writeln!(
            text,
            "  levels {} and -{}, symmetry {}, extremes {} and {}",
            show(levels.positive.value, Dimension::Voltage),
            show(levels.negative.value, Dimension::Voltage),
            show(levels.symmetry.value, Dimension::Voltage),
            show(levels.extremes.0, Dimension::Voltage),
            show(levels.extremes.1, Dimension::Voltage),
        );
    }
    let preamble = signal
        .packets
        .shortest_preamble
        .map_or("none seen whole".to_owned(), |bits| {
            format!("shortest {bits} bits")
        });
    let _ = writeln!(
        text,
        "  preambles {preamble}, {} refused · {} cutouts · {} gaps over 30 ms, longest {} · {} glitches",
        signal.packets.refused,
        signal.cutouts.count,
        signal.silences,
        show(signal.longest_silence.seconds().si(), Dimension::Time),
        signal.glitches.count,
    );
}

fn packets(text: &mut String, inspection: &Inspection, signal: &SignalReport, listed: usize) {
    let _ = writeln!(
        text,
        "  {} packets, {} with a wrong check byte, {} broken off",
        signal.packets.all, signal.packets.wrong_check, signal.packets.broken
    );
    for (words, count) in inspection.packets.iter().take(listed) {
        let _ = writeln!(text, "  {count:>7}  {words}");
    }
    let rest = inspection.packets.iter().skip(listed);
    let (kinds, count) = rest.fold((0, 0), |(kinds, sum), (_, n)| (kinds + 1, sum + n));
    if kinds > 0 {
        let _ = writeln!(
            text,
            "  {count:>7}  others, of {kinds} sorts (--json lists them)"
        );
    }
}

fn trip(text: &mut String, trip: &Trip) {
    let at = |estimate: &Option<crate::measurement::Estimate>| {
        estimate.map_or("not seen".to_owned(), |at| show(at.value, Dimension::Time))
    };
    let finding = |finding: &Option<crate::measurement::Finding>, dimension| {
        finding.as_ref().map_or("not measured".to_owned(), |found| {
            found.show(dimension).replace("+/-", "±")
        })
    };
    let _ = writeln!(
        text,
        "  current: inception {}, onset of {} at {}, interruption {} (off below {})",
        at(&trip.inception),
        show(trip.onset_level, Dimension::Current),
        at(&trip.onset),
        at(&trip.interruption),
        trip.off_level
            .map_or("-".to_owned(), |off| show(off, Dimension::Current)),
    );
    let _ = writeln!(
        text,
        "  trip time {}, peak {}, let-through {}, onset reached {} times",
        finding(&trip.trip_time, Dimension::Time),
        finding(&trip.peak, Dimension::Current),
        finding(&trip.let_through, Dimension::LetThrough),
        trip.episodes
    );
    for note in &trip.notes {
        let _ = writeln!(text, "  {note}");
    }
}
