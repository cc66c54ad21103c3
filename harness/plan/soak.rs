//! The settings of a soak scenario and how they are read. How its numbers must
//! fit together is checked in `check`.

use super::Ratings;
use super::parse::{not_empty, time};
use super::settings::Polarity;
use crate::document::{Demand, Table};
use crate::units::{Amperes, Seconds};
use serde::{Deserialize, Serialize};

/// Settings of a soak scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Soak {
    /// The current that is held.
    pub current: Amperes,
    /// How long the board is watched without power before.
    pub rest: Seconds,
    /// How long the current is held.
    pub length: Seconds,
    /// Time between two looks.
    pub interval: Seconds,
    /// The states of the output in which it is held.
    pub polarities: Vec<Polarity>,
}

/// Reads the settings.
pub(super) fn read(table: &Table<'_>, ratings: &Ratings) -> Soak {
    let polarities = table.words("polarities", Polarity::WORDS);
    Soak {
        current: table.quantity_or("current", Demand::Positive, ratings.rated_current),
        rest: time(table, "rest", 60.0),
        length: time(table, "length", 300.0),
        interval: time(table, "interval", 10.0),
        polarities: not_empty(table, "polarities", polarities)
            .unwrap_or_else(|| vec![Polarity::Alternating]),
    }
}
