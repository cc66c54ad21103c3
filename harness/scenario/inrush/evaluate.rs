//! Metrics of the inrush scenario: whether the board gets going into a bank of
//! empty capacitors, how often it tripped on the way, and what flowed. Each
//! stretch of output counts; nothing is said of real faults.

use super::metrics::ENTRY;
use super::seen::{Bank, Seen};
use crate::interruption::{Episode, Noise, episodes};
use crate::measurement::{Blame, Estimate, Finding, combined, rectangular, resolution};
use crate::scenario::context::Context;
use crate::scenario::fault::{current, rail_failed};
use crate::scenario::sheet::{Sheet, Worst, worst};
use crate::scenario::take::Take;
use crate::units::{Dimension, Quantity, show};
use crate::waveform::{Signal, Trace, departure};
use std::collections::BTreeMap;

const STARTS: (&str, Dimension) = ENTRY.metric("starts");
const TRIPS: (&str, Dimension) = ENTRY.metric("nuisance_trips");
const PEAK: (&str, Dimension) = ENTRY.metric("peak_current");
const CHARGE: (&str, Dimension) = ENTRY.metric("charge");
const TIME: (&str, Dimension) = ENTRY.metric("time_to_start");

/// The share of the nominal supply voltage from which on the output is on.
const ON: f64 = 0.25;
/// The share of its nominal charge that an empty bank takes at least.
const TAKEN: f64 = 0.5;

pub(in crate::scenario) fn evaluate(sheet: &mut Sheet<'_>, context: &Context, seen: &Seen) {
    let (bank, starts) = (&seen.bank, seen.starts.as_slice());
    if starts.is_empty() {
        let all = [STARTS, TRIPS, PEAK, CHARGE, TIME];
        sheet.missing(&all, "", Blame::Plan, "no start was made");
        return;
    }
    let watched: Vec<Watched> = starts
        .iter()
        .map(|start| watch(&start.coarse, bank, context))
        .collect();
    let mut remarks: Vec<String> = Vec::new();
    for note in watched.iter().flat_map(|one| &one.notes) {
        if !remarks.contains(note) {
            remarks.push(note.clone());
        }
    }
    let list = |pick: fn(&Watched) -> &Finding| -> Vec<Finding> {
        watched.iter().map(|one| pick(one).clone()).collect()
    };
    let close: Vec<(Finding, Finding)> = starts
        .iter()
        .zip(&watched)
        .map(|(start, watched)| match &watched.untaken {
            // Both looks show the same bank by the same channels.
            Some(reason) => unseen(Blame::Bench, reason),
            None => flowed(&start.fine, context),
        })
        .collect();
    let peaks = close.iter().map(|one| one.0.clone()).collect();
    let charges = close.iter().map(|one| one.1.clone()).collect();
    for (metric, findings, which) in [
        (STARTS, list(|one| &one.starts), Worst::Smallest),
        (TRIPS, list(|one| &one.trips), Worst::Largest),
        (PEAK, peaks, Worst::Largest),
        (CHARGE, charges, Worst::Largest),
        (TIME, list(|one| &one.time), Worst::Largest),
    ] {
        let (finding, mut notes) = worst(&findings, which, metric.1);
        if metric == STARTS {
            notes.extend(remarks.iter().cloned());
        }
        sheet.add(metric, "", finding, notes);
    }
}

/// What one coarse take says.
struct Watched {
    starts: Finding,
    trips: Finding,
    time: Finding,
    notes: Vec<String>,
    /// Why what was seen to flow is not what flows into an empty bank.
    untaken: Option<String>,
}

impl Watched {
    fn nothing(blame: Blame, reason: &str) -> Self {
        let none = Finding::unknown(blame, reason);
        Self {
            starts: none.clone(),
            trips: none.clone(),
            time: none,
            notes: Vec::new(),
            untaken: None,
        }
    }
}

fn count(number: usize) -> Estimate {
    Estimate::new(number as f64, 0.0)
}

/// The stretches in which the output is on.
fn stretches(node: &Trace, context: &Context) -> Vec<Episode> {
    let level = ON * context.supply_voltage.si().abs();
    // A coarse look may take less than a sample a half-bit, and tells no noise.
    let noise = Noise::white(0.0);
    episodes(node, noise, (level, level), context.quiet(node.period()), 0)
}

fn watch(take: &Take, bank: &Bank, context: &Context) -> Watched {
    let Some(node) = Trace::of(&take.capture, Signal::NodeVoltage) else {
        return Watched::nothing(Blame::Bench, "no channel sees the output voltage");
    };
    let on = stretches(&node, context);
    let Some(first) = on.first() else {
        let none = Watched::nothing(Blame::Board, "the output never came on");
        return Watched {
            starts: Finding::Value(count(0)),
            ..none
        };
    };
    let ended: Vec<(Estimate, Estimate)> = on
        .iter()
        .filter_map(|stretch| Some((stretch.onset, stretch.interruption?)))
        .collect();
    if let Some((_, until)) = ended.first()
        && rail_failed(take, first.onset.value, context).is_some_and(|at| at <= until.value)
    {
        let reason = "the supply rail fell below its minimum first: the supply does not carry \
                      the inrush";
        return Watched::nothing(Blame::Bench, reason);
    }
    let since = |at: Estimate| {
        let span = (at.value - first.onset.value).max(0.0);
        let u = combined([at.u, first.onset.u, node.time_base_u() * span]);
        Estimate::new(span, u)
    };
    let end = Estimate::new(node.last(), resolution(node.period()));
    let longest = ended
        .iter()
        .map(|(from, to)| to.value - from.value)
        .fold(0.0, f64::max);
    let notes = remarks(&ended, first);
    match on.last().filter(|last| last.interruption.is_none()) {
        None => Watched {
            starts: Finding::Value(count(0)),
            trips: Finding::Above(count(ended.len())),
            time: Finding::Above(since(end)),
            notes,
            untaken: None,
        },
        // A retry that has just begun may fail as those before it did.
        Some(last) if !ended.is_empty() && end.value - last.onset.value <= longest => Watched {
            starts: Finding::unknown(
                Blame::Plan,
                "the capture ends so soon after the last retry that it may yet fail",
            ),
            trips: Finding::Above(count(ended.len())),
            time: Finding::Above(since(last.onset)),
            notes,
            untaken: None,
        },
        Some(last) => {
            if ended.is_empty()
                && let Some(reason) = not_charged(take, bank, context)
            {
                return Watched {
                    untaken: Some(reason.clone()),
                    ..Watched::nothing(Blame::Bench, &reason)
                };
            }
            let time = if ended.is_empty() {
                Estimate::new(0.0, 0.0)
            } else {
                since(last.onset)
            };
            Watched {
                starts: Finding::Value(count(1)),
                trips: Finding::Value(count(ended.len())),
                time: Finding::Value(time),
                notes,
                untaken: None,
            }
        }
    }
}

/// When each trip came and how long the stretch before it was.
fn remarks(ended: &[(Estimate, Estimate)], first: &Episode) -> Vec<String> {
    /// More say no more.
    const SHOWN: usize = 5;
    let time = |si: f64| show(si, Dimension::Time);
    let mut notes: Vec<String> = ended
        .iter()
        .take(SHOWN)
        .map(|(from, to)| {
            format!(
                "on at {} for {}",
                time(from.value - first.onset.value),
                time(to.value - from.value)
            )
        })
        .collect();
    if ended.len() > SHOWN {
        notes.push(format!("and {} more", ended.len() - SHOWN));
    }
    notes
}

/// Why a start without a trip proves nothing: the bank took less than half of
/// what an empty one takes, C (V - drop).
fn not_charged(take: &Take, bank: &Bank, context: &Context) -> Option<String> {
    let nominal = bank.capacitance.si() * (context.supply_voltage.si() - bank.drop.si());
    let taken = charge(take, context);
    let shown = |si: f64| show(si, Dimension::Charge);
    match taken {
        None => Some("no channel sees the output current".to_owned()),
        Some(taken) if taken.value < TAKEN * nominal => Some(format!(
            "the bank took only {} of {}: it was not connected or not empty",
            shown(taken.value),
            shown(nominal)
        )),
        Some(_) => None,
    }
}

/// Neither peak nor charge.
fn unseen(blame: Blame, reason: &str) -> (Finding, Finding) {
    let none = Finding::unknown(blame, reason);
    (none.clone(), none)
}

/// Peak and charge of a close look.
fn flowed(take: &Take, context: &Context) -> (Finding, Finding) {
    let Some(current) = current(take, Signal::OutputCurrent, 0.0, context) else {
        return unseen(Blame::Bench, "no channel sees the output current");
    };
    let trace = &current.trace;
    let Some(begun) = departure(trace, current.beyond, current.start) else {
        let alive = Trace::of(&take.capture, Signal::NodeVoltage)
            .is_some_and(|node| !stretches(&node, context).is_empty());
        return if alive {
            unseen(Blame::Bench, "no current flowed into the bank")
        } else {
            unseen(Blame::Board, "the output never came on")
        };
    };
    let peak = match current.largest(begun.at.value - trace.period(), trace.last()) {
        Some(found) if trace.clipped() => Finding::Above(found.value),
        Some(found) => Finding::Value(found.value),
        None => Finding::unknown(Blame::Bench, "the capture ends with the inrush"),
    };
    let charge = match charge(take, context) {
        Some(_) if trace.clipped() => {
            Finding::unknown(Blame::Bench, "the current left the channel's range")
        }
        Some(found) => Finding::Value(found),
        None => Finding::unknown(Blame::Bench, "no channel sees the output voltage"),
    };
    (peak, charge)
}

/// Integral of the output current turned by the sign of the output voltage
/// from the trigger on, by the trapezoidal rule.
///
/// Standard uncertainty (GUM 5.1.2): gain; zero through what the polarities
/// leave of it; each sample's noise, period x sqrt n; the changes of sign; the
/// rule's own error, a third of what doubling the period changes (Richardson), as a
/// rectangle; the time base.
fn charge(take: &Take, context: &Context) -> Option<Estimate> {
    let current = current(take, Signal::OutputCurrent, 0.0, context)?;
    let node = Trace::of(&take.capture, Signal::NodeVoltage)?;
    let (trace, period) = (&current.trace, current.trace.period());
    let sign = |volts: f64| if volts < 0.0 { -1.0 } else { 1.0 };
    let turned: Vec<(f64, f64)> = trace.values()[current.start..]
        .iter()
        .zip(node.values().get(current.start..)?)
        .map(|(amperes, volts)| (amperes * sign(*volts), sign(*volts)))
        .collect();
    let whole: f64 = turned
        .windows(2)
        .map(|pair| period * (pair[0].0 + pair[1].0) / 2.0)
        .sum();
    let coarse: f64 = turned
        .windows(3)
        .step_by(2)
        .map(|three| period * (three[0].0 + three[2].0))
        .sum();
    let zero: f64 = turned.iter().map(|pair| pair.1 * period).sum();
    let odd = turned.len().is_multiple_of(2);
    let rule = if odd {
        // The coarse rule leaves out the last sample.
        let last = turned
            .windows(2)
            .last()
            .map_or(0.0, |pair| pair[0].0 + pair[1].0);
        coarse + period * last / 2.0 - whole
    } else {
        coarse - whole
    };
    let u = combined([
        trace.gain_u() * whole,
        trace.zero_u() * zero,
        trace.sample_u() * period * libm::sqrt(turned.len() as f64),
        resolution(period) * steps(&turned),
        rectangular(rule / 3.0),
        trace.time_base_u() * whole,
    ]);
    Some(Estimate::new(whole, u))
}

/// What the steps at changes of sign sum up to, each of which lies anywhere within a
/// period of the sampling; of `turned` the second is the sign.
///
/// Where the signal changes after whole periods, all of them lie at the same place of
/// a period and err alike, however many: where that is, the phase of the signal at the
/// start decides. Elsewhere each errs by itself.
fn steps(turned: &[(f64, f64)]) -> f64 {
    /// The share of steps that may be one period late where the signal is in step: two
    /// clocks drift apart (our own allowance, no source).
    const LATE: f64 = 0.05;
    let pairs = turned.windows(2).enumerate();
    let pairs = pairs.filter(|(_, pair)| pair[0].1 != pair[1].1);
    let turns = pairs.map(|(at, pair)| (at, (pair[0].0 - pair[1].0).abs()));
    let turns: Vec<(usize, f64)> = turns.collect();
    // By how many periods after the last one of its direction.
    let mut after: BTreeMap<usize, f64> = BTreeMap::new();
    for three in turns.windows(3) {
        *after.entry(three[2].0 - three[0].0).or_default() += three[2].1;
    }
    let beside = |(periods, size): (&usize, &f64)| {
        let longer = after.get(&(periods + 1));
        longer.map_or(0.0, |longer| longer.min(*size))
    };
    let late: f64 = after.iter().map(beside).sum();
    let all: f64 = after.values().sum();
    let sizes = || turns.iter().map(|turn| turn.1);
    if late <= LATE * all {
        sizes().sum()
    } else {
        combined(sizes())
    }
}
