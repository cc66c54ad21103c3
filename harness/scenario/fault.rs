//! One provoked fault in one take: when it began, when and by whom it was
//! ended, and the trip time, peak and let-through that follow. It knows the
//! definitions of a fault, but no scenario.

use super::Context;
use super::closure::Closure;
use super::current::Current;
use crate::measurement::{Blame, Estimate, Finding, combined, rectangular, resolution};
use crate::scenario::take::Take;
use crate::scenario::terms::Place;
use crate::units::{Dimension, Quantity, show};
use crate::waveform::{
    Episode, Signal, Trace, departure, episodes, merge_bounce, peak, square_integral, top_state,
};

/// Fewer samples than this are no measurement of a time.
pub(super) const FEWEST_SAMPLES: f64 = 3.0;

/// How a fault ended.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Ending {
    /// The board interrupted it.
    Own(Estimate),
    /// It was seen up to here only.
    Censored(Estimate, String),
    /// It ended, but whether by the board is not proven.
    Undecided(Estimate, Blame, String),
}

/// A fault that reached the onset level.
pub(super) struct Fault {
    pub(super) current: Current,
    pub(super) inception: Estimate,
    pub(super) onset: Estimate,
    pub(super) ending: Ending,
    /// Every episode in the take, contact bounce merged.
    pub(super) episodes: Vec<Episode>,
    pub(super) notes: Vec<String>,
}

/// What came of looking for a fault.
pub(super) enum Examined {
    Fault(Box<Fault>),
    /// Current flowed, but never up to the onset level.
    NotReached {
        peak: Estimate,
        blame: Blame,
        reason: String,
    },
    /// Nothing to measure.
    Nothing {
        blame: Blame,
        reason: String,
    },
}

/// The first instant from `from` on at which the supply rail is under its
/// stated minimum for two samples running.
pub(super) fn rail_failed(take: &Take, from: f64, context: &Context) -> Option<f64> {
    let rail = Trace::of(&take.capture, Signal::BoardSupply)?;
    let least = context.lowest_supply.si();
    let start = rail.index_from(from);
    let values = &rail.values()[start..];
    let place = values
        .windows(2)
        .position(|pair| pair[0] < least && pair[1] < least)?;
    Some(rail.time(start + place))
}

/// Looks for the fault that a short at `place`, or the load where `None`, made
/// in `take`.
pub(super) fn examine(take: &Take, place: Option<Place>, context: &Context) -> Examined {
    let closure = place.map(|place| Closure::of(take, place, context));
    let closed_at = closure.as_ref().and_then(|closure| closure.closed_at);
    let provoked = closed_at.map_or(0.0, |at| at.min(0.0));
    let Some(current) = Current::of(take, Signal::OutputCurrent, provoked, context) else {
        return Examined::Nothing {
            blame: Blame::Bench,
            reason: "no channel sees the output current".into(),
        };
    };
    let trace = &current.trace;
    let Some(inception) = departure(trace, current.beyond, current.start) else {
        return nothing_flowed(take, closure.as_ref(), context);
    };
    let level = context.onset_level.si().abs();
    if level <= current.off {
        return Examined::Nothing {
            blame: Blame::Bench,
            reason: format!(
                "the noise is too large: the off level of {} reaches the onset level",
                show(current.off, Dimension::Current)
            ),
        };
    }
    let bounce = context.bounce.si();
    let all = episodes(trace, level, current.off, current.quiet, inception.index);
    let begun = inception.at.value;
    let (found, bounced) = merge_bounce(&all, |from, to| {
        let shown = closure
            .as_ref()
            .is_some_and(|c| !c.proves || c.apart(from - trace.period(), to));
        shown && from - begun <= bounce && to - from <= bounce
    });
    let Some(first) = found.first().copied() else {
        return not_reached(take, &current, begun, closure.as_ref());
    };
    let mut notes = Vec::new();
    if bounced > 0 {
        notes.push("contact bounced, counted as one fault".into());
    }
    let ending = ending(take, &current, closure.as_ref(), &found, begun, context);
    if let Some(note) = limiting(&current, &ending, &first) {
        notes.push(note);
    }
    Examined::Fault(Box::new(Fault {
        inception: inception.at,
        onset: first.onset,
        ending,
        episodes: found,
        notes,
        current,
    }))
}

fn nothing_flowed(take: &Take, closure: Option<&Closure>, context: &Context) -> Examined {
    let before = Trace::of(&take.capture, Signal::NodeVoltage)
        .and_then(|node| top_state(&node, node.first(), 0.0));
    let (blame, reason) = match (before, closure) {
        (Some(top), _) if top.value < 0.25 * context.supply_voltage.si() => (
            Blame::Board,
            "the output was dead before the fault was made",
        ),
        (_, Some(_)) if take.fuse_intact == Some(false) => {
            (Blame::Bench, "the fuse of the shorting branch is blown")
        }
        _ => (Blame::Bench, "no current flowed when the fault was made"),
    };
    Examined::Nothing {
        blame,
        reason: reason.into(),
    }
}

fn not_reached(take: &Take, current: &Current, from: f64, closure: Option<&Closure>) -> Examined {
    let trace = &current.trace;
    let Some(found) = peak(trace, from, trace.last()) else {
        return Examined::Nothing {
            blame: Blame::Bench,
            reason: "the capture ends with the fault".into(),
        };
    };
    let proven = closure.is_none_or(|closure| closure.proves) && take.fuse_intact != Some(false);
    let blame = if proven { Blame::Plan } else { Blame::Bench };
    Examined::NotReached {
        peak: found.value,
        blame,
        reason: format!(
            "the current reached {} and never the onset level",
            show(found.value.value, Dimension::Current)
        ),
    }
}

/// By whom, and when, the first of `found` was ended.
fn ending(
    take: &Take,
    current: &Current,
    closure: Option<&Closure>,
    found: &[Episode],
    inception: f64,
    context: &Context,
) -> Ending {
    let trace = &current.trace;
    let first = found[0];
    let sampled = resolution(trace.period());
    // The current reaches the trigger's level a crossing or a pause later than
    // the load is told, and its end comes that much sooner after the trigger.
    let late = closure.map_or(current.quiet, |_| 0.0);
    let slack = 2.0 * trace.period() + late;
    let asked = match closure {
        Some(closure) if closure.seen => closure.opened_at,
        Some(_) => Some(inception + take.pulse.si()),
        None => Some(take.pulse.si()),
    };
    let removed = asked.filter(|&at| at > first.onset.value);
    let failed = rail_failed(take, inception, context);
    let censored = |at: f64, why: &str| {
        let until = at.clamp(first.onset.value, trace.last().max(first.onset.value));
        Ending::Censored(Estimate::new(until, sampled), why.to_owned())
    };
    let Some(end) = first.interruption else {
        let why = if failed.is_some() {
            "never interrupted, and the supply rail fell below its minimum"
        } else {
            "never interrupted while it was watched"
        };
        return censored(removed.unwrap_or(f64::INFINITY), why);
    };
    if closure.is_some() && take.fuse_intact == Some(false) {
        let why = "the fuse of the shorting branch blew".to_owned();
        return Ending::Undecided(end, Blame::Bench, why);
    }
    if let Some(at) = failed.filter(|&at| at <= end.value) {
        return censored(at, "the supply rail fell below its minimum first");
    }
    if let Some(at) = removed.filter(|&at| at <= end.value + slack) {
        return censored(at.min(end.value), "the fault was removed first");
    }
    if take.load_protected {
        return censored(end.value, "the load protected itself");
    }
    if take.supply_protected {
        return censored(end.value, "the supply protected itself");
    }
    match closure {
        Some(closure) => {
            let retried = found
                .get(1)
                .is_some_and(|next| removed.is_none_or(|removed| next.onset.value < removed));
            let held = closure.proves && !closure.apart(end.value, end.value + current.quiet);
            if held || retried {
                Ending::Own(end)
            } else if closure.proves {
                censored(end.value, "the contact parted first")
            } else {
                let why = "nothing proves that the short was still closed when the current ended";
                Ending::Undecided(end, Blame::Bench, why.to_owned())
            }
        }
        None if output_stays(take, end.value, current.quiet, context) => Ending::Undecided(
            end,
            Blame::Bench,
            "the load let go: the output was still on when the current ended".to_owned(),
        ),
        None => Ending::Own(end),
    }
}

/// Whether the output is still on after the current ended at `end`.
pub(super) fn output_stays(take: &Take, end: f64, quiet: f64, context: &Context) -> bool {
    // A snubber or a bleeder empties within microseconds; half the quiet span
    // is left for it.
    Trace::of(&take.capture, Signal::NodeVoltage)
        .and_then(|node| top_state(&node, end + quiet / 2.0, end + quiet))
        .is_some_and(|top| top.value > 0.5 * context.supply_voltage.si())
}

/// A remark where a fault that was not interrupted is held at a steady level
/// well below its peak: the board limits instead of tripping.
fn limiting(current: &Current, ending: &Ending, first: &Episode) -> Option<String> {
    let (Ending::Censored(until, _), None) = (ending, first.interruption) else {
        return None;
    };
    let span = until.value - first.onset.value;
    let window = |from: f64, to: f64| {
        top_state(
            &current.trace,
            first.onset.value + from * span,
            first.onset.value + to * span,
        )
    };
    let (middle, end) = (window(0.5, 0.75)?, window(0.75, 1.0)?);
    let most = peak(&current.trace, first.onset.value, until.value)?;
    let steady = (middle.value - end.value).abs() < 0.05 * end.value;
    (steady && end.value < 0.8 * most.value.value)
        .then(|| format!("limits at {}", show(end.value, Dimension::Current)))
}

impl Fault {
    /// The instant up to which the fault was the board's.
    fn until(&self) -> Estimate {
        match &self.ending {
            Ending::Own(at) | Ending::Censored(at, _) | Ending::Undecided(at, _, _) => *at,
        }
    }

    /// Interruption less onset.
    ///
    /// Standard uncertainty (GUM 5.1.2): both instants and the time base. Too
    /// few samples are no measurement, only a bound.
    pub(super) fn trip_time(&self) -> Finding {
        let until = self.until();
        let span = (until.value - self.onset.value).max(0.0);
        let u = combined([
            until.u,
            self.onset.u,
            self.current.trace.time_base_u() * span,
        ]);
        let period = self.current.trace.period();
        match &self.ending {
            Ending::Own(_) if span < FEWEST_SAMPLES * period => {
                Finding::Below(Estimate::new(FEWEST_SAMPLES * period, resolution(period)))
            }
            Ending::Own(_) => Finding::Value(Estimate::new(span, u)),
            Ending::Censored(..) => Finding::Above(Estimate::new(span, u)),
            Ending::Undecided(_, blame, reason) => Finding::unknown(*blame, reason.as_str()),
        }
    }

    /// Largest magnitude from inception to interruption; a clipped one, one of
    /// a fault not seen to its end, or one between too few samples is a bound.
    pub(super) fn peak_current(&self) -> Finding {
        let trace = &self.current.trace;
        if let Ending::Undecided(_, blame, reason) = &self.ending {
            return Finding::unknown(*blame, reason.as_str());
        }
        match peak(
            trace,
            self.inception.value - trace.period(),
            self.until().value,
        ) {
            Some(found) if self.is_bound() => Finding::Above(found.value),
            Some(found) => Finding::Value(found.value),
            None => Finding::unknown(Blame::Bench, "no sample lies within the fault"),
        }
    }

    /// Integral of the squared current from inception to interruption. What
    /// flowed before the departure from noise is less than that level squared
    /// times a sample, a rectangle.
    pub(super) fn let_through(&self) -> Finding {
        let trace = &self.current.trace;
        if let Ending::Undecided(_, blame, reason) = &self.ending {
            return Finding::unknown(*blame, reason.as_str());
        }
        let found = square_integral(trace, self.inception, self.until());
        let missed = rectangular(self.current.beyond * self.current.beyond * trace.period());
        let found = Estimate::new(found.value, combined([found.u, missed]));
        if self.is_bound() {
            Finding::Above(found)
        } else {
            Finding::Value(found)
        }
    }

    fn is_bound(&self) -> bool {
        let span = self.until().value - self.inception.value;
        self.current.trace.clipped()
            || matches!(self.ending, Ending::Censored(..))
            || span < FEWEST_SAMPLES * self.current.trace.period()
    }

    /// Remarks that belong beside the fault's metrics.
    pub(super) fn remarks(&self) -> Vec<String> {
        let mut notes = self.notes.clone();
        if let Ending::Censored(_, why) = &self.ending {
            notes.push(why.clone());
        }
        if self.current.trace.clipped() {
            notes.push("the current left the channel's range".into());
        }
        notes
    }
}

impl Examined {
    /// Trip time, peak and let-through with their remarks.
    pub(super) fn findings(&self) -> ([Finding; 3], Vec<String>) {
        match self {
            Self::Fault(fault) => (
                [fault.trip_time(), fault.peak_current(), fault.let_through()],
                fault.remarks(),
            ),
            Self::NotReached {
                peak,
                blame,
                reason,
            } => {
                let none = Finding::unknown(*blame, reason.as_str());
                let peak = match blame {
                    Blame::Plan => Finding::Value(*peak),
                    _ => none.clone(),
                };
                ([none.clone(), peak, none], Vec::new())
            }
            Self::Nothing { blame, reason } => {
                let none = Finding::unknown(*blame, reason.as_str());
                ([none.clone(), none.clone(), none], Vec::new())
            }
        }
    }
}
