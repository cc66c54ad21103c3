//! By whom, and when, a fault was ended: the board, something else, or nobody
//! can prove it. It finds no current.

use super::{Current, Episode, Provocation, Witnesses};
use crate::measurement::{Blame, Estimate, resolution};
use crate::waveform::{Trace, top_state};

/// How a fault ended.
#[derive(Clone, Debug, PartialEq)]
pub enum Ending {
    /// The board interrupted it.
    Own(Estimate),
    /// It was seen up to here only, and why.
    Censored(Estimate, String),
    /// It ended, but whether by the board is not proven.
    Inconclusive(Estimate, Blame, String),
}

impl Ending {
    /// The instant up to which the fault was the board's, in seconds.
    pub const fn until(&self) -> Estimate {
        match self {
            Self::Own(at) | Self::Censored(at, _) | Self::Inconclusive(at, _, _) => *at,
        }
    }
}

/// The first instant from `from` on at which `rail` is under `least` for two
/// samples running.
pub fn rail_failed(rail: &Trace, least: f64, from: f64) -> Option<f64> {
    let start = rail.index_from(from);
    let values = &rail.values()[start..];
    let place = values
        .windows(2)
        .position(|pair| pair[0] < least && pair[1] < least)?;
    Some(rail.time(start + place))
}

/// Whether an output of `nominal` volts is still on after the current ended at
/// `end`.
pub fn output_stays(output: &Trace, nominal: f64, end: f64, quiet: f64) -> bool {
    // A snubber or a bleeder empties within microseconds; half the quiet span
    // is left for it.
    top_state(output, end + quiet / 2.0, end + quiet).is_some_and(|top| top.value > 0.5 * nominal)
}

/// By whom, and when, the first of `found` was ended.
pub(super) fn ending(
    current: &Current,
    witnesses: &Witnesses<'_>,
    found: &[Episode],
    inception: f64,
) -> Ending {
    let trace = &current.trace;
    let first = found[0];
    let sampled = resolution(trace.period());
    let closure = match witnesses.provocation {
        Provocation::Short { closure, .. } => Some(closure),
        Provocation::Load { .. } | Provocation::Unknown => None,
    };
    // The current reaches the trigger's level a crossing or a pause later than
    // the load is told, and its end comes that much sooner after the trigger.
    let late = closure.map_or(current.quiet, |_| 0.0);
    let slack = 2.0 * trace.period() + late;
    let asked = match witnesses.provocation {
        Provocation::Short { closure, .. } if closure.seen => closure.opened_at,
        Provocation::Short { pulse, .. } => Some(inception + pulse),
        Provocation::Load { pulse } => Some(pulse),
        Provocation::Unknown => None,
    };
    let removed = asked.filter(|&at| at > first.onset.value);
    let failed = witnesses
        .supply
        .and_then(|(rail, least)| rail_failed(rail, least, inception));
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
    if closure.is_some() && witnesses.fuse_intact == Some(false) {
        let why = "the fuse of the shorting branch blew".to_owned();
        return Ending::Inconclusive(end, Blame::Bench, why);
    }
    if let Some(at) = failed.filter(|&at| at <= end.value) {
        return censored(at, "the supply rail fell below its minimum first");
    }
    if let Some(at) = removed.filter(|&at| at <= end.value + slack) {
        return censored(at.min(end.value), "the fault was removed first");
    }
    if witnesses.load_protected {
        return censored(end.value, "the load protected itself");
    }
    if witnesses.supply_protected {
        return censored(end.value, "the supply protected itself");
    }
    let stays = |(output, nominal)| output_stays(output, nominal, end.value, current.quiet);
    match witnesses.provocation {
        Provocation::Short { closure, .. } => {
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
                Ending::Inconclusive(end, Blame::Bench, why.to_owned())
            }
        }
        Provocation::Load { .. } if witnesses.output.is_some_and(stays) => Ending::Inconclusive(
            end,
            Blame::Bench,
            "the load dropped out: the output was still on when the current ended".to_owned(),
        ),
        Provocation::Load { .. } | Provocation::Unknown => Ending::Own(end),
    }
}
