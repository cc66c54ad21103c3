//! The settings of a supply scenario and how they are read. How its numbers
//! must fit together is checked in `check`.

use super::Ratings;
use super::parse::{not_empty, period, time};
use crate::document::{Demand, Table};
use crate::units::{Amperes, Seconds};
use serde::{Deserialize, Serialize};

/// Settings of a supply scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Supply {
    /// The currents, rising.
    pub steps: Vec<Amperes>,
    /// Wait after each step before anything is read.
    pub settle: Seconds,
    /// How long each step is watched.
    pub hold: Seconds,
    /// Time between samples.
    pub sampling_period: Seconds,
}

/// How much longer the load stays on the supply than a step lasts.
pub const LOAD_ROOM: Seconds = Seconds::new(1.0);

/// Shares of the trip current: close beside it, never at it.
const SHARES: [f64; 6] = [0.5, 0.75, 0.9, 0.95, 1.05, 1.1];

/// Reads the settings.
pub(super) fn read(table: &Table<'_>, ratings: &Ratings) -> Supply {
    let steps = table.quantities("steps", Demand::Positive);
    Supply {
        steps: not_empty(table, "steps", steps)
            .unwrap_or_else(|| SHARES.map(|share| ratings.trip_current * share).to_vec()),
        settle: time(table, "settle", 0.200),
        hold: time(table, "hold", 3.0),
        sampling_period: period(table, "sampling_period", 200e-6),
    }
}
