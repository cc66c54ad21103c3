//! Whether a bench can carry out a soak: its envelope's longest time with
//! energy in the board, and what its load draws.

use super::super::soak::Soak;
use super::limits_of_energy::Energy;
use crate::units::{Quantity, Seconds};

/// What each look takes beside its interval, in seconds: settings and reading
/// back; from the model bench, so no promise.
const LOOK: f64 = 0.1;

impl Energy<'_> {
    pub(super) fn soak(&mut self, soak: &Soak) {
        self.drawn("current", soak.current);
        let looks = libm::ceil(soak.length.si() / soak.interval.si().max(1e-3));
        let taken = soak.length.si() + looks * LOOK;
        self.lasts("length", Seconds::new(taken.min(1e9)));
    }
}
