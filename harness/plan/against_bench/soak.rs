//! Whether a bench can carry out a soak: its envelope's longest time with
//! energy in the board, and what its load draws.

use super::limits_of_energy::Energy;
use crate::ident::Role;
use crate::scenario::soak::Settings as Soak;
use crate::units::{Quantity, Seconds};

/// Power up and settle, in seconds, before the current is held.
const START: f64 = 0.5;
/// What each look takes beside its interval, in seconds: settings and reading
/// back; from the model bench, so no promise.
const LOOK: f64 = 0.1;
/// The bits of a look's samples on the line: three signals of a thousand, two
/// bytes each, ten bits a byte.
const BITS: f64 = 60e3;

impl Energy<'_> {
    pub(super) fn soak(&mut self, soak: &Soak) {
        self.drawn("current", soak.current);
        let speed = self.speed(Role::Capture).unwrap_or(f64::INFINITY);
        let look = LOOK + BITS / speed;
        let looks = libm::ceil(soak.length.si() / soak.interval.si().max(1e-3));
        // Looks that take longer than their interval follow one another.
        let held = soak.length.si().max(looks * look);
        self.lasts("length", Seconds::new((START + held + look).min(1e9)));
    }
}
