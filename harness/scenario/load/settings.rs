//! The settings of a load scenario: how they are read, and how its numbers must
//! fit together. What the bench must have for them is found elsewhere.

use crate::document::{Demand, Table};
use crate::scenario::demands::Demands;
use crate::scenario::requirements::Requirements;
use crate::scenario::room::{Levels, ReadContext, not_empty, time};
use crate::scenario::terms::Polarity;
use crate::units::{Amperes, Seconds};
use serde::{Deserialize, Serialize};

/// Settings of a load scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// The currents, rising.
    pub steps: Vec<Amperes>,
    /// Wait after each step before anything is read.
    pub settle: Seconds,
    /// How long each step is held and read.
    pub hold: Seconds,
    /// The states of the output in which they are taken.
    pub polarities: Vec<Polarity>,
}

impl Settings {
    /// Reads the settings.
    pub(in crate::scenario) fn read(table: &Table<'_>, plan: &ReadContext<'_>) -> Self {
        let ratings = plan.ratings;
        let quarters = [0.0, 0.25, 0.5, 0.75, 1.0];
        Self {
            steps: not_empty(
                table,
                "steps",
                table.quantities("steps", Demand::NotNegative),
            )
            .unwrap_or_else(|| quarters.map(|part| ratings.rated_current * part).to_vec()),
            settle: time(table, "settle", 0.050),
            hold: time(table, "hold", 0.200),
            polarities: table
                .words("polarities", Polarity::WORDS)
                .unwrap_or_else(|| plan.polarities(&[Polarity::Positive, Polarity::Negative])),
        }
    }

    /// How the numbers fit together and with the limits.
    pub(in crate::scenario) fn check(&self, demands: &mut Demands<'_>) {
        demands.rising_steps(&self.steps);
        if self.steps.len() < 2 && demands.limit("output_resistance").is_some() {
            demands.fault(
                "steps",
                "one step gives no slope, so no output resistance".to_owned(),
                "two steps or more".to_owned(),
            );
        }
        let has = |polarity| self.polarities.contains(&polarity);
        let both = has(Polarity::Positive) && has(Polarity::Negative);
        // One alternating capture shows both, too.
        let shown = both || has(Polarity::Alternating);
        if !shown && demands.limit("level_asymmetry").is_some() {
            demands.fault(
                "polarities",
                "the symmetry of the levels needs both polarities".to_owned(),
                "\"positive\" and \"negative\" in the list, or \"alternating\"".to_owned(),
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
