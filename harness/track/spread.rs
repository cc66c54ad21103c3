//! Mean, deviation and extremes of many spans, exact and in one pass, and what
//! the largest of many readings overstates. It keeps no readings.

use crate::clock::{BenchInstant, BenchSpan};
use crate::measurement::{Estimate, combined};
use serde::{Deserialize, Serialize};

/// Running sums of spans in picoseconds. Integers, so the order of pushing
/// does not matter.
#[derive(Clone, Debug)]
pub(super) struct Spread {
    /// Subtracted from every span first, so that squares stay small.
    about: i64,
    count: u64,
    sum: i128,
    squares: u128,
    least: (i64, BenchInstant),
    greatest: (i64, BenchInstant),
}

impl Spread {
    pub(super) const fn about(about: BenchSpan) -> Self {
        Self {
            about: about.picoseconds(),
            count: 0,
            sum: 0,
            squares: 0,
            least: (i64::MAX, BenchInstant::ZERO),
            greatest: (i64::MIN, BenchInstant::ZERO),
        }
    }

    pub(super) fn push(&mut self, span: BenchSpan, at: BenchInstant) {
        let picoseconds = span.picoseconds();
        let distance = i128::from(picoseconds) - i128::from(self.about);
        self.count += 1;
        self.sum = self.sum.saturating_add(distance);
        // Most are shorter than 4 ms, and their squares need no wide numbers.
        let away = distance.unsigned_abs();
        let square = match u32::try_from(away) {
            Ok(away) => u128::from(u64::from(away) * u64::from(away)),
            Err(_) => away.saturating_mul(away),
        };
        self.squares = self.squares.saturating_add(square);
        if picoseconds < self.least.0 {
            self.least = (picoseconds, at);
        }
        if picoseconds > self.greatest.0 {
            self.greatest = (picoseconds, at);
        }
    }

    /// Adds another spread about the same value.
    pub(super) fn merge(&mut self, other: &Self) {
        debug_assert_eq!(self.about, other.about);
        self.count += other.count;
        self.sum = self.sum.saturating_add(other.sum);
        self.squares = self.squares.saturating_add(other.squares);
        if other.least.0 < self.least.0 {
            self.least = other.least;
        }
        if other.greatest.0 > self.greatest.0 {
            self.greatest = other.greatest;
        }
    }

    pub(super) const fn count(&self) -> u64 {
        self.count
    }

    pub(super) const fn greatest(&self) -> i64 {
        self.greatest.0
    }

    /// The figures in seconds.
    pub(super) fn figures(&self, budget: Budget) -> Option<Figures> {
        let Budget {
            own: u_each,
            shared,
            left,
            time_base,
        } = budget;
        if self.count == 0 {
            return None;
        }
        let seconds = |picoseconds: f64| picoseconds * 1e-12;
        let n = self.count as f64;
        let about = self.about as f64;
        let mean = seconds(about + self.sum as f64 / n);
        let deviation = if self.count > 1 {
            let offset = self.sum as f64;
            let variance = (self.squares as f64 - offset * offset / n) / (n - 1.0);
            seconds(libm::sqrt(variance.max(0.0)))
        } else {
            0.0
        };
        // Readings that scatter by less than their own resolution are not
        // independent: averaging them gains nothing (GUM 4.3.7, F.2.2.1).
        let u_readings = if deviation < u_each / 2.0 {
            u_each
        } else {
            deviation.max(u_each) / libm::sqrt(n)
        };
        let bias = bias_of_maximum(self.count) * u_each;
        let extreme = |(picoseconds, at): (i64, BenchInstant)| {
            let value = seconds(picoseconds as f64);
            Worst {
                estimate: Estimate::new(value, combined([u_each, shared, value * time_base])),
                at,
                of: self.count,
                bias,
            }
        };
        Some(Figures {
            count: self.count,
            mean: Estimate::new(mean, combined([u_readings, left, mean * time_base])),
            deviation,
            least: extreme(self.least),
            greatest: extreme(self.greatest),
        })
    }
}

/// Standard uncertainties of readings in seconds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Budget {
    /// What each reading owns alone.
    pub(super) own: f64,
    /// What all share, up to the sign, in each reading.
    pub(super) shared: f64,
    /// What is left of it in their mean.
    pub(super) left: f64,
    /// Relative, of the clock.
    pub(super) time_base: f64,
}

/// Statistics of many spans, in seconds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Figures {
    /// How many.
    pub count: u64,
    /// Their mean with its standard uncertainty.
    pub mean: Estimate,
    /// Their standard deviation.
    pub deviation: f64,
    /// The least.
    pub least: Worst,
    /// The greatest.
    pub greatest: Worst,
}

/// An extreme of many readings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Worst {
    /// The reading, with the standard uncertainty of a single one.
    pub estimate: Estimate,
    /// When it occurred.
    pub at: BenchInstant,
    /// The number of readings of which it is the extreme.
    pub of: u64,
    /// By how much (s) measurement noise alone lets the extreme of that many
    /// readings lie beyond the true extreme, if all true values were equal.
    /// Stated, not subtracted.
    pub bias: f64,
}

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

/// The `z` that a standard normal deviate exceeds with probability `tail`.
fn upper_quantile(tail: f64) -> f64 {
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

/// Counts of spans in bins of a microsecond.
#[derive(Clone, Debug)]
pub(super) struct Microseconds {
    counts: Vec<u64>,
    beyond: u64,
}

/// Spans from here on (us) share one bin.
const LONGEST_BIN: usize = 512;

impl Microseconds {
    pub(super) fn new() -> Self {
        Self {
            counts: vec![0; LONGEST_BIN],
            beyond: 0,
        }
    }

    pub(super) fn push(&mut self, span: BenchSpan) {
        let rounded = span.picoseconds().saturating_add(500_000) / 1_000_000;
        let bin = usize::try_from(rounded).unwrap_or(0);
        match self.counts.get_mut(bin) {
            Some(count) => *count += 1,
            None => self.beyond += 1,
        }
    }

    /// Full bins: the span in whole microseconds, and how many.
    pub(super) fn bins(&self) -> Vec<(u32, u64)> {
        let full = self.counts.iter().enumerate().filter(|&(_, &n)| n > 0);
        full.map(|(bin, &n)| (bin as u32, n)).collect()
    }

    pub(super) const fn beyond(&self) -> u64 {
        self.beyond
    }
}

/// Statistics of plain numbers, such as volts.
#[derive(Clone, Debug)]
pub(super) struct Tally {
    count: u64,
    mean: f64,
    squares: f64,
    pub(super) least: f64,
    pub(super) greatest: f64,
}

impl Tally {
    pub(super) const fn new() -> Self {
        Self {
            count: 0,
            mean: 0.0,
            squares: 0.0,
            least: f64::INFINITY,
            greatest: f64::NEG_INFINITY,
        }
    }

    /// Welford's update (Technometrics 4, 1962, p. 419).
    pub(super) fn push(&mut self, value: f64) {
        self.count += 1;
        let distance = value - self.mean;
        self.mean += distance / self.count as f64;
        self.squares += distance * (value - self.mean);
        self.least = self.least.min(value);
        self.greatest = self.greatest.max(value);
    }

    pub(super) const fn count(&self) -> u64 {
        self.count
    }

    /// The mean; `u_common` is what all readings share.
    pub(super) fn mean(&self, u_common: f64) -> Option<Estimate> {
        self.mean_of(0.0, u_common)
    }

    /// The mean of readings each of which owns `u_each` alone at least: the
    /// scatter of a few may by chance be less.
    pub(super) fn mean_of(&self, u_each: f64, u_common: f64) -> Option<Estimate> {
        if self.count == 0 {
            return None;
        }
        let n = self.count as f64;
        let deviation = if self.count > 1 {
            libm::sqrt(self.squares / (n - 1.0))
        } else {
            0.0
        };
        Some(Estimate::new(
            self.mean,
            combined([deviation.max(u_each) / libm::sqrt(n), u_common]),
        ))
    }
}
