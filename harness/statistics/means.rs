//! The difference of two means: Welch's t test and the pooled one.
//! It tests against no difference; equivalence is [`super::equivalence`].

use super::distribution::{Tails, student_t, student_t_critical};
use super::{Interval, Moments, StatisticsFault, at_least, in_range, probability};
use serde::{Deserialize, Serialize};

/// What is assumed of the two standard deviations.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Variances {
    /// Nothing: B. L. Welch, "The generalization of Student's problem",
    /// Biometrika 34 (1947) 28-35. The right choice unless there is a reason.
    Welch,
    /// That they are equal (NIST/SEMATECH e-Handbook 1.3.5.3).
    Pooled,
}

/// A difference of means, first less second, with what is known of it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MeanDifference {
    /// Mean of the first less mean of the second.
    pub difference: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Degrees of freedom of the standard error.
    pub dof: f64,
}

impl MeanDifference {
    /// From the moments of two lots of two or more.
    ///
    /// # Errors
    /// `TooFew`; `NoSpread` when neither lot varies; `OutOfRange`.
    pub fn of(
        first: &Moments,
        second: &Moments,
        variances: Variances,
    ) -> Result<Self, StatisticsFault> {
        at_least(2, first.count())?;
        at_least(2, second.count())?;
        if first.sd() == 0.0 && second.sd() == 0.0 {
            return Err(StatisticsFault::NoSpread);
        }
        let (n1, n2) = (first.count() as f64, second.count() as f64);
        let (squared_error, dof) = match variances {
            Variances::Welch => {
                let (e1, e2) = (first.variance() / n1, second.variance() / n2);
                let sum = e1 + e2;
                // Shares keep the fourth powers of small numbers from vanishing.
                let (s1, s2) = (e1 / sum, e2 / sum);
                (sum, 1.0 / (s1 * s1 / (n1 - 1.0) + s2 * s2 / (n2 - 1.0)))
            }
            Variances::Pooled => {
                let dof = first.dof() + second.dof();
                let sum = first.dof() * first.variance() + second.dof() * second.variance();
                (sum / dof * (1.0 / n1 + 1.0 / n2), dof)
            }
        };
        Ok(Self {
            difference: in_range(first.above_mean_of(second))?,
            standard_error: in_range(squared_error.sqrt())?,
            dof: in_range(dof)?,
        })
    }

    /// t and its tails for a true difference of `assumed`.
    pub fn test(&self, assumed: f64) -> TTest {
        let t = (self.difference - assumed) / self.standard_error;
        let Tails { lower, upper } = student_t(t, self.dof);
        TTest {
            t,
            p_two_sided: Tails { lower, upper }.two_sided(),
            p_less: lower,
            p_greater: upper,
        }
    }

    /// The interval that covers the true difference with `confidence`.
    ///
    /// # Errors
    /// `Argument` for a confidence that is not between 0 and 1.
    pub fn interval(&self, confidence: f64) -> Result<Interval, StatisticsFault> {
        let confidence = probability("the confidence", confidence)?;
        let critical = student_t_critical((1.0 - confidence) / 2.0, self.dof);
        let interval = Interval::around(self.difference, critical * self.standard_error);
        in_range(interval.upper - interval.lower)?;
        Ok(interval)
    }
}

/// A t statistic with its three p values.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TTest {
    /// The statistic.
    pub t: f64,
    /// Against any difference from the assumed one.
    pub p_two_sided: f64,
    /// Against a smaller difference.
    pub p_less: f64,
    /// Against a greater difference.
    pub p_greater: f64,
}
