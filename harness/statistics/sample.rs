//! Readings that were checked once, with their moments and order statistics.
//! It knows nothing of lots, limits or units.

use super::{StatisticsFault, at_least, probability};
use serde::Serialize;

/// Largest magnitude of a reading, and its inverse the least standard
/// deviation: between them no square or sum of squares is lost.
const LARGEST: f64 = 1e140;

/// Readings that agree to this part of the largest are the same: each is the
/// end of a calculation in double precision, and two ways of summing the same
/// samples differ by a few units in the last place (N. J. Higham, "Accuracy and
/// Stability of Numerical Algorithms", 2nd edition (2002), 4.2).
const ROUNDING: f64 = 16.0 * f64::EPSILON;

/// Number, mean and standard deviation of readings.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Moments {
    count: usize,
    mean: f64,
    sd: f64,
    /// What the rounded mean lacks.
    #[serde(skip)]
    rest: f64,
}

impl Moments {
    /// Moments known from elsewhere, a report for instance.
    ///
    /// # Errors
    /// `TooFew` for no readings, `NotFinite`, `OutOfRange`, or `Argument` for a
    /// negative standard deviation.
    pub fn new(count: usize, mean: f64, sd: f64) -> Result<Self, StatisticsFault> {
        at_least(1, count)?;
        if !(mean.is_finite() && sd.is_finite()) {
            return Err(StatisticsFault::NotFinite);
        }
        if sd < 0.0 {
            return Err(StatisticsFault::Argument("the standard deviation"));
        }
        if mean.abs() > LARGEST || sd > LARGEST || (sd > 0.0 && sd < 1.0 / LARGEST) {
            return Err(StatisticsFault::OutOfRange);
        }
        let rest = 0.0;
        Ok(Self {
            count,
            mean,
            sd,
            rest,
        })
    }

    /// Moments of finite readings that are told apart where they differ by more
    /// than `resolution`; where none do, they do not vary.
    pub(super) fn of_readings(values: &[f64], resolution: f64) -> Result<Self, StatisticsFault> {
        at_least(1, values.len())?;
        if values.iter().all(|x| *x == values[0]) {
            return Self::new(values.len(), values[0], 0.0);
        }
        let least = values.iter().copied().fold(f64::INFINITY, f64::min);
        let greatest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let ((mean, rest), sd) = mean_and_sd(values);
        let told_apart = greatest - least > resolution;
        if told_apart && sd == 0.0 {
            // They differ, by less than squares can show.
            return Err(StatisticsFault::OutOfRange);
        }
        let moments = Self::new(values.len(), mean, if told_apart { sd } else { 0.0 })?;
        Ok(Self { rest, ..moments })
    }

    /// Number of readings.
    pub fn count(&self) -> usize {
        self.count
    }

    /// Arithmetic mean.
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// How far the mean lies above `reference`, with the digits that the rounded
    /// mean has lost: what is close to the mean keeps all its own.
    pub fn above(&self, reference: f64) -> f64 {
        (self.mean - reference) + self.rest
    }

    /// How far this mean lies above that of `other`, likewise.
    pub fn above_mean_of(&self, other: &Self) -> f64 {
        (self.mean - other.mean) + (self.rest - other.rest)
    }

    /// Standard deviation with n - 1; zero for a single reading.
    pub fn sd(&self) -> f64 {
        self.sd
    }

    /// Square of the standard deviation.
    pub fn variance(&self) -> f64 {
        self.sd * self.sd
    }

    /// Degrees of freedom of the standard deviation.
    pub(super) fn dof(&self) -> f64 {
        self.count as f64 - 1.0
    }
}

/// One or more finite readings, in their order and sorted.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    values: Vec<f64>,
    sorted: Vec<f64>,
    moments: Moments,
    resolution: f64,
}

impl Sample {
    /// Checks and summarises readings of which nothing is known but their
    /// digits: [`Sample::resolved`] with a resolution of zero.
    ///
    /// # Errors
    /// `TooFew` for none, `NotFinite`, or `OutOfRange` beyond 1e140 or where a
    /// spread is below 1e-140.
    pub fn new(values: &[f64]) -> Result<Self, StatisticsFault> {
        Self::resolved(values, 0.0)
    }

    /// Checks and summarises readings that are told apart where they differ by
    /// more than `resolution`, or by more than the rounding of a calculation.
    ///
    /// Where all lie within that, they do not vary: their standard deviation is
    /// zero. A standard deviation below what the readings can show says nothing
    /// of boards. It would make an outlier of one digit, a shift of another and
    /// a capability index of 1e15.
    ///
    /// # Errors
    /// As [`Sample::new`]; `Argument` for a resolution that is negative or not
    /// finite.
    pub fn resolved(values: &[f64], resolution: f64) -> Result<Self, StatisticsFault> {
        at_least(1, values.len())?;
        if !(resolution >= 0.0 && resolution.is_finite()) {
            return Err(StatisticsFault::Argument("the resolution of the readings"));
        }
        if values.iter().any(|x| !x.is_finite()) {
            return Err(StatisticsFault::NotFinite);
        }
        if values.iter().any(|x| x.abs() > LARGEST) {
            return Err(StatisticsFault::OutOfRange);
        }
        // Adding zero turns -0 into 0, which must tie with it.
        let values: Vec<f64> = values.iter().map(|x| x + 0.0).collect();
        let mut sorted = values.clone();
        sorted.sort_unstable_by(f64::total_cmp);
        let largest = sorted[0].abs().max(sorted[sorted.len() - 1].abs());
        let resolution = resolution.max(ROUNDING * largest);
        let moments = Moments::of_readings(&values, resolution)?;
        Ok(Self {
            values,
            sorted,
            moments,
            resolution,
        })
    }

    /// The readings in the order given.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// The readings from least to greatest.
    pub fn sorted(&self) -> &[f64] {
        &self.sorted
    }

    /// Number, mean and standard deviation.
    pub fn moments(&self) -> &Moments {
        &self.moments
    }

    /// What readings must differ by to be told apart.
    pub fn resolution(&self) -> f64 {
        self.resolution
    }

    /// Number of readings.
    pub fn count(&self) -> usize {
        self.values.len()
    }

    /// Greatest less least.
    pub fn range(&self) -> f64 {
        self.sorted[self.sorted.len() - 1] - self.sorted[0]
    }

    /// The middle reading, or the mean of the middle two.
    pub fn median(&self) -> f64 {
        median_of_sorted(&self.sorted)
    }

    /// The `fraction` quantile by linear interpolation between order
    /// statistics: definition 7 of R. J. Hyndman and Y. Fan, "Sample quantiles
    /// in statistical packages", The American Statistician 50 (1996) 361-365.
    ///
    /// # Errors
    /// `Argument` for a fraction outside 0 to 1.
    pub fn quantile(&self, fraction: f64) -> Result<f64, StatisticsFault> {
        if fraction != 0.0 && fraction != 1.0 {
            probability("the fraction of a quantile", fraction)?;
        }
        let place = (self.sorted.len() - 1) as f64 * fraction;
        let below = place.floor() as usize;
        let above = (below + 1).min(self.sorted.len() - 1);
        let (low, high) = (self.sorted[below], self.sorted[above]);
        Ok(low + (high - low) * (place - below as f64))
    }

    /// Median absolute deviation from the median, not scaled; times 1.4826 it
    /// estimates the standard deviation of normal readings (F. R. Hampel, JASA
    /// 69 (1974) 383-393).
    pub fn median_absolute_deviation(&self) -> f64 {
        let median = self.median();
        let mut deviations: Vec<f64> = self.sorted.iter().map(|x| (x - median).abs()).collect();
        deviations.sort_unstable_by(f64::total_cmp);
        median_of_sorted(&deviations)
    }

    /// Lag-1 autocorrelation of the readings in their order, as NIST StRD
    /// defines it: how much a reading resembles the one before.
    ///
    /// # Errors
    /// `TooFew` below two readings, `NoSpread`.
    pub fn autocorrelation(&self) -> Result<f64, StatisticsFault> {
        at_least(2, self.count())?;
        if self.moments.sd == 0.0 {
            return Err(StatisticsFault::NoSpread);
        }
        let mean = self.moments.mean;
        let (mut products, mut squares) = (0.0, 0.0);
        let mut before = None;
        for value in &self.values {
            let deviation = value - mean;
            squares += deviation * deviation;
            products += deviation * before.unwrap_or(0.0);
            before = Some(deviation);
        }
        Ok(products / squares)
    }

    /// The readings again, each changed by `change`; the absolute deviations of
    /// a test of spread, for instance.
    pub(super) fn mapped(&self, change: impl Fn(f64) -> f64) -> Result<Self, StatisticsFault> {
        let changed: Vec<f64> = self.values.iter().map(|x| change(*x)).collect();
        Self::resolved(&changed, self.resolution)
    }
}

/// Mean, with what its rounding lost, and standard deviation by the corrected
/// two-pass algorithm: T. F. Chan, G. H. Golub and R. J. LeVeque, "Algorithms for
/// computing the sample variance", The American Statistician 37 (1983) 242-247.
fn mean_and_sd(values: &[f64]) -> ((f64, f64), f64) {
    let count = values.len() as f64;
    let first = values.iter().sum::<f64>() / count;
    // A second pass takes back what the first one rounded.
    let lost = values.iter().map(|x| x - first).sum::<f64>() / count;
    let mean = first + lost;
    let left = (first - mean) + lost;
    let (mut squares, mut rest) = (0.0, 0.0);
    for value in values {
        let deviation = value - mean;
        squares += deviation * deviation;
        rest += deviation;
    }
    let variance = (squares - rest * rest / count) / (count - 1.0);
    ((mean, left), variance.max(0.0).sqrt())
}

/// Median of sorted readings, of which there is at least one.
pub(super) fn median_of_sorted(sorted: &[f64]) -> f64 {
    let middle = sorted.len() / 2;
    if sorted.len() % 2 == 1 {
        sorted[middle]
    } else {
        sorted[middle - 1] + (sorted[middle] - sorted[middle - 1]) / 2.0
    }
}
