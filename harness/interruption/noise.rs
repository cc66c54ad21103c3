//! How samples scatter and how long they remember it, from a stretch in which
//! nothing happens, and what that leaves of means and largest values. It draws
//! no chance.

use crate::measurement::{combined, resolution};
use crate::waveform::Trace;

/// Noise of one standard deviation that a one-pole filter may have passed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noise {
    /// Standard deviation of one sample.
    pub sd: f64,
    /// Correlation of neighbouring samples, 0 for white noise.
    pub memory: f64,
    /// Standard uncertainty from the converter's steps, where the noise is too
    /// small to dither them away.
    pub coarse: f64,
}

impl Noise {
    /// White noise.
    pub const fn white(sd: f64) -> Self {
        Self {
            sd,
            memory: 0.0,
            coarse: 0.0,
        }
    }

    /// The noise of `samples` about `mean` with standard deviation `sd`, from
    /// a converter of this `step`.
    ///
    /// The memory is the first autocorrelation; what as many white samples
    /// show by chance, two standard deviations 1 / sqrt n, counts as none.
    pub fn of(samples: &[f64], mean: f64, sd: f64, step: f64) -> Self {
        let products = |lag: usize| -> f64 {
            let later = samples.iter().skip(lag);
            let pairs = samples.iter().zip(later);
            pairs.map(|(a, b)| (a - mean) * (b - mean)).sum()
        };
        let (whole, next) = (products(0), products(1));
        let memory = if whole > 0.0 { next / whole } else { 0.0 };
        let chance = 2.0 / libm::sqrt(samples.len().max(1) as f64);
        Self {
            sd,
            memory: if memory > chance {
                memory.min(0.999)
            } else {
                0.0
            },
            coarse: if sd < step { resolution(step) } else { 0.0 },
        }
    }

    /// The noise of an alternating `trace` by its second differences, medians
    /// as for [`Trace::grain`]: those of neighbours, and those of samples a
    /// sixteenth of `half` apart, by when one-pole noise has forgotten most.
    ///
    /// For correlation r of samples so far apart their variance is
    /// (6 - 8 r + 2 r^2) times the noise's.
    pub fn alternating(trace: &Trace, half: f64) -> Self {
        let near = trace.grain();
        let lag = libm::floor(half / 16.0 / trace.period()).clamp(1.0, 64.0) as usize;
        let far = trace.grain_apart(lag).max(near);
        let ratio = if far > 0.0 { near / far } else { 1.0 };
        // 2 r^2 - 8 r + 6 (1 - ratio^2) = 0, the root below one.
        let memory = 2.0 - libm::sqrt(1.0 + 3.0 * ratio * ratio);
        Self {
            sd: far,
            memory: if memory > 0.1 { memory.min(0.999) } else { 0.0 },
            coarse: if far < trace.step() {
                resolution(trace.step())
            } else {
                0.0
            },
        }
    }

    /// Standard uncertainty of one sample.
    pub fn of_one(&self) -> f64 {
        combined([self.sd, self.coarse])
    }

    /// Standard deviation of the mean of `count` neighbours with correlations
    /// r^k: s^2 / n ((1 + r) / (1 - r) - 2 r (1 - r^n) / (n (1 - r)^2)).
    pub fn of_mean(&self, count: usize) -> f64 {
        let (n, r) = (count.max(1) as f64, self.memory);
        let longer =
            (1.0 + r) / (1.0 - r) - 2.0 * r * (1.0 - libm::pow(r, n)) / (n * (1.0 - r) * (1.0 - r));
        self.sd * libm::sqrt((longer / n).clamp(0.0, 1.0))
    }

    /// By how much the scatter of a mean of `count` is more than white noise's.
    pub fn lengthened(&self, count: usize) -> f64 {
        if self.sd > 0.0 {
            self.of_mean(count) / self.sd * libm::sqrt(count as f64)
        } else {
            1.0
        }
    }

    /// Samples that are as good as one.
    pub fn alike(&self) -> f64 {
        (1.0 + self.memory) / (1.0 - self.memory)
    }
}

/// Mean of the largest of `count` standard normal numbers: sqrt(2 ln n) with
/// the second and third term of its expansion (Gumbel's limit); between one and
/// three the exact 0, 0.564 and 0.846.
pub(super) fn largest_of(count: f64) -> f64 {
    if count <= 2.0 {
        return 0.564 * (count - 1.0).max(0.0);
    }
    if count <= 3.0 {
        return 0.564 + 0.282 * (count - 2.0);
    }
    /// Euler's constant.
    const GAMMA: f64 = 0.577_215_664_901_532_9;
    let log = libm::log(count);
    let root = libm::sqrt(2.0 * log);
    root - (libm::log(log) + libm::log(4.0 * std::f64::consts::PI) - 2.0 * GAMMA) / (2.0 * root)
}

/// Of how many alike normal numbers about `near` lie within `reach`
/// standard deviations of the largest: n (1 - Phi(e(n) - reach)) = near, by
/// repetition.
pub(super) fn all_of(near: f64, reach: f64) -> f64 {
    let mut count = near.max(1.0);
    for _ in 0..40 {
        let beyond = 0.5 * libm::erfc((largest_of(count) - reach) / std::f64::consts::SQRT_2);
        let next = (near / beyond.min(1.0)).clamp(1.0, 1e9);
        // Half of the way in the logarithm, so that it settles.
        count = libm::sqrt(count * next);
    }
    count
}
