//! The settings of a sense scenario and how they are read. How its numbers
//! must fit together is checked in `check`.

use crate::document::{Demand, Table};
use crate::scenario::demands::Demands;
use crate::scenario::requirements::Requirements;
use crate::scenario::room::{Levels, ReadContext, not_empty, time, whole};
use crate::scenario::terms::Polarity;
use crate::units::{Amperes, Seconds};
use serde::{Deserialize, Serialize};

/// Settings of a sense scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
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

impl Settings {
    /// Reads the settings.
    pub(in crate::scenario) fn read(table: &Table<'_>, plan: &ReadContext<'_>) -> Self {
        let ratings = plan.ratings;
        let quarters = [0.0, 0.25, 0.5, 0.75, 1.0];
        let steps = table.quantities("steps", Demand::NotNegative);
        let polarities = table.words("polarities", Polarity::WORDS);
        Self {
            steps: not_empty(table, "steps", steps)
                .unwrap_or_else(|| quarters.map(|part| ratings.rated_current * part).to_vec()),
            settle: time(table, "settle", 0.050),
            hold: time(table, "hold", 0.050),
            readings: whole(table, "readings", 1000, 10),
            last_count: last_count(table, plan.format),
            polarities: not_empty(table, "polarities", polarities)
                .unwrap_or_else(|| plan.polarities(&[Polarity::Positive, Polarity::Negative])),
        }
    }

    /// How the numbers fit together and with the limits.
    pub(in crate::scenario) fn check(&self, demands: &mut Demands<'_>) {
        demands.rising_steps(&self.steps);
        if self.steps.len() < 3 {
            demands.fault(
                "steps",
                "no departure from a line shows in less than three steps".to_owned(),
                "three steps or more".to_owned(),
            );
        }
        if self.hold <= Seconds::ZERO {
            demands.fault(
                "hold",
                "nothing is captured in no time".to_owned(),
                "more than zero".to_owned(),
            );
        }
        demands.held(&self.polarities, self.settle + self.hold, "hold");
    }

    /// What the bench must have for them beside what the drive asks for.
    pub(in crate::scenario) fn require(&self, _: &mut Requirements<'_>) {}

    /// None of its own.
    pub(in crate::scenario) fn levels(&self) -> Levels {
        Levels::default()
    }
}

/// The last count. Each board's converter has its own, so a plan states it; one
/// of format 1 that does not means ten bits.
fn last_count(table: &Table<'_>, format: i64) -> u32 {
    // No board's converter has more than 24 bits.
    let range = 1..=(1 << 24) - 1;
    let stated = match format {
        1 => table.optional_integer("last_count", range),
        _ => table.integer("last_count", range),
    };
    let stated = stated.and_then(|count| u32::try_from(count).ok());
    stated.unwrap_or(1023)
}
