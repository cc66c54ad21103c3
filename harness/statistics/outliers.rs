//! Readings that do not belong with the rest, flagged for somebody to look at.
//! Nothing is ever dropped: every other statistic still counts every reading.

use super::distribution::student_t_critical;
use super::{Moments, Sample, StatisticsFault, at_least, probability};
use serde::{Deserialize, Serialize};

/// One step of the procedure: the reading farthest out once those of the steps
/// before are set aside.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Suspect {
    /// Its place in the sample.
    pub index: usize,
    /// Its distance from the mean in standard deviations.
    pub statistic: f64,
    /// What the statistic must exceed.
    pub critical: f64,
}

/// The outcome of the procedure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outliers {
    /// Every step, in order.
    pub suspects: Vec<Suspect>,
    /// How many of the first suspects are outliers.
    pub flagged: usize,
    /// Whether there are too few readings for the critical values to be exact:
    /// fewer than 15, as Rosner found by simulation (from memory).
    pub rough: bool,
}

impl Outliers {
    /// The outliers' places in the sample.
    pub fn indices(&self) -> impl Iterator<Item = usize> + '_ {
        self.suspects[..self.flagged].iter().map(|s| s.index)
    }
}

/// The generalised extreme studentised deviate procedure for up to `most`
/// outliers: B. Rosner, "Percentage points for a generalized ESD many-outlier
/// procedure", Technometrics 25 (1983) 165-172 (NIST/SEMATECH e-Handbook
/// 1.3.5.17.3). Each outlier costs one pass over the readings.
///
/// # Errors
/// `TooFew` below three readings; `Argument`.
pub fn extreme_deviates(
    sample: &Sample,
    most: usize,
    alpha: f64,
) -> Result<Outliers, StatisticsFault> {
    let alpha = probability("alpha", alpha)?;
    at_least(3, sample.count())?;
    let mut left: Vec<(usize, f64)> = sample.values().iter().copied().enumerate().collect();
    let mut outliers = Outliers {
        suspects: Vec::new(),
        flagged: 0,
        rough: sample.count() < 15,
    };
    for _ in 0..most.min(sample.count() - 2) {
        let values: Vec<f64> = left.iter().map(|(_, value)| *value).collect();
        // What is left may be too close together to compute with, or to tell
        // apart: no spread.
        let Ok(moments) = Moments::of_readings(&values, sample.resolution()) else {
            break;
        };
        if moments.sd() == 0.0 {
            break;
        }
        let (place, distance) = farthest(&left, &moments);
        let (index, _) = left.remove(place);
        let suspect = Suspect {
            index,
            statistic: distance / moments.sd(),
            critical: critical(values.len() as f64, alpha),
        };
        outliers.suspects.push(suspect);
        if suspect.statistic > suspect.critical {
            outliers.flagged = outliers.suspects.len();
        }
    }
    Ok(outliers)
}

/// The first of the readings farthest from the mean.
fn farthest(left: &[(usize, f64)], moments: &Moments) -> (usize, f64) {
    let mut best = (0, -1.0);
    for (place, (_, value)) in left.iter().enumerate() {
        let distance = (value - moments.mean()).abs();
        if distance > best.1 {
            best = (place, distance);
        }
    }
    best
}

/// Rosner's critical value for the farthest of `count` readings.
fn critical(count: f64, alpha: f64) -> f64 {
    let t = student_t_critical(alpha / (2.0 * count), count - 2.0);
    // Dividing through by t keeps its square from overflowing.
    (count - 1.0) / (((count - 2.0) / (t * t) + 1.0) * count).sqrt()
}
