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

/// Peak to peak of the magnitude over the samples that are kept, in their order;
/// with it the part that sample noise alone makes, 2 s sqrt(2 ln n). The
/// uncertainty holds that part as a rectangle, since it is not taken off (GUM
/// F.2.4.5), and what either extreme hides between samples, as for [`peak`]. Zero
/// cancels in a difference and gain does not.
pub fn ripple(samples: &[f64], trace: &Trace) -> Option<(Estimate, f64)> {
    let sizes: Vec<f64> = samples.iter().map(|x| x.abs()).collect();
    let extreme = |sign: f64| {
        let place = (0..sizes.len()).reduce(|best, next| {
            if sign * sizes[next] > sign * sizes[best] {
                next
            } else {
                best
            }
        })?;
        let step_to = |other: Option<usize>| {
            let other = other.and_then(|at| sizes.get(at));
            other.map_or(f64::INFINITY, |x| sign * (sizes[place] - x))
        };
        let missed = step_to(place.checked_sub(1)).min(step_to(Some(place + 1)));
        let missed = if missed.is_finite() { missed } else { 0.0 };
        Some((sizes[place], (missed - 2.0 * trace.grain()).max(0.0)))
    };
    let ((least, below), (most, above)) = (extreme(-1.0)?, extreme(1.0)?);
    let span = most - least;
    let noise = 2.0 * largest_of(samples.len()) * trace.grain();
    let u = combined([
        trace.gain_u() * span,
        std::f64::consts::SQRT_2 * trace.sample_u(),
        rectangular(noise),
        rectangular(below),
        rectangular(above),
    ]);
    Some((Estimate::new(span, u), noise))
}

/// The squared integral of a waveform and what its uncertainty is made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SquareParts {
    /// By the trapezoidal rule.
    pub whole: f64,
    /// Integral of the waveform itself.
    pub charge: f64,
    /// Standard uncertainty of the rule. An edge at a share x between two
    /// samples, where the slope of the square jumps by J, makes an error of
    /// J T^2 / 2 (1 / 6 - x (1 - x)) (Euler-Maclaurin), of standard deviation
    /// 0.037 J T^2 over x; a clock that keeps step with the signal makes the
    /// same one at every edge, so they are added. The jumps are read off what
    /// doubling the period changes beyond noise. The ends' slopes make another
    /// T^2 / 12 each.
    pub rule: f64,
    /// The square at either end.
    pub ends: [f64; 2],
}

/// The squared integral of `trace` from `from` to `to`, linear at both ends; a
/// sample has the noise `sample_u`.
pub fn square_parts(trace: &Trace, from: f64, to: f64, sample_u: f64) -> SquareParts {
    let mut knots = vec![(from, trace.at(from))];
    let (start, end) = (trace.index_from(from), trace.index_from(to));
    knots.extend((start..end).map(|index| (trace.time(index), trace.values()[index])));
    knots.push((to, trace.at(to)));
    let square = |a: (f64, f64), b: (f64, f64)| (b.0 - a.0) * (a.1 * a.1 + b.1 * b.1) / 2.0;
    let (mut whole, mut charge) = (0.0, 0.0);
    for pair in knots.windows(2) {
        whole += square(pair[0], pair[1]);
        charge += (pair[1].0 - pair[0].0) * (pair[0].1 + pair[1].1) / 2.0;
    }
    let mut jumps = 0.0;
    for three in knots.windows(3) {
        let apart =
            square(three[0], three[2]) - square(three[0], three[1]) - square(three[1], three[2]);
        let noise = 2.5 * trace.period() * three[1].1.abs() * sample_u;
        if apart.abs() > 3.0 * noise {
            jumps += apart.abs();
        }
    }
    let last = knots.len() - 1;
    // The slope of the square at either end, over two samples at least.
    let steep = |a: usize, b: usize| {
        let (a, b) = (knots[a], knots[b]);
        let span = (b.0 - a.0).max(trace.period());
        (b.1 * b.1 - a.1 * a.1).abs() / span
    };
    let ends = steep(0, 2.min(last)) + steep(last.saturating_sub(2), last);
    let square_period = trace.period() * trace.period();
    SquareParts {
        whole,
        charge,
        rule: combined([0.039 * jumps, ends * square_period / 12.0]),
        ends: [knots[0].1 * knots[0].1, knots[last].1 * knots[last].1],
    }
}
