//! How far one lot lies above the other, without assuming a distribution: the
//! median of all pairwise differences with its interval (J. L. Hodges and E. L.
//! Lehmann, Annals of Mathematical Statistics 34 (1963) 598-611). The pairs are
//! never listed: order statistics are selected by counting.

use super::distribution::{normal, normal_critical};
use super::ranks::UDistribution;
use super::{Interval, Sample, StatisticsFault, in_range, probability};
use serde::{Deserialize, Serialize};

/// The shift of the first lot against the second.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Shift {
    /// Median of every reading of the first less every one of the second.
    pub shift: f64,
    /// The interval between two order statistics of the differences.
    pub interval: Interval,
    /// The confidence that this interval really has; small lots cannot reach
    /// any confidence asked for, and the widest interval is given then.
    pub confidence: f64,
}

/// The Hodges-Lehmann shift with its interval: exact ranks for lots of up to
/// 50, the normal approximation beyond (M. Hollander and D. A. Wolfe,
/// "Nonparametric Statistical Methods", 2nd edition (1999), 4.2 and 4.3).
///
/// # Errors
/// `Argument`, `OutOfRange`.
pub fn shift(first: &Sample, second: &Sample, confidence: f64) -> Result<Shift, StatisticsFault> {
    let confidence = probability("the confidence", confidence)?;
    let pairs = Pairs {
        first: first.sorted(),
        second: second.sorted(),
    };
    let all = pairs.count();
    let middle = all / 2;
    let shift = if all % 2 == 1 {
        pairs.select(middle + 1)
    } else {
        let below = pairs.select(middle);
        below + (pairs.select(middle + 1) - below) / 2.0
    };
    let (rank, reached) = interval_rank(first.count(), second.count(), 1.0 - confidence);
    let interval = Interval {
        lower: pairs.select(rank),
        upper: pairs.select(all + 1 - rank),
    };
    in_range(interval.upper - interval.lower)?;
    Ok(Shift {
        shift: in_range(shift)?,
        interval,
        confidence: reached,
    })
}

/// The rank from either end at which the interval stops, and its confidence.
fn interval_rank(m: usize, n: usize, alpha: f64) -> (u64, f64) {
    if m.max(n) <= 50 {
        let order = UDistribution::of(m, n);
        let middle = (m * n).div_ceil(2);
        let rank = order.quantile(alpha / 2.0).clamp(1, middle.max(1));
        return (rank as u64, 1.0 - 2.0 * order.up_to(rank - 1).min(0.5));
    }
    let (m, n) = (m as f64, n as f64);
    let deviation = (m * n * (m + n + 1.0) / 12.0).sqrt();
    let rank = (m * n / 2.0 - normal_critical(alpha / 2.0) * deviation).floor();
    let rank = rank.max(1.0);
    let z = (rank - m * n / 2.0) / deviation;
    (rank as u64, 1.0 - 2.0 * normal(z).lower)
}

/// All differences of two sorted lots.
struct Pairs<'a> {
    first: &'a [f64],
    second: &'a [f64],
}

/// An end of the stretch that holds the wanted difference.
#[derive(Clone, Copy)]
struct End {
    value: f64,
    /// Differences at most `value`.
    up_to: u64,
}

impl Pairs<'_> {
    fn count(&self) -> u64 {
        self.first.len() as u64 * self.second.len() as u64
    }

    /// The `rank`-th smallest difference, counted from 1.
    ///
    /// A rounded difference still rises with the first reading and falls with
    /// the second, so counting is exact. Each count takes m + n steps; guesses
    /// alternate between interpolation and halving over the numbers themselves,
    /// which bounds them to twice 64. Once no more than m + n differences are
    /// left they are listed and the wanted one is selected.
    fn select(&self, rank: u64) -> f64 {
        let (least, greatest) = (
            self.first[0] - self.second[self.second.len() - 1],
            self.first[self.first.len() - 1] - self.second[0],
        );
        let mut low = End {
            value: from_key(key(least) - 1),
            up_to: 0,
        };
        let mut high = End {
            value: greatest,
            up_to: self.count(),
        };
        let few = (self.first.len() + self.second.len()) as u64;
        for attempt in 0..200 {
            if high.up_to - low.up_to <= few {
                return self.select_listed(low, high, rank);
            }
            if key(high.value) - key(low.value) <= 1 {
                return high.value;
            }
            let guess = if attempt % 3 == 2 {
                halved(low, high)
            } else {
                interpolated(low, high, rank, attempt % 3 == 1)
            };
            let up_to = self.count_up_to(guess);
            let end = End {
                value: guess,
                up_to,
            };
            if up_to >= rank {
                high = end;
            } else {
                low = end;
            }
        }
        high.value
    }

    fn count_up_to(&self, value: f64) -> u64 {
        let mut count = 0_u64;
        // Readings of the second at or past here give a difference <= value.
        let mut from = 0;
        for x in self.first {
            while from < self.second.len() && x - self.second[from] > value {
                from += 1;
            }
            count += (self.second.len() - from) as u64;
        }
        count
    }

    fn select_listed(&self, low: End, high: End, rank: u64) -> f64 {
        let mut inside = Vec::with_capacity((high.up_to - low.up_to) as usize);
        let (mut from, mut to) = (0, 0);
        for x in self.first {
            while from < self.second.len() && x - self.second[from] > high.value {
                from += 1;
            }
            while to < self.second.len() && x - self.second[to] > low.value {
                to += 1;
            }
            inside.extend(self.second[from..to].iter().map(|y| x - y));
        }
        let index = (rank - low.up_to - 1) as usize;
        *inside.select_nth_unstable_by(index, f64::total_cmp).1
    }
}

/// Halfway over the representable numbers.
fn halved(low: End, high: End) -> f64 {
    let (a, b) = (key(low.value), key(high.value));
    from_key(a + (b - a) / 2)
}

/// Where a straight line between the ends puts the rank, then a little to the
/// far side, so that both ends move.
fn interpolated(low: End, high: End, rank: u64, past: bool) -> f64 {
    let width = (high.up_to - low.up_to) as f64;
    let aim = (rank - low.up_to) as f64 / width;
    let aim = if past {
        // The side with more left is the one worth cutting.
        if aim < 0.5 {
            (2.0 * aim).min(0.5)
        } else {
            (2.0 * aim - 1.0).max(0.5)
        }
    } else {
        aim
    };
    let guess = low.value + (high.value - low.value) * aim;
    let inside = key(guess) > key(low.value) && key(guess) < key(high.value);
    if inside { guess } else { halved(low, high) }
}

/// Whole numbers in the order of the numbers they stand for; wide enough that
/// their differences cannot overflow.
fn key(value: f64) -> i128 {
    let bits = (value + 0.0).to_bits() as i64;
    i128::from(if bits < 0 { i64::MIN - bits } else { bits })
}

fn from_key(key: i128) -> f64 {
    // Keys come from two finite differences or lie between them.
    let key = key as i64;
    f64::from_bits(if key < 0 {
        (i64::MIN - key) as u64
    } else {
        key as u64
    })
}
