//! What no rule of the standards speaks of but a maker should know. It judges
//! nothing.

use super::Unread;
use crate::clock::BenchInstant;
use crate::track::SignalReport;
use crate::units::{Dimension, Quantity, show};

/// What no rule speaks of but a maker should know.
pub(super) fn odd(report: &SignalReport, unread: &Unread) -> Vec<String> {
    let seconds = |at: BenchInstant| at.since_zero().si();
    let mut odd = Vec::new();
    for (spans, what) in [
        (&unread.missing, "without a reading"),
        (&unread.infinite, "beyond any reading"),
    ] {
        if let Some(first) = spans.first.first() {
            odd.push(format!(
                "{} {what}, in {} of {}{} at {:.6} s",
                counted(spans.samples, ("sample or value", "samples or values")),
                counted(spans.count, ("stretch", "stretches")),
                show(spans.total, Dimension::Time),
                if spans.count == 1 {
                    ","
                } else {
                    " together, the first"
                },
                first.from
            ));
        }
    }
    if let Some((at, length)) = report.glitches.first.first() {
        odd.push(format!(
            "{}, {}at {:.6} s, {:.2} us long",
            counted(report.glitches.count, ("glitch", "glitches")),
            if report.glitches.count == 1 {
                ""
            } else {
                "the first "
            },
            seconds(*at),
            length.seconds().si() * 1e6
        ));
    }
    if report.neither > 0 {
        odd.push(format!(
            "{} neither a 1's nor a 0's even to a decoder",
            counted(report.neither, ("half-bit is", "half-bits are"))
        ));
    }
    if report.silences > 0 {
        odd.push(format!(
            "{} of more than 30 ms without an edge",
            counted(report.silences, ("gap", "gaps"))
        ));
    }
    if let Some(at) = report.packets.first_broken {
        odd.push(format!(
            "packets break off, the first at {:.6} s",
            seconds(at)
        ));
    }
    if let Some(dead) = &report.dead {
        odd.push(format!(
            "both rails joined or dead {} outside a cutout",
            counted(dead.count, ("time", "times"))
        ));
    }
    if report.edges > 0 && report.packets.all == 0 {
        odd.push("no packet: ones only, another signal, or the wrong channel".to_owned());
    }
    for (name, half) in [("1", &report.ones), ("0", &report.zeros)] {
        if let (Some(a), Some(b)) = (&half.positive, &half.negative) {
            let apart = a.mean.minus(b.mean);
            if apart.value.abs() > 0.5e-6 + apart.expanded() {
                odd.push(format!(
                    "positive halves of {name} are {:.2} us {} than negative ones in the mean",
                    apart.value.abs() * 1e6,
                    if apart.value > 0.0 {
                        "longer"
                    } else {
                        "shorter"
                    }
                ));
            }
        }
    }
    let shapes = report
        .shape
        .iter()
        .flat_map(|shape| [&shape.rising, &shape.falling]);
    let distorted: u64 = shapes.map(|figures| figures.distorted).sum();
    if distorted > 0 {
        odd.push(format!(
            "{} backwards for a while",
            counted(
                distorted,
                (
                    "of the measured transitions runs",
                    "of the measured transitions run"
                )
            )
        ));
    }
    odd
}

/// `1 glitch`, `2 glitches`.
fn counted(count: u64, (one, more): (&str, &str)) -> String {
    format!("{count} {}", if count == 1 { one } else { more })
}
