//! What it costs a figure of an alternating fault current that the contact closed
//! where it did: at another phase of the signal the same board reads otherwise. It
//! reads no figure itself.

use super::counting::Loop;
use super::{Current, Examined, Fault};
use crate::measurement::{combined, rectangular};
use crate::waveform::Trace;

/// Standard uncertainties that the phase of the closing leaves, where a figure is
/// to hold for the board and not for that one closing; none of a held current.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PhaseCost {
    /// Of an instant at which the board interrupts the current, in seconds: how it ends,
    /// and from when on it counted.
    pub time: f64,
    /// The same where a load shaped how the current ended, or where nothing shows it, in
    /// seconds: as if it had died away by itself.
    pub alone: f64,
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
/// Half-bits after the onset in which a contact may part again (our own allowance, no
/// source).
const BOUNCES: f64 = 4.0;
/// A current whose second half goes in less than this share of the time that dying away
/// by itself would take was driven to zero (our own allowance, no source).
const DRIVEN: f64 = 0.25;

impl Fault {
    /// What the phase of the closing costs.
    pub fn phase_cost(&self) -> PhaseCost {
        let (inception, onset) = (self.inception.value, self.onset.value);
        let span = (onset, self.ending.until().value);
        let cost = PhaseCost::of(&self.current, inception, span);
        let counted = self.counted(inception, span).map_or(0.0, |it| it.spread());
        PhaseCost {
            time: combined([cost.time, counted]),
            ..cost
        }
    }

    /// The loop by which a board that averages counts; none of a held current.
    fn counted(&self, inception: f64, (from, until): (f64, f64)) -> Option<Loop> {
        let trace = &self.current.trace;
        let lobes = lobes(trace, self.current.off, (from, until));
        let half = half(&lobes)?;
        let rise = rise(trace, &lobes);
        let peak = lobes.iter().map(|lobe| lobe.peak).sum::<f64>() / lobes.len() as f64;
        let share = self.level / peak;
        // How long a change of sign takes from the level to its opposite, and the rise
        // from nothing to it.
        let turn = rise * libm::log((1.0 + share) / (1.0 - share));
        let again = rise * libm::log(1.0 / (1.0 - share));
        let longest = turn + 2.0 * trace.period();
        let mut apart = Vec::new();
        let mut low: Option<f64> = None;
        for index in trace.index_from(from)..trace.index_from(from + BOUNCES * half) {
            let at = trace.time(index);
            let under = trace.values()[index].abs() < self.level;
            match low {
                None if under => low = Some(at),
                Some(begun) if !under => {
                    if at - begun > longest {
                        apart.push((begun - inception, at - again - inception));
                    }
                    low = None;
                }
                _ => {}
            }
        }
        Some(Loop {
            rise,
            half,
            share,
            apart,
        })
    }
}

impl PhaseCost {
    /// That of a current which began at `inception`, by how it alternates from one
    /// instant to another.
    ///
    /// Where in a half-bit the bridge lets go decides how much current is left: what dies
    /// away by itself does so from its peak to the off level with the time constant that
    /// it rose by, a rectangle of that time either way (GUM 4.3.7). A current that was
    /// seen to be driven to zero, by diodes that lead it against the supply, is that soon
    /// at all phases: from its peak in ln 2 time constants (root of 1 - 2 exp(-t)).
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
        let Some(last) = lobes.last() else {
            return Self::default();
        };
        let Some(half) = half(&lobes) else {
            return Self::default();
        };
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
        // By the second half of its way, whatever came before.
        let end = trace.index_from(until);
        let still = |index: &usize| trace.values()[*index].abs() >= last.peak / 2.0;
        let fell = (0..end.min(trace.len())).rfind(still);
        let fell = fell.map_or(0.0, |index| until - trace.time(index));
        let alone = rise * libm::log((last.peak / 2.0 / off).max(1.0));
        let fall = if fell - trace.period() < DRIVEN * alone {
            rise * std::f64::consts::LN_2 / 2.0
        } else {
            decay
        };
        Self {
            time: rectangular(fall),
            alone: rectangular(decay),
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

/// From one change of sign to the next, on average; none of too few.
fn half(lobes: &[Lobe]) -> Option<f64> {
    let (first, last) = (lobes.first()?, lobes.last()?);
    let count = lobes.len() - 1;
    (lobes.len() >= FEWEST).then(|| (last.from - first.from) / count as f64)
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
