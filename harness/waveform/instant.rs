//! Instants: where a waveform's magnitude passes a level, departs from noise
//! or stays away for good. It counts no faults and knows no trip times.

use super::Trace;
use crate::measurement::{Estimate, combined, resolution};

/// A passing of a level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// When, with its standard uncertainty.
    pub at: Estimate,
    /// First sample on the far side of it.
    pub index: usize,
}

/// A bend between neighbouring differences, relative to the crossing one, from
/// which on the transition is taken to lie wholly between two samples.
const SHARP: f64 = 0.5;

/// The first instant from sample `start` on at which the magnitude is at
/// `level` or beyond, interpolated on the side of the sample beyond it.
/// A waveform that is beyond it before `start` too crosses at `start`.
pub fn first_beyond(trace: &Trace, level: f64, start: usize) -> Option<Crossing> {
    let values = trace.values();
    let index = (start..values.len()).find(|&index| values[index].abs() >= level)?;
    Some(rising_at(trace, level, index))
}

/// The first instant from sample `start` on at which the magnitude goes beyond
/// `level` for two samples running: one stray sample is no departure.
pub fn departure(trace: &Trace, level: f64, start: usize) -> Option<Crossing> {
    let values = trace.values();
    let beyond = |index: usize| values.get(index).is_some_and(|x| x.abs() >= level);
    let index = (start..values.len()).find(|&index| beyond(index) && beyond(index + 1))?;
    Some(rising_at(trace, level, index))
}

fn rising_at(trace: &Trace, level: f64, index: usize) -> Crossing {
    let under = |before: &usize| trace.values()[*before].abs() < level;
    let at = match index.checked_sub(1).filter(under) {
        Some(before) => between(trace, before, level, trace.values()[index].signum()),
        None => Estimate::new(trace.time(index), resolution(trace.period())),
    };
    Crossing { at, index }
}

/// The last instant before the magnitude stays under `level` for longer than
/// `quiet`, searched from sample `start`, which is at the level or beyond it.
/// `None` when the samples end before that is proven.
pub fn falls_for_good(trace: &Trace, level: f64, quiet: f64, start: usize) -> Option<Crossing> {
    let values = trace.values();
    let mut over = start;
    for index in start..values.len() {
        if values[index].abs() >= level {
            over = index;
        } else if (index - over) as f64 * trace.period() > quiet {
            let sense = values[over].signum();
            return Some(Crossing {
                at: between(trace, over, level, sense),
                index: over + 1,
            });
        }
    }
    None
}

/// The instant between samples `index` and `index + 1` at which `sense` times
/// the waveform passes `level`.
///
/// On a smooth transition the instant is interpolated linearly (IEEE Std
/// 181-2011, reference level instants; from memory). The error of that is at
/// most the bend of the waveform over eight (period squared, second derivative
/// and slope in the usual bound); a wider rectangle, the bend times a whole
/// period, is stated. Where the waveform jumps between two samples, only the
/// period is known: its middle, with period / sqrt 12.
///
/// Standard uncertainty, GUM 5.1.2 with the sensitivity 1 / slope: sampling
/// instant, noise and resolution of the two samples, gain and zero of the
/// level.
fn between(trace: &Trace, index: usize, level: f64, sense: f64) -> Estimate {
    between_samples(trace, index, level, sense, trace.sample_u())
}

/// The instant between samples `index` and `index + 1` at which `sense` times
/// the waveform passes `level`, as [`first_beyond`] reads it, where each sample
/// has the standard uncertainty `sample_u`.
pub fn between_samples(
    trace: &Trace,
    index: usize,
    level: f64,
    sense: f64,
    sample_u: f64,
) -> Estimate {
    let value = |at: usize| trace.values().get(at).map(|x| x * sense);
    let period = trace.period();
    let (Some(here), Some(next)) = (value(index), value(index + 1)) else {
        return Estimate::new(trace.time(index), resolution(period));
    };
    let rise = next - here;
    let middle = trace.time(index) + period / 2.0;
    if rise == 0.0 {
        return Estimate::new(middle, resolution(period));
    }
    let before = index.checked_sub(1).and_then(value).map(|x| here - x);
    let after = value(index + 2).map(|x| x - next);
    let bend = [before, after]
        .into_iter()
        .flatten()
        .map(|step| (step - rise).abs() / rise.abs())
        .fold(0.0, f64::max);
    let (fraction, place_u) = if bend >= SHARP {
        (0.5, resolution(1.0))
    } else {
        let fraction = ((level - here) / rise).clamp(0.0, 1.0);
        (fraction, bend * resolution(1.0))
    };
    let share = combined([fraction, 1.0 - fraction]);
    let slope = rise.abs();
    let u = combined([
        place_u,
        share * sample_u / slope,
        trace.scale_u(level) / slope,
    ]);
    Estimate::new(trace.time(index) + fraction * period, u * period)
}
