//! How large a noisy current was: its peak, freed of what the largest of many
//! noisy samples adds and of what falls between samples, and its squared
//! integral, freed of the noise's own. It chooses no window.

use super::noise::{all_of, largest_of};
use super::{Current, Noise};
use crate::measurement::{Estimate, combined, rectangular};
use crate::waveform::{Trace, square_parts};

/// The largest magnitude and when it was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Largest {
    /// In amperes.
    pub value: Estimate,
    /// Its sample, or the middle one of the mean it was found in.
    pub index: usize,
}

/// Standard deviations within which means are counted as alike.
const NEAR: f64 = 2.0;
/// Standard deviations by which the halves of a flat mean may differ.
const FLAT: f64 = 2.5;

/// What means of one width say of the peak.
#[derive(Clone, Copy)]
struct Candidate {
    value: f64,
    u: f64,
    index: usize,
    /// Whether its two halves differ by no more than noise makes.
    flat: bool,
}

/// Largest magnitude from `from` to `to` in seconds, both included as far as
/// sampled; `None` without a sample there.
///
/// The largest of n alike means of w samples reads high by e(n) standard
/// deviations of such a mean, which is taken off; n is counted from those that
/// lie within two of it. Wider means have less noise and flatten a peak: the
/// widest is taken that is flat itself and agrees with the narrower ones.
/// Between samples a peak may lie higher by up to the smaller step to its
/// neighbours; half of that is added, or, without noise, what parabolas through
/// the samples on either side say.
///
/// Standard uncertainty (GUM 5.1.2): 1.5 standard deviations of such a mean,
/// for the scatter of a largest and of n, which is only counted; half of what
/// doubling the width changed; what may lie between samples, a rectangle;
/// resolution; gain and zero.
pub(super) fn peak(current: &Current, half: f64, from: f64, to: f64) -> Option<Largest> {
    let (trace, noise) = (&current.trace, &current.noise);
    let start = trace.index_from(from);
    let end = trace.index_from(to + trace.period() / 2.0);
    if start >= end {
        return None;
    }
    let values = &trace.values()[start..end];
    let mut best = of_means(values, 1, noise)?;
    if noise.sd == 0.0 {
        let missed = between(trace, start + best.index, start..end);
        best.value += missed;
        best.u = rectangular(missed / 2.5);
    }
    let most = libm::floor(half / 4.0 / trace.period()).max(1.0) as usize;
    let mut width = 2;
    while noise.sd > 0.0 && width <= most {
        let Some(wider) = of_means(values, width, noise).filter(|wider| wider.flat) else {
            break;
        };
        let moved = (wider.value - best.value).abs();
        if moved > 2.0 * combined([best.u, wider.u]) {
            break;
        }
        let u = combined([wider.u, moved / 2.0]);
        if u < best.u {
            best = Candidate { u, ..wider };
        }
        width *= 2;
    }
    let u = combined([best.u, noise.coarse, trace.scale_u(best.value)]);
    Some(Largest {
        value: Estimate::new(best.value, u),
        index: start + best.index,
    })
}

/// The largest mean of `width` samples, its bias taken off.
fn of_means(values: &[f64], width: usize, noise: &Noise) -> Option<Candidate> {
    if values.len() < width {
        return None;
    }
    let mut sum: f64 = values[..width].iter().sum();
    let mut means = Vec::with_capacity(values.len() - width + 1);
    means.push((sum / width as f64).abs());
    for (gone, come) in values.iter().zip(&values[width..]) {
        sum += come - gone;
        means.push((sum / width as f64).abs());
    }
    let (place, top) = { means.iter().copied().enumerate() }
        .reduce(|best, next| if next.1 > best.1 { next } else { best })?;
    let scatter = noise.of_mean(width);
    let alike = means.iter().filter(|mean| top - **mean < NEAR * scatter);
    let alike = alike.count() as f64 / noise.alike().max(width as f64);
    let count = all_of(alike, NEAR);
    let missed = if width == 1 && noise.sd > 0.0 {
        let beside = |at: Option<usize>| at.and_then(|at| means.get(at)).map(|mean| top - mean);
        let steps = [beside(place.checked_sub(1)), beside(Some(place + 1))];
        let least = steps.into_iter().flatten().fold(f64::INFINITY, f64::min);
        if least.is_finite() {
            (least - 2.0 * noise.sd).max(0.0)
        } else {
            0.0
        }
    } else {
        0.0
    };
    let (early, late) = values[place..place + width].split_at(width / 2);
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len().max(1) as f64;
    let apart = (mean(early) - mean(late)).abs();
    Some(Candidate {
        value: top - largest_of(count) * scatter + missed / 2.0,
        u: combined([1.5 * scatter, rectangular(missed / 1.4)]),
        index: place + width / 2,
        flat: apart < FLAT * noise.of_mean(width / 2),
    })
}

/// By how much a peak between samples lies above the largest one, at
/// `index`: parabolas through the three samples on either side, carried on to
/// where they meet. A smooth peak lies on both, a sharp one where they cross.
fn between(trace: &Trace, index: usize, within: std::ops::Range<usize>) -> f64 {
    let values = trace.values();
    let sense = values[index].signum();
    let value = |at: usize| sense * values[at];
    let gain = |left_end: usize| -> Option<f64> {
        let left_start = left_end.checked_sub(2)?;
        let right_end = left_end + 3;
        if left_start < within.start || right_end >= within.end {
            return None;
        }
        let curve = |a: f64, b: f64, c: f64, x: f64| {
            // Through a at -2, b at -1 and c at 0.
            c + x * ((3.0 * c - 4.0 * b + a) / 2.0 + x * (c - 2.0 * b + a) / 2.0)
        };
        let left = |x: f64| curve(value(left_start), value(left_start + 1), value(left_end), x);
        let right = |x: f64| {
            curve(
                value(right_end),
                value(right_end - 1),
                value(right_end - 2),
                1.0 - x,
            )
        };
        const STEPS: usize = 64;
        let tops = (0..=STEPS).map(|k| {
            let x = k as f64 / STEPS as f64;
            left(x).min(right(x))
        });
        Some(tops.fold(f64::NEG_INFINITY, f64::max) - value(index))
    };
    let either = [index.checked_sub(1).and_then(gain), gain(index)];
    either.into_iter().flatten().fold(0.0, f64::max)
}

/// Integral of the squared current from `from` to `to`.
///
/// The trapezoidal rule with linear values at both ends, less the noise's
/// variance times the span, which squares add. Standard uncertainty (GUM
/// 5.1.2): gain, sensitivity 2 Q; zero; each sample's noise with its memory,
/// sensitivity 2 i; the variance that is taken off, known to 2 / sqrt n; the
/// rule's own error from what doubling the period changes in each stretch
/// between two zeros (Richardson, a third); the ends; the time base.
pub(super) fn let_through(current: &Current, from: Estimate, to: Estimate) -> Estimate {
    let (trace, noise) = (&current.trace, &current.noise);
    let (a, b) = (from.value, to.value);
    if b <= a {
        return Estimate::new(0.0, 0.0);
    }
    let parts = square_parts(trace, a, b, noise.sd);
    let span = b - a;
    let own = noise.sd * noise.sd + noise.coarse * noise.coarse;
    let value = parts.whole - own * span;
    let count = span / trace.period();
    let known = libm::sqrt(2.0 * noise.alike() / current.calm_count.max(8) as f64);
    let passing = libm::sqrt(2.0 * noise.alike() / count.max(1.0));
    let u = combined([
        2.0 * trace.gain_u() * parts.whole,
        2.0 * trace.zero_u() * parts.charge.abs(),
        2.0 * trace.period() * with_memory(trace.window(a, b), noise),
        noise.coarse * libm::sqrt(parts.whole * span),
        own * span * combined([known, passing]),
        rectangular(noise.coarse * noise.coarse * span),
        parts.rule,
        from.u * parts.ends[0],
        to.u * parts.ends[1],
        trace.time_base_u() * parts.whole,
    ]);
    Estimate::new(value, u)
}

/// Standard deviation of the sum of each value times its noise, which
/// remembers: sqrt(sum over i, j of x_i x_j r^|i-j|) s.
fn with_memory(values: &[f64], noise: &Noise) -> f64 {
    let mut past = 0.0;
    let mut sum = 0.0;
    for value in values {
        sum += value * (value + 2.0 * past);
        past = noise.memory * (past + value);
    }
    noise.sd * libm::sqrt(sum.max(0.0))
}
