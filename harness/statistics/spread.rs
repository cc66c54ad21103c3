//! Whether lots vary alike: F, Brown and Forsythe, Levene, Bartlett.
//! It compares spreads only; means may differ as they like.

use super::anova::{OneWay, one_way};
use super::distribution::{Tails, chi_square, fisher_f, fisher_f_critical};
use super::{Interval, Moments, Sample, StatisticsFault, at_least, in_range, probability};
use serde::{Deserialize, Serialize};

/// The ratio of two variances (NIST/SEMATECH e-Handbook 1.3.5.9). It trusts the
/// readings to be normal; [`brown_forsythe`] does not.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct VarianceRatio {
    /// Variance of the first over variance of the second.
    pub f: f64,
    /// Degrees of freedom of the first.
    pub numerator_dof: f64,
    /// Degrees of freedom of the second.
    pub denominator_dof: f64,
    /// Against any difference.
    pub p_two_sided: f64,
    /// Against the first varying more.
    pub p_greater: f64,
    /// The interval for the true ratio of variances.
    pub interval: Interval,
}

/// The F test of two variances with an interval of `confidence`.
///
/// # Errors
/// `TooFew` below two readings; `NoSpread` when either lot does not vary;
/// `Argument`; `OutOfRange`.
pub fn variance_ratio(
    first: &Moments,
    second: &Moments,
    confidence: f64,
) -> Result<VarianceRatio, StatisticsFault> {
    let confidence = probability("the confidence", confidence)?;
    at_least(2, first.count())?;
    at_least(2, second.count())?;
    if first.sd() == 0.0 || second.sd() == 0.0 {
        return Err(StatisticsFault::NoSpread);
    }
    let root = first.sd() / second.sd();
    let f = in_range(root * root)?;
    let (numerator, denominator) = (first.dof(), second.dof());
    let tails: Tails = fisher_f(f, numerator, denominator);
    let tail = (1.0 - confidence) / 2.0;
    let interval = Interval {
        lower: f / fisher_f_critical(tail, numerator, denominator),
        // The lower critical value is the upper one with the two exchanged.
        upper: in_range(f * fisher_f_critical(tail, denominator, numerator))?,
    };
    Ok(VarianceRatio {
        f,
        numerator_dof: numerator,
        denominator_dof: denominator,
        p_two_sided: tails.two_sided(),
        p_greater: tails.upper,
        interval,
    })
}

/// The test of spreads that holds up best without normal readings: deviations
/// from the group's median. M. B. Brown and A. B. Forsythe, JASA 69 (1974)
/// 364-367. The statistic is `f` of the table.
///
/// # Errors
/// As [`one_way`].
pub fn brown_forsythe(groups: &[Sample]) -> Result<OneWay, StatisticsFault> {
    deviations(groups, Sample::median)
}

/// The original: deviations from the group's mean. H. Levene, in
/// "Contributions to Probability and Statistics" (1960) 278-292.
///
/// # Errors
/// As [`one_way`].
pub fn levene(groups: &[Sample]) -> Result<OneWay, StatisticsFault> {
    deviations(groups, |group| group.moments().mean())
}

fn deviations(
    groups: &[Sample],
    centre: impl Fn(&Sample) -> f64,
) -> Result<OneWay, StatisticsFault> {
    let changed: Result<Vec<Sample>, StatisticsFault> = groups
        .iter()
        .map(|group| {
            let centre = centre(group);
            group.mapped(|x| (x - centre).abs())
        })
        .collect();
    one_way(&changed?)
}

/// Bartlett's test of equal variances.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bartlett {
    /// The statistic, about chi-square when the variances are equal.
    pub statistic: f64,
    /// Its degrees of freedom, groups less one.
    pub dof: f64,
    /// Probability of so great a statistic when they are equal.
    pub p: f64,
}

/// Bartlett's test, the sharpest for normal readings and misled by others
/// (NIST/SEMATECH e-Handbook 1.3.5.7).
///
/// # Errors
/// `TooFew` for fewer than two groups or a group of one; `NoSpread` when any
/// group does not vary.
pub fn bartlett(groups: &[Moments]) -> Result<Bartlett, StatisticsFault> {
    at_least(2, groups.len())?;
    for group in groups {
        at_least(2, group.count())?;
        if group.sd() == 0.0 {
            return Err(StatisticsFault::NoSpread);
        }
    }
    let dof: f64 = groups.iter().map(Moments::dof).sum();
    let pooled = groups.iter().map(|g| g.dof() * g.variance()).sum::<f64>() / dof;
    let pooled = in_range(pooled)?;
    let unequal: f64 = groups
        .iter()
        .map(|group| group.dof() * libm::log(pooled / group.variance()))
        .sum();
    let inverses: f64 = groups.iter().map(|group| 1.0 / group.dof()).sum();
    let between = (groups.len() - 1) as f64;
    let correction = 1.0 + (inverses - 1.0 / dof) / (3.0 * between);
    let statistic = (unequal / correction).max(0.0);
    Ok(Bartlett {
        statistic,
        dof: between,
        p: chi_square(statistic, between).upper,
    })
}
