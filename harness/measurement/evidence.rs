//! What a metric was read off: the capture that decided it and the instants and
//! levels in it, so that no page has to look for them again. It finds none of
//! them itself.

use super::Estimate;
use crate::units::{Dimension, show};
use serde::{Deserialize, Serialize};

/// What a mark marks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Landmark {
    /// The current departs from its noise.
    Inception,
    /// The current passes the onset level.
    Onset,
    /// The last instant before the current stays off.
    Interruption,
    /// The first sample, at which the current flowed already.
    WatchedFrom,
    /// Up to here the current was watched, and it still flowed or was ended by
    /// something else than the board.
    WatchedUntil,
    /// The largest magnitude.
    Peak,
    /// The level whose passing is the onset.
    OnsetLevel,
    /// The level under which the current is off.
    OffLevel,
    /// The contact closes.
    Closing,
    /// The output turns its phase.
    Reversal,
}

impl Landmark {
    /// The words for it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Inception => "inception",
            Self::Onset => "onset",
            Self::Interruption => "interruption",
            Self::WatchedFrom => "watched from",
            Self::WatchedUntil => "watched until",
            Self::Peak => "peak",
            Self::OnsetLevel => "onset level",
            Self::OffLevel => "off level",
            Self::Closing => "closing",
            Self::Reversal => "reversal",
        }
    }
}

/// An instant, counted from the trigger, or a level.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mark {
    /// What is marked.
    pub what: Landmark,
    /// Time for an instant; what a level is of.
    pub dimension: Dimension,
    /// Where, in the SI unit.
    pub at: Estimate,
}

impl Mark {
    /// The mark of an instant, in seconds from the trigger.
    pub const fn instant(what: Landmark, at: Estimate) -> Self {
        let dimension = Dimension::Time;
        Self {
            what,
            dimension,
            at,
        }
    }

    /// The mark of a current, in amperes.
    pub const fn current(what: Landmark, at: Estimate) -> Self {
        let dimension = Dimension::Current;
        Self {
            what,
            dimension,
            at,
        }
    }
}

/// The capture that decided a metric, and its marks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// Which capture of the scenario's observation, counted from zero in the
    /// order in which they were taken.
    pub take: u32,
    /// What that capture was taken for.
    pub label: String,
    /// Instants and levels, instants first.
    pub marks: Vec<Mark>,
}

impl Evidence {
    /// Where `what` was found, if it was.
    pub fn mark(&self, what: Landmark) -> Option<Estimate> {
        let found = self.marks.iter().find(|mark| mark.what == what);
        found.map(|mark| mark.at)
    }

    /// `capture 12: onset at 5.021 us, interruption at 15.41 ms`.
    pub fn words(&self) -> String {
        let marks: Vec<String> = self
            .marks
            .iter()
            .map(|mark| {
                let of = if mark.dimension == Dimension::Time {
                    "at "
                } else {
                    ""
                };
                let what = mark.what.words();
                format!("{what} {of}{}", show(mark.at.value, mark.dimension))
            })
            .collect();
        let number = self.take + 1;
        if marks.is_empty() {
            format!("capture {number}")
        } else {
            format!("capture {number}: {}", marks.join(", "))
        }
    }
}
