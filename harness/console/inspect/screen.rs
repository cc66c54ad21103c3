//! An inspection as one screen of lines, colour only repeating words. It
//! decides nothing.

use super::conclusion::conclusion;
use super::facts::{bins, facts, packets, trip};
use super::histogram::histogram;
use super::room::{ROOMS, Room};
use super::sketch::sketch;
use super::value::{shown, style};
use crate::console::Screen;
use crate::console::fold::folded;
use crate::console::row::padded;
use crate::ident::harmless;
use crate::inspection::{Inspection, Measure, RuleRow, Standing};
use crate::report::words::counted;
use crate::units::{Dimension, show};
use anstyle::Style;
use std::fmt::Write as _;

/// Columns where nobody watches, and the fewest columns and lines of a screen.
const PLAIN: usize = 80;
const FEWEST: (usize, usize) = (80, 24);
/// From so many columns on counts are told in words.
const WORDY: usize = 100;

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
        rules(&mut text, inspection, room, width, Standing::Inconclusive);
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
    // The line that would count a single one more says it instead.
    let all = inspection.odd.len();
    let said = if all == room.odd + 1 { all } else { room.odd };
    for line in inspection.odd.iter().take(said) {
        let _ = writeln!(text, "  odd: {}", harmless(line));
    }
    if all > said {
        let more = all - said;
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
            let names = names.join(", ");
            let _ = writeln!(text, "  {style}within{style:#}    none of these: {names}");
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

/// Lines broken between words where they are too long, and set in.
fn wrapped(text: &str, columns: usize) -> String {
    let lines = text.lines().flat_map(|line| folded(line, columns, 2));
    lines
        .map(|line| line.trim_end().to_owned() + "\n")
        .collect()
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
        .map(|signal| format!(", {}", counted(signal.edges, "edge")))
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
        "  {}, {}, one every {} ({}){edges}",
        counted(inspection.samples, "sample"),
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
        padded(&row.what, 28),
        padded(&value, value_width),
        padded(&limit, 11),
        counts
    );
}
