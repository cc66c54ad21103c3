//! What was measured beside the rules, as lines: half-bits, levels, edges,
//! packets and the fault current. It decides nothing and leaves no room for rules.

use super::room::Room;
use super::value::shown;
use crate::console::signs::in_signs;
use crate::inspection::{Inspection, Measure, Trip};
use crate::report::words::counted;
use crate::track::SignalReport;
use crate::units::{Dimension, Quantity, show};
use std::fmt::Write as _;

pub(super) fn facts(text: &mut String, signal: &SignalReport, room: Room) {
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
            shown(
                Measure::Voltage,
                levels.symmetry.value,
                Some(levels.symmetry.expanded())
            ),
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
                    let (most, expanded) = (100.0 * most.value, 100.0 * most.expanded());
                    let most = most.max(0.0);
                    if expanded < 0.05 {
                        format!(", overshoot up to {most:.1} %")
                    } else {
                        format!(", overshoot up to {most:.1} ± {expanded:.1} %")
                    }
                });
            parts.push(format!(
                "{name} {} (longest {}){over}",
                shown(Measure::Time, duration.value, Some(duration.expanded())),
                show(longest.value, Dimension::Time)
            ));
        }
    }
    if !parts.is_empty() {
        let _ = writeln!(text, "  {}", parts.join(" · "));
    }
}

pub(super) fn bins(text: &mut String, signal: &SignalReport) {
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

pub(super) fn packets(
    text: &mut String,
    inspection: &Inspection,
    signal: &SignalReport,
    listed: usize,
) {
    let _ = writeln!(
        text,
        "  {}, {} with a wrong check byte, {} broken off",
        counted(signal.packets.all, "packet"),
        signal.packets.wrong_check,
        signal.packets.broken
    );
    // The line that would count a single sort more names it instead.
    let all = inspection.packets.len();
    let listed = if all == listed + 1 { all } else { listed };
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

pub(super) fn trip(text: &mut String, trip: &Trip) {
    let at = |estimate: &Option<crate::measurement::Estimate>| {
        estimate.map_or("not seen".to_owned(), |at| {
            format!("at {}", show(at.value, Dimension::Time))
        })
    };
    let finding = |finding: &Option<crate::measurement::Finding>, dimension| {
        finding.as_ref().map_or("not measured".to_owned(), |found| {
            in_signs(&found.show(dimension))
        })
    };
    let _ = writeln!(
        text,
        "  current: inception {}, onset of {} {}, interruption {}{}",
        at(&trip.inception),
        show(trip.onset_level, Dimension::Current),
        at(&trip.onset),
        at(&trip.interruption),
        trip.off_level.map_or(String::new(), |off| {
            format!(" (off below {})", show(off, Dimension::Current))
        }),
    );
    let _ = writeln!(
        text,
        "  trip time {}, peak {}, let-through {}, onset reached {}",
        finding(&trip.trip_time, Dimension::Time),
        finding(&trip.peak, Dimension::Current),
        finding(&trip.let_through, Dimension::LetThrough),
        counted(trip.episodes as u64, "time")
    );
    for note in &trip.notes {
        let _ = writeln!(text, "  {note}");
    }
}
