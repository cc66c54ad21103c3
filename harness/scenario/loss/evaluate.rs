//! Metrics of the loss scenario: how long after its signal is lost the output
//! goes dead, and what direct voltage is left on it. Whether the board is
//! meant to go dead is the plan's business.

use super::metrics::ENTRY;
use super::seen::{Seen, SignalLost};
use super::settings::LossCause;
use crate::measurement::{Blame, Estimate, Finding, combined, rectangular, resolution};
use crate::scenario::context::Context;
use crate::scenario::sheet::{Sheet, distinct};
use crate::units::{Dimension, Quantity};
use crate::waveform::{Capture, LogicLine, Signal, Trace, falls_for_good, mean, top_state};

const TIME: (&str, Dimension) = ENTRY.metric("shutdown_time");
const LEFT: (&str, Dimension) = ENTRY.metric("residual_dc");

/// Under this share of the supply voltage the rails are dead.
const DEAD: f64 = 0.05;
/// The slope is taken from this many times that level on.
const EARLIER: f64 = 1.5;
/// For this many half-bits it must stay so, and no edge of the input may come.
const HALF_BITS: f64 = 10.0;

pub(in crate::scenario) fn evaluate(sheet: &mut Sheet<'_>, context: &Context, seen: &Seen) {
    let losses = seen.losses.as_slice();
    if losses.is_empty() {
        let reason = "the signal was never taken away";
        sheet.missing(&[TIME, LEFT], "", Blame::Plan, reason);
        return;
    }
    let mut used: Vec<String> = Vec::new();
    for lost in losses {
        let at = distinct(&mut used, lost.cause.word());
        one(sheet, context, &at, lost);
    }
}

fn one(sheet: &mut Sheet<'_>, context: &Context, at: &str, lost: &SignalLost) {
    let capture = &lost.take.capture;
    let both = [TIME, LEFT];
    let Some(trace) = Trace::of(capture, Signal::NodeVoltage) else {
        let reason = "no channel sees the output voltage";
        sheet.missing(&both, at, Blame::Bench, reason);
        return;
    };
    let quiet = HALF_BITS * context.half_bit.si().max(context.cutout.si());
    let last_edge = match last_edge(capture, lost.cause, quiet) {
        Ok(edge) => edge,
        Err(reason) => {
            sheet.missing(&both, at, Blame::Bench, reason);
            return;
        }
    };
    let mut notes = Vec::new();
    if lost.take.supply_protected {
        notes.push("the supply limited its current".to_owned());
    }
    let supply = context.supply_voltage.si();
    let before = top_state(&trace, trace.first(), last_edge.value);
    match before {
        Some(level) if level.value > supply / 2.0 => {
            let finding = shutdown_time(&trace, context, last_edge, quiet);
            sheet.add(TIME, at, finding, notes.clone());
        }
        // What is dead before says nothing of the loss; what is left does.
        Some(_) => {
            let reason = "the output was dead before the signal was lost";
            sheet.missing(&[TIME], at, Blame::Board, reason);
        }
        None => {
            let reason = "nothing was captured before the loss";
            sheet.missing(&[TIME], at, Blame::Bench, reason);
        }
    }
    residual_dc(sheet, context, at, &trace, last_edge.value, notes);
}

/// The last edge of the line that tells the loss, in the middle of the period
/// in which it came; why not, where `quiet` does not follow it.
fn last_edge(capture: &Capture, cause: LossCause, quiet: f64) -> Result<Estimate, &'static str> {
    let line = match cause {
        LossCause::SignalStops | LossCause::LineA => LogicLine::SignalA,
        LossCause::LineB => LogicLine::SignalB,
    };
    let track = capture
        .line(line)
        .ok_or("no line shows the input that is lost")?;
    let edge = track
        .changes
        .last()
        .ok_or("the input line shows no edge before the loss")?;
    let period = capture.period.si();
    let time = capture.time(f64::from(*edge)) - period / 2.0;
    let end = capture.time(capture.len().saturating_sub(1) as f64);
    let rest = end - time;
    if rest.is_nan() || rest <= quiet {
        return Err("the signal was not lost while captured");
    }
    Ok(Estimate::new(time, resolution(period)))
}

/// From the last edge to the output's last fall under the level, or at least
/// the rest of the capture.
///
/// Standard uncertainty (GUM 5.1.2): of the two instants, of the time base over
/// what lies between, and of the level (gain, zero, three times the noise as a
/// rectangle) over the slope of the fall.
fn shutdown_time(trace: &Trace, context: &Context, lost: Estimate, quiet: f64) -> Finding {
    let noise = 4.0 * trace.grain() + trace.zero_u();
    let level = (DEAD * context.supply_voltage.si()).max(noise);
    let start = trace.index_from(lost.value);
    match falls_for_good(trace, level, quiet, start.saturating_sub(1)) {
        Some(fall) => {
            let time = fall.at.value - lost.value;
            // Two samples of a slow fall tell noise, not slope, and the last one
            // over the level is a late one.
            let earlier = falls_for_good(trace, EARLIER * level, quiet, start.saturating_sub(1));
            let apart = earlier.map_or(0.0, |e| (fall.at.value - e.at.value).max(0.0));
            let pace = apart / ((EARLIER - 1.0) * level);
            let u = combined([
                fall.at.u,
                lost.u,
                trace.time_base_u() * time,
                trace.scale_u(level) * pace,
                rectangular(3.0 * trace.sample_u()) * pace,
            ]);
            Finding::Value(Estimate::new(time.max(0.0), u))
        }
        None => {
            let time = trace.last() - lost.value;
            // A fall within the last quiet span would not have been told.
            let over = trace.values().iter().rposition(|x| x.abs() >= level);
            let seen = over.map_or(0.0, |index| trace.time(index) - lost.value);
            let u = combined([lost.u, trace.time_base_u() * time]);
            Finding::Above(Estimate::new(seen.max(0.0), u))
        }
    }
}

/// Mean over the last quarter of what follows the loss. Half-bits that still
/// come make it uncertain by what half of one carries (a rectangle, GUM 4.3.7).
fn residual_dc(
    sheet: &mut Sheet<'_>,
    context: &Context,
    at: &str,
    trace: &Trace,
    lost: f64,
    mut notes: Vec<String>,
) {
    let window = (trace.last() - lost) / 4.0;
    let from = trace.last() - window;
    let (Some(level), Some(top)) = (
        mean(trace, from, f64::INFINITY, false),
        top_state(trace, from, f64::INFINITY),
    ) else {
        sheet.missing(
            &[LEFT],
            at,
            Blame::Bench,
            "nothing was captured after the loss",
        );
        return;
    };
    let samples = trace.window(from, f64::INFINITY);
    let swings = |sign: f64| samples.iter().any(|x| sign * x < 0.5 * top.value);
    let alternates = top.value > DEAD * context.supply_voltage.si() && swings(1.0) && swings(-1.0);
    let ripple = if alternates {
        notes.push("the output still alternates".to_owned());
        top.value * context.half_bit.si() / (2.0 * window)
    } else {
        0.0
    };
    let u = combined([level.u, rectangular(ripple)]);
    let finding = Finding::Value(Estimate::new(level.value.abs(), u));
    sheet.add(LEFT, at, finding, notes);
}
