//! Whether a bench can load a customer's supply: a way to put the load onto
//! the supply rail, a channel that sees it, and what the load draws.

use super::limits_of_energy::{Energy, greater};
use super::{Against, At};
use crate::bench_file::{Closes, Measures};
use crate::scenario::supply::Settings as Supply;
use crate::units::{Amperes, Quantity, Seconds};

impl Against<'_> {
    pub(super) fn load_on_supply(&mut self, at: At<'_>) {
        self.branch(at, "kind", Closes::SupplyLoad);
        self.channel(at, Measures::BoardSupply);
    }
}

/// How long the load stays on the rail for one step.
pub(super) fn connected(supply: &Supply) -> Seconds {
    supply.settle + supply.hold + crate::scenario::supply::LOAD_ROOM
}

impl Energy<'_> {
    pub(super) fn supply(&mut self, supply: &Supply) {
        let largest = supply.steps.iter().copied().fold(Amperes::ZERO, greater);
        self.drawn("steps", largest);
        let taken = supply.steps.len() as f64 * connected(supply).si();
        self.lasts("hold", Seconds::new(taken.min(1e9)));
    }
}
