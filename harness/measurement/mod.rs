//! What is known of a measured quantity: an estimate with its standard
//! uncertainty, or only a bound, or nothing and why. It judges nothing.
//!
//! Terms and rules are those of the GUM (JCGM 100:2008): a standard
//! uncertainty `u` is one standard deviation, an expanded one is `U = k u`.

mod evidence;
mod fit;
mod names;
mod rise;

pub use evidence::{Evidence, Landmark, Mark};
pub use fit::{FitFault, Line, Proportion, fit_line, fit_proportional};
pub use names::{former_names, in_words, labelled, renamed};
pub use rise::{Rise, RiseFault, fit_rise};

use crate::units::{Dimension, show, show_with_uncertainty};
use serde::{Deserialize, Serialize};
use std::fmt;

/// The coverage factor of every expanded uncertainty shown: about 95 % for a
/// normal distribution (GUM 6.3.3).
pub const COVERAGE: f64 = 2.0;

/// A value in SI units with its standard uncertainty in the same unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Best value.
    pub value: f64,
    /// Standard uncertainty, never negative.
    pub u: f64,
}

impl Estimate {
    /// `value` with standard uncertainty `u`.
    ///
    /// # Panics
    /// When either is not finite or `u` is negative: a bug in the evaluation.
    #[track_caller]
    pub fn new(value: f64, u: f64) -> Self {
        assert!(
            value.is_finite() && u.is_finite() && u >= 0.0,
            "value {value}, u {u}"
        );
        Self { value, u }
    }

    /// Expanded uncertainty with [`COVERAGE`].
    pub fn expanded(self) -> f64 {
        COVERAGE * self.u
    }

    /// The difference of two independent estimates.
    pub fn minus(self, other: Self) -> Self {
        Self::new(self.value - other.value, combined([self.u, other.u]))
    }
}

/// Standard uncertainty of a value known to lie within `half_width` either
/// side, all places equally likely (GUM 4.3.7).
pub fn rectangular(half_width: f64) -> f64 {
    half_width.abs() / libm::sqrt(3.0)
}

/// Standard uncertainty from a resolution or a sampling period `step`: a
/// rectangle of half a step either side, `step / sqrt(12)` (GUM F.2.2.1).
pub fn resolution(step: f64) -> f64 {
    rectangular(step / 2.0)
}

/// Independent contributions in root sum of squares (GUM 5.1.2).
pub fn combined(parts: impl IntoIterator<Item = f64>) -> f64 {
    libm::sqrt(parts.into_iter().map(|part| part * part).sum())
}

/// Whose fault a missing measurement is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Blame {
    /// An instrument, its wiring or its reach.
    Bench,
    /// The plan asks for what cannot be measured so.
    Plan,
    /// The person at the bench.
    Operator,
    /// The board, in a way that hides this quantity.
    Board,
}

impl fmt::Display for Blame {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Bench => "bench",
            Self::Plan => "plan",
            Self::Operator => "operator",
            Self::Board => "board",
        })
    }
}

/// What a scenario found out about one metric, in SI units.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum Finding {
    /// A measured value.
    Value(Estimate),
    /// Censored: at least this much, the end was not seen.
    Above(Estimate),
    /// Censored: at most this much, it was over before the first sample.
    Below(Estimate),
    /// Not measured.
    Unknown {
        /// Why, for the person at the bench.
        reason: String,
        /// Who can mend it.
        blame: Blame,
    },
}

impl Finding {
    /// A finding that is missing because of `blame`.
    pub fn unknown(blame: Blame, reason: impl Into<String>) -> Self {
        Self::Unknown {
            reason: reason.into(),
            blame,
        }
    }

    /// The value or the bound with its uncertainty; nothing where neither is
    /// known.
    pub fn estimate(&self) -> Option<Estimate> {
        match self {
            Self::Value(estimate) | Self::Above(estimate) | Self::Below(estimate) => {
                Some(*estimate)
            }
            Self::Unknown { .. } => None,
        }
    }

    /// The finding with one more standard uncertainty, independent of what it has
    /// (GUM 5.1.2).
    #[must_use]
    pub fn widened(self, by: f64) -> Self {
        let wide = |e: Estimate| Estimate::new(e.value, combined([e.u, by]));
        match self {
            Self::Value(estimate) => Self::Value(wide(estimate)),
            Self::Above(estimate) => Self::Above(wide(estimate)),
            Self::Below(estimate) => Self::Below(wide(estimate)),
            Self::Unknown { .. } => self,
        }
    }

    /// The finding as people read it: value and expanded uncertainty, a bound
    /// with its relation, or a dash.
    pub fn show(&self, dimension: Dimension) -> String {
        match self {
            Self::Value(e) if e.u == 0.0 => show(e.value, dimension),
            Self::Value(e) => show_with_uncertainty(e.value, e.expanded(), dimension),
            Self::Above(e) => format!("> {}", show(e.value, dimension)),
            Self::Below(e) => format!("< {}", show(e.value, dimension)),
            Self::Unknown { .. } => "not measured".to_owned(),
        }
    }
}

/// One metric as found on one board under one condition.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Metric {
    /// Name of the plan's scenario.
    pub scenario: String,
    /// Key in the catalogue, such as `trip_time`; one that an earlier version
    /// wrote is read as what it is called now.
    #[serde(deserialize_with = "names::present")]
    pub key: String,
    /// The condition it was found at, such as `2 x` or `positive`; may be
    /// empty.
    pub at: String,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// What was found.
    pub finding: Finding,
    /// The part of the finding's standard uncertainty that the bench puts on
    /// every board alike (gain, zero, time base, leads), as far as it is stated;
    /// zero where it is not. Limits are judged with the whole; between boards on
    /// one bench it cancels (GUM F.1.2.3).
    #[serde(default, skip_serializing_if = "is_zero")]
    pub common: f64,
    /// Remarks that belong beside the number, such as `contact bounced`.
    pub notes: Vec<String>,
    /// What it was read off; `None` where no single capture decided it, and in
    /// records written before there were marks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<Evidence>,
}

fn is_zero(number: &f64) -> bool {
    *number == 0.0
}

impl Metric {
    /// `trip_time (2 x)`, for messages.
    pub fn label(&self) -> String {
        labelled(&self.key, &self.at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// GUM 4.3.7 note and F.2.2.1: a resolution d gives u = 0.29 d.
    #[test]
    fn rectangles_as_in_the_guide() {
        assert!((resolution(1.0) - 0.288_675_134_594_812_9).abs() < 1e-15);
        assert!((rectangular(1.0) - 0.577_350_269_189_625_8).abs() < 1e-15);
    }

    #[test]
    fn findings_read_like_sentences() {
        let time = Dimension::Time;
        assert_eq!(
            Finding::Above(Estimate::new(0.198, 0.0)).show(time),
            "> 198.0 ms"
        );
        assert_eq!(
            Finding::Below(Estimate::new(12e-6, 0.0)).show(time),
            "< 12.00 us"
        );
        assert_eq!(
            Finding::Value(Estimate::new(0.0084, 5e-6)).show(time),
            "8.400 +/- 0.010 ms"
        );
    }
}
