//! Whether several groups share one mean: the analysis of variance with one
//! factor. Two crossed factors are the business of [`super::gauge`].

use super::distribution::fisher_f;
use super::{Sample, StatisticsFault, at_least, in_range};
use serde::{Deserialize, Serialize};

/// The table of a one-way analysis of variance (NIST/SEMATECH e-Handbook
/// 7.4.3).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct OneWay {
    /// Sum of squares between the groups.
    pub between: f64,
    /// Its degrees of freedom, groups less one.
    pub between_dof: f64,
    /// Sum of squares within the groups.
    pub within: f64,
    /// Its degrees of freedom, readings less groups.
    pub within_dof: f64,
    /// Mean square between over mean square within.
    pub f: f64,
    /// Probability of so great an F when the means are the same.
    pub p: f64,
    /// Share of the whole sum of squares that is between the groups.
    pub r_squared: f64,
    /// Root of the mean square within.
    pub residual_sd: f64,
}

/// Analyses two groups or more.
///
/// # Errors
/// `TooFew` for fewer than two groups or no group of two; `NoSpread` when no
/// group varies; `OutOfRange`.
pub fn one_way(groups: &[Sample]) -> Result<OneWay, StatisticsFault> {
    at_least(2, groups.len())?;
    let readings: usize = groups.iter().map(Sample::count).sum();
    at_least(groups.len() + 1, readings)?;
    // Deviations from the first mean keep the digits where all means are large.
    let origin = groups[0].moments().mean();
    let weighted: f64 = groups
        .iter()
        .map(|group| group.count() as f64 * (group.moments().mean() - origin))
        .sum();
    let grand = weighted / readings as f64;
    let (mut between, mut within) = (0.0, 0.0);
    for group in groups {
        let moments = group.moments();
        let deviation = moments.mean() - origin - grand;
        between += group.count() as f64 * deviation * deviation;
        within += moments.dof() * moments.variance();
    }
    if within == 0.0 {
        return Err(StatisticsFault::NoSpread);
    }
    let between_dof = (groups.len() - 1) as f64;
    let within_dof = (readings - groups.len()) as f64;
    let residual = within / within_dof;
    let f = in_range(between / between_dof / residual)?;
    Ok(OneWay {
        between: in_range(between)?,
        between_dof,
        within: in_range(within)?,
        within_dof,
        f,
        p: fisher_f(f, between_dof, within_dof).upper,
        r_squared: between / (between + within),
        residual_sd: residual.sqrt(),
    })
}
