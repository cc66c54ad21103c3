//! Whether one lot tends to lie above the other, by ranks alone: Mann and
//! Whitney's U, Brunner and Munzel's test. No distribution is assumed, so no
//! difference in units comes out; that is [`super::shift`].

use super::distribution::{Tails, normal, student_t, student_t_critical};
use super::{Interval, Sample, StatisticsFault, at_least, probability};
use serde::{Deserialize, Serialize};

/// How a p value was had.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// From every possible order of the readings.
    Exact,
    /// From the normal approximation, corrected for ties and continuity.
    Asymptotic,
}

/// The rank-sum test: H. B. Mann and D. R. Whitney, Annals of Mathematical
/// Statistics 18 (1947) 50-60.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct RankSum {
    /// Pairs in which the first lot's reading is the greater; ties count half.
    pub u_first: f64,
    /// Pairs in which the second lot's reading is the greater.
    pub u_second: f64,
    /// Against any difference.
    pub p_two_sided: f64,
    /// Against the first lot lying lower.
    pub p_less: f64,
    /// Against the first lot lying higher.
    pub p_greater: f64,
    /// How the p values were had.
    pub method: Method,
}

/// Mann and Whitney's test: exact without ties for lots of up to 50, or where
/// one has 8 or fewer and there are at most 100,000 pairs; else asymptotic.
///
/// # Errors
/// `NoSpread` when all readings of both lots are the same.
pub fn rank_sum(first: &Sample, second: &Sample) -> Result<RankSum, StatisticsFault> {
    let (m, n) = (first.count(), second.count());
    let placements = Placements::of(first.sorted(), second.sorted());
    let u_first: f64 = placements.first.iter().sum();
    let u_second = m as f64 * n as f64 - u_first;
    if exact_is_cheap(m, n) && placements.tie_term == 0.0 {
        let order = UDistribution::of(m, n);
        let lower = order.up_to(u_first as usize);
        let upper = order.up_to(u_second as usize);
        return Ok(RankSum {
            u_first,
            u_second,
            p_two_sided: Tails { lower, upper }.two_sided(),
            p_less: lower,
            p_greater: upper,
            method: Method::Exact,
        });
    }
    let sd = u_deviation(m as f64, n as f64, placements.tie_term);
    if sd == 0.0 {
        return Err(StatisticsFault::NoSpread);
    }
    let centre = m as f64 * n as f64 / 2.0;
    // Half a step towards the centre, as the discrete statistic asks.
    let below = normal((u_first - centre + 0.5) / sd).lower;
    let above = normal((u_first - centre - 0.5) / sd).upper;
    Ok(RankSum {
        u_first,
        u_second,
        p_two_sided: (2.0 * below.min(above)).min(1.0),
        p_less: below,
        p_greater: above,
        method: Method::Asymptotic,
    })
}

/// Whether all orders are counted: both lots have 50 or fewer, or one has 8 or
/// fewer and there are at most 100,000 pairs.
pub(super) fn exact_is_cheap(m: usize, n: usize) -> bool {
    m.max(n) <= 50 || (m.min(n) <= 8 && m.saturating_mul(n) <= 100_000)
}

/// Standard deviation of U, with the tie term, the sum of t^3 - t over tied
/// groups (M. Hollander and D. A. Wolfe, "Nonparametric Statistical Methods",
/// 2nd edition (1999), 4.1).
pub(super) fn u_deviation(m: f64, n: f64, tie_term: f64) -> f64 {
    let all = m + n;
    let free = all + 1.0 - tie_term / (all * (all - 1.0));
    (m * n / 12.0 * free).max(0.0).sqrt()
}

/// For each reading, in rising order, how many of the other lot lie below it;
/// ties count half.
pub(super) struct Placements {
    pub(super) first: Vec<f64>,
    pub(super) second: Vec<f64>,
    /// Sum of t^3 - t over groups of t tied readings.
    tie_term: f64,
}

impl Placements {
    pub(super) fn of(first: &[f64], second: &[f64]) -> Self {
        let mut placements = Self {
            first: Vec::with_capacity(first.len()),
            second: Vec::with_capacity(second.len()),
            tie_term: 0.0,
        };
        let (mut i, mut j) = (0, 0);
        while i < first.len() || j < second.len() {
            let value = match (first.get(i), second.get(j)) {
                (Some(a), Some(b)) => a.min(*b),
                (Some(a), None) => *a,
                (None, b) => b.copied().unwrap_or(0.0),
            };
            let run = |sorted: &[f64], from: usize| {
                sorted[from..].iter().take_while(|x| **x == value).count()
            };
            let (in_first, in_second) = (run(first, i), run(second, j));
            let below_in_second = j as f64 + in_second as f64 / 2.0;
            let below_in_first = i as f64 + in_first as f64 / 2.0;
            placements
                .first
                .extend(std::iter::repeat_n(below_in_second, in_first));
            placements
                .second
                .extend(std::iter::repeat_n(below_in_first, in_second));
            let tied = (in_first + in_second) as f64;
            placements.tie_term += tied * tied * tied - tied;
            (i, j) = (i + in_first, j + in_second);
        }
        placements
    }
}

/// The distribution of U over every order of m + n different readings.
pub(super) struct UDistribution {
    /// Orders with U at most the index.
    cumulated: Vec<f64>,
}

impl UDistribution {
    /// Counts by the generating function, the product over i of
    /// (1 - q^(n+i)) / (1 - q^i), i = 1..m. The counts are whole numbers below
    /// 2^128 and the arithmetic is modulo that, so they are exact whatever
    /// happens in between.
    pub(super) fn of(m: usize, n: usize) -> Self {
        let (few, many) = (m.min(n), m.max(n));
        let top = few * many;
        let mut counts = vec![0_u128; top + 1];
        counts[0] = 1;
        for i in 1..=few {
            for power in (many + i..=top).rev() {
                counts[power] = counts[power].wrapping_sub(counts[power - many - i]);
            }
            for power in i..=top {
                counts[power] = counts[power].wrapping_add(counts[power - i]);
            }
        }
        let all: u128 = counts.iter().sum();
        let mut sum = 0_u128;
        let cumulated = counts
            .iter()
            .map(|count| {
                sum += count;
                sum as f64 / all as f64
            })
            .collect();
        Self { cumulated }
    }

    /// Probability of a U of at most `u`.
    pub(super) fn up_to(&self, u: usize) -> f64 {
        self.cumulated.get(u).copied().unwrap_or(1.0)
    }

    /// Least u whose probability of at most u reaches `probability`.
    pub(super) fn quantile(&self, probability: f64) -> usize {
        self.cumulated.partition_point(|p| *p < probability)
    }
}

/// A test of whether either lot tends to lie higher, with unequal spreads and
/// ties allowed: E. Brunner and U. Munzel, "The nonparametric Behrens-Fisher
/// problem", Biometrical Journal 42 (2000) 17-25.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Superiority {
    /// Chance that a reading of the second lot exceeds one of the first, ties
    /// counting half; one half where neither tends to lie higher.
    pub second_above_first: f64,
    /// The statistic, positive where the second lot lies higher.
    pub statistic: f64,
    /// Its degrees of freedom.
    pub dof: f64,
    /// Against any tendency.
    pub p_two_sided: f64,
    /// Against the first lot lying lower.
    pub p_first_lower: f64,
    /// Against the first lot lying higher.
    pub p_first_higher: f64,
    /// The interval for the chance, cut off at 0 and 1.
    pub interval: Interval,
}

/// Brunner and Munzel's test with an interval of `confidence`.
///
/// # Errors
/// `TooFew` below two readings; `NoSpread` when all are the same; `Separated`
/// when the lots do not overlap; `Argument`.
pub fn superiority(
    first: &Sample,
    second: &Sample,
    confidence: f64,
) -> Result<Superiority, StatisticsFault> {
    let confidence = probability("the confidence", confidence)?;
    at_least(2, first.count())?;
    at_least(2, second.count())?;
    if first.sorted()[0] == second.sorted()[second.count() - 1]
        && second.sorted()[0] == first.sorted()[first.count() - 1]
    {
        return Err(StatisticsFault::NoSpread);
    }
    let (m, n) = (first.count() as f64, second.count() as f64);
    let placements = Placements::of(first.sorted(), second.sorted());
    let (first_mean, first_variance) = mean_and_variance(&placements.first);
    let (_, second_variance) = mean_and_variance(&placements.second);
    let (a, b) = (m * first_variance, n * second_variance);
    if a + b == 0.0 {
        return Err(StatisticsFault::Separated);
    }
    let second_above_first = 1.0 - first_mean / n;
    // The statistic in terms of mean ranks: their difference is
    // (m + n) (chance - 1/2).
    let statistic = m * n * (second_above_first - 0.5) / (a + b).sqrt();
    let (share_a, share_b) = (a / (a + b), b / (a + b));
    let dof = 1.0 / (share_a * share_a / (m - 1.0) + share_b * share_b / (n - 1.0));
    let tails = student_t(statistic, dof);
    let standard_error = (a + b).sqrt() / (m * n);
    let half = student_t_critical((1.0 - confidence) / 2.0, dof) * standard_error;
    Ok(Superiority {
        second_above_first,
        statistic,
        dof,
        p_two_sided: tails.two_sided(),
        p_first_lower: tails.upper,
        p_first_higher: tails.lower,
        interval: Interval {
            lower: (second_above_first - half).max(0.0),
            upper: (second_above_first + half).min(1.0),
        },
    })
}

pub(super) fn mean_and_variance(values: &[f64]) -> (f64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|x| (x - mean) * (x - mean)).sum();
    // A rounded mean must not turn equal placements into a spread.
    let all_equal = values.windows(2).all(|pair| pair[0] == pair[1]);
    (
        mean,
        if all_equal {
            0.0
        } else {
            squares / (count - 1.0)
        },
    )
}
