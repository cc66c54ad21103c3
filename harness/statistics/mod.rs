//! Numbers about lots: summaries, the comparison of two lots after a part was
//! substituted, capability, charts, and the study of the measurement itself.
//! It reads no records and passes no board; every function is pure, bounded and
//! gives the same digits on every machine.
//!
//! A set of readings becomes a checked [`Sample`] once; everything else takes
//! samples, or the [`Moments`] of one, and answers with a typed result or a
//! [`StatisticsFault`]. Start at [`lots`], which puts the parts together.

pub mod anova;
pub mod capability;
pub mod charts;
pub mod difference;
pub mod distribution;
pub mod equivalence;
pub mod gauge;
pub mod lots;
pub mod means;
pub mod multiplicity;
pub mod needed;
pub mod noncentral;
pub mod outliers;
pub mod power;
pub mod proportion;
mod quadrature;
pub mod ranks;
pub mod risk;
mod root;
mod sample;
pub mod shift;
mod special;
pub mod spread;
pub mod tolerance;

#[cfg(test)]
mod tests;

pub use sample::{Moments, Sample};

use serde::{Deserialize, Serialize};

/// Why a statistic cannot be given. The first five are a matter of the data,
/// the rest of what was asked; none is a fault of a board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StatisticsFault {
    /// Fewer readings, groups or boards than the method needs.
    #[error("needs {needed} or more, has {found}")]
    TooFew {
        /// The least the method works with.
        needed: usize,
        /// What there is.
        found: usize,
    },
    /// All readings are the same, so nothing can be compared with their spread.
    #[error("the readings do not vary")]
    NoSpread,
    /// An infinite or missing number.
    #[error("a reading is not finite")]
    NotFinite,
    /// Numbers so large or so close together that their squares are lost.
    #[error("the readings are too large or too close together to compute with")]
    OutOfRange,
    /// Every reading of one lot lies beyond every reading of the other, so the
    /// statistic is infinite. The lots differ as plainly as lots can.
    #[error("the two lots do not overlap at all")]
    Separated,
    /// Groups of different sizes where the method needs equal ones.
    #[error("the groups differ in size")]
    Unbalanced,
    /// An argument outside its domain; the text names it.
    #[error("{0} is out of its domain")]
    Argument(&'static str),
    /// No number of boards, up to the bound of the search, is enough.
    #[error("no number of boards is enough")]
    Unreachable,
}

/// A closed interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Lower end.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
}

impl Interval {
    /// The interval `centre` +/- `half`.
    pub(super) fn around(centre: f64, half: f64) -> Self {
        Self {
            lower: centre - half,
            upper: centre + half,
        }
    }

    /// Whether `value` lies inside or on an end.
    pub fn contains(&self, value: f64) -> bool {
        self.lower <= value && value <= self.upper
    }
}

/// The least and the greatest value allowed; at least one of them is set.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ToleranceLimits {
    lower: Option<f64>,
    upper: Option<f64>,
}

impl ToleranceLimits {
    /// Limits on one side or both.
    ///
    /// # Errors
    /// `Argument` when there is none, one is not finite, or they are not in
    /// order.
    pub fn new(lower: Option<f64>, upper: Option<f64>) -> Result<Self, StatisticsFault> {
        let finite = [lower, upper].iter().flatten().all(|x| x.is_finite());
        let ordered = match (lower, upper) {
            (Some(lower), Some(upper)) => lower < upper,
            (None, None) => false,
            _ => true,
        };
        if finite && ordered {
            Ok(Self { lower, upper })
        } else {
            Err(StatisticsFault::Argument("the tolerance"))
        }
    }

    /// The least value allowed.
    pub fn lower(&self) -> Option<f64> {
        self.lower
    }

    /// The greatest value allowed.
    pub fn upper(&self) -> Option<f64> {
        self.upper
    }
}

/// Refuses a probability that is not strictly between 0 and 1.
fn probability(name: &'static str, value: f64) -> Result<f64, StatisticsFault> {
    if value > 0.0 && value < 1.0 {
        Ok(value)
    } else {
        Err(StatisticsFault::Argument(name))
    }
}

/// Refuses fewer than `needed` things.
fn at_least(needed: usize, found: usize) -> Result<(), StatisticsFault> {
    if found < needed {
        Err(StatisticsFault::TooFew { needed, found })
    } else {
        Ok(())
    }
}

/// Refuses a result that left the range of numbers.
fn in_range(value: f64) -> Result<f64, StatisticsFault> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(StatisticsFault::OutOfRange)
    }
}
