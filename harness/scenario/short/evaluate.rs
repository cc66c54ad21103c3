//! Metrics of the short scenario: peak, trip time and let-through of each
//! closing, retries and recovery of the long ones, the dip of the supply and
//! the output afterwards. At each place the worst closing is the finding; of
//! several it stands for the board, and what another phase of the signal would have
//! made of it is in its uncertainty.

use super::metrics::ENTRY;
use super::seen::{Seen, ShortPulse};
use crate::interruption::{Closure, Ending, Episode, Examined, Fault, PhaseCost, Reading};
use crate::measurement::{
    Blame, Estimate, Finding, Landmark, Mark, combined, rectangular, resolution,
};
use crate::scenario::context::Context;
use crate::scenario::fault::{closure, examine, opening_u};
use crate::scenario::levels::{level_samples, magnitude, on_level};
use crate::scenario::sheet::{Sheet, Worst, largest, worst};
use crate::scenario::take::Take;
use crate::scenario::terms::{Place, Polarity};
use crate::statistics::distribution::normal_critical;
use crate::units::{Dimension, Quantity, show};
use crate::waveform::{Baseline, Signal, Trace, first_beyond, least};

const PEAK: (&str, Dimension) = ENTRY.metric("peak_current");
const TRIP_TIME: (&str, Dimension) = ENTRY.metric("trip_time");
const LET_THROUGH: (&str, Dimension) = ENTRY.metric("let_through");
const RETRIES: (&str, Dimension) = ENTRY.metric("retries");
const INTERVAL: (&str, Dimension) = ENTRY.metric("retry_interval");
const RECOVERY: (&str, Dimension) = ENTRY.metric("recovery_time");
const DIP: (&str, Dimension) = ENTRY.metric("supply_dip");
const HEALTHY: (&str, Dimension) = ENTRY.metric("recovered_voltage");

pub(in crate::scenario) fn evaluate(sheet: &mut Sheet<'_>, context: &Context, seen: &Seen) {
    let pulses = seen.pulses.as_slice();
    if pulses.is_empty() {
        let all = [
            PEAK,
            TRIP_TIME,
            LET_THROUGH,
            RETRIES,
            INTERVAL,
            RECOVERY,
            DIP,
            HEALTHY,
        ];
        sheet.missing(&all, "", Blame::Plan, "no short was made");
        return;
    }
    for place in [Place::Near, Place::Far] {
        let here: Vec<&ShortPulse> = pulses.iter().filter(|p| p.place == place).collect();
        if !here.is_empty() {
            at_place(sheet, context, place, &here);
        }
    }
}

fn at_place(sheet: &mut Sheet<'_>, context: &Context, place: Place, pulses: &[&ShortPulse]) {
    let mut found: [Vec<Reading>; 3] = Default::default();
    let mut remarks: Vec<String> = Vec::new();
    let mut dips = Vec::new();
    let mut latest = 0.0_f64;
    for pulse in pulses {
        let examined = examine(&pulse.fast, Some(place), context);
        let cost = if pulses.len() > 1 {
            examined.phase_cost()
        } else {
            PhaseCost::default()
        };
        // What a retry takes a slow capture does not show: stated as it may be.
        latest = latest.max(cost.alone);
        let readings = examined.readings();
        let three = [
            readings.trip_time.widened(cost.time),
            readings.peak_current.widened(cost.peak),
            readings.let_through,
        ];
        for (list, reading) in found.iter_mut().zip(three) {
            list.push(reading);
        }
        for note in readings.notes {
            if !remarks.contains(&note) {
                remarks.push(note);
            }
        }
        dips.push(supply_dip(&pulse.fast, &examined));
    }
    let at = place.word();
    let [times, peaks, integrals] = found;
    for (metric, readings) in [(PEAK, peaks), (TRIP_TIME, times), (LET_THROUGH, integrals)] {
        let findings: Vec<Finding> = readings.iter().map(|r| r.finding.clone()).collect();
        let (finding, mut notes) = worst(&findings, Worst::Largest, metric.1);
        notes.extend(remarks.iter().cloned());
        let decided = largest(&findings).unwrap_or(0);
        let marks = readings[decided].marks.clone();
        let reading = Reading { finding, marks };
        sheet.add_reading(metric, at, reading, notes, &pulses[decided].fast);
    }
    recoveries(sheet, context, (place, latest), pulses);
    let (finding, notes) = worst(&dips, Worst::Largest, DIP.1);
    let dip = finding.widened(rectangular(range(&dips) / 2.0));
    sheet.add(DIP, at, dip, notes);
    let healthy: Vec<Finding> = pulses
        .iter()
        .map(|p| recovered_voltage(p, context))
        .collect();
    let (finding, notes) = worst(&healthy, Worst::Smallest, HEALTHY.1);
    let low = below_all(&finding, healthy.len());
    sheet.add(HEALTHY, at, finding.widened(low), notes);
}

/// How far the smallest of `count` readings of one value lies under it by noise alone,
/// on average: the expected maximum of as many standard normal deviates, by Blom's
/// approximation (Statistical Estimates and Transformed Beta-Variables, 1958; from
/// memory), which of two is 1 / sqrt pi.
fn below_all(finding: &Finding, count: usize) -> f64 {
    match finding {
        Finding::Value(smallest) if count > 1 => {
            smallest.u * normal_critical(0.625 / (count as f64 + 0.25))
        }
        _ => 0.0,
    }
}

/// How far apart the values lie.
fn range(findings: &[Finding]) -> f64 {
    let values = findings.iter().filter_map(|finding| match finding {
        Finding::Value(estimate) => Some(estimate.value),
        _ => None,
    });
    let ends = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    (ends.1 - ends.0).max(0.0)
}

/// Mean of the supply rail before the short less its least value from
/// inception to interruption.
///
/// Standard uncertainty (GUM 5.1.2): zero cancels, the gain counts through the
/// dip; the mean's own, and that of a least value.
fn supply_dip(take: &Take, examined: &Examined) -> Finding {
    let Examined::Fault(fault) = examined else {
        return examined.readings().trip_time.finding;
    };
    let Some(rail) = Trace::of(&take.capture, Signal::BoardSupply) else {
        return Finding::unknown(Blame::Bench, "no channel sees the supply rail");
    };
    let begun = fault.inception.value;
    let Some(base) = Baseline::of(&rail, rail.first(), begun) else {
        return Finding::unknown(Blame::Bench, "the capture has no pre-trigger");
    };
    let (until, open) = match &fault.ending {
        Ending::Own(at) => (at.value, false),
        Ending::Censored(at, _) => (at.value, true),
        Ending::Inconclusive(_, blame, reason) => return Finding::unknown(*blame, reason.as_str()),
    };
    let clipped = rail.clipped();
    let rail = rail.less(base.mean, base.mean_u());
    match least(&rail, begun, until) {
        Some(low) => {
            let dip = Estimate::new(-low.value.value, low.value.u);
            if open || clipped {
                Finding::Above(dip)
            } else {
                Finding::Value(dip)
            }
        }
        None => Finding::unknown(Blame::Bench, "no sample lies within the fault"),
    }
}

/// Mean magnitude of the output voltage at its levels after recovery divided by
/// that before the short; how many edges a window holds, and where they lie, must
/// not count.
///
/// Standard uncertainty (GUM 5.1.2): the gain cancels, and the zero too but for how
/// much more of one polarity a window holds than of the other, which is known of each;
/// noise of both means.
fn recovered_voltage(pulse: &ShortPulse, context: &Context) -> Finding {
    let node = |take: &Take| Trace::of(&take.capture, Signal::NodeVoltage);
    let (Some(before), Some(after)) = (node(&pulse.before), node(&pulse.after)) else {
        return Finding::unknown(Blame::Bench, "no channel sees the output voltage");
    };
    let dead = Finding::unknown(Blame::Board, "the output was dead before the short");
    let crossing = context.crossing.si();
    let (Some(was), is) = (at_levels(&before, crossing), at_levels(&after, crossing)) else {
        return dead;
    };
    if was.0.value < 0.25 * context.supply_voltage.si() {
        return dead;
    }
    let (was, leant) = was;
    let (is, leans) = is.unwrap_or((Estimate::new(0.0, after.sample_u()), 1.0));
    let ratio = is.value / was.value;
    let u = combined([
        (leans - ratio * leant) * after.zero_u() / was.value,
        ratio * was.u / was.value,
        is.u / was.value,
    ]);
    Finding::Value(Estimate::new(ratio, u))
}

/// Mean of the magnitudes at the levels with what is its own, and by which share more of
/// them are positive than negative.
fn at_levels(trace: &Trace, crossing: f64) -> Option<(Estimate, f64)> {
    let samples = level_samples(trace, trace, Polarity::Alternating, crossing);
    let level = magnitude(trace, &samples)?;
    let kept = on_level(trace, crossing);
    let signs = trace.values().iter().zip(kept).filter(|(_, keep)| *keep);
    let leans = signs.map(|(value, _)| value.signum()).sum::<f64>() / samples.len() as f64;
    Some((Estimate::new(level.all.value, level.own_u), leans))
}

/// Retries, their interval and the recovery, for each long closing by itself:
/// near, near 2, ... A recovery counts from a retry, and so from a trip, whose
/// instant another phase moves by the standard uncertainty `phased`.
fn recoveries(
    sheet: &mut Sheet<'_>,
    context: &Context,
    (place, phased): (Place, f64),
    pulses: &[&ShortPulse],
) {
    let metrics = [RETRIES, INTERVAL, RECOVERY];
    let slow: Vec<(&ShortPulse, &Take)> = pulses
        .iter()
        .filter_map(|pulse| Some((*pulse, pulse.slow.as_ref()?)))
        .collect();
    if slow.is_empty() {
        let reason = "no recovery pulse was taken";
        sheet.missing(&metrics, place.word(), Blame::Plan, reason);
    }
    for (index, (pulse, take)) in slow.iter().enumerate() {
        let at = match index {
            0 => place.word().to_owned(),
            _ => format!("{} {}", place.word(), index + 1),
        };
        let closure = closure(take, place, context);
        match examine(take, Some(place), context) {
            Examined::Fault(fault) => {
                let opened = closure.opened_at.filter(|_| closure.seen);
                let (retries, interval, notes) = retries(&fault, opened);
                sheet.add(RETRIES, &at, retries, Vec::new());
                sheet.add_reading(INTERVAL, &at, interval, notes, take);
            }
            other => {
                let none = other.readings().trip_time.finding;
                sheet.add(RETRIES, &at, none.clone(), Vec::new());
                sheet.add(INTERVAL, &at, none, Vec::new());
            }
        }
        let recovery = recovery_time(pulse, take, &closure, context);
        sheet.add(RECOVERY, &at, recovery.widened(phased), Vec::new());
    }
}

/// Onsets after the first while the short is closed, each followed by an
/// interruption; and the mean time from an interruption to the next onset.
///
/// Standard uncertainty of the mean of those that were seen (GUM 5.1.2): the
/// instants', as if they erred alike, since every interval is read off alike;
/// and the time base. How the intervals themselves scatter is a remark.
fn retries(fault: &Fault, opened: Option<f64>) -> (Finding, Reading, Vec<String>) {
    let unmarked = |finding| Reading {
        finding,
        marks: Vec::new(),
    };
    let trace = &fault.current.trace;
    let closed_until = opened.unwrap_or(f64::INFINITY).min(trace.last());
    let within: Vec<_> = fault
        .episodes
        .iter()
        .filter(|episode| episode.onset.value < closed_until)
        .collect();
    let intervals: Vec<Estimate> = within
        .windows(2)
        .filter_map(|pair| Some(pair[1].onset.minus(pair[0].interruption?)))
        .collect();
    let completed = within
        .iter()
        .skip(1)
        .filter(|episode| {
            episode
                .interruption
                .is_some_and(|at| at.value < closed_until)
        })
        .count();
    let count = Finding::Value(Estimate::new(completed as f64, 0.0));
    if intervals.is_empty() {
        return match &fault.ending {
            Ending::Own(at) => {
                let waited = (closed_until - at.value).max(0.0);
                let bound = Estimate::new(waited, combined([at.u, resolution(trace.period())]));
                let note = "no retry while the short was closed".to_owned();
                (count, unmarked(Finding::Above(bound)), vec![note])
            }
            Ending::Censored(_, why) => {
                let none = Finding::unknown(Blame::Board, why.as_str());
                (none.clone(), unmarked(none), Vec::new())
            }
            Ending::Inconclusive(_, blame, why) => {
                let none = Finding::unknown(*blame, why.as_str());
                (none.clone(), unmarked(none), Vec::new())
            }
        };
    }
    let n = intervals.len() as f64;
    let mean = intervals.iter().map(|i| i.value).sum::<f64>() / n;
    let instants = intervals.iter().map(|i| i.u).sum::<f64>() / n;
    let u = combined([instants, trace.time_base_u() * mean]);
    let least = intervals.iter().map(|i| i.value).fold(mean, f64::min);
    let most = intervals.iter().map(|i| i.value).fold(mean, f64::max);
    let note = format!(
        "{} intervals, {} to {}",
        intervals.len(),
        show(least, Dimension::Time),
        show(most, Dimension::Time)
    );
    let interval = Reading {
        finding: Finding::Value(Estimate::new(mean, u)),
        marks: interval_marks(&within),
    };
    (count, interval, vec![note])
}

/// Each interruption and the onset after it; more than a few say no more.
fn interval_marks(within: &[&Episode]) -> Vec<Mark> {
    const SHOWN: usize = 8;
    let pairs = within.windows(2).take(SHOWN).filter_map(|pair| {
        let ended = Mark::instant(Landmark::Interruption, pair[0].interruption?);
        Some([ended, Mark::instant(Landmark::Onset, pair[1].onset)])
    });
    pairs.flatten().collect()
}

/// From the opening of the short to the first instant from which the output
/// voltage's magnitude stays above 90 % of its mean before the short; lows as
/// short as a crossing or a cutout are left out.
///
/// Standard uncertainty (GUM 5.1.2): the crossing's, the opening's (a logic
/// line, period / sqrt 12), and the time base.
fn recovery_time(pulse: &ShortPulse, take: &Take, closure: &Closure, context: &Context) -> Finding {
    let bench = |reason: &str| Finding::unknown(Blame::Bench, reason);
    let Some(node) = Trace::of(&take.capture, Signal::NodeVoltage) else {
        return bench("no channel sees the output voltage");
    };
    let Some(before) = Trace::of(&pulse.before.capture, Signal::NodeVoltage) else {
        return bench("the output voltage before the short was not captured");
    };
    let Some(opened) = closure.opened_at.filter(|_| closure.seen) else {
        return bench("nothing shows when the short opened");
    };
    if still_flows(take, opened, context) {
        return bench("current still flowed after the short should have opened");
    }
    let was = before.values().iter().map(|x| x.abs()).sum::<f64>() / before.len() as f64;
    if was < 0.25 * context.supply_voltage.si() {
        return Finding::unknown(Blame::Board, "the output was dead before the short");
    }
    let level = 0.9 * was;
    let allowed = context.quiet(node.period());
    let start = node.index_from(opened);
    let mut low: Option<usize> = None;
    let mut back = None;
    // A low that holds the opening itself counts, however short.
    let long =
        |from: usize, to: usize| from == start || (to - from) as f64 * node.period() > allowed;
    for (index, value) in node.values().iter().enumerate().skip(start) {
        match (value.abs() < level, low) {
            (true, None) => low = Some(index),
            (false, Some(from)) => {
                if long(from, index) {
                    back = Some(index);
                }
                low = None;
            }
            _ => {}
        }
    }
    let sampled = combined([resolution(node.period()), opening_u(take, context)]);
    let stays_low = low.is_some_and(|from| long(from, node.len()));
    let too_short = node.last() - opened < allowed;
    if stays_low || too_short {
        let waited = (node.last() - opened).max(0.0);
        return Finding::Above(Estimate::new(waited, sampled));
    }
    let span = back
        .and_then(|index| first_beyond(&node, level, index.saturating_sub(1)))
        .map_or(Estimate::new(0.0, sampled), |crossing| {
            let span = (crossing.at.value - opened).max(0.0);
            let u = combined([crossing.at.u, sampled, node.time_base_u() * span]);
            Estimate::new(span, u)
        });
    Finding::Value(span)
}

/// Whether the short still carries current well after its line said that it
/// opened: a welded contact. Ten times the bounce span is left for a contact
/// that follows its marker.
fn still_flows(take: &Take, opened: f64, context: &Context) -> bool {
    let Some(current) = Trace::of(&take.capture, Signal::OutputCurrent) else {
        return false;
    };
    let late = opened + 10.0 * context.bounce.si();
    let level = context.onset_level.si().abs();
    current
        .window(late, f64::INFINITY)
        .iter()
        .any(|x| x.abs() >= level)
}
