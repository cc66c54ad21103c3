//! A lot summed up, and two lots compared metric by metric after a part was
//! substituted: equivalent, different, or not enough boards to say. It takes
//! the margin as declared, and it never calls a lack of proof a difference.

pub use super::difference::Common;

use super::capability::{Indices, performance};
use super::difference::LotDifference;
use super::equivalence::{Equivalence, Margin, two_one_sided_tests};
use super::means::TTest;
use super::needed::Lots;
use super::outliers::{Outliers, extreme_deviates};
use super::ranks::{RankSum, Superiority, rank_sum, superiority};
use super::shift::{Shift, shift_of_unlike};
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
    /// The test against no difference; none when neither lot varies.
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
    /// Boards to add to each lot for the same, where that is not proven yet.
    pub more_boards: Option<usize>,
    /// What intervals and p values come from; none when neither lot varies.
    #[serde(skip)]
    known: Option<LotDifference>,
    #[serde(skip)]
    margin: Margin,
    #[serde(skip)]
    resolution: f64,
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
/// Where neither lot varies at all (a count, say) and the bench adds nothing,
/// there is nothing to test: the outcome then is that of the plain difference.
/// Readings that all lie within what can be told apart are the same: no rank
/// among them says anything.
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
    let known = match LotDifference::of(candidate, baseline, terms.common) {
        Ok(known) => Some(known),
        Err(StatisticsFault::NoSpread) => None,
        Err(fault) => return Err(fault),
    };
    let equivalence = known
        .map(|known| two_one_sided_tests(known, margin, alpha))
        .transpose()?;
    let resolution = baseline.resolution().max(candidate.resolution());
    let alike = told_apart(baseline, candidate) <= resolution;
    let pair = [candidate.clone(), baseline.clone()];
    let mut comparison = LotComparison {
        baseline: *before,
        candidate: *after,
        difference: after.above_mean_of(before),
        welch: known.map(|known| known.test(0.0)),
        equivalence,
        rank_sum: rank_sum(candidate, baseline).ok().filter(|_| !alike),
        superiority: superiority(baseline, candidate, confidence)
            .ok()
            .filter(|_| !alike),
        shift: shift_of_unlike(candidate, baseline, confidence)?,
        variance_ratio: variance_ratio(after, before, confidence).ok(),
        spread_p: brown_forsythe(&pair).ok().map(|table| table.p),
        outcome: Outcome::NotEnough,
        boards_needed: None,
        more_boards: None,
        known,
        margin: *margin,
        resolution,
    };
    comparison.outcome = comparison.claimed(alpha, alpha)?.outcome;
    comparison.plan(terms);
    Ok(comparison)
}

/// How far the readings of both lots reach.
fn told_apart(baseline: &Sample, candidate: &Sample) -> f64 {
    let (one, two) = (baseline.sorted(), candidate.sorted());
    let least = one[0].min(two[0]);
    one[one.len() - 1].max(two[two.len() - 1]) - least
}

/// What is claimed of a metric, with the interval that the claim rests on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Settled {
    /// The claim.
    pub outcome: Outcome,
    /// Inside the margin where that is *equivalent*, wholly beyond it where it is
    /// *different*, across an edge of it where it is *not enough*.
    pub interval: Interval,
    /// The confidence of that interval: 1 - 2 alpha, or more where so much would
    /// have been needed to claim a difference.
    pub confidence: f64,
}

impl LotComparison {
    /// Candidate mean less baseline mean with `confidence`; a point where neither
    /// lot varies.
    fn interval(&self, confidence: f64) -> Result<Interval, StatisticsFault> {
        match &self.known {
            Some(known) => known.interval(confidence),
            None => Ok(Interval {
                lower: self.difference,
                upper: self.difference,
            }),
        }
    }

    /// *Equivalent* where the interval of 1 - 2 alpha lies inside the margin,
    /// *different* where that of 1 - `beyond` lies wholly outside: its tail
    /// counts twice, once for either edge (Bonferroni). A narrower interval that
    /// lies outside although the wider one does not is not shown: nothing is
    /// claimed by it.
    fn claimed(&self, alpha: f64, beyond: f64) -> Result<Settled, StatisticsFault> {
        let plain = 1.0 - 2.0 * alpha;
        let interval = self.interval(plain)?;
        let shown = |outcome, interval, confidence| Settled {
            outcome,
            interval,
            confidence,
        };
        if self.margin.holds(&interval) {
            return Ok(shown(Outcome::Equivalent, interval, plain));
        }
        if !self.margin.excludes(&interval) {
            return Ok(shown(Outcome::NotEnough, interval, plain));
        }
        let wide = self.interval(1.0 - beyond)?;
        Ok(if self.margin.excludes(&wide) {
            shown(Outcome::Different, interval, plain)
        } else {
            shown(Outcome::NotEnough, wide, 1.0 - beyond)
        })
    }

    /// Whether the means of lots that do not vary are told apart.
    pub fn differs(&self) -> bool {
        self.difference.abs() > self.resolution
    }

    /// p of the claim that the difference matters.
    fn p_beyond(&self) -> f64 {
        match &self.equivalence {
            Some(tests) => tests.p_beyond,
            // A difference without any spread needs no probability.
            None if self.outcome == Outcome::Different => 0.0,
            None => 1.0,
        }
    }

    fn plan(&mut self, terms: &Terms) {
        let lots = Lots {
            difference: self.difference,
            sds: [self.candidate.sd(), self.baseline.sd()],
            bench: terms.common,
            resolution: self.resolution,
            margin: self.margin,
            alpha: terms.alpha,
        };
        self.boards_needed = lots.boards(terms.power);
        if self.outcome == Outcome::NotEnough {
            let counts = [self.candidate.count(), self.baseline.count()];
            self.more_boards = if counts[0] == counts[1] {
                self.boards_needed
                    .map(|boards| boards.saturating_sub(counts[0]).max(1))
            } else {
                lots.more(counts, terms.power)
            };
        }
    }
}

/// Settles many metrics together, in the order given.
///
/// All metrics being equivalent is claimed only when each is, which needs no
/// correction (R. L. Berger, Technometrics 24 (1982) 295-300). Any metric being
/// different is claimed if one is, so the confidence of each such claim is that
/// of Holm's method: 1 - alpha over the number of metrics not yet claimed, the
/// plainest first. A difference that does not survive it is not enough boards,
/// and is shown with the interval that it did not survive.
///
/// # Errors
/// `Argument` unless alpha is between 0 and 0.5; `OutOfRange`.
pub fn settle(comparisons: &[LotComparison], alpha: f64) -> Result<Vec<Settled>, StatisticsFault> {
    if !(alpha > 0.0 && alpha < 0.5) {
        return Err(StatisticsFault::Argument("alpha"));
    }
    let p_values: Vec<f64> = comparisons.iter().map(LotComparison::p_beyond).collect();
    let mut order: Vec<usize> = (0..comparisons.len()).collect();
    order.sort_by(|a, b| p_values[*a].total_cmp(&p_values[*b]));
    let mut settled = vec![None; comparisons.len()];
    let mut left = comparisons.len();
    let mut refused = false;
    for index in order {
        let claim = comparisons[index].claimed(alpha, alpha / left as f64)?;
        // Once one claim fails, the rest is held to the same confidence.
        refused |= claim.outcome != Outcome::Different;
        if !refused {
            left -= 1;
        }
        settled[index] = Some(claim);
    }
    Ok(settled.into_iter().flatten().collect())
}
