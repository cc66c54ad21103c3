//! An inspection as one screen of lines, colour only repeating words. It
//! decides nothing.

use super::histogram::histogram;
use super::sketch::sketch;
use super::{Inspection, Measure, RuleRow, Standing, Trip};
use crate::console::Screen;
use crate::console::row::padded;
use crate::ident::harmless;
use crate::track::SignalReport;
use crate::units::{Dimension, Quantity, show, show_with_uncertainty};
use anstyle::{AnsiColor, Style};
use std::fmt::Write as _;

/// Kinds of packets listed on a screen.
const PACKETS: usize = 6;
/// Stretches drawn on a screen.
const STRETCHES: usize = 2;

/// The inspection as lines. A screen that is not watched gets no drawings.
pub fn screen(inspection: &Inspection, screen: Screen) -> String {
    let mut text = String::new();
    head(&mut text, inspection);
    if let Some(signal) = &inspection.signal {
        if screen.live {
            histogram(&mut text, inspection, signal);
        } else {
            bins(&mut text, signal);
        }
        for row in &inspection.rows {
            rule(&mut text, row);
        }
        facts(&mut text, signal);
        packets(&mut text, inspection, signal);
    }
    if let Some(found) = &inspection.trip {
        trip(&mut text, found);
    }
    for line in &inspection.odd {
        let _ = writeln!(text, "  odd: {}", harmless(line));
    }
    if screen.live {
        for stretch in inspection.stretches.iter().take(STRETCHES) {
            sketch(&mut text, stretch);
        }
    } else {
        for stretch in &inspection.stretches {
            let _ = writeln!(text, "  see: {}", stretch.title);
        }
    }
    conclusion(&mut text, inspection);
    text
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
    let _ = writeln!(
        text,
        "  U (k = 2) holds sampling, noise and resolution; errors of probe gain and time base are not in the file"
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

fn style(standing: Standing) -> Style {
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
        "  {style}{}{style:#} {} {} {} {}  {}",
        padded(row.standing.word(), 9),
        padded(&row.what, 29),
        padded(&value, 20),
        padded(&limit, 11),
        row.source,
        counts
    );
    if let Some(note) = &row.note {
        let _ = writeln!(text, "            {note}");
    }
}

fn facts(text: &mut String, signal: &SignalReport) {
    let us = |seconds: f64| format!("{:.2}", seconds * 1e6);
    let mut parts = Vec::new();
    for (name, half) in [("1", &signal.ones), ("0", &signal.zeros)] {
        if let (Some(a), Some(b)) = (&half.positive, &half.negative) {
            parts.push(format!(
                "halves of {name}: {} us positive, {} us negative",
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
        "  preambles {preamble}, {} refused · {} cutouts · {} gaps over 30 ms, the longest quiet {} · {} glitches",
        signal.packets.refused,
        signal.cutouts.count,
        signal.silences,
        show(signal.longest_silence.seconds().si(), Dimension::Time),
        signal.glitches.count,
    );
}

fn packets(text: &mut String, inspection: &Inspection, signal: &SignalReport) {
    let _ = writeln!(
        text,
        "  {} packets, {} with a wrong check byte, {} broken off",
        signal.packets.all, signal.packets.wrong_check, signal.packets.broken
    );
    for (words, count) in inspection.packets.iter().take(PACKETS) {
        let _ = writeln!(text, "  {count:>7}  {words}");
    }
    let rest = inspection.packets.iter().skip(PACKETS);
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

fn conclusion(text: &mut String, inspection: &Inspection) {
    let of = |standing| {
        let rows = inspection.rows.iter();
        rows.filter(|row| row.standing == standing).count()
    };
    let (standing, words) = match inspection.standing() {
        None => (
            Standing::Undecided,
            "NOTHING TO JUDGE: no half-bit of a track signal was found".to_owned(),
        ),
        Some(Standing::Within) => (
            Standing::Within,
            format!("WITHIN: all {} rules are met", inspection.rows.len()),
        ),
        Some(Standing::Undecided) => (
            Standing::Undecided,
            format!(
                "UNDECIDED: {} rules are met, {} cannot be told at this sampling",
                of(Standing::Within),
                of(Standing::Undecided)
            ),
        ),
        Some(Standing::Violation) => (
            Standing::Violation,
            format!(
                "VIOLATION: {} of {} rules are broken",
                of(Standing::Violation),
                inspection.rows.len()
            ),
        ),
    };
    let style = style(standing).bold();
    let _ = writeln!(text, "{style}{words}{style:#} ({})", inspection.rules);
}
