//! The settings of an inrush scenario and how they are read. How its numbers
//! must fit together is checked in `check`.

use crate::bench_file::Closes;
use crate::document::Table;
use crate::scenario::demands::{Demands, SHORTEST_HALF_BIT, seconds};
use crate::scenario::requirements::Requirements;
use crate::scenario::room::{Levels, ReadContext, period, time, whole};
use crate::units::{Quantity, Seconds};
use serde::{Deserialize, Serialize};

/// Samples of a close look, at least: fewer show no peak.
const FEWEST: f64 = 100.0;

/// How much longer the bank stays connected than it is watched: the board is
/// enabled meanwhile.
pub const BANK_ROOM: Seconds = Seconds::new(1.0);

/// Settings of an inrush scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
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

impl Settings {
    /// Reads the settings.
    pub(in crate::scenario) fn read(table: &Table<'_>, _: &ReadContext<'_>) -> Self {
        Self {
            length: time(table, "length", 2.5),
            coarse_period: period(table, "coarse_period", 20e-6),
            close_look: time(table, "close_look", 0.060),
            sampling_period: period(table, "sampling_period", 2e-6),
            repeats: whole(table, "repeats", 100, 1),
        }
    }

    /// How the numbers fit together and with the limits.
    pub(in crate::scenario) fn check(&self, demands: &mut Demands<'_>) {
        demands.pulse("length", self.length, "time_to_start");
        // A half-bit that no sample falls into could not be told from a trip.
        let slowest = SHORTEST_HALF_BIT / 2.0;
        if self.coarse_period.si() > slowest {
            demands.fault(
                "coarse_period",
                "this is too slow to distinguish a trip from a crossing".to_owned(),
                format!("{} or less", seconds(slowest)),
            );
        }
        demands.sampling(self.sampling_period, &[]);
        let least = self.sampling_period.si() * FEWEST;
        if self.close_look.si() < least {
            demands.fault(
                "close_look",
                "this is too short to see a peak in".to_owned(),
                format!("{} or more", seconds(least)),
            );
        }
    }

    /// What the bench must have for them beside what the drive asks for.
    pub(in crate::scenario) fn require(&self, bench: &mut Requirements<'_>) {
        bench.branch("kind", Closes::CapacitorBank);
    }

    /// None of its own.
    pub(in crate::scenario) fn levels(&self) -> Levels {
        Levels::default()
    }
}
