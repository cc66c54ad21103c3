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

/// Columns where nobody watches, and the fewest columns and lines of a screen.
const PLAIN: usize = 80;
const FEWEST: (usize, usize) = (80, 24);
/// From so many columns on counts are told in words.
const WORDY: usize = 100;

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
    /// Instants told of each broken rule.
    places: usize,
    /// A line for each rule that is met, rather than one for all.
    met: bool,
    /// The reason at each rule that could not be judged.
    reasons: bool,
    /// What else was measured.
    facts: bool,
}

/// From all that is worth showing to what must be.
const ROOMS: [Room; 9] = [
    room(true, 3, 6, 12, 12).with(true, true, true),
    room(true, 2, 6, 8, 8).with(true, true, true),
    room(true, 1, 3, 6, 6).with(true, true, true),
    room(true, 1, 3, 4, 4).with(false, true, true),
    room(false, 1, 3, 4, 4).with(false, true, true),
    room(false, 1, 1, 2, 4).with(false, true, true),
    room(false, 1, 0, 1, 3).with(false, false, true),
    room(false, 1, 0, 1, 1).with(false, false, false),
    room(false, 0, 0, 1, 1).with(false, false, false),
];

const fn room(
    histogram: bool,
    stretches: usize,
    packets: usize,
    odd: usize,
    places: usize,
) -> Room {
    Room {
        histogram,
        stretches,
        packets,
        odd,
        places,
        met: true,
        reasons: true,
        facts: true,
    }
}

impl Room {
    const fn with(self, met: bool, reasons: bool, facts: bool) -> Self {
        Self {
            met,
            reasons,
            facts,
            ..self
        }
    }
}

/// The inspection as lines that fit the terminal, or 40 of 80 columns where
/// nobody watches: what breaks a rule first, where it does and drawn, then what
/// could not be judged, then the rest as far as there is room. What must be said
/// is said even where it does not fit.
pub fn screen(inspection: &Inspection, screen: Screen) -> String {
    let (width, lines) = if screen.live {
        // The prompt takes a line.
        let height = screen.height.max(FEWEST.1) - 1;
        (screen.width.max(FEWEST.0), height)
    } else {
        (PLAIN, Screen::PLAIN.height)
    };
    let mut text = String::new();
    for room in ROOMS {
        text = wrapped(&whole(inspection, screen.live, room, width), width);
        if text.lines().count() <= lines {
            break;
        }
    }
    text
}

fn whole(inspection: &Inspection, live: bool, room: Room, width: usize) -> String {
    let mut text = String::new();
    head(&mut text, inspection, room);
    rules(&mut text, inspection, room, width, Standing::Violation);
    let broken = inspection.standing() == Some(Standing::Violation);
    if broken {
        stretches(&mut text, inspection, live, room);
    }
    if let Some(signal) = &inspection.signal {
        rules(&mut text, inspection, room, width, Standing::Undecided);
        rules(&mut text, inspection, room, width, Standing::Within);
        if room.facts {
            sources(&mut text, inspection);
        }
        match (live, room.histogram) {
            (true, true) => histogram(&mut text, inspection, signal),
            (false, true) => bins(&mut text, signal),
            (_, false) => {}
        }
        facts(&mut text, signal, room);
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
        let _ = writeln!(text, "  odd: {more} more (--json lists them)");
    }
    if !broken {
        stretches(&mut text, inspection, live, room);
    }
    conclusion(&mut text, inspection);
    text
}

fn stretches(text: &mut String, inspection: &Inspection, live: bool, room: Room) {
    for (index, stretch) in inspection.stretches.iter().enumerate() {
        if live && index < room.stretches {
            sketch(text, stretch);
        } else if index < room.stretches.max(1) {
            let _ = writeln!(text, "  see: {}", stretch.title);
        }
    }
}

/// The rules of one standing.
fn rules(text: &mut String, inspection: &Inspection, room: Room, width: usize, of: Standing) {
    let rows = inspection.rows.iter().filter(|row| row.standing == of);
    let rows: Vec<&RuleRow> = rows.collect();
    if of == Standing::Within && !room.met {
        if !rows.is_empty() {
            let names: Vec<&str> = rows.iter().map(|row| row.what.as_str()).collect();
            let style = style(of);
            let names = names.join(", not ");
            let _ = writeln!(text, "  {style}within{style:#}    not {names}");
        }
        return;
    }
    // One reason for many rules is told once.
    let mut told: Option<&str> = None;
    for row in rows {
        rule(text, row, width);
        places(text, row, room.places);
        if let Some(note) = &row.note
            && of != Standing::Within
            && room.reasons
            && told.replace(note.as_str()) != Some(note.as_str())
        {
            let _ = writeln!(text, "    {}", harmless(note));
        }
    }
}

/// Where a rule is broken, and how often beside a glitch.
fn places(text: &mut String, row: &RuleRow, most: usize) {
    let decided: Vec<_> = row.places.iter().filter(|place| place.decided).collect();
    if decided.is_empty() {
        return;
    }
    let shown = decided.iter().take(most);
    let shown: Vec<String> = shown.map(|place| format!("{:.6}", place.at_s)).collect();
    let _ = write!(text, "    at {} s", shown.join(", "));
    let more = row.beyond.saturating_sub(shown.len() as u64);
    if more > 0 {
        let listed = decided.len();
        let _ = write!(text, " and {more} more (--json locates {listed})");
    }
    match decided.iter().filter(|place| place.glitch).count() {
        0 => {}
        beside if beside == decided.len() => {
            let _ = write!(text, "; beside a glitch each");
        }
        beside => {
            let _ = write!(text, "; {beside} of {} beside a glitch", decided.len());
        }
    }
    text.push('\n');
}

/// Lines broken between words where they are too long, and set in; colours take
/// no room.
fn wrapped(text: &str, columns: usize) -> String {
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
        if wide(line) <= columns {
            out.push_str(line);
            out.push('\n');
            continue;
        }
        let mut column = 0;
        for word in line.split_inclusive(' ') {
            let width = wide(word.trim_end());
            if column > 4 && column + width > columns {
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

fn head(text: &mut String, inspection: &Inspection, room: Room) {
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
    if !room.facts {
        return;
    }
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
    // Added to zero, a negative zero has no sign.
    let value = value + 0.0;
    match expanded {
        // Below a hundred thousandth nobody reads it.
        Some(expanded) if expanded > 1e-5 * value.abs() && expanded > 1e-12 => {
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

fn rule(text: &mut String, row: &RuleRow, width: usize) {
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
    let counts = match (row.beyond, row.near, width >= WORDY) {
        (0, 0, _) if row.checked == 0 => "of 0".to_owned(),
        (0, 0, _) => format!("of {}", row.checked),
        (0, near, false) => format!("{near}/{}", row.checked),
        (beyond, _, false) => format!("{beyond}/{}", row.checked),
        (beyond, 0, true) => format!("{beyond} beyond of {}", row.checked),
        (0, near, true) => format!("{near} too near of {}", row.checked),
        (beyond, near, true) => format!("{beyond} beyond, {near} too near of {}", row.checked),
    };
    let value_width = if width >= WORDY { 20 } else { 17 };
    let _ = writeln!(
        text,
        "  {style}{}{style:#} {} {} {} {}",
        padded(row.standing.word(), 9),
        padded(&row.what, 31),
        padded(&value, value_width),
        padded(&limit, 11),
        counts
    );
}

fn facts(text: &mut String, signal: &SignalReport, room: Room) {
    let mut parts = Vec::new();
    if room.facts {
        for (name, half) in [("1", &signal.ones), ("0", &signal.zeros)] {
            if let (Some(a), Some(b)) = (&half.positive, &half.negative) {
                let us = |seconds: f64| format!("{:.2}", seconds * 1e6);
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
                "asymmetry {} in the mean",
                shown(Measure::Time, mean.value, Some(mean.expanded()))
            ));
        }
        for pair in parts.chunks(2) {
            let _ = writeln!(text, "  {}", pair.join(" · "));
        }
    }
    if let Some(levels) = &signal.levels {
        let volts = |value: f64| shown(Measure::Voltage, value, None);
        let _ = writeln!(
            text,
            "  levels {} and {}, symmetry {}, extremes {} and {}",
            volts(levels.positive.value),
            volts(-levels.negative.value),
            volts(levels.symmetry.value),
            volts(levels.extremes.0),
            volts(levels.extremes.1),
        );
    }
    edges(text, signal);
    let preamble = signal
        .packets
        .shortest_preamble
        .map_or("none seen whole".to_owned(), |bits| {
            format!("shortest {bits} bits")
        });
    if room.facts {
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
}

/// Rise and fall times, and how far they overshoot.
fn edges(text: &mut String, signal: &SignalReport) {
    let Some(shape) = &signal.shape else { return };
    let mut parts = Vec::new();
    for (name, figures) in [("rise", &shape.rising), ("fall", &shape.falling)] {
        if let (Some(duration), Some(longest)) = (&figures.duration, figures.longest) {
            let over = figures
                .overshoot
                .as_ref()
                .map_or(String::new(), |(_, most)| {
                    format!(", overshoot up to {:.1} %", most * 100.0)
                });
            parts.push(format!(
                "{name} {} (longest {}){over}",
                shown(Measure::Time, duration.value, Some(duration.expanded())),
                show(longest, Dimension::Time)
            ));
        }
    }
    if !parts.is_empty() {
        let _ = writeln!(text, "  {}", parts.join(" · "));
    }
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
