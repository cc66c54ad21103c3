//! An inspection as a drawing: the signal around one stretch, and its
//! half-bits. Black on white, told apart by shape and text and not by colour.

use super::histogram::{SHOWN, share};
use crate::clock::BenchInstant;
use crate::inspection::{Inspection, Stretch};
use crate::track::{Polarity, SignalReport};
use std::fmt::Write as _;

const WIDTH: f64 = 900.0;
const HEIGHT: f64 = 620.0;
/// Left and right end of both axes.
const AXIS: (f64, f64) = (90.0, 870.0);
/// Top and bottom of the signal.
const SIGNAL: (f64, f64) = (80.0, 270.0);
/// Top and bottom of the half-bits.
const BARS: (f64, f64) = (370.0, 540.0);

/// The drawing as a file.
pub fn svg(inspection: &Inspection) -> String {
    let mut text = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" width=\"{WIDTH}\" height=\"{HEIGHT}\" font-family=\"sans-serif\" font-size=\"13\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n"
    );
    let title = format!("{}: {}", inspection.file, inspection.channel);
    words(&mut text, AXIS.0, 26.0, "start", &title);
    if let Some(stretch) = inspection.stretches.first() {
        signal(&mut text, stretch);
    } else {
        words(
            &mut text,
            AXIS.0,
            60.0,
            "start",
            "no stretch of a signal to draw",
        );
    }
    if let Some(report) = &inspection.signal {
        bars(&mut text, inspection, report);
    }
    text.push_str("</svg>\n");
    text
}

fn words(text: &mut String, x: f64, y: f64, anchor: &str, words: &str) {
    let safe: String = words
        .chars()
        .filter(|c| !c.is_control())
        .flat_map(|c| match c {
            '&' => "&amp;".chars().collect::<Vec<_>>(),
            '<' => "&lt;".chars().collect(),
            '>' => "&gt;".chars().collect(),
            c => vec![c],
        })
        .collect();
    let _ = writeln!(
        text,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\">{safe}</text>"
    );
}

fn line(text: &mut String, from: (f64, f64), to: (f64, f64), dash: &str) {
    let _ = writeln!(
        text,
        "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" stroke=\"black\" stroke-dasharray=\"{dash}\"/>",
        from.0, from.1, to.0, to.1
    );
}

fn signal(text: &mut String, stretch: &Stretch) {
    let (from, to) = stretch.window;
    let span = (to - from).picoseconds().max(1) as f64;
    let x = |at: BenchInstant| {
        AXIS.0 + (AXIS.1 - AXIS.0) * ((at - from).picoseconds() as f64 / span).clamp(0.0, 1.0)
    };
    words(text, AXIS.0, 52.0, "start", &stretch.title);
    let (start, end) = (x(stretch.mark.0), x(stretch.mark.1));
    let _ = writeln!(
        text,
        "<rect x=\"{start:.1}\" y=\"{}\" width=\"{:.1}\" height=\"{}\" fill=\"#dddddd\" stroke=\"black\" stroke-dasharray=\"3 3\"/>",
        SIGNAL.0 - 10.0,
        (end - start).max(2.0),
        SIGNAL.1 - SIGNAL.0 + 20.0
    );
    let points = if stretch.samples.is_empty() {
        for (level, name) in [(0.1, "positive"), (0.9, "negative")] {
            let y = SIGNAL.0 + level * (SIGNAL.1 - SIGNAL.0);
            words(text, AXIS.0 - 8.0, y + 4.0, "end", name);
        }
        steps(stretch, x)
    } else {
        curve(text, stretch, x)
    };
    let _ = writeln!(
        text,
        "<polyline points=\"{points}\" fill=\"none\" stroke=\"black\" stroke-width=\"1.6\"/>"
    );
    let bottom = SIGNAL.1 + 12.0;
    line(text, (AXIS.0, bottom), (AXIS.1, bottom), "");
    let width = span / 1e6;
    let steps = [20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0];
    let step = steps.into_iter().find(|step| width / step <= 10.0);
    let step = step.unwrap_or(5000.0);
    let mut us = 0.0;
    while us <= width {
        let place = AXIS.0 + (AXIS.1 - AXIS.0) * us / width;
        line(text, (place, bottom), (place, bottom + 5.0), "");
        words(text, place, bottom + 20.0, "middle", &format!("{us:.0}"));
        us += step;
    }
    let origin = format!(
        "us after {:.6} s in the capture",
        from.picoseconds() as f64 / 1e12
    );
    words(
        text,
        (AXIS.0 + AXIS.1) / 2.0,
        bottom + 38.0,
        "middle",
        &origin,
    );
}

fn steps(stretch: &Stretch, x: impl Fn(BenchInstant) -> f64) -> String {
    let y = |polarity| {
        let level = match polarity {
            Some(Polarity::Positive) => 0.1,
            Some(Polarity::Negative) => 0.9,
            _ => 0.5,
        };
        SIGNAL.0 + level * (SIGNAL.1 - SIGNAL.0)
    };
    let mut height = y(stretch.before);
    let mut points = format!("{:.1},{height:.1}", AXIS.0);
    for edge in &stretch.edges {
        let _ = write!(points, " {:.1},{height:.1}", x(edge.at));
        height = y(Some(edge.to));
        let _ = write!(points, " {:.1},{height:.1}", x(edge.at));
    }
    let _ = write!(points, " {:.1},{height:.1}", AXIS.1);
    points
}

fn curve(text: &mut String, stretch: &Stretch, x: impl Fn(BenchInstant) -> f64) -> String {
    let samples = &stretch.samples;
    let most = samples.iter().map(|(_, v)| v.abs()).fold(1e-9, f64::max);
    // A round number of volts at both ends of the axis.
    let top = libm::ceil(most / 5.0) * 5.0;
    let y = |volts: f64| SIGNAL.0 + (SIGNAL.1 - SIGNAL.0) * (0.5 - volts / (2.0 * top));
    line(text, (AXIS.0, SIGNAL.0), (AXIS.0, SIGNAL.1), "");
    for volts in [-top, 0.0, top] {
        line(text, (AXIS.0 - 5.0, y(volts)), (AXIS.0, y(volts)), "");
        words(
            text,
            AXIS.0 - 8.0,
            y(volts) + 4.0,
            "end",
            &format!("{volts} V"),
        );
    }
    line(text, (AXIS.0, y(0.0)), (AXIS.1, y(0.0)), "2 4");
    samples
        .iter()
        .map(|&(time, volts)| {
            let at = BenchInstant::from_picoseconds(libm::round(time * 1e12) as i64);
            format!("{:.1},{:.1}", x(at), y(volts))
        })
        .collect::<Vec<_>>()
        .join(" ")
}

fn bars(text: &mut String, inspection: &Inspection, signal: &SignalReport) {
    let most = signal.histogram.iter().map(|(_, n)| *n).max().unwrap_or(0);
    let (first, last) = (f64::from(SHOWN.0), f64::from(SHOWN.1) + 1.0);
    let x = |us: f64| AXIS.0 + (AXIS.1 - AXIS.0) * (us - first) / (last - first);
    let y = |count| BARS.1 - (BARS.1 - BARS.0) * share(count, most.max(1));
    let title = "half-bits by length; the number axis is logarithmic";
    words(text, AXIS.0, BARS.0 - 34.0, "start", title);
    for &(us, count) in &signal.histogram {
        if (SHOWN.0..=SHOWN.1).contains(&us) {
            let (left, top) = (x(f64::from(us)), y(count));
            let _ = writeln!(
                text,
                "<rect x=\"{left:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"#888888\" stroke=\"black\"/>",
                x(f64::from(us) + 1.0) - left,
                BARS.1 - top
            );
        }
    }
    line(text, (AXIS.0, BARS.1), (AXIS.1, BARS.1), "");
    line(text, (AXIS.0, BARS.0), (AXIS.0, BARS.1), "");
    let mut decade = 1;
    while decade <= most {
        let height = y(decade);
        line(text, (AXIS.0 - 5.0, height), (AXIS.0, height), "");
        words(text, AXIS.0 - 8.0, height + 4.0, "end", &decade.to_string());
        decade = decade.saturating_mul(10);
    }
    for tick in (SHOWN.0..=SHOWN.1).filter(|us| us % 10 == 0) {
        let place = x(f64::from(tick));
        line(text, (place, BARS.1), (place, BARS.1 + 5.0), "");
        words(text, place, BARS.1 + 20.0, "middle", &tick.to_string());
    }
    for limit in inspection.limits {
        let us = limit * 1e6;
        if us <= last {
            line(text, (x(us), BARS.0 - 8.0), (x(us), BARS.1), "6 3");
            words(text, x(us), BARS.0 - 12.0, "middle", &format!("{us:.0}"));
        }
    }
    let middle = (AXIS.0 + AXIS.1) / 2.0;
    let axis = format!(
        "length of a half-bit, us; dashed: limits of NMRA S-9.1:2020, {}",
        inspection.rules
    );
    words(text, middle, BARS.1 + 42.0, "middle", &axis);
}
