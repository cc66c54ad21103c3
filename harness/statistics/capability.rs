//! How well a lot's spread fits between its limits: Cp and Cpk from the spread
//! within subgroups, Pp and Ppk from the whole spread, all with intervals. The
//! indices say nothing true of readings that are far from normal.

use super::distribution::{chi_square_critical, normal_critical};
use super::{
    Interval, Moments, Sample, StatisticsFault, ToleranceLimits, at_least, in_range, probability,
};
use serde::{Deserialize, Serialize};

/// An index with what is known of it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Index {
    /// The estimate.
    pub value: f64,
    /// Two-sided interval.
    pub interval: Interval,
    /// One-sided lower bound with the same confidence.
    pub at_least: f64,
}

/// The indices of one lot. They are called Cp and Cpk when the standard
/// deviation is that within subgroups, Pp and Ppk when it is the whole one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Indices {
    /// Width of the limits over six standard deviations; needs both limits.
    pub spread: Option<Index>,
    /// Distance from the mean to the nearer limit over three standard
    /// deviations.
    pub nearer: Index,
    /// The same to the lower limit.
    pub to_lower: Option<f64>,
    /// The same to the upper limit.
    pub to_upper: Option<f64>,
    /// Distance of the mean from the middle of the limits over half their
    /// width, called k.
    pub off_centre: Option<f64>,
}

/// Pp and Ppk: the standard deviation of all readings (ISO 22514-2, from
/// memory, calls them performance indices).
///
/// # Errors
/// `TooFew` below two readings; `NoSpread`; `Argument`; `OutOfRange`.
pub fn performance(
    moments: &Moments,
    limits: &ToleranceLimits,
    confidence: f64,
) -> Result<Indices, StatisticsFault> {
    at_least(2, moments.count())?;
    indices(moments, moments.dof(), limits, confidence)
}

/// Cp and Cpk: the standard deviation within subgroups of boards built under
/// the same conditions, pooled.
///
/// # Errors
/// `TooFew` when no subgroup has two readings; `NoSpread`; `Argument`;
/// `OutOfRange`.
pub fn capability(
    subgroups: &[Sample],
    limits: &ToleranceLimits,
    confidence: f64,
) -> Result<Indices, StatisticsFault> {
    at_least(1, subgroups.len())?;
    let count: usize = subgroups.iter().map(Sample::count).sum();
    at_least(subgroups.len() + 1, count)?;
    let dof = (count - subgroups.len()) as f64;
    // Counted from the first mean, so that large means lose no digits.
    let origin = subgroups[0].moments().mean();
    let (mut beyond, mut squares) = (0.0, 0.0);
    for subgroup in subgroups {
        let moments = subgroup.moments();
        beyond += moments.above(origin) * (moments.count() as f64 / count as f64);
        squares += moments.dof() * moments.variance();
    }
    let moments = Moments::new(count, origin + beyond, (squares / dof).sqrt())?;
    indices(&moments, dof, limits, confidence)
}

fn indices(
    moments: &Moments,
    dof: f64,
    limits: &ToleranceLimits,
    confidence: f64,
) -> Result<Indices, StatisticsFault> {
    let confidence = probability("the confidence", confidence)?;
    if moments.sd() == 0.0 {
        return Err(StatisticsFault::NoSpread);
    }
    let sd = moments.sd();
    // Distances are taken first and divided last: limits and mean may share
    // most of their digits.
    let index = |distance: f64| in_range(distance / (3.0 * sd));
    let to_lower = limits.lower().map(|lower| index(moments.above(lower)));
    let to_upper = limits.upper().map(|upper| index(-moments.above(upper)));
    let (to_lower, to_upper) = (to_lower.transpose()?, to_upper.transpose()?);
    let nearer = to_lower
        .unwrap_or(f64::INFINITY)
        .min(to_upper.unwrap_or(f64::INFINITY));
    let both = limits.lower().zip(limits.upper());
    let spread = both
        .map(|(lower, upper)| spread_index(width(lower, upper) / (6.0 * sd), dof, confidence))
        .transpose()?;
    let off_centre = both.map(|(lower, upper)| {
        let apart = moments.above(lower) / 2.0 + moments.above(upper) / 2.0;
        (apart / width(lower, upper) * 2.0).abs()
    });
    Ok(Indices {
        spread,
        nearer: nearer_index(nearer, moments.count() as f64, dof, confidence)?,
        to_lower,
        to_upper,
        off_centre,
    })
}

/// Distance between two limits; those so far apart that it overflows are as far
/// as numbers go.
fn width(lower: f64, upper: f64) -> f64 {
    (upper - lower).min(f64::MAX)
}

/// The exact chi-square interval of Cp (NIST/SEMATECH e-Handbook 6.1.6).
fn spread_index(value: f64, dof: f64, confidence: f64) -> Result<Index, StatisticsFault> {
    in_range(value)?;
    let alpha = 1.0 - confidence;
    let bound = |upper: f64| value * (chi_square_critical(upper, dof) / dof).sqrt();
    Ok(Index {
        value,
        interval: Interval {
            lower: bound(1.0 - alpha / 2.0),
            upper: in_range(bound(alpha / 2.0))?,
        },
        at_least: bound(confidence),
    })
}

/// The interval of Cpk by A. F. Bissell, "How reliable is your capability
/// index?", Applied Statistics 39 (1990) 331-340.
fn nearer_index(
    value: f64,
    count: f64,
    dof: f64,
    confidence: f64,
) -> Result<Index, StatisticsFault> {
    let deviation = (1.0 / (9.0 * count) + value * value / (2.0 * dof)).sqrt();
    in_range(deviation)?;
    let alpha = 1.0 - confidence;
    Ok(Index {
        value,
        interval: Interval::around(value, normal_critical(alpha / 2.0) * deviation),
        at_least: value - normal_critical(alpha) * deviation,
    })
}
