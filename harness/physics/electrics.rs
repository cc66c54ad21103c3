//! The parameters in the shape that the equations want: plain SI numbers. Which
//! equations hold when is decided elsewhere.

use crate::model_board::{BoardParameters, Branch, FixtureParameters, GapReturn, SenseLeg};
use crate::units::Quantity;

/// Width of a temperature bin in kelvins.
pub(super) const BIN: f64 = 0.5;

/// The electronic load in SI units.
#[derive(Clone, Copy, Debug)]
pub(super) struct LoadElectrics {
    /// Of rectifier and leads, in series.
    pub(super) resistance: f64,
    pub(super) conductance: f64,
    pub(super) capacitance: f64,
    /// Least resistance of the stage.
    pub(super) saturation: f64,
    /// Time constant of the current loop.
    pub(super) response: f64,
    /// Most that the loop can ask for.
    pub(super) ceiling: f64,
}

/// The capacitor bank in SI units.
#[derive(Clone, Copy, Debug)]
pub(super) struct BankElectrics {
    pub(super) capacitance: f64,
    pub(super) resistance: f64,
    pub(super) conductance: f64,
    pub(super) bleeder: f64,
    pub(super) drop: f64,
}

/// The parameters as plain SI numbers, in the shape the equations want.
#[derive(Clone, Debug)]
pub(super) struct Electrics {
    pub(super) bulk: f64,
    pub(super) bulk_resistance: f64,
    /// One switch.
    pub(super) switch: f64,
    /// What a damaged switch adds in the positive polarity.
    pub(super) positive_path_excess: f64,
    pub(super) switch_coefficient: f64,
    /// Conductance of a high-side switch that leaks; zero where it blocks.
    pub(super) leakage: f64,
    /// One body diode.
    pub(super) diode_drop: f64,
    pub(super) diode_resistance: f64,
    /// Two of them in series across the rail.
    pub(super) diodes_drop: f64,
    /// Conductance of the body diodes across the rail: both half-bridges side
    /// by side, two diodes in series each.
    pub(super) clamp_conductance: f64,
    pub(super) output_resistance: f64,
    pub(super) output_inductance: f64,
    pub(super) quiescent: f64,
    pub(super) sense_gain: f64,
    pub(super) sense_filter: f64,
    pub(super) sense_offset: f64,
    pub(super) sense_leg: SenseLeg,
    pub(super) supply_resistance: f64,
    pub(super) snubber_resistance: f64,
    pub(super) snubber_conductance: f64,
    pub(super) snubber_capacitance: f64,
    /// Conductance of bleeder and snubber at the node.
    pub(super) node_conductance: f64,
    pub(super) rectifier_drop: f64,
    pub(super) load: LoadElectrics,
    pub(super) bank: BankElectrics,
    pub(super) resistor_conductance: f64,
    /// What a folding supply still delivers into nothing.
    pub(super) foldback_current: f64,
    pub(super) near: Branch,
    pub(super) far: Branch,
    pub(super) gap: Branch,
    pub(super) upstream_voltage: f64,
    pub(super) gap_returns: GapReturn,
}

impl Electrics {
    pub(super) fn new(board: &BoardParameters, fixture: &FixtureParameters) -> Self {
        Self {
            bulk: board.bulk_capacitance.si(),
            bulk_resistance: board.bulk_resistance.si(),
            switch: board.switch_resistance.si(),
            positive_path_excess: board.positive_path_excess.si(),
            leakage: board.leakage_resistance.map_or(0.0, |leak| 1.0 / leak.si()),
            switch_coefficient: board.switch_temperature_coefficient.si(),
            diode_drop: board.diode_drop.si(),
            diode_resistance: board.diode_resistance.si(),
            diodes_drop: 2.0 * board.diode_drop.si(),
            clamp_conductance: 1.0 / board.diode_resistance.si().max(1e-3),
            output_resistance: board.output_resistance.si() + fixture.lead_resistance.si(),
            output_inductance: board.output_inductance.si() + fixture.lead_inductance.si(),
            quiescent: board.quiescent_current.si(),
            sense_gain: board.sense_gain.si(),
            sense_filter: board.sense_filter.si(),
            sense_offset: board.sense_offset.si(),
            sense_leg: board.sense_leg,
            supply_resistance: fixture.supply_resistance.si(),
            snubber_resistance: fixture.snubber_resistance.si(),
            snubber_conductance: 1.0 / fixture.snubber_resistance.si(),
            snubber_capacitance: fixture.snubber_capacitance.si(),
            node_conductance: 1.0 / fixture.bleeder.si() + 1.0 / fixture.snubber_resistance.si(),
            rectifier_drop: fixture.rectifier_drop.si(),
            load: LoadElectrics {
                resistance: fixture.rectifier_resistance.si(),
                conductance: 1.0 / fixture.rectifier_resistance.si(),
                capacitance: fixture.load_capacitance.si(),
                saturation: fixture.load_saturation.si(),
                response: fixture.load_response.si(),
                ceiling: fixture.load_ceiling.si(),
            },
            bank: BankElectrics {
                capacitance: fixture.bank.capacitance.si(),
                resistance: fixture.bank.resistance.si(),
                conductance: 1.0 / fixture.bank.resistance.si(),
                bleeder: fixture.bank.bleeder.si(),
                drop: fixture.bank.drop.si(),
            },
            resistor_conductance: 1.0 / fixture.resistor.si(),
            foldback_current: fixture.supply.foldback_current.si(),
            near: fixture.near,
            far: fixture.far,
            gap: fixture.upstream.branch,
            upstream_voltage: fixture.upstream.voltage.si(),
            gap_returns: fixture.upstream.returns,
        }
    }

    /// Resistance of a conducting switch at a temperature bin.
    pub(super) fn switch_at(&self, bin: i16) -> f64 {
        let rise = f64::from(bin) * BIN;
        self.switch * (1.0 + self.switch_coefficient * rise)
    }
}

/// A supply whose limit falls in a line with its voltage, from the set limit at
/// the set voltage to `least` into nothing: I = least + slope * V.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fold {
    least: f64,
    slope: f64,
}

impl Fold {
    pub(super) fn new(e: &Electrics, voltage: f64, limit: f64) -> Self {
        let least = e.foldback_current.min(limit);
        let slope = if voltage > 0.0 {
            (limit - least) / voltage
        } else {
            0.0
        };
        Self { least, slope }
    }

    /// Conductance and source current as seen behind `resistance`.
    pub(super) fn at_rail(self, resistance: f64) -> (f64, f64) {
        let rest = 1.0 - self.slope * resistance;
        (-self.slope / rest, self.least / rest)
    }

    /// The current into a source `open` behind `resistance`, all of it.
    pub(super) fn into_source(self, open: f64, resistance: f64) -> f64 {
        (self.least + self.slope * open) / (1.0 - self.slope * resistance)
    }
}
