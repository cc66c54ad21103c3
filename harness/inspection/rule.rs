//! How a signal stands to one demand of a standard, with the reading that says
//! so. It reads no signal and chooses no demand.

use super::Place;
use serde::Serialize;

/// How a signal stands to one demand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Every reading within the limit by at least its uncertainty.
    Within,
    /// Some reading too near the limit to tell.
    Inconclusive,
    /// Some reading beyond the limit by more than its uncertainty.
    Violation,
}

impl Standing {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Inconclusive => "inconclusive",
            Self::Violation => "VIOLATION",
        }
    }
}

/// In what the values of a demand are given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    /// Seconds.
    Time,
    /// A number of bits or packets.
    Count,
    /// V/s.
    Slew,
    /// Volts.
    Voltage,
}

/// One demand of a standard and what was read.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RuleRow {
    /// Where it is written.
    pub source: String,
    /// What breaks it, in plain words.
    pub what: String,
    /// In what value, U and limit are given.
    pub measure: Measure,
    /// The reading nearest to the limit or farthest beyond it.
    pub value: Option<f64>,
    /// Its expanded uncertainty, k = 2.
    pub expanded: Option<f64>,
    /// The limit.
    pub limit: f64,
    /// Whether it is a lower one.
    pub lower: bool,
    /// Readings compared with it.
    pub checked: u64,
    /// Readings beyond it by more than U.
    pub beyond: u64,
    /// Readings nearer to it than U, on either side.
    pub near: u64,
    /// The standing.
    pub standing: Standing,
    /// What else must be said.
    pub note: Option<String>,
    /// Where it is beyond the limit, the first 256.
    pub places: Vec<Place>,
}

impl RuleRow {
    /// A demand that is in force and could not be judged, and why.
    pub(super) fn unjudged(
        source: &str,
        what: &str,
        limit: (Measure, f64, bool),
        why: &str,
    ) -> Self {
        let (measure, limit, lower) = limit;
        Self {
            source: source.to_owned(),
            what: what.to_owned(),
            measure,
            value: None,
            expanded: None,
            limit,
            lower,
            checked: 0,
            beyond: 0,
            near: 0,
            standing: Standing::Inconclusive,
            note: Some(why.to_owned()),
            places: Vec::new(),
        }
    }
}
