//! The settings of an inrush scenario and how they are read. How its numbers
//! must fit together is checked in `check`.

use super::parse::{period, time};
use crate::document::Table;
use crate::units::Seconds;
use serde::{Deserialize, Serialize};

/// Settings of an inrush scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Inrush {
    /// How long a start is watched.
    pub length: Seconds,
    /// Time between samples of that.
    pub coarse_period: Seconds,
    /// How long a start of its own is watched finely.
    pub close_look: Seconds,
    /// Time between samples of the close look.
    pub sampling_period: Seconds,
    /// Starts of each kind.
    pub repeats: u32,
}

/// How much longer the bank stays connected than it is watched: the board is
/// enabled meanwhile.
pub const BANK_ROOM: Seconds = Seconds::new(1.0);

/// Reads the settings.
pub(super) fn read(table: &Table<'_>) -> Inrush {
    Inrush {
        length: time(table, "length", 2.5),
        coarse_period: period(table, "coarse_period", 20e-6),
        close_look: time(table, "close_look", 0.060),
        sampling_period: period(table, "sampling_period", 2e-6),
        repeats: table
            .optional_integer("repeats", 1..=100)
            .and_then(|repeats| u32::try_from(repeats).ok())
            .unwrap_or(1),
    }
}
