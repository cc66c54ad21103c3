//! Metrics of the reversal scenario: whether, when and how often the output
//! turned its phase at a bridged section boundary, the current until then, the
//! margin to the upstream protection, and the trip on a true short.

use super::metrics::ENTRY;
use super::seen::{GapClosing, Seen};
use super::settings::Direction;
use crate::interruption::{Current, PhaseCost, opened_for_good, turn};
use crate::measurement::{Blame, Estimate, Finding, Landmark, Mark, combined, resolution};
use crate::scenario::context::Context;
use crate::scenario::fault::{current, examine};
use crate::scenario::phase::{LASTING, Run, first_after, lasting, phase_before, phases};
use crate::scenario::sheet::Sheet;
use crate::scenario::take::Take;
use crate::scenario::terms::Place;
use crate::units::{Dimension, Quantity, show};
use crate::waveform::{
    HalfBit, HalfBits, LogicLine, Signal, Trace, edges, falls_for_good, first_beyond,
    peak_sustained, top_state,
};

const TIME: (&str, Dimension) = ENTRY.metric("reversal_time");
const PEAK: (&str, Dimension) = ENTRY.metric("peak_current");
const REVERSALS: (&str, Dimension) = ENTRY.metric("reversals");
const MARGIN: (&str, Dimension) = ENTRY.metric("selectivity_margin");
const TRIP_TIME: (&str, Dimension) = ENTRY.metric("trip_time");

pub(in crate::scenario) fn evaluate(sheet: &mut Sheet<'_>, context: &Context, seen: &Seen) {
    let upstream_trip = Estimate::new(seen.upstream_trip.si(), seen.upstream_trip_u.si().abs());
    let (closings, short) = (seen.closings.as_slice(), seen.short.as_ref());
    if closings.is_empty() {
        let all = [TIME, PEAK, REVERSALS, MARGIN];
        sheet.missing(&all, "", Blame::Plan, "no boundary was bridged");
    }
    let (mut forward, mut back) = (0, 0);
    for closing in closings {
        let count = match closing.direction {
            Direction::Forward => &mut forward,
            Direction::Back => &mut back,
        };
        *count += 1;
        let word = closing.direction.word();
        let at = match *count {
            1 => word.to_owned(),
            n => format!("{word} {n}"),
        };
        match Bridging::of(closing, context) {
            Ok(bridging) => bridging.write(sheet, (&at, &closing.take), upstream_trip, context),
            Err((blame, reason)) => {
                sheet.missing(&[TIME, PEAK, REVERSALS, MARGIN], &at, blame, reason);
            }
        }
    }
    match short {
        Some(take) => {
            let examined = examine(take, Some(Place::Near), context);
            let readings = examined.readings();
            let time = readings.trip_time.widened(examined.phase_cost().time);
            let notes = readings.notes;
            sheet.add_reading(TRIP_TIME, "short", time, notes, take);
        }
        None => sheet.missing(&[TRIP_TIME], "short", Blame::Plan, "no short was made"),
    }
}

/// What became of the output.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Outcome {
    Reversed(Estimate),
    /// Something else, known from this instant on.
    Not(f64, &'static str),
    Tripped(f64),
    UpstreamTripped(f64),
}

/// One closing of the boundary, taken apart.
struct Bridging {
    node: Trace,
    gap: Current,
    clipped: bool,
    onset: Estimate,
    outcome: Outcome,
    /// What another phase of the signal would have made of its instant.
    phased: f64,
    /// Lasting changes of phase.
    changes: usize,
    notes: Vec<String>,
}

type Reason = (Blame, &'static str);

impl Bridging {
    fn of(closing: &GapClosing, context: &Context) -> Result<Self, Reason> {
        let take = &closing.take;
        let capture = &take.capture;
        let node = Trace::of(capture, Signal::NodeVoltage)
            .ok_or((Blame::Bench, "no channel sees the output voltage"))?;
        let markers = edges(capture, LogicLine::GapMarker);
        let closed = markers
            .iter()
            .find(|edge| edge.rising)
            .ok_or((Blame::Bench, "the gap's marker never rose"))?
            .at;
        let later = markers.partition_point(|edge| edge.at <= closed);
        let opened = opened_for_good(&markers[later..], context.bounce.si());
        let half_bits = HalfBits::of(capture);
        if half_bits.all().is_empty() {
            return Err((Blame::Bench, "no line shows the board's input signal"));
        }
        let provoked = closed.min(0.0);
        let gap = current(take, Signal::GapCurrent, provoked, context)
            .or_else(|| current(take, Signal::OutputCurrent, provoked, context))
            .ok_or((Blame::Bench, "no channel sees the gap current"))?;
        let phases = phases(&node, half_bits.all(), context);
        let old = phase_before(&phases, half_bits.all(), closed)
            .ok_or((Blame::Board, "the output was dead before the gap closed"))?;
        let begin = gap.trace.index_from(closed);
        let flows = first_beyond(&gap.trace, 2.0 * gap.off, begin);
        if flows.is_none() {
            return Err((Blame::Bench, "no current flowed across the closed gap"));
        }
        let onset = Estimate::new(closed, resolution(capture.period.si()));
        let runs = lasting(&phases, old, first_after(half_bits.all(), closed));
        let scene = Scene {
            node: &node,
            half_bits: half_bits.all(),
            phases: &phases,
            runs: &runs,
            old,
            closed,
            opened,
            spike: context.gap_spike.si(),
        };
        let mut notes = Vec::new();
        let outcome = scene.outcome(take, closing, &gap, &mut notes);
        // A board that tripped left the node to the upstream: no phase of it is
        // the board's.
        let changes = match outcome {
            Outcome::Tripped(_) => 0,
            _ => scene.changes(),
        };
        let until = match outcome {
            Outcome::Reversed(at) => at.value,
            Outcome::Not(at, _) | Outcome::Tripped(at) | Outcome::UpstreamTripped(at) => at,
        };
        Ok(Self {
            phased: PhaseCost::of(&gap, closed, (closed, until)).count,
            clipped: gap.trace.clipped(),
            changes,
            node,
            gap,
            onset,
            outcome,
            notes,
        })
    }

    /// From the closing to `at`; GUM 5.1.2: both instants, the time base, and what
    /// the phase of the signal at the closing does.
    fn since(&self, at: Estimate) -> Estimate {
        let span = (at.value - self.onset.value).max(0.0);
        let base = self.node.time_base_u() * span;
        let u = combined([at.u, self.onset.u, base, self.phased]);
        Estimate::new(span, u)
    }

    fn write(
        self,
        sheet: &mut Sheet<'_>,
        (at, take): (&str, &Take),
        upstream_trip: Estimate,
        context: &Context,
    ) {
        let sampled = resolution(self.node.period());
        let bound = |until: f64| self.since(Estimate::new(until, sampled));
        let (time, margin, until) = match self.outcome {
            Outcome::Reversed(instant) => {
                let span = self.since(instant);
                let few = 3.0 * self.node.period();
                if span.value < few {
                    let bound = Estimate::new(few, sampled);
                    let margin = Finding::Above(upstream_trip.minus(bound));
                    (Finding::Below(bound), margin, instant.value)
                } else {
                    let margin = Finding::Value(upstream_trip.minus(span));
                    (Finding::Value(span), margin, instant.value)
                }
            }
            Outcome::Not(until, _) | Outcome::Tripped(until) => {
                let bound = bound(until);
                let margin = Finding::Below(upstream_trip.minus(bound));
                (Finding::Above(bound), margin, until)
            }
            Outcome::UpstreamTripped(until) => {
                let bound = bound(until);
                // It tripped here and the board had not reversed: below zero.
                let margin = Finding::Below(Estimate::new(0.0, bound.u));
                (Finding::Above(bound), margin, until)
            }
        };
        let mut notes = self.notes.clone();
        match self.outcome {
            Outcome::Reversed(_) => notes.push("reversed".into()),
            Outcome::Not(_, why) => notes.push(why.into()),
            Outcome::Tripped(_) => notes.push("tripped instead of reversing".into()),
            Outcome::UpstreamTripped(_) => notes.push("the upstream tripped first".into()),
        }
        let marks = self.marks(until);
        sheet.add_marked(TIME, at, time, notes.clone(), (take, marks.clone()));
        let spike = context.gap_spike.si();
        let top = peak_sustained(&self.gap.trace, self.onset.value, until, spike);
        let peak = match top {
            Some(top) if self.clipped => Finding::Above(top.value),
            Some(top) if matches!(self.outcome, Outcome::Reversed(_)) => Finding::Value(top.value),
            Some(top) => Finding::Above(top.value),
            None => Finding::unknown(Blame::Bench, "no sample lies within the closing"),
        };
        let mut shown = marks.clone();
        shown.extend(top.map(|top| {
            let trace = &self.gap.trace;
            let at = Estimate::new(trace.time(top.index), resolution(trace.period()));
            Mark::instant(Landmark::Peak, at)
        }));
        sheet.add_marked(PEAK, at, peak, Vec::new(), (take, shown));
        let changes = Estimate::new(self.changes as f64, 0.0);
        sheet.add(REVERSALS, at, Finding::Value(changes), Vec::new());
        sheet.add_marked(MARGIN, at, margin, notes, (take, marks));
    }

    /// The closing, and the turn or the instant up to which there was none.
    fn marks(&self, until: f64) -> Vec<Mark> {
        let end = match self.outcome {
            Outcome::Reversed(at) => Mark::instant(Landmark::Reversal, at),
            _ => Mark::instant(
                Landmark::WatchedUntil,
                Estimate::new(until, resolution(self.node.period())),
            ),
        };
        vec![Mark::instant(Landmark::Closing, self.onset), end]
    }
}

struct Scene<'a> {
    node: &'a Trace,
    half_bits: &'a [HalfBit],
    phases: &'a [i8],
    runs: &'a [Run],
    old: i8,
    closed: f64,
    opened: Option<f64>,
    /// Longest spike of the gap current at an edge.
    spike: f64,
}

impl Scene<'_> {
    /// Lasting changes of phase in the whole capture.
    fn changes(&self) -> usize {
        self.runs
            .windows(2)
            .filter(|pair| pair[0].phase != pair[1].phase)
            .count()
    }

    fn outcome(
        &self,
        take: &Take,
        closing: &GapClosing,
        gap: &Current,
        notes: &mut Vec<String>,
    ) -> Outcome {
        let last = self.node.last();
        let until = self.opened.unwrap_or(last).min(last);
        let turned = self.runs.iter().skip(1).find(|run| run.phase == -self.old);
        let reversed_at = turned.map(|run| self.turn(run, gap, notes));
        let upstream = upstream_trip(take, closing, self.closed, until);
        if let Some(at) = upstream
            && reversed_at.is_none_or(|turn| turn.value > at)
        {
            return Outcome::UpstreamTripped(at);
        }
        let Some(opened) = self.opened.filter(|&at| at < last) else {
            return Outcome::Not(until, "the gap was not seen to open again");
        };
        let alone = first_after(self.half_bits, opened) + 1;
        let tail = self.phases.get(alone..).unwrap_or_default();
        if tail.len() < LASTING {
            return Outcome::Not(until, "the capture ends too soon after the gap opened");
        }
        let settled = &tail[..LASTING];
        let all = |phase: i8| settled.iter().all(|&p| p == phase);
        match reversed_at {
            Some(turn) if all(-self.old) && turn.value <= opened => Outcome::Reversed(turn),
            Some(turn) if all(self.old) => {
                notes.push(format!(
                    "turned after {} and turned back",
                    show((turn.value - self.closed).max(0.0), Dimension::Time)
                ));
                Outcome::Not(until, "did not stay reversed")
            }
            _ if all(self.old) => Outcome::Not(until, "neither reversed nor tripped"),
            _ if all(-self.old) => Outcome::Not(until, "reversed only after the gap opened"),
            _ => Outcome::Tripped(until),
        }
    }

    /// The first voltage of the new polarity that leads into `run`.
    ///
    /// Where the upstream holds the node in the new polarity from the closing
    /// on, the voltage tells nothing; then the gap current does.
    fn turn(&self, run: &Run, gap: &Current, notes: &mut Vec<String>) -> Estimate {
        let first = first_after(self.half_bits, self.closed);
        let sampled = resolution(self.node.period());
        if run.first <= first + 1
            && let Some(fall) = self.fight_ends(gap, first)
        {
            notes.push("the upstream held the node; timed by the gap current".into());
            return fall;
        }
        // The turn may come within the half-bit before, too late in it for its
        // mean to show; so look back from that one's end first.
        let mut from = run.first;
        if let Some(before) = from.checked_sub(1)
            && self.turns_within(before, run.phase).is_some()
        {
            from = before;
        }
        self.turns_within(from, run.phase)
            .unwrap_or_else(|| Estimate::new(self.half_bits[run.first].from, sampled))
    }

    /// The last instant of the fight between board and upstream: half of the
    /// gap current's top state, passed for the last time before ten half-bits
    /// that stay under it but for the spike at their start. A turn that falls
    /// into a spike is known to the spike's length only.
    fn fight_ends(&self, gap: &Current, first: usize) -> Option<Estimate> {
        let trace = &gap.trace;
        let half_bits = self.half_bits.get(first..)?;
        let begin = half_bits.first()?.from.max(self.closed);
        let end = half_bits.get(LASTING)?.to;
        let level = (top_state(trace, begin, end)?.value / 2.0).max(gap.off);
        let fights = |half: &HalfBit| {
            let after_spike = trace.window(half.from + self.spike, half.to);
            after_spike.iter().any(|x| x.abs() >= level)
        };
        let over = half_bits
            .windows(LASTING + 1)
            .find(|run| fights(&run[0]) && !run[1..].iter().any(fights))?[0];
        let (start, end) = (trace.index_from(over.from), trace.index_from(over.to));
        let last = (start..end).rfind(|&at| trace.values()[at].abs() >= level)?;
        let blur = if last + 1 == end { self.spike } else { 0.0 };
        let at = trace.time(last) + (trace.period() + blur) / 2.0;
        let u = combined([resolution(trace.period()), resolution(blur)]);
        Some(Estimate::new(at, u))
    }

    /// Where, within half-bit `index`, the voltage comes into `phase` to stay
    /// until its end.
    fn turns_within(&self, index: usize, phase: i8) -> Option<Estimate> {
        let half = self.half_bits[index];
        let sense = if half.high == (phase > 0) { 1.0 } else { -1.0 };
        let halves = self.half_bits.iter().map(|half| half.to - half.from);
        let shortest = halves.fold(f64::INFINITY, f64::min);
        turn(self.node, shortest, (half.from, half.to), sense)
    }
}

/// The first instant while the gap is closed from which the upstream's voltage
/// stays under half of what it was.
fn upstream_trip(take: &Take, closing: &GapClosing, from: f64, until: f64) -> Option<f64> {
    let trace = Trace::of(&take.capture, Signal::UpstreamVoltage)?;
    let level = 0.5 * closing.upstream_voltage.si().abs();
    let start = trace.index_from(from);
    let first = first_beyond(&trace, level, start)?;
    // Longer than any half-bit, since it follows the same signal.
    let quiet = HalfBits::of(&take.capture)
        .all()
        .iter()
        .map(|half| half.to - half.from)
        .fold(trace.period(), f64::max);
    let fall = falls_for_good(&trace, level, 1.5 * quiet, first.index)?;
    (fall.at.value < until).then_some(fall.at.value)
}
