//! Metrics of the overload scenario: trip current from the ramp, trip time at
//! each multiple, and trips during the hold just below. The time-current curve
//! through the trip times is a remark, never a limit.

use super::metrics::ENTRY;
use super::seen::{OverloadRamp, OverloadStep, Seen};
use crate::interruption::{Current, Ending, Examined, Reading, episodes};
use crate::measurement::{
    Blame, Estimate, Finding, Landmark, Mark, combined, rectangular, resolution,
};
use crate::scenario::context::Context;
use crate::scenario::curve;
use crate::scenario::curve::Form;
use crate::scenario::fault::{current, examine, output_stays};
use crate::scenario::sheet::Sheet;
use crate::units::{Dimension, Quantity, show};
use crate::waveform::{HalfBits, Signal, first_beyond, top_state};

const TRIP_CURRENT: (&str, Dimension) = ENTRY.metric("trip_current");
const TRIP_TIME: (&str, Dimension) = ENTRY.metric("trip_time");
const NO_TRIP: (&str, Dimension) = ENTRY.metric("nuisance_trips");

/// Half-bits over which the trip current is read.
const HALF_BITS: usize = 10;

pub(in crate::scenario) fn evaluate(sheet: &mut Sheet<'_>, context: &Context, seen: &Seen) {
    let (ramp, steps, hold) = (
        seen.ramp.as_ref(),
        seen.steps.as_slice(),
        seen.hold.as_ref(),
    );
    let times: Vec<(Reading, Vec<String>)> =
        steps.iter().map(|step| trip_time(step, context)).collect();
    let mut points: Vec<(f64, Estimate)> = steps
        .iter()
        .zip(&times)
        .filter_map(|(step, (reading, _))| match &reading.finding {
            Finding::Value(time) => Some((step.multiple, *time)),
            _ => None,
        })
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    match ramp {
        Some(ramp) => trip_current(sheet, context, ramp, points.first().map(|p| p.1)),
        None => sheet.missing(&[TRIP_CURRENT], "", Blame::Plan, "no ramp was taken"),
    }
    if steps.is_empty() {
        sheet.missing(&[TRIP_TIME], "", Blame::Plan, "no multiple was applied");
    }
    let last = steps.len().wrapping_sub(1);
    for (index, (step, (reading, mut notes))) in steps.iter().zip(times).enumerate() {
        if index == last {
            notes.extend(describe(&points));
        }
        let at = format!("{} x", step.multiple);
        sheet.add_reading(TRIP_TIME, &at, reading, notes, &step.take);
    }
    match hold {
        Some(hold) => nuisance_trips(sheet, context, hold),
        None => sheet.missing(&[NO_TRIP], "", Blame::Plan, "no hold was taken"),
    }
}

/// Interruption less onset at one multiple, with remarks.
fn trip_time(step: &OverloadStep, context: &Context) -> (Reading, Vec<String>) {
    let examined = examine(&step.take, None, context);
    let readings = examined.readings();
    let (mut time, mut notes) = (readings.trip_time, readings.notes);
    time = time.widened(examined.phase_cost().alone);
    if let Examined::NotReached { reason, .. } = &examined {
        // The load asked for more than the onset level and did not get it:
        // either it cannot draw it, or the board limits below that level.
        let reason = format!("{reason}; {} were asked for", step.current);
        time.finding = Finding::unknown(Blame::Bench, reason);
        return (time, notes);
    }
    if let Examined::Fault(fault) = &examined
        && let Ending::Censored(until, _) = &fault.ending
        && let Some(top) = top_state(&fault.current.trace, fault.onset.value, until.value)
        && top.value < 0.9 * step.current.si().abs()
        && !notes.iter().any(|note| note.starts_with("limits at"))
    {
        notes.push(format!("limits at {}", show(top.value, Dimension::Current)));
    }
    (time, notes)
}

/// The time-current curve in words.
fn describe(points: &[(f64, Estimate)]) -> Option<String> {
    if points.len() < 2 {
        return None;
    }
    let curve = curve::fit(points).ok()?;
    let apart = show(curve.lack_of_fit, Dimension::Ratio);
    Some(match curve.form {
        Form::DefiniteTime(time) => format!(
            "definite time {}, points depart by up to {apart}",
            show(time.value, Dimension::Time)
        ),
        Form::InverseTime(form) => format!(
            "inverse time {:.4} s / (M^{:.3} - 1) + {:.4} s, points depart by up to {apart}",
            form.k, form.alpha, form.c
        ),
    })
}

/// Top state of the current's magnitude over the last ten whole half-bits
/// before the interruption of the ramp, carried on to that instant, less the
/// ramp's rate times the trip time.
///
/// Standard uncertainty (GUM 5.1.2): the top state's, and rate times the trip
/// time's; half of the rise over the window as a rectangle. Without a trip
/// time the reading is too high by an unknown amount: a bound.
fn trip_current(
    sheet: &mut Sheet<'_>,
    context: &Context,
    ramp: &OverloadRamp,
    delay: Option<Estimate>,
) {
    let Some(current) = current(&ramp.take, Signal::OutputCurrent, 0.0, context) else {
        let reason = "no channel sees the output current";
        sheet.missing(&[TRIP_CURRENT], "", Blame::Bench, reason);
        return;
    };
    let trace = &current.trace;
    let rise = ramp.to.si() - ramp.from.si();
    let rate = if ramp.duration.si() > 0.0 {
        rise / ramp.duration.si()
    } else {
        0.0
    };
    // Where the ramp starts, half of its first current or more must flow.
    let awake = (0.5 * ramp.from.si().abs().min(ramp.to.si().abs())).max(current.off);
    let Some(begin) = first_beyond(trace, awake, current.start) else {
        let reason = "the load drew no current";
        sheet.missing(&[TRIP_CURRENT], "", Blame::Bench, reason);
        return;
    };
    let end = current.interruption(begin.index);
    let over = if ramp.duration.si() > 0.0 {
        ramp.duration.si().min(trace.last())
    } else {
        trace.last()
    };
    let tripped = end.filter(|end| end.value < over - 2.0 * trace.period());
    let until = tripped.map_or(over, |end| end.value);
    let (from, to) = last_half_bits(&current, &HalfBits::of(&ramp.take.capture), until, context);
    let Some(top) = top_state(trace, from, to) else {
        let reason = "too few samples before the end of the ramp";
        sheet.missing(&[TRIP_CURRENT], "", Blame::Bench, reason);
        return;
    };
    let window = rate * (until - from) / 2.0;
    let at_end = Estimate::new(top.value + window, combined([top.u, rectangular(window)]));
    let (finding, note) = match tripped {
        None => (Finding::Above(top), "no trip up to the end of the ramp"),
        Some(_) if ramp.take.load_protected => (Finding::Above(top), "the load protected itself"),
        Some(_) if ramp.take.supply_protected => {
            (Finding::Above(top), "the supply protected itself")
        }
        Some(end) if output_stays(&ramp.take, end.value, current.quiet, context) => {
            (Finding::Above(top), "the load dropped out, not the board")
        }
        Some(_) => match delay {
            Some(delay) => {
                let lag = Estimate::new(rate * delay.value, (rate * delay.u).abs());
                (
                    Finding::Value(at_end.minus(lag)),
                    "corrected for the ramp's rise during the trip time",
                )
            }
            None => (
                Finding::Below(at_end),
                "no trip time is known to correct the ramp's rise with",
            ),
        },
    };
    let ended = match (tripped, &finding) {
        (Some(end), Finding::Value(_) | Finding::Below(_)) => {
            Mark::instant(Landmark::Interruption, end)
        }
        _ => Mark::instant(
            Landmark::WatchedUntil,
            Estimate::new(until, resolution(trace.period())),
        ),
    };
    let off = Mark::current(Landmark::OffLevel, Estimate::new(current.off, 0.0));
    let read = (&ramp.take, vec![ended, off]);
    sheet.add_marked(TRIP_CURRENT, "", finding, vec![note.to_owned()], read);
}

/// The last ten whole half-bits before `until`, or as long a span, and never
/// fewer than ten samples.
fn last_half_bits(
    current: &Current,
    half_bits: &HalfBits,
    until: f64,
    context: &Context,
) -> (f64, f64) {
    let span = HALF_BITS as f64 * context.half_bit.si().max(current.trace.period());
    match half_bits.last_before(until, HALF_BITS) {
        // Half-bits long before the end tell of another stretch of the ramp.
        Some((from, to)) if until - to <= span && to - from >= 10.0 * current.trace.period() => {
            (from, to)
        }
        _ => (until - span, until),
    }
}

/// Interruptions of the output during the hold.
fn nuisance_trips(sheet: &mut Sheet<'_>, context: &Context, hold: &OverloadRamp) {
    let missing = |sheet: &mut Sheet<'_>, reason: &str| {
        sheet.missing(&[NO_TRIP], "", Blame::Bench, reason);
    };
    let Some(current) = current(&hold.take, Signal::OutputCurrent, 0.0, context) else {
        return missing(sheet, "no channel sees the output current");
    };
    let trace = &current.trace;
    let asked = hold.to.si().abs();
    let begin = (0.5 * asked).max(current.off);
    let found = episodes(
        trace,
        current.noise,
        (begin, current.off),
        current.quiet,
        current.start,
    );
    let asked_for = if hold.duration.si() > 0.0 {
        hold.duration.si()
    } else {
        hold.take.pulse.si()
    };
    let Some(first) = found.first() else {
        return missing(sheet, "the load drew no current");
    };
    // The hold begins with its own current: a trigger on one polarity may have
    // come a bit later than the load. The two clocks, the load's and the
    // capture's, need not agree better than a part in a thousand.
    let over = first.onset.value + asked_for;
    let ends: Vec<f64> = found
        .iter()
        .filter_map(|episode| episode.interruption.map(|at| at.value))
        .filter(|&at| at < over - current.quiet - 1e-3 * asked_for)
        .collect();
    let (trips, dropped): (Vec<f64>, Vec<f64>) = ends
        .iter()
        .partition(|&&at| !output_stays(&hold.take, at, current.quiet, context));
    if hold.take.load_protected || hold.take.supply_protected {
        return missing(
            sheet,
            "the load or the supply protected itself during the hold",
        );
    }
    let watched = ends.first().copied().unwrap_or(over).min(trace.last());
    let drawn = top_state(trace, first.onset.value, watched).map_or(0.0, |top| top.value);
    if trips.is_empty() && !dropped.is_empty() {
        return missing(sheet, "the load dropped out during the hold");
    }
    if trips.is_empty() && drawn < 0.95 * asked {
        let reason = format!(
            "only {} were drawn during the hold",
            show(drawn, Dimension::Current)
        );
        return missing(sheet, &reason);
    }
    if trips.is_empty() && trace.last() < 0.98 * over {
        return missing(sheet, "the capture ends before the hold does");
    }
    let notes = trips
        .first()
        .map(|at| format!("first trip after {}", show(*at, Dimension::Time)))
        .into_iter()
        .collect();
    let count = Estimate::new(trips.len() as f64, 0.0);
    sheet.add(NO_TRIP, "", Finding::Value(count), notes);
}
