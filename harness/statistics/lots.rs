//! A lot summed up, and two lots compared metric by metric after a part was
//! substituted: equivalent, different, or not enough boards to say. It takes
//! the margin as declared, and it never calls a lack of proof a difference.

use super::capability::{Indices, performance};
use super::equivalence::{Equivalence, Margin, two_one_sided_tests};
use super::means::{MeanDifference, TTest, Variances};
use super::multiplicity::holm;
use super::outliers::{Outliers, extreme_deviates};
use super::power::Aim;
use super::ranks::{RankSum, Superiority, rank_sum, superiority};
use super::shift::{Shift, shift};
use super::spread::{VarianceRatio, brown_forsythe, variance_ratio};
use super::tolerance::tolerance_interval;
use super::{Interval, Moments, Sample, StatisticsFault, ToleranceLimits, at_least};
use serde::Serialize;

/// What one metric did over a lot.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LotSummary {
    /// Number, mean, standard deviation.
    pub moments: Moments,
    /// Least reading.
    pub least: f64,
    /// Greatest reading.
    pub greatest: f64,
    /// Middle reading.
    pub median: f64,
    /// The middle half of the readings.
    pub quartiles: Interval,
    /// Median absolute deviation, not scaled.
    pub median_absolute_deviation: f64,
    /// Holds 95 % of all such boards with 95 % confidence, if they are normal;
    /// none below two boards.
    pub tolerance: Option<Interval>,
    /// Pp and Ppk with 95 % intervals, where there are limits and a spread.
    pub performance: Option<Indices>,
    /// Readings to look at, up to ten; none below three boards.
    pub outliers: Option<Outliers>,
}

impl LotSummary {
    /// Sums up a lot. What its readings do not allow is left out.
    pub fn of(sample: &Sample, limits: Option<&ToleranceLimits>) -> Self {
        let moments = *sample.moments();
        let sorted = sample.sorted();
        let quartile = |fraction| sample.quantile(fraction).unwrap_or(moments.mean());
        Self {
            moments,
            least: sorted[0],
            greatest: sorted[sorted.len() - 1],
            median: sample.median(),
            quartiles: Interval {
                lower: quartile(0.25),
                upper: quartile(0.75),
            },
            median_absolute_deviation: sample.median_absolute_deviation(),
            tolerance: tolerance_interval(&moments, 0.95, 0.95).ok(),
            performance: limits.and_then(|limits| performance(&moments, limits, 0.95).ok()),
            // More than a third of a lot is no handful of outliers.
            outliers: extreme_deviates(sample, (sample.count() / 3).clamp(1, 10), 0.05).ok(),
        }
    }
}

/// What a comparison came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// The difference is proven to lie inside the margin.
    Equivalent,
    /// The difference is proven to lie outside the margin.
    Different,
    /// Neither is proven.
    NotEnough,
}

/// One metric of two lots. Differences are candidate less baseline.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct LotComparison {
    /// Before the substitution.
    pub baseline: Moments,
    /// After it.
    pub candidate: Moments,
    /// Candidate mean less baseline mean.
    pub difference: f64,
    /// Welch's test against no difference; none when neither lot varies.
    pub welch: Option<TTest>,
    /// The two one-sided tests; none when neither lot varies.
    pub equivalence: Option<Equivalence>,
    /// The rank-sum test; none when all readings are the same.
    pub rank_sum: Option<RankSum>,
    /// The chance that a candidate reads higher (first is the baseline); none
    /// when the lots do not overlap or do not vary.
    pub superiority: Option<Superiority>,
    /// The shift of the medians.
    pub shift: Shift,
    /// Candidate variance over baseline variance, for normal readings.
    pub variance_ratio: Option<VarianceRatio>,
    /// p of Brown and Forsythe's test that both vary alike.
    pub spread_p: Option<f64>,
    /// What the metric comes to on its own.
    pub outcome: Outcome,
    /// Boards a lot that would prove equivalence with the power asked for, were the
    /// true difference and spread what they seem; none where no number would.
    pub boards_needed: Option<usize>,
}

/// What is asked of a comparison.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    /// Probability of a false claim.
    pub alpha: f64,
    /// Chance to prove equivalence that numbers of boards are told for.
    pub power: f64,
    /// What is common to all readings of a lot.
    pub common: Option<Common>,
}

/// A standard uncertainty of the difference that more boards do not make
/// smaller, such as what the bench does from one day to the next.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Common {
    /// The standard uncertainty.
    pub u: f64,
    /// Its degrees of freedom.
    pub dof: f64,
}

/// Compares one metric of two lots of two boards or more, with nothing common
/// to the readings of a lot.
///
/// # Errors
/// As [`compare_on`].
pub fn compare(
    baseline: &Sample,
    candidate: &Sample,
    margin: &Margin,
    alpha: f64,
) -> Result<LotComparison, StatisticsFault> {
    let terms = Terms {
        alpha,
        power: 0.9,
        common: None,
    };
    compare_on(baseline, candidate, margin, &terms)
}

/// Compares one metric of two lots of two boards or more.
///
/// Where neither lot varies at all (a count, say) there is nothing to test:
/// the outcome then is that of the plain difference.
///
/// # Errors
/// `TooFew`; `Argument` unless alpha is between 0 and 0.5; `OutOfRange`.
pub fn compare_on(
    baseline: &Sample,
    candidate: &Sample,
    margin: &Margin,
    terms: &Terms,
) -> Result<LotComparison, StatisticsFault> {
    let alpha = terms.alpha;
    at_least(2, baseline.count())?;
    at_least(2, candidate.count())?;
    if !(alpha > 0.0 && alpha < 0.5) {
        return Err(StatisticsFault::Argument("alpha"));
    }
    let confidence = 1.0 - 2.0 * alpha;
    let (before, after) = (baseline.moments(), candidate.moments());
    let difference = after.mean() - before.mean();
    let common = terms.common.filter(|common| common.u > 0.0);
    let means = match (MeanDifference::of(after, before, Variances::Welch), &common) {
        (Ok(means), None) => Some(means),
        (Ok(means), Some(common)) => Some(means.widened(common.u, common.dof)?),
        (Err(StatisticsFault::NoSpread), None) => None,
        (Err(StatisticsFault::NoSpread), Some(common)) => Some(MeanDifference {
            difference,
            standard_error: common.u,
            dof: common.dof,
        }),
        (Err(fault), _) => return Err(fault),
    };
    let equivalence = means
        .map(|means| two_one_sided_tests(&means, margin, alpha))
        .transpose()?;
    let outcome = match &equivalence {
        Some(tests) if tests.equivalent => Outcome::Equivalent,
        Some(tests) if tests.p_beyond < alpha => Outcome::Different,
        Some(_) => Outcome::NotEnough,
        None if margin.contains(difference) => Outcome::Equivalent,
        None => Outcome::Different,
    };
    let pair = [candidate.clone(), baseline.clone()];
    Ok(LotComparison {
        baseline: *before,
        candidate: *after,
        difference,
        welch: means.map(|means| means.test(0.0)),
        equivalence,
        rank_sum: rank_sum(candidate, baseline).ok(),
        superiority: superiority(baseline, candidate, confidence).ok(),
        shift: shift(candidate, baseline, confidence)?,
        variance_ratio: variance_ratio(after, before, confidence).ok(),
        spread_p: brown_forsythe(&pair).ok().map(|table| table.p),
        outcome,
        boards_needed: boards_needed(before, after, margin, terms),
    })
}

fn boards_needed(
    before: &Moments,
    after: &Moments,
    margin: &Margin,
    terms: &Terms,
) -> Option<usize> {
    let mean_variance = (before.variance() + after.variance()) / 2.0;
    let aim = Aim {
        difference: after.mean() - before.mean(),
        sd: mean_variance.sqrt(),
        alpha: terms.alpha,
    };
    let boards = match terms.common {
        Some(common) if common.u > 0.0 => {
            aim.equivalence_boards_beside(terms.power, margin, common.u, common.dof)
        }
        _ => aim.equivalence_boards(terms.power, margin),
    };
    boards.ok()
}

/// Settles many metrics together, in the order given.
///
/// All metrics being equivalent is claimed only when each is, which needs no
/// correction (R. L. Berger, Technometrics 24 (1982) 295-300). Any metric being
/// different is claimed if one is, so those p values are corrected by Holm's
/// method; a difference that does not survive it is not enough boards.
///
/// # Errors
/// `Argument` unless alpha is between 0 and 0.5.
pub fn settle(comparisons: &[LotComparison], alpha: f64) -> Result<Vec<Outcome>, StatisticsFault> {
    if !(alpha > 0.0 && alpha < 0.5) {
        return Err(StatisticsFault::Argument("alpha"));
    }
    let beyond: Vec<f64> = comparisons
        .iter()
        .map(|comparison| match &comparison.equivalence {
            Some(tests) => tests.p_beyond,
            // A difference without any spread needs no probability.
            None if comparison.outcome == Outcome::Different => 0.0,
            None => 1.0,
        })
        .collect();
    let corrected = holm(&beyond)?;
    Ok(comparisons
        .iter()
        .zip(corrected)
        .map(|(comparison, p)| match comparison.outcome {
            Outcome::Different if p >= alpha => Outcome::NotEnough,
            outcome => outcome,
        })
        .collect())
}
