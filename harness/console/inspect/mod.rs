//! What was found in a capture file, and how a person sees it: one screen of
//! lines, or a drawing. It reads no file and judges nothing.

mod conclusion;
mod histogram;
mod screen;
mod sketch;
mod svg;

pub use screen::screen;
pub use svg::svg;

use crate::capture_file::SampleFacts;
use crate::clock::BenchInstant;
use crate::measurement::{Estimate, Finding};
use crate::track::{Edge, Polarity, SignalReport};
use serde::Serialize;

/// How a signal stands to one demand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Every reading within the limit by at least its uncertainty.
    Within,
    /// Some reading too near the limit to tell.
    Undecided,
    /// Some reading beyond the limit by more than its uncertainty.
    Violation,
}

impl Standing {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Undecided => "undecided",
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
    /// Readings held against it.
    pub checked: u64,
    /// Readings beyond it by more than U.
    pub beyond: u64,
    /// Readings nearer to it than U, on either side.
    pub near: u64,
    /// The standing.
    pub standing: Standing,
    /// What else must be said.
    pub note: Option<String>,
}

/// A stretch of the signal worth looking at.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// What there is to see.
    pub title: String,
    /// First and last instant shown.
    pub window: (BenchInstant, BenchInstant),
    /// What is pointed at.
    pub mark: (BenchInstant, BenchInstant),
    /// The polarity at the start of the window, where known.
    pub before: Option<Polarity>,
    /// Edges within the window.
    pub edges: Vec<Edge>,
    /// Samples within the window: time (s), volts; none of a logic file.
    pub samples: Vec<(f64, f64)>,
}

/// A current that was looked at for a trip.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Trip {
    /// The level at which the trip time begins, A.
    pub onset_level: f64,
    /// The level under which the current is off, A.
    pub off_level: Option<f64>,
    /// First departure beyond noise, s.
    pub inception: Option<Estimate>,
    /// First crossing of the onset level, s.
    pub onset: Option<Estimate>,
    /// Last instant before the current stays off, s.
    pub interruption: Option<Estimate>,
    /// Interruption less onset, s.
    pub trip_time: Option<Finding>,
    /// Largest magnitude, A.
    pub peak: Option<Finding>,
    /// From inception to interruption, A2s.
    pub let_through: Option<Finding>,
    /// How often the onset level was reached anew.
    pub episodes: usize,
    /// What else must be said.
    pub notes: Vec<String>,
}

impl Trip {
    /// No trip, and why.
    pub fn nothing(onset_level: f64, why: &str) -> Self {
        Self {
            onset_level,
            off_level: None,
            inception: None,
            onset: None,
            interruption: None,
            trip_time: None,
            peak: None,
            let_through: None,
            episodes: 0,
            notes: vec![why.to_owned()],
        }
    }
}

/// Everything about a capture file.
#[derive(Clone, Debug, PartialEq)]
pub struct Inspection {
    /// The file's name.
    pub file: String,
    /// Its format in words.
    pub format: &'static str,
    /// The wire or column that was read.
    pub channel: String,
    /// Samples.
    pub samples: u64,
    /// Whether U holds what is known of the scale and the clock.
    pub scale_known: bool,
    /// Time between them, s.
    pub period: f64,
    /// How the period is known.
    pub period_from: &'static str,
    /// First to last instant, s.
    pub length: f64,
    /// The rules' name.
    pub rules: &'static str,
    /// Half of a 1, half of a 0: least and most, s.
    pub limits: [f64; 4],
    /// The signal, where a voltage or a wire was read.
    pub signal: Option<SignalReport>,
    /// What was held against limits.
    pub rows: Vec<RuleRow>,
    /// Packets in words and how many.
    pub packets: Vec<(String, u64)>,
    /// What of the samples is not known or not to be trusted, where that was
    /// looked at.
    pub facts: Option<SampleFacts>,
    /// What is odd.
    pub odd: Vec<String>,
    /// Stretches worth looking at, the one to plot first.
    pub stretches: Vec<Stretch>,
    /// A trip, where a current was named.
    pub trip: Option<Trip>,
}

impl Inspection {
    /// The standing over all demands; `None` when nothing was judged.
    pub fn standing(&self) -> Option<Standing> {
        self.rows.iter().map(|row| row.standing).max()
    }
}
