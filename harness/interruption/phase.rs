//! What it costs a figure of an alternating fault current that the contact closed
//! where it did: at another phase of the signal the same board reads otherwise. It
//! reads no figure itself.

use super::{Current, Examined, Fault};
use crate::measurement::rectangular;
use crate::waveform::Trace;

/// Standard uncertainties that the phase of the closing leaves, where a figure is
/// to hold for the board and not for that one closing; none of a held current.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PhaseCost {
    /// Of an instant at which the board interrupts the current, in seconds.
    pub time: f64,
    /// Of an instant from which on the board counts its time, in seconds.
    pub count: f64,
    /// Of the largest magnitude, in amperes.
    pub peak: f64,
}

/// A stretch between two changes of sign.
#[derive(Clone, Copy, Debug)]
struct Lobe {
    from: f64,
    /// Its largest magnitude, and when that was.
    peak: f64,
    at: f64,
}

/// Fewer stretches are no alternating current.
const FEWEST: usize = 4;

impl Fault {
    /// What the phase of the closing costs.
    pub fn phase_cost(&self) -> PhaseCost {
        let until = self.ending.until().value;
        PhaseCost::of(
            &self.current,
            self.inception.value,
            (self.onset.value, until),
        )
    }
}

impl PhaseCost {
    /// That of a current which began at `inception`, by how it alternates from one
    /// instant to another.
    ///
    /// Where in a half-bit the bridge lets go decides whether the supply drives the
    /// current to zero or it dies away by itself, from its peak to the off level
    /// with the time constant that it rose by: a rectangle of that time either way
    /// (GUM 4.3.7).
    ///
    /// The rail sags while the current flows, so that a peak is the smaller the
    /// later it is reached. A change of sign that falls into the rise moves it by as
    /// long as the rise took, a half-bit at most; half of what peaks lose in that
    /// time, either way, is a rectangle.
    ///
    /// A board that counts from when the current is large enough has lost, if a change
    /// of sign comes first, what the current lacks of its peak until it is back there:
    /// 2 ln 2 time constants (integral of the magnitude of 1 - 2 exp(-t)). Half of
    /// that, either way, is a rectangle.
    pub fn of(current: &Current, inception: f64, (from, until): (f64, f64)) -> Self {
        let (trace, off) = (&current.trace, current.off);
        let lobes = lobes(trace, off, (from, until));
        let (Some(first), Some(last)) = (lobes.first(), lobes.last()) else {
            return Self::default();
        };
        if lobes.len() < FEWEST {
            return Self::default();
        }
        let half = (last.from - first.from) / (lobes.len() - 1) as f64;
        let most = (0..lobes.len()).reduce(|best, next| {
            let larger = lobes[next].peak > lobes[best].peak;
            if larger { next } else { best }
        });
        let lost = most.and_then(|most| {
            let (top, next) = (lobes[most], lobes.get(most + 1)?);
            let rise = (top.at - inception).clamp(0.0, half);
            Some((top.peak - next.peak).max(0.0) * rise / half)
        });
        let rise = rise(trace, &lobes);
        let decay = rise * libm::log((last.peak / off).max(1.0));
        Self {
            time: rectangular(decay),
            count: rectangular(rise * std::f64::consts::LN_2),
            peak: rectangular(lost.unwrap_or(0.0) / 2.0),
        }
    }
}

/// The time constant of the rise: the mean time from zero to 1 - 1 / e of a lobe's
/// peak, both between samples. The first lobe began with a contact.
fn rise(trace: &Trace, lobes: &[Lobe]) -> f64 {
    let share = 1.0 - libm::exp(-1.0);
    let times = lobes.iter().skip(1).filter_map(|lobe| {
        let start = trace.index_from(lobe.from).checked_sub(1)?;
        let sign = trace.values()[start + 1].signum();
        let passes = |level: f64, from: usize| {
            let mut places = from..trace.len() - 1;
            let along = |at: usize| sign * trace.values()[at];
            let at = places.find(|&at| along(at) <= level && along(at + 1) > level)?;
            let part = (level - along(at)) / (along(at + 1) - along(at));
            Some((at, trace.time(at) + part * trace.period()))
        };
        // Samples about zero have no sign of their own.
        let back = start.saturating_sub(BACK);
        let (zero, begun) = passes(0.0, back)?;
        let (_, risen) = passes(share * lobe.peak, zero)?;
        Some(risen - begun)
    });
    let times: Vec<f64> = times.take(LOOKED_AT).collect();
    times.iter().sum::<f64>() / times.len().max(1) as f64
}

/// Lobes whose rise is looked at, and samples before a lobe in which it may have
/// passed zero.
const LOOKED_AT: usize = 64;
const BACK: usize = 3;

impl Examined {
    /// What the phase of the closing costs; nothing where there was no fault.
    pub fn phase_cost(&self) -> PhaseCost {
        match self {
            Self::Fault(fault) => fault.phase_cost(),
            Self::NotReached { .. } | Self::Nothing { .. } => PhaseCost::default(),
        }
    }
}

/// The stretches of one sign from one instant to another; magnitudes under `off`
/// have none.
fn lobes(trace: &Trace, off: f64, (from, to): (f64, f64)) -> Vec<Lobe> {
    let mut lobes: Vec<Lobe> = Vec::new();
    let mut sign = 0.0;
    for index in trace.index_from(from)..trace.index_from(to) {
        let value = trace.values()[index];
        let at = trace.time(index);
        if value.abs() < off {
            continue;
        }
        match lobes.last_mut() {
            Some(lobe) if value.signum() == sign => {
                if value.abs() > lobe.peak {
                    (lobe.peak, lobe.at) = (value.abs(), at);
                }
            }
            _ => {
                sign = value.signum();
                lobes.push(Lobe {
                    from: at,
                    peak: value.abs(),
                    at,
                });
            }
        }
    }
    lobes
}
