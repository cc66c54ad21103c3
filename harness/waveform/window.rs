//! Numbers over a window of a waveform: mean, top state, extremes, ripple and
//! the integral of its square. It chooses no window.

use super::Trace;
use crate::measurement::{Estimate, combined, rectangular};

/// Mean over the samples from `from` up to `to`, of their magnitudes where
/// `magnitude` is set; `None` without samples.
///
/// Standard uncertainty (GUM 5.1.2): gain and zero as a whole, grain and
/// resolution over sqrt n (GUM 4.2.3).
pub fn mean(trace: &Trace, from: f64, to: f64, magnitude: bool) -> Option<Estimate> {
    let samples = trace.window(from, to);
    if samples.is_empty() {
        return None;
    }
    let count = samples.len() as f64;
    let sum: f64 = samples
        .iter()
        .map(|x| if magnitude { x.abs() } else { *x })
        .sum();
    let value = sum / count;
    let u = combined([trace.scale_u(value), trace.sample_u() / libm::sqrt(count)]);
    Some(Estimate::new(value, u))
}

/// Top state of the magnitude from `from` up to `to`.
///
/// IEEE Std 181-2011 splits the samples into a lower and an upper half and
/// takes each half's mode (from memory). A magnitude's lower state is zero, so
/// the split is half of the 98th percentile, which a few overshoots do not
/// move; the median of the upper part stands for its mode. A waveform without
/// a lower state (a held output) is all upper part. Standard uncertainty: gain
/// and zero, and the scatter of the upper part over sqrt n, times
/// sqrt(pi / 2) for a median.
pub fn top_state(trace: &Trace, from: f64, to: f64) -> Option<Estimate> {
    let mut sizes: Vec<f64> = trace.window(from, to).iter().map(|x| x.abs()).collect();
    if sizes.is_empty() {
        return None;
    }
    sizes.sort_by(f64::total_cmp);
    let high = sizes[(sizes.len() - 1) * 98 / 100];
    let upper = &sizes[sizes.partition_point(|&x| x < high / 2.0)..];
    let median = |sorted: &[f64]| {
        let half = sorted.len() / 2;
        if sorted.len() % 2 == 1 {
            sorted[half]
        } else {
            (sorted[half - 1] + sorted[half]) / 2.0
        }
    };
    let level = median(upper);
    let mut apart: Vec<f64> = upper.iter().map(|x| (x - level).abs()).collect();
    apart.sort_by(f64::total_cmp);
    let scatter = combined([median(&apart) / 0.674_489_750_196_081_7, trace.sample_u()]);
    let of_median = libm::sqrt(std::f64::consts::FRAC_PI_2 / upper.len() as f64);
    let u = combined([trace.scale_u(level), scatter * of_median]);
    Some(Estimate::new(level, u))
}

/// An extreme sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extreme {
    /// Its value with its standard uncertainty.
    pub value: Estimate,
    /// Its sample.
    pub index: usize,
}

/// Largest magnitude from `from` to `to`, both included as far as sampled.
///
/// Nothing is corrected; what the largest of samples hides goes into the
/// uncertainty (GUM F.2.4.5, as rectangles): the largest of n noisy samples of
/// one height reads high by about s sqrt(2 ln n), and a peak between samples
/// is missed by up to the smaller step to its neighbours.
pub fn peak(trace: &Trace, from: f64, to: f64) -> Option<Extreme> {
    extreme(trace, from, to, f64::abs)
}

/// Least value from `from` to `to`; uncertainty as for [`peak`].
pub fn least(trace: &Trace, from: f64, to: f64) -> Option<Extreme> {
    let found = extreme(trace, from, to, |x| -x)?;
    Some(Extreme {
        value: Estimate::new(-found.value.value, found.value.u),
        index: found.index,
    })
}

fn extreme(trace: &Trace, from: f64, to: f64, height: fn(f64) -> f64) -> Option<Extreme> {
    let start = trace.index_from(from);
    let end = trace.index_from(to + trace.period() / 2.0);
    let values = trace.values();
    let index = (start..end).reduce(|best, index| {
        if height(values[index]) > height(values[best]) {
            index
        } else {
            best
        }
    })?;
    let top = height(values[index]);
    let alike = values[start..end]
        .iter()
        .filter(|x| top - height(**x) <= 6.0 * trace.grain())
        .count();
    let step_to = |other: Option<usize>| {
        other
            .and_then(|at| values.get(at))
            .map_or(f64::INFINITY, |x| (top - height(*x)).max(0.0))
    };
    let missed = step_to(index.checked_sub(1)).min(step_to(Some(index + 1)));
    let missed = if missed.is_finite() {
        (missed - 2.0 * trace.grain()).max(0.0)
    } else {
        0.0
    };
    let u = combined([
        trace.scale_u(top),
        trace.sample_u(),
        rectangular(largest_of(alike) * trace.grain()),
        rectangular(missed),
    ]);
    Some(Extreme {
        value: Estimate::new(top, u),
        index,
    })
}

/// How far the largest of `count` standard normal numbers lies above their
/// mean, about: sqrt(2 ln n), its leading term.
fn largest_of(count: usize) -> f64 {
    libm::sqrt(2.0 * libm::log(count.max(1) as f64))
}

/// Largest magnitude that lasts for longer than `span`: within each run of
/// samples that long the least counts, and of these the largest. Spikes as
/// short as `span` leave no trace. Uncertainty as for [`peak`].
pub fn peak_sustained(trace: &Trace, from: f64, to: f64, span: f64) -> Option<Extreme> {
    let width = libm::floor(span.max(0.0) / trace.period()) as usize + 1;
    if width == 1 {
        return peak(trace, from, to);
    }
    let start = trace.index_from(from);
    let end = trace.index_from(to + trace.period() / 2.0);
    let values = &trace.values()[start..end.max(start)];
    // Lasting longer than the span takes one sample more than fit into it.
    let runs = values.windows((width + 1).min(values.len().max(1)));
    let (place, level) = runs
        .map(|run| run.iter().map(|x| x.abs()).fold(f64::INFINITY, f64::min))
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let u = combined([
        trace.scale_u(level),
        trace.sample_u(),
        rectangular(largest_of(values.len()) * trace.grain()),
    ]);
    Some(Extreme {
        value: Estimate::new(level, u),
        index: start + place,
    })
}

/// Peak to peak of the magnitude over the samples that `keep` keeps; with it
/// the part that sample noise alone makes, 2 s sqrt(2 ln n). The uncertainty
/// holds that part as a rectangle, since it is not taken off (GUM F.2.4.5);
/// zero cancels in a difference and gain does not.
pub fn ripple(samples: &[f64], trace: &Trace) -> Option<(Estimate, f64)> {
    let least = samples.iter().map(|x| x.abs()).reduce(f64::min)?;
    let most = samples.iter().map(|x| x.abs()).reduce(f64::max)?;
    let span = most - least;
    let noise = 2.0 * largest_of(samples.len()) * trace.grain();
    let u = combined([
        trace.gain_u() * span,
        std::f64::consts::SQRT_2 * trace.sample_u(),
        rectangular(noise),
    ]);
    Some((Estimate::new(span, u), noise))
}

/// Integral of the squared waveform from `from` to `to`, by the trapezoidal
/// rule between samples and with linear values at both ends; zero where `to`
/// is not later than `from`.
///
/// Standard uncertainty (GUM 5.1.2): gain, sensitivity 2 Q; zero, sensitivity
/// 2 times the integral of the waveform; each sample's noise, 2 x period; the
/// square of the noise as an uncorrected excess; the rule's own error, a third
/// of what doubling the period changes (Richardson), as a rectangle; the ends,
/// each instant's u times the square there; the time base.
pub fn square_integral(trace: &Trace, from: Estimate, to: Estimate) -> Estimate {
    let (a, b) = (from.value, to.value);
    if b <= a {
        return Estimate::new(0.0, 0.0);
    }
    let mut knots = vec![(a, trace.at(a))];
    let (start, end) = (trace.index_from(a), trace.index_from(b));
    knots.extend((start..end).map(|index| (trace.time(index), trace.values()[index])));
    knots.push((b, trace.at(b)));
    let square = |knots: &[(f64, f64)]| -> f64 {
        knots
            .windows(2)
            .map(|k| (k[1].0 - k[0].0) * (k[0].1 * k[0].1 + k[1].1 * k[1].1) / 2.0)
            .sum()
    };
    let whole = square(&knots);
    let last = knots.len() - 1;
    let coarse: Vec<_> = knots
        .iter()
        .enumerate()
        .filter(|(index, _)| index % 2 == 0 || *index == last)
        .map(|(_, knot)| *knot)
        .collect();
    let rule = (square(&coarse) - whole).abs() / 3.0;
    let charge: f64 = knots
        .windows(2)
        .map(|k| (k[1].0 - k[0].0) * (k[0].1 + k[1].1) / 2.0)
        .sum();
    let sample_u = trace.sample_u();
    let u = combined([
        2.0 * trace.gain_u() * whole,
        2.0 * trace.zero_u() * charge,
        2.0 * sample_u * libm::sqrt(whole * trace.period()),
        rectangular(sample_u * sample_u * (b - a)),
        rectangular(rule),
        from.u * knots[0].1 * knots[0].1,
        to.u * knots[last].1 * knots[last].1,
        trace.time_base_u() * whole,
    ]);
    Estimate::new(whole, u)
}
