//! The settings of a sense scenario and how they are read. How its numbers
//! must fit together is checked in `check`.

use super::Ratings;
use super::parse::{not_empty, time};
use super::settings::Polarity;
use crate::document::{Demand, Table};
use crate::units::{Amperes, Seconds};
use serde::{Deserialize, Serialize};

/// Settings of a sense scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sense {
    /// The currents, rising.
    pub steps: Vec<Amperes>,
    /// Wait after each step before anything is read.
    pub settle: Seconds,
    /// How long the current is captured.
    pub hold: Seconds,
    /// Readings of the board at each step.
    pub readings: u32,
    /// The board's reading at the end of its converter.
    pub last_count: u32,
    /// The states of the output in which the steps are taken.
    pub polarities: Vec<Polarity>,
}

/// Reads the settings.
pub(super) fn read(table: &Table<'_>, ratings: &Ratings) -> Sense {
    let quarters = [0.0, 0.25, 0.5, 0.75, 1.0];
    let steps = table.quantities("steps", Demand::NotNegative);
    let polarities = table.words("polarities", Polarity::WORDS);
    let whole = |key, most, default| {
        table
            .optional_integer(key, 1..=most)
            .and_then(|number| u32::try_from(number).ok())
            .unwrap_or(default)
    };
    Sense {
        steps: not_empty(table, "steps", steps)
            .unwrap_or_else(|| quarters.map(|part| ratings.rated_current * part).to_vec()),
        settle: time(table, "settle", 0.050),
        hold: time(table, "hold", 0.050),
        readings: whole("readings", 1000, 10),
        // No board's converter has more than 24 bits.
        last_count: whole("last_count", 16_777_215, 1023),
        polarities: not_empty(table, "polarities", polarities)
            .unwrap_or_else(|| vec![Polarity::Positive, Polarity::Negative]),
    }
}
