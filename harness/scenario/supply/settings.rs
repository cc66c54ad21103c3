//! The settings of a supply scenario and how they are read. How its numbers
//! must fit together is checked in `check`.

use crate::bench_file::Closes;
use crate::document::{Demand, Table};
use crate::scenario::demands::{Demands, seconds};
use crate::scenario::requirements::Requirements;
use crate::scenario::room::{Levels, ReadContext, not_empty, period, time};
use crate::units::{Amperes, Quantity, Seconds};
use serde::{Deserialize, Serialize};

/// Samples of one step, at least.
const FEWEST: f64 = 100.0;

/// How much longer the load stays on the supply than a step lasts.
pub const LOAD_ROOM: Seconds = Seconds::new(1.0);

/// Shares of the trip current: close beside it, never at it.
const SHARES: [f64; 6] = [0.5, 0.75, 0.9, 0.95, 1.05, 1.1];

/// Settings of a supply scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// The currents, rising.
    pub steps: Vec<Amperes>,
    /// Wait after each step before anything is read.
    pub settle: Seconds,
    /// How long each step is watched.
    pub hold: Seconds,
    /// Time between samples.
    pub sampling_period: Seconds,
}

impl Settings {
    /// Reads the settings.
    pub(in crate::scenario) fn read(table: &Table<'_>, plan: &ReadContext<'_>) -> Self {
        let ratings = plan.ratings;
        let steps = table.quantities("steps", Demand::Positive);
        Self {
            steps: not_empty(table, "steps", steps)
                .unwrap_or_else(|| SHARES.map(|share| ratings.trip_current * share).to_vec()),
            settle: time(table, "settle", 0.200),
            hold: time(table, "hold", 3.0),
            sampling_period: period(table, "sampling_period", 200e-6),
        }
    }

    /// How the numbers fit together and with the limits.
    pub(in crate::scenario) fn check(&self, demands: &mut Demands<'_>) {
        if self.steps.windows(2).any(|pair| pair[0] >= pair[1]) {
            demands.fault(
                "steps",
                "the steps do not rise".to_owned(),
                "currents in rising order, none twice".to_owned(),
            );
        }
        let trip = demands.ratings.trip_current;
        if demands.limit("trip_reachable").is_some()
            && self.steps.last().is_none_or(|last| *last <= trip)
        {
            demands.fault(
                "steps",
                "no step lies above the trip current, so none can show that it is reached"
                    .to_owned(),
                format!("a last step above {trip}"),
            );
        }
        let least = self.sampling_period.si() * FEWEST;
        if self.hold.si() < least {
            demands.fault(
                "hold",
                "this is too short to see what the supply does".to_owned(),
                format!("{} or more", seconds(least)),
            );
        }
    }

    /// What the bench must have for them beside what the drive asks for.
    pub(in crate::scenario) fn require(&self, bench: &mut Requirements<'_>) {
        bench.branch("kind", Closes::SupplyLoad);
    }

    /// None of its own.
    pub(in crate::scenario) fn levels(&self) -> Levels {
        Levels::default()
    }
}
