//! How the numbers of a supply scenario must fit together. What the supply can
//! deliver, only the measurement tells.

use super::super::supply::Supply;
use super::{At, Checks, seconds};
use crate::units::Quantity;

/// Samples of one step, at least.
const FEWEST: f64 = 100.0;

impl Checks<'_> {
    pub(super) fn supply(&mut self, at: At<'_>, supply: &Supply) {
        if supply.steps.windows(2).any(|pair| pair[0] >= pair[1]) {
            self.fault(
                at,
                "steps",
                "the steps do not rise".to_owned(),
                "currents in rising order, none twice".to_owned(),
            );
        }
        let trip = self.plan.ratings.trip_current;
        if at.scenario.limit("trip_reachable").is_some()
            && supply.steps.last().is_none_or(|last| *last <= trip)
        {
            self.fault(
                at,
                "steps",
                "no step lies above the trip current, so none can show that it is reached"
                    .to_owned(),
                format!("a last step above {trip}"),
            );
        }
        let least = supply.sampling_period.si() * FEWEST;
        if supply.hold.si() < least {
            self.fault(
                at,
                "hold",
                "this is too short to see what the supply does".to_owned(),
                format!("{} or more", seconds(least)),
            );
        }
    }
}
