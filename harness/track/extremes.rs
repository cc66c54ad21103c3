//! By how much the extreme of many noisy readings overstates the extreme of the
//! true values, and what noise leaves uncertain of it. It keeps no readings.

use crate::measurement::combined;

/// The expected maximum of `count` independent standard normal deviates:
/// Blom's approximation (Statistical Estimates and Transformed Beta-Variables,
/// 1958), Phi^-1((n - 3/8) / (n + 1/4)); from memory.
pub fn bias_of_maximum(count: u64) -> f64 {
    if count < 2 {
        return 0.0;
    }
    let n = count as f64;
    upper_quantile(0.625 / (n + 0.25))
}

/// The standard deviation of the maximum of `count` independent standard normal
/// deviates, within 3 % (order statistics of the normal law: 0.826 of 2, 0.587
/// of 10, 0.429 of 100, 0.351 of 1000; any table).
pub(super) fn deviation_of_maximum(count: u64) -> f64 {
    let n = libm::log(count.max(1) as f64);
    1.0 / libm::sqrt(1.0 + 0.83 * n + 0.03 * n * n)
}

/// An extreme of readings, less what noise alone overstates it by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Extreme {
    pub(super) value: f64,
    /// Standard uncertainty by noise.
    pub(super) u: f64,
    /// What was taken off, positive.
    pub(super) bias: f64,
}

/// By how much the extreme of `count` readings overstates that of the true
/// values, if those are normally distributed too, and what noise leaves
/// uncertain: of readings that deviate by `deviation` in all, `noise` of it by
/// noise, the true values deviate by the root of what is left.
///
/// The deviation of few readings may by chance be larger than the noise, and so
/// may noise that is known to a tenth: between nothing being left then and what
/// the plain root leaves, the middle is taken and half of it is uncertain.
pub(super) fn deviation_left(count: u64, deviation: f64, noise: f64) -> (f64, f64) {
    let chance = 1.2 * (1.0 + 2.0 * libm::sqrt(2.0 / count.max(2) as f64));
    let left = |share: f64| {
        let squares = deviation * deviation - share * noise * noise;
        libm::sqrt(squares.max(0.0))
    };
    let expected = bias_of_maximum(count);
    let (least, most) = (deviation - left(1.0), deviation - left(chance));
    let bias = expected * (least + most) / 2.0;
    let own = noise * deviation_of_maximum(count);
    (bias, combined([own, expected * (most - least) / 2.0]))
}

/// The extreme of readings of which only `alike` could be as extreme but for
/// noise: by how much it overstates, and what noise leaves uncertain. One that
/// stands alone is taken as it reads.
pub(super) fn alone(alike: usize, noise: f64) -> (f64, f64) {
    let alike = alike.max(1) as u64;
    (
        bias_of_maximum(alike) * noise,
        noise * deviation_of_maximum(alike),
    )
}

/// How well the noise of a single reading of a shape is known, relative: few
/// samples show it (our own estimate).
const NOISE_KNOWN: f64 = 0.2;

/// The greatest (or least) of all `values`, each with `noise` of its own. Only
/// what lies within three deviations of it may be as extreme but for noise.
pub(super) fn extreme_of(values: &[f64], noise: f64, greatest: bool) -> Extreme {
    let sign = if greatest { 1.0 } else { -1.0 };
    let most = values
        .iter()
        .map(|v| sign * v)
        .fold(f64::NEG_INFINITY, f64::max);
    let near = |v: &&f64| most - sign * **v <= 3.0 * noise;
    let alike = values.iter().filter(near).count();
    let n = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    let deviation = libm::sqrt(squares / (n - 1.0).max(1.0));
    let (bias, u) = if alike * 4 >= values.len() {
        deviation_left(values.len() as u64, deviation, noise)
    } else {
        alone(alike, noise)
    };
    // Nothing overstates by more than it lies beyond their mean.
    let bias = bias.min((most - sign * mean).max(0.0));
    Extreme {
        value: sign * (most - bias),
        u: combined([u, NOISE_KNOWN * bias]),
        bias,
    }
}

/// The `z` that a standard normal deviate exceeds with probability `tail`.
pub(super) fn upper_quantile(tail: f64) -> f64 {
    let (mut low, mut high) = (-1.0, 40.0);
    // Sixty halvings of a range of 41 leave less than 1e-16.
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if 0.5 * libm::erfc(middle / std::f64::consts::SQRT_2) > tail {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}
