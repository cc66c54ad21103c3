//! Control charts: whether a metric drifts from board to board or from lot to
//! lot. Control limits come from the readings; they are no tolerance and pass
//! no board.

use super::distribution::normal;
use super::quadrature::Rule;
use super::{Sample, StatisticsFault, at_least, in_range};
use serde::{Deserialize, Serialize};

/// Centre line and control limits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ControlLimits {
    /// Lower control limit.
    pub lower: f64,
    /// Centre line.
    pub centre: f64,
    /// Upper control limit.
    pub upper: f64,
}

impl ControlLimits {
    fn around(centre: f64, half: f64) -> Self {
        Self {
            lower: centre - half,
            centre,
            upper: centre + half,
        }
    }

    /// Whether `value` lies outside the limits.
    pub fn signals(&self, value: f64) -> bool {
        value < self.lower || value > self.upper
    }
}

/// Readings one by one, with their moving range.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct IndividualsChart {
    /// Limits of the readings.
    pub readings: ControlLimits,
    /// Limits of the distance between neighbours.
    pub moving_range: ControlLimits,
}

/// The chart of individuals and moving ranges of two (NIST/SEMATECH e-Handbook
/// 6.3.2.2).
///
/// # Errors
/// `TooFew` below two readings; `NoSpread`.
pub fn individuals(sample: &Sample) -> Result<IndividualsChart, StatisticsFault> {
    at_least(2, sample.count())?;
    // Ranges of what cannot be told apart would set limits that mean nothing.
    if sample.moments().sd() == 0.0 {
        return Err(StatisticsFault::NoSpread);
    }
    let ranges: Vec<f64> = sample
        .values()
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        .collect();
    let mean_range = ranges.iter().sum::<f64>() / ranges.len() as f64;
    if mean_range == 0.0 {
        return Err(StatisticsFault::NoSpread);
    }
    let range = RangeConstants::of(2)?;
    Ok(IndividualsChart {
        readings: ControlLimits::around(sample.moments().mean(), 3.0 * mean_range / range.mean),
        moving_range: range.limits(mean_range),
    })
}

/// An exponentially weighted moving average and its limits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct EwmaChart {
    /// The average after each reading.
    pub averages: Vec<f64>,
    /// The limits that hold for each.
    pub limits: Vec<ControlLimits>,
    /// The limits after many readings.
    pub settled: ControlLimits,
}

/// How an exponentially weighted moving average is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EwmaSettings {
    /// Where the process should be; the average starts there.
    pub target: f64,
    /// Standard deviation of single readings, from a lot in control.
    pub sd: f64,
    /// Weight of the newest reading, over 0 and at most 1.
    pub weight: f64,
    /// Limits in standard deviations of the average, 3 as a rule.
    pub width: f64,
}

/// The chart of S. W. Roberts, Technometrics 1 (1959) 239-250 (NIST/SEMATECH
/// e-Handbook 6.3.2.4), with the limits of each reading, which open up.
///
/// # Errors
/// `Argument` for settings out of their domain.
pub fn ewma(sample: &Sample, settings: &EwmaSettings) -> Result<EwmaChart, StatisticsFault> {
    let EwmaSettings {
        target,
        sd,
        weight,
        width,
    } = *settings;
    let positive = |x: f64| x > 0.0 && x <= 1e140;
    if !(target.abs() <= 1e140 && positive(sd) && positive(width) && weight > 0.0 && weight <= 1.0)
    {
        return Err(StatisticsFault::Argument("the settings of the average"));
    }
    let settled = width * sd * (weight / (2.0 - weight)).sqrt();
    let mut average = target;
    let mut forgotten = 1.0;
    let mut chart = EwmaChart {
        averages: Vec::with_capacity(sample.count()),
        limits: Vec::with_capacity(sample.count()),
        settled: ControlLimits::around(target, in_range(settled)?),
    };
    for reading in sample.values() {
        average = weight * reading + (1.0 - weight) * average;
        forgotten *= (1.0 - weight) * (1.0 - weight);
        chart.averages.push(average);
        let half = settled * (1.0 - forgotten).sqrt();
        chart.limits.push(ControlLimits::around(target, half));
    }
    Ok(chart)
}

/// Means of equal subgroups, and their spread.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SubgroupChart {
    /// Limits of the subgroup means.
    pub means: ControlLimits,
    /// Limits of the subgroup ranges or standard deviations.
    pub spread: ControlLimits,
}

/// Means and ranges (NIST/SEMATECH e-Handbook 6.3.2.1).
///
/// # Errors
/// `TooFew`; `Unbalanced` unless all subgroups have one size; `NoSpread`.
pub fn means_and_ranges(subgroups: &[Sample]) -> Result<SubgroupChart, StatisticsFault> {
    let size = common_size(subgroups)?;
    let mean_range = mean_of(subgroups, Sample::range);
    if mean_range == 0.0 {
        return Err(StatisticsFault::NoSpread);
    }
    let range = RangeConstants::of(size)?;
    let half = 3.0 * mean_range / (range.mean * (size as f64).sqrt());
    Ok(SubgroupChart {
        means: ControlLimits::around(mean_of(subgroups, |s| s.moments().mean()), half),
        spread: range.limits(mean_range),
    })
}

/// Means and standard deviations (NIST/SEMATECH e-Handbook 6.3.2.1).
///
/// # Errors
/// As [`means_and_ranges`].
pub fn means_and_deviations(subgroups: &[Sample]) -> Result<SubgroupChart, StatisticsFault> {
    let size = common_size(subgroups)?;
    let mean_sd = mean_of(subgroups, |s| s.moments().sd());
    if mean_sd == 0.0 {
        return Err(StatisticsFault::NoSpread);
    }
    let c4 = sd_bias(size)?;
    let half = 3.0 * mean_sd / (c4 * (size as f64).sqrt());
    let open = 3.0 * (1.0 - c4 * c4).sqrt() / c4;
    Ok(SubgroupChart {
        means: ControlLimits::around(mean_of(subgroups, |s| s.moments().mean()), half),
        spread: ControlLimits {
            lower: mean_sd * (1.0 - open).max(0.0),
            centre: mean_sd,
            upper: mean_sd * (1.0 + open),
        },
    })
}

fn common_size(subgroups: &[Sample]) -> Result<usize, StatisticsFault> {
    at_least(2, subgroups.len())?;
    let size = subgroups[0].count();
    at_least(2, size)?;
    if subgroups.iter().all(|subgroup| subgroup.count() == size) {
        Ok(size)
    } else {
        Err(StatisticsFault::Unbalanced)
    }
}

fn mean_of(subgroups: &[Sample], pick: impl Fn(&Sample) -> f64) -> f64 {
    subgroups.iter().map(pick).sum::<f64>() / subgroups.len() as f64
}

/// The expected standard deviation of a normal sample over the true one, called
/// c4: ASTM MNL 7 (from memory).
///
/// # Errors
/// `TooFew` below two.
pub fn sd_bias(size: usize) -> Result<f64, StatisticsFault> {
    at_least(2, size)?;
    let dof = (size - 1) as f64;
    if dof > 1e4 {
        // The quotient of gamma functions by DLMF 5.11.13; the next term is
        // below 1e-13.
        return Ok(1.0 - 1.0 / (4.0 * dof) + 1.0 / (32.0 * dof * dof));
    }
    let quotient = libm::lgamma((dof + 1.0) / 2.0) - libm::lgamma(dof / 2.0);
    Ok((2.0 / dof).sqrt() * libm::exp(quotient))
}

/// Mean and standard deviation of the range of a standard normal sample, called
/// d2 and d3.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RangeConstants {
    /// d2.
    pub mean: f64,
    /// d3.
    pub sd: f64,
}

impl RangeConstants {
    /// Integrated from the distribution of the range: L. H. C. Tippett,
    /// Biometrika 17 (1925) 364-387.
    ///
    /// # Errors
    /// `TooFew` below a size of two; `Argument` above a hundred, where a range
    /// wastes nearly all the readings.
    pub fn of(size: usize) -> Result<Self, StatisticsFault> {
        at_least(2, size)?;
        if size > 100 {
            return Err(StatisticsFault::Argument("the size of a subgroup"));
        }
        if size == 2 {
            // The half-normal distribution times the root of two.
            let mean = 2.0 / std::f64::consts::PI.sqrt();
            return Ok(Self {
                mean,
                sd: (2.0 - mean * mean).sqrt(),
            });
        }
        let n = size as f64;
        let rule = Rule::new();
        let places: Vec<(f64, f64, f64)> = rule
            .panels(-9.0, 9.0, 12)
            .into_iter()
            .map(|(x, weight)| {
                let density = libm::exp(-x * x / 2.0) / std::f64::consts::TAU.sqrt();
                (x, weight * density * n, normal(x).upper)
            })
            .collect();
        let (mut first, mut second) = (0.0, 0.0);
        for (width, weight) in rule.panels(0.0, 16.0, 10) {
            // Probability that the range is below `width`: the least at x, all
            // others up to x + width.
            let below: f64 = places
                .iter()
                .map(|(x, at_least, above)| {
                    let within = (above - normal(x + width).upper).max(0.0);
                    at_least * libm::pow(within, n - 1.0)
                })
                .sum();
            first += weight * (1.0 - below);
            second += 2.0 * weight * width * (1.0 - below);
        }
        Ok(Self {
            mean: first,
            sd: (second - first * first).max(0.0).sqrt(),
        })
    }

    /// d2*: what an average range of `groups` groups is divided by so that its
    /// square estimates the variance without bias (A. J. Duncan, "Quality
    /// Control and Industrial Statistics", from memory).
    pub fn corrected(&self, groups: usize) -> f64 {
        (self.mean * self.mean + self.sd * self.sd / groups.max(1) as f64).sqrt()
    }

    fn limits(&self, mean_range: f64) -> ControlLimits {
        let open = 3.0 * self.sd / self.mean;
        ControlLimits {
            lower: mean_range * (1.0 - open).max(0.0),
            centre: mean_range,
            upper: mean_range * (1.0 + open),
        }
    }
}
