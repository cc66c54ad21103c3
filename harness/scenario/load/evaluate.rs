//! Metrics of the load scenario: levels, output resistance, symmetry, droop and
//! ripple. It looks at held stretches only, not at how they were reached.

use super::metrics::ENTRY;
use super::seen::{LoadStep, Seen};
use crate::measurement::{Blame, COVERAGE, Estimate, Finding, combined, fit_line};
use crate::scenario::context::Context;
use crate::scenario::levels::{Level, level_samples, magnitude, on_level, own_u, student};
use crate::scenario::sheet::Sheet;
use crate::scenario::terms::Polarity;
use crate::units::{Dimension, Quantity, show};
use crate::waveform::{Signal, Trace, mean, ripple};

const VOLTAGE: (&str, Dimension) = ENTRY.metric("output_voltage");
const RESISTANCE: (&str, Dimension) = ENTRY.metric("output_resistance");
const SYMMETRY: (&str, Dimension) = ENTRY.metric("level_asymmetry");
const DROOP: (&str, Dimension) = ENTRY.metric("supply_droop");
const RIPPLE: (&str, Dimension) = ENTRY.metric("ripple");

const DRIVES: [Polarity; 3] = [
    Polarity::Positive,
    Polarity::Negative,
    Polarity::Alternating,
];

/// A step as measured.
struct Point {
    drive: Polarity,
    asked: f64,
    /// Magnitude of the output current.
    current: Option<Estimate>,
    /// Magnitude of the output voltage at the board.
    voltage: Option<Level>,
    /// The supply rail.
    rail: Option<Rail>,
}

/// The supply rail over a step. Gain and zero are those of one channel in one
/// range, so they do not come in twice where two steps are compared.
#[derive(Clone, Copy)]
struct Rail {
    mean: f64,
    own_u: f64,
    gain_u: f64,
}

impl Rail {
    /// How far `later` lies below this level: zero cancels, gain acts on the
    /// difference alone, and what is each reading's own adds up (GUM 5.2.2 with
    /// fully correlated gain and zero).
    fn droop(self, later: Self) -> Estimate {
        let droop = self.mean - later.mean;
        Estimate::new(
            droop,
            combined([self.gain_u * droop, self.own_u, later.own_u]),
        )
    }
}

pub(in crate::scenario) fn evaluate(sheet: &mut Sheet<'_>, context: &Context, seen: &Seen) {
    let steps = seen.steps.as_slice();
    if steps.is_empty() {
        let all = [VOLTAGE, RESISTANCE, SYMMETRY, DROOP, RIPPLE];
        sheet.missing(&all, "", Blame::Plan, "no step was taken");
        return;
    }
    let points: Vec<Point> = steps.iter().map(|step| point(step, context)).collect();
    output_voltage(sheet, &points, steps);
    for drive in DRIVES {
        let of_drive: Vec<&Point> = points.iter().filter(|p| p.drive == drive).collect();
        if !of_drive.is_empty() {
            output_resistance(sheet, context, drive, &of_drive, steps);
        }
    }
    level_asymmetry(sheet, context, &points, steps);
    supply_droop(sheet, &points);
    for drive in DRIVES {
        output_ripple(sheet, context, drive, steps);
    }
}

fn point(step: &LoadStep, context: &Context) -> Point {
    let read = |signal| {
        let trace = Trace::of(&step.take.capture, signal)?;
        let voltage = Trace::of(&step.take.capture, Signal::NodeVoltage)?;
        let samples = level_samples(&trace, &voltage, step.drive, context.crossing.si());
        magnitude(&trace, &samples)
    };
    let current = read(Signal::OutputCurrent).map(|level| level.all);
    // The node lies behind the leads; what they drop is added back.
    let through = current.map_or(step.current.si().abs(), |current| current.value);
    let voltage = read(Signal::NodeVoltage).map(|node| {
        let lead = context.lead_resistance.si() * through;
        let lead_u = context.lead_resistance_u.si() * through;
        Level {
            all: Estimate::new(node.all.value + lead, combined([node.all.u, lead_u])),
            own_u: node.own_u,
            common_u: combined([node.common_u, lead_u]),
        }
    });
    let rail = Trace::of(&step.take.capture, Signal::BoardSupply).and_then(|rail| {
        let mean = mean(&rail, rail.first(), f64::INFINITY, false)?.value;
        Some(Rail {
            mean,
            own_u: own_u(&rail, rail.len()),
            gain_u: rail.gain_u(),
        })
    });
    Point {
        drive: step.drive,
        asked: step.current.si().abs(),
        current,
        voltage,
        rail,
    }
}

/// `positive 1.5 A`.
fn label(drive: Polarity, amperes: f64) -> String {
    let rounded = libm::round(amperes * 1e6) / 1e6;
    format!("{} {rounded} A", drive.word())
}

/// Mean magnitude of the rail-to-rail voltage at the board's output over the
/// hold of each step, the drop along the stated leads added back.
fn output_voltage(sheet: &mut Sheet<'_>, points: &[Point], steps: &[LoadStep]) {
    let mut used: Vec<String> = Vec::new();
    for (point, step) in points.iter().zip(steps) {
        let mut at = label(point.drive, point.asked);
        while used.contains(&at) {
            at.push_str(" again");
        }
        used.push(at.clone());
        let mut notes = Vec::new();
        let (finding, common) = match point.voltage {
            Some(level) => (Finding::Value(level.all), level.common_u),
            None => {
                let reason = "no channel sees the output voltage";
                (Finding::unknown(Blame::Bench, reason), 0.0)
            }
        };
        match point.current {
            Some(current) if (current.value - point.asked).abs() > 0.1 * point.asked + 0.05 => {
                notes.push(format!(
                    "the load drew {}",
                    show(current.value, Dimension::Current)
                ));
            }
            Some(_) => {}
            None => notes.push("no channel sees the output current".into()),
        }
        if step.take.load_protected {
            notes.push("the load protected itself".into());
        }
        if step.take.supply_protected {
            notes.push("the supply protected itself".into());
        }
        sheet.add_with_common(VOLTAGE, &at, finding, common, notes);
    }
}

/// The channel's relative gain uncertainty, the worst over the steps.
fn gain_u(steps: &[LoadStep], signal: Signal) -> f64 {
    steps
        .iter()
        .filter_map(|step| step.take.capture.channel(signal))
        .map(|channel| channel.accuracy.gain_u.abs())
        .filter(|u| u.is_finite())
        .fold(0.0, f64::max)
}

/// Least squares of the voltage over the current through all steps of one
/// drive, sign changed.
///
/// Standard uncertainty (GUM 5.1.2): the slope's standard error, from the
/// residuals or from what each point owns, whichever is larger, the former
/// widened by Student's t for its few degrees of freedom (GUM G.3.2); and the
/// gains of both channels, common to all points, which no residual shows.
/// The leads' uncertainty enters whole.
fn output_resistance(
    sheet: &mut Sheet<'_>,
    context: &Context,
    drive: Polarity,
    points: &[&Point],
    steps: &[LoadStep],
) {
    let pairs: Vec<(f64, f64)> = points
        .iter()
        .filter_map(|p| Some((p.current?.value, p.voltage?.all.value)))
        .collect();
    let at = drive.word();
    let span = pairs.iter().map(|p| p.0).fold(0.0, f64::max)
        - pairs.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    let line = match fit_line(&pairs) {
        Ok(line) if span > 0.02 * context.rated_current.si().abs() => line,
        _ => {
            let (blame, reason) = if pairs.len() < points.len() {
                (
                    Blame::Bench,
                    "output voltage and current are not both captured",
                )
            } else if points.windows(2).all(|w| w[0].asked == w[1].asked) {
                (Blame::Plan, "the steps hold only one current")
            } else {
                (Blame::Bench, "the current did not follow the steps")
            };
            sheet.missing(&[RESISTANCE], at, blame, reason);
            return;
        }
    };
    let resistance = -line.slope;
    let centre = pairs.iter().map(|p| p.0).sum::<f64>() / pairs.len() as f64;
    let spread: f64 = pairs.iter().map(|p| (p.0 - centre) * (p.0 - centre)).sum();
    let own = points
        .iter()
        .filter_map(|p| p.voltage)
        .map(|level| level.own_u)
        .fold(0.0, f64::max)
        / libm::sqrt(spread);
    let fitted = line.slope_u * student(pairs.len() - 2) / COVERAGE;
    let common = combined([
        resistance * gain_u(steps, Signal::NodeVoltage),
        resistance * gain_u(steps, Signal::OutputCurrent),
        context.lead_resistance_u.si(),
    ]);
    let u = combined([fitted.max(own), common]);
    let mut notes = vec![format!(
        "line through {} steps, residual {}",
        pairs.len(),
        show(line.residual, Dimension::Voltage)
    )];
    notes.extend(heating(&pairs));
    let found = Finding::Value(Estimate::new(resistance, u));
    sheet.add_with_common(RESISTANCE, at, found, common, notes);
}

/// Where the steps went up and down again, the slope of each way.
fn heating(pairs: &[(f64, f64)]) -> Option<String> {
    let top = (0..pairs.len()).reduce(|a, b| if pairs[b].0 > pairs[a].0 { b } else { a })?;
    let up = fit_line(&pairs[..=top]).ok()?;
    let down = fit_line(&pairs[top..]).ok()?;
    Some(format!(
        "{} going up, {} going down",
        show(-up.slope, Dimension::Resistance),
        show(-down.slope, Dimension::Resistance)
    ))
}

/// Largest difference between the voltage magnitudes of the two polarities at
/// one step, held or within one alternating capture. An offset of the channel
/// enters twice, the gain only through the difference (GUM 5.1.2).
fn level_asymmetry(sheet: &mut Sheet<'_>, context: &Context, points: &[Point], steps: &[LoadStep]) {
    let crossing = context.crossing.si();
    let node = |step: &LoadStep| Trace::of(&step.take.capture, Signal::NodeVoltage);
    let mut found: Vec<(Estimate, f64, String)> = Vec::new();
    let mut keep = |a: Level, b: Level, trace: &Trace, asked: f64| {
        let apart = (a.all.value - b.all.value).abs();
        let common = combined([2.0 * trace.zero_u(), trace.gain_u() * apart]);
        let u = combined([common, a.own_u, b.own_u]);
        let at = format!("largest at {}", label(Polarity::Alternating, asked));
        let at = at.replacen("alternating ", "", 1);
        found.push((Estimate::new(apart, u), common, at));
    };
    for (point, step) in points.iter().zip(steps) {
        let Some(trace) = node(step) else { continue };
        match point.drive {
            Polarity::Positive => {
                let other = points
                    .iter()
                    .find(|o| o.drive == Polarity::Negative && o.asked == point.asked);
                if let (Some(a), Some(b)) = (point.voltage, other.and_then(|o| o.voltage)) {
                    keep(a, b, &trace, point.asked);
                }
            }
            Polarity::Negative => {}
            Polarity::Alternating => {
                let levels = trace.values().iter().zip(on_level(&trace, crossing));
                let (up, down): (Vec<f64>, Vec<f64>) = levels
                    .filter(|(_, keep)| *keep)
                    .map(|(x, _)| x)
                    .partition(|x| **x > 0.0);
                if let (Some(a), Some(b)) = (magnitude(&trace, &up), magnitude(&trace, &down)) {
                    keep(a, b, &trace, point.asked);
                }
            }
        }
    }
    let largest = found
        .into_iter()
        .reduce(|a, b| if b.0.value > a.0.value { b } else { a });
    match largest {
        Some((apart, common, note)) => {
            sheet.add_with_common(SYMMETRY, "", Finding::Value(apart), common, vec![note]);
        }
        None => {
            let reason = "no step was taken in both polarities with the output voltage captured";
            sheet.missing(&[SYMMETRY], "", Blame::Plan, reason);
        }
    }
}

/// Mean of the supply rail over the step of least current less that over the
/// step of most, the largest over the drives. Zero and most of the gain cancel
/// (GUM F.1.2.3): the gain counts through the difference, noise through both.
fn supply_droop(sheet: &mut Sheet<'_>, points: &[Point]) {
    let mut worst: Option<(Estimate, f64, Polarity)> = None;
    for drive in DRIVES {
        let of_drive = || {
            points
                .iter()
                .filter(move |p| p.drive == drive)
                .filter_map(|p| Some((p.asked, p.rail?)))
        };
        let first = of_drive().reduce(|a, b| if b.0 < a.0 { b } else { a });
        let last = of_drive().reduce(|a, b| if b.0 > a.0 { b } else { a });
        if let (Some(first), Some(last)) = (first, last)
            && last.0 > first.0
        {
            let droop = first.1.droop(last.1);
            let common = (first.1.gain_u * droop.value).abs();
            if worst.is_none_or(|(known, ..)| droop.value > known.value) {
                worst = Some((droop, common, drive));
            }
        }
    }
    match worst {
        Some((droop, common, drive)) => {
            let note = format!("largest {}", drive.word());
            sheet.add_with_common(DROOP, "", Finding::Value(droop), common, vec![note]);
        }
        None if points.iter().any(|p| p.rail.is_some()) => {
            sheet.missing(&[DROOP], "", Blame::Plan, "the steps hold only one current");
        }
        None => sheet.missing(
            &[DROOP],
            "",
            Blame::Bench,
            "no channel sees the supply rail",
        ),
    }
}

/// Peak to peak of the output voltage magnitude over the last step of a drive.
fn output_ripple(sheet: &mut Sheet<'_>, context: &Context, drive: Polarity, steps: &[LoadStep]) {
    let of_drive = steps.iter().filter(|step| step.drive == drive);
    let Some(last) = of_drive.reduce(|a, b| {
        if b.current.si() >= a.current.si() {
            b
        } else {
            a
        }
    }) else {
        return;
    };
    let found = Trace::of(&last.take.capture, Signal::NodeVoltage).and_then(|trace| {
        let samples = level_samples(&trace, &trace, drive, context.crossing.si());
        ripple(&samples, &trace)
    });
    match found {
        Some((span, noise)) => {
            let note = format!(
                "of which sample noise alone makes about {}",
                show(noise, Dimension::Voltage)
            );
            sheet.add(RIPPLE, drive.word(), Finding::Value(span), vec![note]);
        }
        None => sheet.missing(
            &[RIPPLE],
            drive.word(),
            Blame::Bench,
            "no channel sees the output voltage",
        ),
    }
}
