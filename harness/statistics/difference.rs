//! What is known of the difference between two lots: the boards' part, the
//! bench's part beside it, and how finely the readings are told apart. One
//! computation gives intervals and p values, so they cannot contradict each
//! other; it holds no margin and claims nothing.

use super::distribution::{Tails, normal, student_t, student_t_critical};
use super::means::{MeanDifference, TTest, Variances};
use super::{Interval, Sample, StatisticsFault, in_range, probability, root};
use serde::Serialize;

/// A standard uncertainty of the difference that more boards do not make
/// smaller, such as what the bench does from one day to the next.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Common {
    /// The standard uncertainty.
    pub u: f64,
    /// Its degrees of freedom.
    pub dof: f64,
}

impl Common {
    /// Checks both numbers.
    ///
    /// # Errors
    /// `Argument` unless `u` is finite and not negative and `dof` is one or more.
    fn checked(self) -> Result<Self, StatisticsFault> {
        if self.u >= 0.0 && self.u.is_finite() && self.dof >= 1.0 && self.dof.is_finite() {
            Ok(self)
        } else {
            Err(StatisticsFault::Argument("the common uncertainty"))
        }
    }
}

/// The difference of two lots' means, first less second.
///
/// Its interval reaches as far as
/// * **the boards' part** says, by Welch's t, but no less far than the interval
///   of either mean alone: a difference is not known better than the worse known
///   of the two means. For two or three boards against many, Welch's degrees of
///   freedom fall as the many grow, and equivalence would be lost by measuring
///   more of them;
/// * **the bench's part** beside it, each part with Student's t for its own
///   degrees of freedom, in root sum of squares: S. K. Banerjee, "Approximate
///   confidence interval for linear functions of means of k populations when the
///   population variances are not equal", Sankhya 22 (1960) 357-358 (from
///   memory), who proves that the confidence is never less than asked for. The
///   effective degrees of freedom of Welch and Satterthwaite (GUM G.4.1) for the
///   sum of both would fall towards the bench's few as the boards grow in number,
///   and widen the whole interval;
/// * **the resolution** of the readings at the least.
///
/// Each grows narrower with more boards of the same standard deviation, or stays
/// as it is; so more boards never lose a claim.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LotDifference {
    difference: f64,
    boards: Option<Boards>,
    bench: Option<Common>,
    resolution: f64,
}

/// The boards' part.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Boards {
    welch: Common,
    alone: [Common; 2],
}

impl From<&MeanDifference> for LotDifference {
    /// The textbook's: one standard error and nothing beside it.
    fn from(means: &MeanDifference) -> Self {
        let none = Common { u: 0.0, dof: 1.0 };
        let welch = Common {
            u: means.standard_error,
            dof: means.dof,
        };
        Self {
            difference: means.difference,
            boards: Some(Boards {
                welch,
                alone: [none; 2],
            }),
            bench: None,
            resolution: 0.0,
        }
    }
}

impl LotDifference {
    /// Of two lots of two boards or more, with the bench's part.
    ///
    /// # Errors
    /// `TooFew`, `OutOfRange` or `Argument`; `NoSpread` when neither lot varies
    /// and the bench adds nothing.
    pub fn of(
        first: &Sample,
        second: &Sample,
        bench: Option<Common>,
    ) -> Result<Self, StatisticsFault> {
        let (one, two) = (first.moments(), second.moments());
        let bench = bench.map(Common::checked).transpose()?;
        let bench = bench.filter(|bench| bench.u > 0.0);
        let boards = match MeanDifference::of(one, two, Variances::Welch) {
            Ok(means) => Some(Boards {
                welch: Common {
                    u: means.standard_error,
                    dof: means.dof,
                },
                alone: [one, two].map(|lot| Common {
                    u: lot.sd() / (lot.count() as f64).sqrt(),
                    dof: lot.dof(),
                }),
            }),
            Err(StatisticsFault::NoSpread) if bench.is_some() => None,
            Err(fault) => return Err(fault),
        };
        Ok(Self {
            difference: in_range(one.above_mean_of(two))?,
            boards,
            bench,
            resolution: first.resolution().max(second.resolution()),
        })
    }

    /// First mean less second.
    pub fn difference(&self) -> f64 {
        self.difference
    }

    /// The combined standard uncertainty of the boards' and the bench's part.
    pub fn standard_error(&self) -> f64 {
        let boards = self.boards.map_or(0.0, |boards| boards.welch.u);
        libm::hypot(boards, self.bench.map_or(0.0, |bench| bench.u))
    }

    /// How far the interval reaches either way that leaves `tail` outside at
    /// each end.
    fn reach(&self, tail: f64) -> f64 {
        let boards = self.boards.map_or(0.0, |boards| boards.reach(tail));
        let bench = self.bench.map_or(0.0, |bench| bench.reach(tail));
        libm::hypot(boards, bench).max(self.resolution)
    }

    /// The interval that covers the true difference with `confidence` at least.
    ///
    /// # Errors
    /// `Argument` for a confidence that is not between 0 and 1; `OutOfRange`.
    pub fn interval(&self, confidence: f64) -> Result<Interval, StatisticsFault> {
        let confidence = probability("the confidence", confidence)?;
        let interval = Interval::around(self.difference, self.reach((1.0 - confidence) / 2.0));
        in_range(interval.upper - interval.lower)?;
        Ok(interval)
    }

    /// p values against a true difference of `assumed`: each is the tail at
    /// which the end of the interval comes to lie on it.
    pub fn test(&self, assumed: f64) -> TTest {
        let distance = self.difference - assumed;
        let beyond = self.tail_beyond(distance.abs());
        let tails = if distance < 0.0 {
            Tails {
                lower: beyond,
                upper: 1.0 - beyond,
            }
        } else {
            Tails {
                lower: 1.0 - beyond,
                upper: beyond,
            }
        };
        TTest {
            t: distance / self.standard_error(),
            p_two_sided: tails.two_sided(),
            p_less: tails.lower,
            p_greater: tails.upper,
        }
    }

    /// The tail for which the interval reaches as far as `distance`.
    fn tail_beyond(&self, distance: f64) -> f64 {
        if distance <= self.resolution {
            return 0.5;
        }
        match (&self.boards, &self.bench) {
            (None, None) => 0.0,
            (Some(boards), None) => boards.tail(distance),
            (None, Some(bench)) => bench.tail(distance),
            (Some(_), Some(_)) => {
                let tail = |ln_z: f64| normal(libm::exp(ln_z).min(FARTHEST)).upper;
                let start = libm::log(distance / self.standard_error()).min(libm::log(FARTHEST));
                let ln_z = root::outward(
                    |ln_z| libm::log(self.reach_of_parts(tail(ln_z))) - libm::log(distance),
                    start,
                    0.1,
                );
                tail(ln_z)
            }
        }
    }

    fn reach_of_parts(&self, tail: f64) -> f64 {
        Self {
            resolution: 0.0,
            ..*self
        }
        .reach(tail)
    }
}

/// Normal deviate past which a tail is below 1e-137 and no claim depends on it.
const FARTHEST: f64 = 25.0;

impl Boards {
    fn reach(&self, tail: f64) -> f64 {
        let alone = self.alone.map(|lot| lot.reach(tail));
        self.welch.reach(tail).max(alone[0]).max(alone[1])
    }

    fn tail(&self, distance: f64) -> f64 {
        let alone = self.alone.map(|lot| lot.tail(distance));
        self.welch.tail(distance).max(alone[0]).max(alone[1])
    }
}

impl Common {
    fn reach(&self, tail: f64) -> f64 {
        if self.u > 0.0 {
            self.u * student_t_critical(tail, self.dof)
        } else {
            0.0
        }
    }

    fn tail(&self, distance: f64) -> f64 {
        if self.u > 0.0 {
            student_t(distance / self.u, self.dof).upper
        } else {
            0.0
        }
    }
}
