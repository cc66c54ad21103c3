//! Limits to verdicts. It knows numbers and rules; no instrument, scenario or
//! board.

mod decide;

pub use decide::{Decision, decide};

use crate::units::{Dimension, show};
use serde::{Deserialize, Serialize};
use std::fmt;

/// The outcome of a judgement, in the terms of ISO/IEC 9646. Ordered by what
/// wins over all: fail, then inconclusive, then pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Within the limit, by the rule.
    Pass,
    /// Not decided: by the uncertainty or by trouble that is not the board's.
    Inconclusive,
    /// Outside the limit, by the rule.
    Fail,
}

impl Verdict {
    /// The verdict over several: fail before inconclusive before pass, and
    /// inconclusive where there is none.
    pub fn overall(verdicts: impl IntoIterator<Item = Self>) -> Self {
        verdicts.into_iter().max().unwrap_or(Self::Inconclusive)
    }

    /// The word on screens and in reports.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pass => "PASS",
            Self::Inconclusive => "INCONCLUSIVE",
            Self::Fail => "FAIL",
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

/// How uncertainty enters a decision: the rules of JCGM 106:2012, clause 8.
/// What lies between the zones is inconclusive here, a decision rule that is not
/// binary (ILAC-G8:09/2019, 4.2.3; from memory).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "rule", rename_all = "snake_case")]
pub enum DecisionRule {
    /// Simple acceptance (8.2): the value against the limit, as it is.
    Simple,
    /// Guarded acceptance (8.3.2): pass only when inside by `guard` expanded
    /// uncertainties; a value between is not decided.
    GuardedAcceptance {
        /// Guard band in units of the expanded uncertainty.
        guard: f64,
    },
    /// Guarded rejection (8.3.3): fail only when outside by `guard` expanded
    /// uncertainties; a value between passes.
    GuardedRejection {
        /// Guard band in units of the expanded uncertainty.
        guard: f64,
    },
}

impl fmt::Display for DecisionRule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Simple => f.write_str("simple acceptance"),
            Self::GuardedAcceptance { guard } => write!(f, "guarded acceptance, {guard} U"),
            Self::GuardedRejection { guard } => write!(f, "guarded rejection, {guard} U"),
        }
    }
}

/// Bounds on one metric, in its SI unit, with where they come from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// Least value allowed.
    pub lower: Option<f64>,
    /// Greatest value allowed.
    pub upper: Option<f64>,
    /// How uncertainty is dealt with.
    pub rule: DecisionRule,
    /// A standard's clause, the data sheet, or "house limit".
    pub source: String,
}

impl Limit {
    /// The bounds as people read them.
    pub fn show(&self, dimension: Dimension) -> String {
        match (self.lower, self.upper) {
            (Some(lower), Some(upper)) => {
                format!("{} to {}", show(lower, dimension), show(upper, dimension))
            }
            (Some(lower), None) => format!(">= {}", show(lower, dimension)),
            (None, Some(upper)) => format!("<= {}", show(upper, dimension)),
            (None, None) => "any".to_owned(),
        }
    }
}
