//! Whether a bench can carry out an inrush scenario: a bank on its switch, and
//! what that may draw. How the bank is emptied is the procedure's matter.

use super::limits_of_energy::Energy;
use super::{Against, At};
use crate::bench_file::Closes;
use crate::scenario::inrush::Settings as Inrush;
use crate::units::{Quantity, Seconds};

impl Against<'_> {
    pub(super) fn inrush(&mut self, at: At<'_>) {
        self.branch(at, "kind", Closes::CapacitorBank);
    }
}

/// How long the bank stays connected around a capture of `length`: the board
/// is enabled within it.
pub(super) fn connected(length: Seconds) -> Seconds {
    length + crate::scenario::inrush::BANK_ROOM
}

impl Energy<'_> {
    pub(super) fn inrush(&mut self, inrush: &Inrush) {
        let Some(branch) = self.bench.branch(Closes::CapacitorBank) else {
            return;
        };
        let resistance = self.loop_resistance(branch.resistance);
        let voltage = self.plan.ratings.supply_voltage;
        self.prospective("kind", "capacitor bank", voltage, resistance);
        if let Some(bank) = branch.bank {
            let v = voltage.si();
            let stored = 0.5 * bank.capacitance.si() * v * v;
            // As much again stays in the loop's resistance.
            self.against_envelope("kind", stored / resistance.si(), 2.0 * stored);
        }
        self.lasts("length", connected(inrush.length));
    }
}
