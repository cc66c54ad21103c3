//! One linear circuit: its key, its equations and its outputs. Which of them is
//! in force is decided elsewhere.

use super::action::Probe;
use super::propagator::{COLUMNS, Matrix, Propagator, STATES, State};
use super::signal::Polarity;
use crate::model_board::{BoardParameters, Branch, FixtureParameters, SenseLeg};
use crate::units::Quantity;

/// Voltage across the bulk capacitance.
pub(super) const V_BULK: usize = 0;
/// Current out of the board, through output and leads.
pub(super) const I_OUT: usize = 1;
/// Voltage across the snubber's capacitance.
pub(super) const V_SNUB: usize = 2;
/// Current through the near short.
pub(super) const I_NEAR: usize = 3;
/// Current through the far short.
pub(super) const I_FAR: usize = 4;
/// Current from the node into the upstream source.
pub(super) const I_GAP: usize = 5;
/// Filtered sensor voltage without its offset.
pub(super) const V_SENSE: usize = 6;
/// Set current of the load.
pub(super) const I_SET: usize = 7;

/// Voltage of the clamp that takes over when a contact opens under current.
pub(super) const CLAMP: f64 = 40.0;
/// Width of a temperature bin in kelvins.
pub(super) const BIN: f64 = 0.5;
/// Below this bulk voltage the logic draws like a resistor instead of a
/// constant current, so that a dead board does not pull its rail negative.
pub(super) const LOGIC_FLOOR: f64 = 1.0;

/// What the supply does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum SupplyMode {
    /// Holds its voltage behind its resistance.
    Voltage,
    /// Holds its current limit.
    Limit,
    /// Delivers nothing: off, or the rail stands higher.
    Blocked,
}

/// What the bridge does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Bridge {
    /// All switches off, no current.
    Open,
    /// All switches off, the body diodes carry a current of this sign.
    Freewheel(Polarity),
    /// Both low switches on.
    Brake,
    /// One diagonal on.
    Drive(Polarity),
}

/// How the load conducts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Conduction {
    /// Not at all.
    Blocked,
    /// At its set current.
    Current(Polarity),
    /// As a resistance (in ohms, as bits) behind the rectifier.
    Resistance(Polarity, u64),
}

/// What a switched branch does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Contact {
    /// Carries nothing.
    Open,
    /// Conducts.
    Closed,
    /// Has opened under a current of this sign, which the clamp takes down.
    Clamped(Polarity),
}

/// Everything that decides which linear circuit is in force.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Key {
    pub(super) supply: SupplyMode,
    /// Open voltage, as bits.
    pub(super) voltage: u64,
    /// Current limit, as bits.
    pub(super) limit: u64,
    pub(super) bridge: Bridge,
    /// Junction temperature rise in bins.
    pub(super) bin: u16,
    /// The body diodes keep the rail from going negative.
    pub(super) rail_clamped: bool,
    /// The logic draws its constant current.
    pub(super) logic_awake: bool,
    pub(super) load: Conduction,
    /// Slope of the load's set current in amperes per second, as bits.
    pub(super) slope: u64,
    pub(super) near: Contact,
    pub(super) far: Contact,
    pub(super) gap: Contact,
    /// Polarity the upstream source applies at the gap; `None` when it is dead
    /// or nothing is connected.
    pub(super) upstream: Option<Polarity>,
}

/// The parameters as plain SI numbers, in the shape the equations want.
#[derive(Clone, Debug)]
pub(super) struct Electrics {
    pub(super) bulk: f64,
    pub(super) bulk_resistance: f64,
    pub(super) switches: f64,
    /// What a damaged switch adds in the positive polarity.
    pub(super) positive_path_excess: f64,
    pub(super) switch_coefficient: f64,
    pub(super) diodes_drop: f64,
    pub(super) diodes_resistance: f64,
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
    pub(super) snubber_capacitance: f64,
    /// Conductance of bleeder and snubber at the node.
    pub(super) node_conductance: f64,
    pub(super) rectifier_drop: f64,
    pub(super) load_saturation: f64,
    pub(super) near: Branch,
    pub(super) far: Branch,
    pub(super) gap: Branch,
    pub(super) upstream_voltage: f64,
}

impl Electrics {
    pub(super) fn new(board: &BoardParameters, fixture: &FixtureParameters) -> Self {
        Self {
            bulk: board.bulk_capacitance.si(),
            bulk_resistance: board.bulk_resistance.si(),
            switches: 2.0 * board.switch_resistance.si(),
            positive_path_excess: board.positive_path_excess.si(),
            switch_coefficient: board.switch_temperature_coefficient.si(),
            diodes_drop: 2.0 * board.diode_drop.si(),
            diodes_resistance: 2.0 * board.diode_resistance.si(),
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
            snubber_capacitance: fixture.snubber_capacitance.si(),
            node_conductance: 1.0 / fixture.bleeder.si() + 1.0 / fixture.snubber_resistance.si(),
            rectifier_drop: fixture.rectifier_drop.si(),
            load_saturation: fixture.load_saturation.si(),
            near: fixture.near,
            far: fixture.far,
            gap: fixture.upstream.branch,
            upstream_voltage: fixture.upstream.voltage.si(),
        }
    }

    /// Resistance of the two conducting switches at a temperature bin.
    pub(super) fn switches_at(&self, bin: u16) -> f64 {
        let rise = f64::from(bin) * BIN;
        self.switches * (1.0 + self.switch_coefficient * rise)
    }
}

/// A linear function of the state and the constant one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Affine([f64; COLUMNS]);

impl Affine {
    fn constant(value: f64) -> Self {
        let mut entries = [0.0; COLUMNS];
        entries[STATES] = value;
        Self(entries)
    }

    fn state(index: usize) -> Self {
        let mut entries = [0.0; COLUMNS];
        entries[index] = 1.0;
        Self(entries)
    }

    fn zero() -> Self {
        Self([0.0; COLUMNS])
    }

    /// This plus `factor` times `other`.
    fn plus(mut self, factor: f64, other: Self) -> Self {
        for (sum, entry) in self.0.iter_mut().zip(other.0) {
            *sum += factor * entry;
        }
        self
    }

    fn times(self, factor: f64) -> Self {
        Self::zero().plus(factor, self)
    }

    /// Its value at `state`.
    pub(super) fn at(&self, state: &State) -> f64 {
        let mut sum = self.0[STATES];
        for (entry, value) in self.0.iter().zip(state) {
            sum += entry * value;
        }
        sum
    }
}

/// A linear circuit, ready to be advanced and looked at.
#[derive(Debug)]
pub(super) struct Mode {
    pub(super) key: Key,
    pub(super) propagator: Propagator,
    pub(super) rail: Affine,
    pub(super) node: Affine,
    supply_current: Affine,
    load_current: Affine,
}

/// Current into the bridge from the rail.
fn bridge_current(bridge: Bridge) -> Affine {
    match bridge {
        Bridge::Drive(polarity) => Affine::state(I_OUT).times(polarity.sign()),
        Bridge::Freewheel(sign) => Affine::state(I_OUT).times(-sign.sign()),
        Bridge::Open | Bridge::Brake => Affine::zero(),
    }
}

impl Mode {
    /// Writes the circuit's equations for `key` (Kirchhoff's laws; the node is
    /// algebraic, since its conductance is above zero).
    pub(super) fn new(e: &Electrics, key: Key) -> Self {
        let bridge = bridge_current(key.bridge);
        let logic = if key.logic_awake {
            Affine::constant(e.quiescent)
        } else {
            Affine::state(V_BULK).times(e.quiescent / LOGIC_FLOOR)
        };
        let drawn = bridge.plus(1.0, logic);
        let (rail, supply_current, charging) = rail_and_supply(e, &key, drawn);
        let (node, load_current) = node_and_load(e, key.load);

        let mut rows = [Affine::zero(); STATES];
        rows[V_BULK] = charging.times(1.0 / e.bulk);
        rows[I_OUT] = output_row(e, &key, rail, node);
        rows[V_SNUB] = node
            .plus(-1.0, Affine::state(V_SNUB))
            .times(1.0 / (e.snubber_resistance * e.snubber_capacitance));
        rows[I_NEAR] = branch_row(e.near, key.near, I_NEAR, node);
        rows[I_FAR] = branch_row(e.far, key.far, I_FAR, node);
        let source = key.upstream.map_or(0.0, Polarity::sign) * e.upstream_voltage;
        let across = node.plus(-1.0, Affine::constant(source));
        rows[I_GAP] = branch_row(e.gap, key.gap, I_GAP, across);
        let seen = e.sense_leg == SenseLeg::Both || key.bridge == Bridge::Drive(Polarity::Positive);
        let sensed = bridge.times(if seen { e.sense_gain } else { 0.0 });
        rows[V_SENSE] = sensed
            .plus(-1.0, Affine::state(V_SENSE))
            .times(1.0 / e.sense_filter);
        rows[I_SET] = Affine::constant(f64::from_bits(key.slope));

        Self {
            key,
            propagator: Propagator::new(&columns(&rows)),
            rail,
            node,
            supply_current,
            load_current,
        }
    }

    /// A quantity of the circuit at `state`; `upstream` is the upstream
    /// source's own voltage, which is no part of a circuit it is cut off from.
    pub(super) fn probe(&self, e: &Electrics, probe: Probe, state: &State, upstream: f64) -> f64 {
        match probe {
            Probe::NodeVoltage => self.node.at(state),
            Probe::OutputCurrent => state[I_OUT],
            Probe::BoardRail => self.rail.at(state),
            Probe::SupplyVoltage => {
                self.rail.at(state) + e.supply_resistance * self.supply_current.at(state)
            }
            Probe::SupplyCurrent => self.supply_current.at(state),
            Probe::LoadVoltage => (self.node.at(state).abs() - e.rectifier_drop).max(0.0),
            Probe::LoadCurrent => self.load_current.at(state).abs(),
            Probe::ShortCurrent => state[I_NEAR] + state[I_FAR],
            Probe::GapCurrent => state[I_GAP],
            Probe::UpstreamVoltage => upstream,
            Probe::SenseVoltage => state[V_SENSE] + e.sense_offset,
        }
    }
}

/// The rail's voltage, the supply's current and the current into the bulk
/// capacitance, when the board draws `drawn`.
fn rail_and_supply(e: &Electrics, key: &Key, drawn: Affine) -> (Affine, Affine, Affine) {
    // Conductance to and current from each source at the rail.
    let (supply_conductance, supply_source) = match key.supply {
        SupplyMode::Voltage => {
            let conductance = 1.0 / e.supply_resistance;
            (conductance, conductance * f64::from_bits(key.voltage))
        }
        SupplyMode::Limit => (0.0, f64::from_bits(key.limit)),
        SupplyMode::Blocked => (0.0, 0.0),
    };
    let (clamp_conductance, clamp_source) = if key.rail_clamped {
        (e.clamp_conductance, -e.clamp_conductance * e.diodes_drop)
    } else {
        (0.0, 0.0)
    };
    let conductance = supply_conductance + clamp_conductance;
    let source = Affine::constant(supply_source + clamp_source).plus(-1.0, drawn);
    let rail = Affine::state(V_BULK)
        .plus(e.bulk_resistance, source)
        .times(1.0 / (1.0 + e.bulk_resistance * conductance));
    let supply_current = Affine::constant(supply_source).plus(-supply_conductance, rail);
    let charging = source.plus(-conductance, rail);
    (rail, supply_current, charging)
}

fn columns(rows: &[Affine; STATES]) -> Matrix {
    let mut matrix = [[0.0; STATES]; COLUMNS];
    for (index, row) in rows.iter().enumerate() {
        for (column, entry) in matrix.iter_mut().zip(row.0) {
            column[index] = entry;
        }
    }
    matrix
}

fn node_and_load(e: &Electrics, load: Conduction) -> (Affine, Affine) {
    let flowing = Affine::state(I_OUT)
        .plus(-1.0, Affine::state(I_NEAR))
        .plus(-1.0, Affine::state(I_FAR))
        .plus(-1.0, Affine::state(I_GAP))
        .plus(1.0 / e.snubber_resistance, Affine::state(V_SNUB));
    match load {
        Conduction::Blocked => (flowing.times(1.0 / e.node_conductance), Affine::zero()),
        Conduction::Current(polarity) => {
            let current = Affine::state(I_SET).times(polarity.sign());
            let node = flowing.plus(-1.0, current).times(1.0 / e.node_conductance);
            (node, current)
        }
        Conduction::Resistance(polarity, bits) => {
            let conductance = 1.0 / f64::from_bits(bits);
            let drop = Affine::constant(polarity.sign() * e.rectifier_drop);
            let node = flowing
                .plus(conductance, drop)
                .times(1.0 / (e.node_conductance + conductance));
            (node, node.plus(-1.0, drop).times(conductance))
        }
    }
}

fn output_row(e: &Electrics, key: &Key, rail: Affine, node: Affine) -> Affine {
    let switches = e.switches_at(key.bin);
    let (bridge_voltage, resistance) = match key.bridge {
        Bridge::Open => return Affine::zero(),
        Bridge::Brake => (Affine::zero(), switches),
        Bridge::Drive(polarity) => {
            let excess = match polarity {
                Polarity::Positive => e.positive_path_excess,
                Polarity::Negative => 0.0,
            };
            (rail.times(polarity.sign()), switches + excess)
        }
        Bridge::Freewheel(sign) => (
            rail.plus(1.0, Affine::constant(e.diodes_drop))
                .times(-sign.sign()),
            e.diodes_resistance,
        ),
    };
    bridge_voltage
        .plus(-(resistance + e.output_resistance), Affine::state(I_OUT))
        .plus(-1.0, node)
        .times(1.0 / e.output_inductance)
}

fn branch_row(branch: Branch, contact: Contact, index: usize, across: Affine) -> Affine {
    let clamp = match contact {
        Contact::Open => return Affine::zero(),
        Contact::Closed => 0.0,
        Contact::Clamped(sign) => sign.sign() * CLAMP,
    };
    across
        .plus(-branch.resistance.si(), Affine::state(index))
        .plus(-1.0, Affine::constant(clamp))
        .times(1.0 / branch.inductance.si())
}
