//! Whether two lots are the same for all practical purposes: two one-sided
//! tests against a margin that somebody declared beforehand. It does not choose
//! the margin, and "not equivalent" here never means "different".

use super::difference::LotDifference;
use super::{Interval, StatisticsFault};
use serde::{Deserialize, Serialize};

/// The differences that do not matter, open interval around what is the same.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Margin {
    lower: f64,
    upper: f64,
}

impl Margin {
    /// Differences strictly between `lower` and `upper` do not matter.
    ///
    /// # Errors
    /// `Argument` unless both are finite and zero lies between them.
    pub fn new(lower: f64, upper: f64) -> Result<Self, StatisticsFault> {
        if lower.is_finite() && upper.is_finite() && lower < 0.0 && 0.0 < upper {
            Ok(Self { lower, upper })
        } else {
            Err(StatisticsFault::Argument("the equivalence margin"))
        }
    }

    /// Differences smaller than `size` in either direction do not matter.
    ///
    /// # Errors
    /// `Argument` unless the size is finite and positive.
    pub fn symmetric(size: f64) -> Result<Self, StatisticsFault> {
        Self::new(-size, size)
    }

    /// The negative end.
    pub fn lower(&self) -> f64 {
        self.lower
    }

    /// The positive end.
    pub fn upper(&self) -> f64 {
        self.upper
    }

    /// Whether a difference known exactly does not matter.
    pub fn contains(&self, difference: f64) -> bool {
        self.lower < difference && difference < self.upper
    }

    /// Whether no difference in `interval` matters: what *equivalent* means.
    pub fn holds(&self, interval: &Interval) -> bool {
        self.contains(interval.lower) && self.contains(interval.upper)
    }

    /// Whether every difference in `interval` matters: what *different* means.
    pub fn excludes(&self, interval: &Interval) -> bool {
        interval.upper <= self.lower || self.upper <= interval.lower
    }
}

/// Two one-sided tests: D. J. Schuirmann, "A comparison of the two one-sided
/// tests procedure and the power approach", J. Pharmacokinetics and
/// Biopharmaceutics 15 (1987) 657-680.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Equivalence {
    /// t against a difference at or below the lower margin.
    pub t_lower: f64,
    /// Its p value.
    pub p_lower: f64,
    /// t against a difference at or above the upper margin.
    pub t_upper: f64,
    /// Its p value.
    pub p_upper: f64,
    /// The greater of the two: what is compared with alpha.
    pub p: f64,
    /// The interval with confidence 1 - 2 alpha; it lies inside the margin
    /// exactly when the lots are equivalent.
    pub interval: Interval,
    /// Whether the interval lies inside the margin, that is p below alpha.
    pub equivalent: bool,
    /// p against a difference inside the margin or on its edge: small when the
    /// difference is proven to matter.
    pub p_beyond: f64,
}

/// Tests whether `difference` lies inside `margin`, wrongly saying so with
/// probability `alpha` at most. The interval decides; p values are the same in
/// other words.
///
/// # Errors
/// `Argument` unless alpha is between 0 and 0.5; `OutOfRange`.
pub fn two_one_sided_tests(
    difference: impl Into<LotDifference>,
    margin: &Margin,
    alpha: f64,
) -> Result<Equivalence, StatisticsFault> {
    if !(alpha > 0.0 && alpha < 0.5) {
        return Err(StatisticsFault::Argument("alpha"));
    }
    let difference = difference.into();
    let interval = difference.interval(1.0 - 2.0 * alpha)?;
    let against_lower = difference.test(margin.lower);
    let against_upper = difference.test(margin.upper);
    let p = against_lower.p_greater.max(against_upper.p_less);
    // Both ends are tested, so the smaller p counts twice (Bonferroni).
    let beyond = against_lower.p_less.min(against_upper.p_greater);
    Ok(Equivalence {
        t_lower: super::in_range(against_lower.t)?,
        p_lower: against_lower.p_greater,
        t_upper: super::in_range(against_upper.t)?,
        p_upper: against_upper.p_less,
        p,
        interval,
        equivalent: margin.holds(&interval),
        p_beyond: (2.0 * beyond).min(1.0),
    })
}
