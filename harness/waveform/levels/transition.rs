//! The shape of one transition between two state levels, by the definitions of
//! IEEE Std 181-2011 (from memory), and how well it is known. It finds no
//! transition and judges none.

use super::StateLevels;
use crate::measurement::{combined, rectangular, resolution};
use serde::{Deserialize, Serialize};

/// What to measure at a transition.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TransitionSettings {
    /// Lower and upper level between which slew is taken.
    pub slew: (f64, f64),
    /// Reversals smaller than this are noise, not distortion.
    pub reversal: f64,
    /// Standard deviation of a sample, its resolution included.
    pub noise: f64,
}

/// Standard uncertainty of the time between two levels of one transition, in
/// sample periods.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SpanUncertainty {
    /// Noise through the slope: each transition's own.
    pub own: f64,
    /// What bends or has a corner between two samples, and what is not known of
    /// the levels: much the same in all transitions.
    pub shared: f64,
}

/// One transition, times in sample periods, values in the samples' unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transition {
    /// Whether it goes up.
    pub rising: bool,
    /// From the 10 % to the 90 % reference level.
    pub duration: Option<f64>,
    /// How well the duration is known.
    pub duration_u: SpanUncertainty,
    /// Mean slope between the two slew levels, per sample period, positive.
    pub slew: Option<f64>,
    /// How well the time between the slew levels is known.
    pub slew_u: SpanUncertainty,
    /// Samples between the slew levels; with none the slope is only a bound
    /// from below.
    pub samples_in_slew: usize,
    /// Largest excursion past the new state level within three durations, as
    /// a share of the amplitude.
    pub overshoot: f64,
    /// The same before the transition, away from it.
    pub preshoot: f64,
    /// Between which values the waveform ran backwards on its way from 10 %
    /// to 90 %, if it did.
    pub distortion: Option<(f64, f64)>,
}

/// Measures the transition, up or down, that crosses the middle near sample
/// `crossing` of `window`. `None` when the window does not hold it.
pub fn measure_transition(
    window: &[f64],
    crossing: f64,
    rising: bool,
    levels: &StateLevels,
    settings: &TransitionSettings,
) -> Option<Transition> {
    let last = window.len().checked_sub(1).filter(|&last| last > 0)?;
    let before = libm::floor(crossing).clamp(0.0, last as f64 - 1.0) as usize;
    let after = before + 1;
    // A falling transition is a rising one upside down.
    let sign = if rising { 1.0 } else { -1.0 };
    let at = |index: usize| sign * window[index];
    let (start, end) = if rising {
        (levels.low, levels.high)
    } else {
        (-levels.high, -levels.low)
    };
    let amplitude = end - start;
    if amplitude <= 0.0 {
        return None;
    }
    let back = |level: f64| last_below(&at, before, level);
    let forth = |level: f64| first_above(&at, after, last, level);
    let (low, high) = (start + 0.1 * amplitude, start + 0.9 * amplitude);
    let ends = back(low).zip(forth(high));
    let (slew_low, slew_high) = if rising {
        settings.slew
    } else {
        (-settings.slew.1, -settings.slew.0)
    };
    let slew_ends = back(slew_low).zip(forth(slew_high));
    let duration = ends.map(|(from, to)| to - from);
    let (overshoot, preshoot) = ends.map_or((0.0, 0.0), |(from, to)| {
        let reach = 3.0 * (to - from);
        let post = (libm::ceil(to) as usize).min(last)
            ..=(libm::ceil(to + reach.max(1.0)) as usize).min(last);
        let pre =
            (libm::floor(from - reach.max(1.0)).max(0.0) as usize)..=(from as usize).min(last);
        let peak = post.map(&at).fold(end, f64::max);
        let dip = pre.map(&at).fold(start, f64::min);
        ((peak - end) / amplitude, (start - dip) / amplitude)
    });
    let distortion = ends.and_then(|(from, to)| {
        let range = libm::ceil(from) as usize..=(libm::floor(to) as usize).min(last);
        backwards(range.map(&at), settings.reversal).map(|(low, high)| {
            if rising { (low, high) } else { (-high, -low) }
        })
    });
    let known = |ends: Option<(f64, f64)>, level_u: f64| {
        ends.map_or_else(SpanUncertainty::default, |(from, to)| {
            let [a, b] = [from, to].map(|end| crossing_u(&at, last, end, settings, level_u));
            SpanUncertainty {
                own: combined([a.own, b.own]),
                shared: combined([a.shared, b.shared]),
            }
        })
    };
    Some(Transition {
        rising,
        duration,
        duration_u: known(ends, resolution(levels.resolution)),
        slew_u: known(slew_ends, 0.0),
        slew: slew_ends
            .map(|(from, to)| (slew_high - slew_low) / (to - from).max(f64::MIN_POSITIVE)),
        samples_in_slew: slew_ends.map_or(0, |(from, to)| {
            (libm::ceil(to) - libm::floor(from) - 1.0).max(0.0) as usize
        }),
        overshoot,
        preshoot,
        distortion,
    })
}

/// The instant, going back from `from`, at which the value last was at
/// `level`.
fn last_below(at: &impl Fn(usize) -> f64, from: usize, level: f64) -> Option<f64> {
    let index = (0..=from).rev().find(|&index| at(index) <= level)?;
    let (low, high) = (at(index), at(index + 1));
    Some(index as f64 + share(low, high, level))
}

/// The instant, going on from `from`, at which the value first is at `level`.
fn first_above(at: &impl Fn(usize) -> f64, from: usize, last: usize, level: f64) -> Option<f64> {
    let index = (from..=last).find(|&index| at(index) >= level)?;
    let (low, high) = (at(index.checked_sub(1)?), at(index));
    Some(index as f64 - 1.0 + share(low, high, level))
}

/// How well one crossing is known. Noise acts as it does on an edge (2/3 of its
/// square over all places between two samples). Between two samples a line
/// misses a bend by half of the second difference beside it over the step at
/// most, and a corner, where both are alike, by up to a whole sample; where the
/// second difference is no more than noise there is none.
fn crossing_u(
    at: &impl Fn(usize) -> f64,
    last: usize,
    end: f64,
    settings: &TransitionSettings,
    level_u: f64,
) -> SpanUncertainty {
    let before = (libm::ceil(end) as usize).clamp(1, last) - 1;
    let step = at(before + 1) - at(before);
    if step <= 0.0 {
        return SpanUncertainty {
            own: 0.0,
            shared: rectangular(0.5),
        };
    }
    let second = |middle: usize| {
        let inside = middle >= 1 && middle < last;
        let sum = |middle: usize| at(middle - 1) + at(middle + 1) - 2.0 * at(middle);
        if inside { sum(middle).abs() } else { 0.0 }
    };
    let bend = second(before).max(second(before + 1)) - settings.reversal;
    let share = (bend / step).clamp(0.0, 1.0);
    let missed = share * (1.0 + share) / 2.0;
    SpanUncertainty {
        own: (settings.noise * libm::sqrt(2.0 / 3.0) / step).min(0.5),
        shared: combined([rectangular(missed), (level_u / step).min(0.5)]),
    }
}

fn share(low: f64, high: f64, level: f64) -> f64 {
    if high > low {
        ((level - low) / (high - low)).clamp(0.0, 1.0)
    } else {
        0.0
    }
}

/// The lowest and highest value of stretches that fall by more than `least`
/// on a way that should only rise.
fn backwards(values: impl Iterator<Item = f64>, least: f64) -> Option<(f64, f64)> {
    let mut peak = f64::NEG_INFINITY;
    let mut worst: Option<(f64, f64)> = None;
    for value in values {
        if peak - value > least {
            let (low, high) = worst.unwrap_or((value, peak));
            worst = Some((low.min(value), high.max(peak)));
        }
        peak = peak.max(value);
    }
    worst
}
