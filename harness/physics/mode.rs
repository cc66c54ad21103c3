//! One linear circuit: its key, its equations and its outputs. Which of them is
//! in force is decided elsewhere.

use super::action::Probe;
use super::affine::Affine;
use super::bridge::{Bridge, GAP, OUTPUT, currents};
use super::electrics::{Electrics, Fold};
use super::key::{CLAMP, Contact, Key, LOGIC_FLOOR, Rectifier, Stage, SupplyMode};
use super::one_gap::OneGap;
use super::propagator::{COLUMNS, Matrix, Propagator, STATES, State};
use super::signal::Polarity;
use super::states::{
    I_FAR, I_GAP, I_LOAD, I_NEAR, I_OUT, I_SET, V_BANK, V_BULK, V_LOAD, V_SENSE, V_SNUB,
};
use crate::clock::PICOSECONDS;
use crate::model_board::{Branch, GapReturn};
use crate::units::Quantity;

/// A linear circuit, ready to be advanced and looked at.
#[derive(Debug)]
pub(super) struct Mode {
    pub(super) key: Key,
    pub(super) propagator: Propagator,
    pub(super) rail: Affine,
    pub(super) node: Affine,
    /// The gap's current returns through a common negative.
    pub(super) shared: bool,
    /// How often the rail feeds output and gap current.
    pub(super) drawn: [f64; 2],
    /// Which half-bridges' currents heat a switch.
    pub(super) heated: [f64; 2],
    /// The terminal of a half-bridge that idles while something else holds it.
    pub(super) held: [Option<Affine>; 2],
    supply_current: Affine,
    /// Through the load's stage.
    load_current: Affine,
}

impl Mode {
    /// Writes the circuit's equations for `key` (Kirchhoff's laws; the node is
    /// algebraic, since its conductance is above zero).
    pub(super) fn new(e: &Electrics, key: Key) -> Self {
        let shared = is_shared(e.gap_returns, key.gap);
        let (out, gap) = (Affine::state(I_OUT), Affine::state(I_GAP));
        let returned = if shared { GAP } else { [0.0; 2] };
        let drawn = [OUTPUT, returned].map(|leaves| key.bridge.drawn(leaves));
        let logic = if key.logic_awake {
            Affine::constant(e.quiescent)
        } else {
            Affine::state(V_BULK).times(e.quiescent / LOGIC_FLOOR)
        };
        let taken = out.times(drawn[0]).plus(drawn[1], gap).plus(1.0, logic);
        let (rail, supply_current, charging) = rail_and_supply(e, &key, taken);
        let node = node(e, &key);
        let load_current = stage_current(e, key.stage);

        let mut rows = [Affine::zero(); STATES];
        rows[V_BULK] = charging.times(1.0 / e.bulk);
        let leakage = leakage(e, &key);
        if leakage > 0.0 {
            let leaking = Affine::state(V_BULK).plus(-1.0, node).times(leakage);
            rows[V_BULK] = rows[V_BULK].plus(-1.0 / e.bulk, leaking);
        }
        rows[V_SNUB] = node
            .plus(-1.0, Affine::state(V_SNUB))
            .times(1.0 / (e.snubber_resistance * e.snubber_capacitance));
        rows[I_NEAR] = branch_row(e.near, key.near, I_NEAR, node);
        rows[I_FAR] = branch_row(e.far, key.far, I_FAR, node);
        let held = if shared {
            let one = OneGap::new(e, &key, rail, node);
            (rows[I_OUT], rows[I_GAP]) = (one.output, one.gap);
            one.held
        } else {
            let source = key.upstream.map_or(0.0, Polarity::sign) * e.upstream_voltage;
            let across = node.plus(-1.0, Affine::constant(source));
            rows[I_OUT] = output_row(e, &key, rail, node);
            rows[I_GAP] = branch_row(e.gap, key.gap, I_GAP, across);
            key.bridge.held(e, rail, node)
        };
        let sensed = [OUTPUT, returned].map(|leaves| key.bridge.sensed(e.sense_leg, leaves));
        rows[V_SENSE] = out
            .times(sensed[0] * e.sense_gain)
            .plus(sensed[1] * e.sense_gain, gap)
            .plus(-1.0, Affine::state(V_SENSE))
            .times(1.0 / e.sense_filter);
        rows[I_SET] = Affine::constant(f64::from_bits(key.slope));
        if key.stage != Stage::Off {
            rows[V_LOAD] = load_input(e, &key, rail, node)
                .plus(-1.0, load_current)
                .times(1.0 / e.load.capacitance);
        }
        rows[I_LOAD] = loop_row(e, key.stage);
        // Off the node it empties by itself, which would keep an otherwise
        // periodic circuit from repeating: see `Circuit::bank_left`.
        if key.banked {
            rows[V_BANK] =
                through_rectifier(key.bank, node, V_BANK, e.bank.drop, e.bank.resistance)
                    .plus(-1.0 / e.bank.bleeder, Affine::state(V_BANK))
                    .times(1.0 / e.bank.capacitance);
        }

        Self {
            key,
            propagator: Propagator::new(&columns(&rows)),
            rail,
            node,
            shared,
            drawn,
            heated: key.bridge.heated(),
            held,
            supply_current,
            load_current,
        }
    }

    /// Integral of the squared current through each of the bridge's switches over
    /// `span` picoseconds, those of all together, the current taken to move in a
    /// line from `before` to `after`.
    pub(super) fn current_squared(&self, span: i64, before: &State, after: &State) -> f64 {
        let [first, second] = self.heated;
        if first + second == 0.0 {
            return 0.0;
        }
        let seconds = span as f64 / PICOSECONDS as f64;
        let (before, after) = (currents(self.shared, before), currents(self.shared, after));
        let squared = |half: usize| {
            let (before, after) = (before[half], after[half]);
            (before * before + before * after + after * after) / 3.0 * seconds
        };
        squared(0) * first + squared(1) * second
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
            Probe::LoadVoltage => self.load_voltage(e, state),
            Probe::LoadCurrent => self.load_current.at(state),
            Probe::BankVoltage => state[V_BANK],
            Probe::ShortCurrent => state[I_NEAR] + state[I_FAR],
            Probe::GapCurrent => state[I_GAP],
            Probe::UpstreamVoltage => upstream,
            Probe::SenseVoltage => state[V_SENSE] + e.sense_offset,
        }
    }

    /// The same as a linear function of the state, where it is one.
    pub(super) fn linear(&self, e: &Electrics, probe: Probe) -> Option<Affine> {
        Some(match probe {
            Probe::NodeVoltage => self.node,
            Probe::OutputCurrent => Affine::state(I_OUT),
            Probe::BoardRail => self.rail,
            Probe::SupplyVoltage => self.rail.plus(e.supply_resistance, self.supply_current),
            Probe::SupplyCurrent => self.supply_current,
            Probe::LoadVoltage => match (self.key.stage, self.key.on_supply) {
                (Stage::Off, true) => self.rail,
                // Its rectifier blocks one way.
                (Stage::Off, false) => return None,
                _ => Affine::state(V_LOAD),
            },
            Probe::LoadCurrent => self.load_current,
            Probe::BankVoltage => Affine::state(V_BANK),
            Probe::ShortCurrent => Affine::state(I_NEAR).plus(1.0, Affine::state(I_FAR)),
            Probe::GapCurrent => Affine::state(I_GAP),
            // It is no part of the state.
            Probe::UpstreamVoltage => return None,
            Probe::SenseVoltage => {
                Affine::state(V_SENSE).plus(1.0, Affine::constant(e.sense_offset))
            }
        })
    }

    /// A quantity that stands still as long as this circuit is in force.
    pub(super) fn constant(&self, probe: Probe, upstream: f64) -> Option<f64> {
        let Key { near, far, gap, .. } = self.key;
        let open = |contact| contact == Contact::Open;
        match probe {
            Probe::UpstreamVoltage => Some(upstream),
            Probe::GapCurrent => open(gap).then_some(0.0),
            Probe::ShortCurrent => (open(near) && open(far)).then_some(0.0),
            _ => None,
        }
    }

    /// A quantity of the circuit at each of `states`, as [`Self::probe`] gives
    /// it, after what is in `values`.
    pub(super) fn probe_each(
        &self,
        e: &Electrics,
        probe: Probe,
        (states, upstream): (&[State], f64),
        values: &mut Vec<f64>,
    ) {
        let states = states.iter();
        match probe {
            Probe::NodeVoltage => values.extend(states.map(|state| self.node.at(state))),
            Probe::OutputCurrent => values.extend(states.map(|state| state[I_OUT])),
            Probe::BoardRail => values.extend(states.map(|state| self.rail.at(state))),
            _ => values.extend(states.map(|state| self.probe(e, probe, state, upstream))),
        }
    }

    /// What the load's voltmeter sees before the relay at its input.
    fn load_voltage(&self, e: &Electrics, state: &State) -> f64 {
        match (self.key.stage, self.key.on_supply) {
            (Stage::Off, true) => self.rail.at(state),
            (Stage::Off, false) => (self.node.at(state).abs() - e.rectifier_drop).max(0.0),
            _ => state[V_LOAD],
        }
    }
}

/// Whether the current of a `gap` returns through a common negative.
pub(super) fn is_shared(returns: GapReturn, gap: Contact) -> bool {
    returns == GapReturn::CommonNegative && gap != Contact::Open
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
        SupplyMode::Foldback => {
            let fold = Fold::new(e, f64::from_bits(key.voltage), f64::from_bits(key.limit));
            fold.at_rail(e.supply_resistance)
        }
        SupplyMode::Blocked => (0.0, 0.0),
    };
    let (clamp_conductance, clamp_source) = if key.rail_clamped {
        (e.clamp_conductance, -e.clamp_conductance * e.diodes_drop)
    } else {
        (0.0, 0.0)
    };
    let (load_conductance, load) = if key.on_supply && key.stage != Stage::Off {
        let conductance = 1.0 / e.load.resistance;
        (conductance, Affine::state(V_LOAD).times(conductance))
    } else {
        (0.0, Affine::zero())
    };
    let conductance = supply_conductance + clamp_conductance + load_conductance;
    let source = Affine::constant(supply_source + clamp_source)
        .plus(1.0, load)
        .plus(-1.0, drawn);
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

/// The node: everything that conducts there shares the output's current.
fn node(e: &Electrics, key: &Key) -> Affine {
    let mut conductance = e.node_conductance;
    let mut flowing = Affine::state(I_OUT).plus(e.snubber_conductance, Affine::state(V_SNUB));
    for (contact, current) in [(key.near, I_NEAR), (key.far, I_FAR), (key.gap, I_GAP)] {
        // Without a way there is no current, and a step need not look for it.
        if contact != Contact::Open {
            flowing = flowing.plus(-1.0, Affine::state(current));
        }
    }
    if key.resistor {
        conductance += e.resistor_conductance;
    }
    let rectified = [
        (key.load, V_LOAD, e.rectifier_drop, e.load.resistance),
        (key.bank, V_BANK, e.bank.drop, e.bank.resistance),
    ];
    for (rectifier, behind, drop, resistance) in rectified {
        if rectifier != Rectifier::Blocked {
            conductance += 1.0 / resistance;
            let behind = Affine::state(behind).plus(1.0, Affine::constant(drop));
            flowing = flowing.plus(rectifier.sign() / resistance, behind);
        }
    }
    let leakage = leakage(e, key);
    if leakage > 0.0 {
        conductance += leakage;
        flowing = flowing.plus(leakage, Affine::state(V_BULK));
    }
    flowing.times(1.0 / conductance)
}

/// What a high-side switch that leaks conducts onto the node. Its milliamperes
/// show only on an output that is off, so they count only there, and not beside
/// a load or a bank that swallows them. Simplified: they come out of the bulk
/// capacitance itself, past its series resistance; the other terminal is taken
/// as held at the negative, as by a driver's own bias; shunt and sensor do not
/// see them.
fn leakage(e: &Electrics, key: &Key) -> f64 {
    let loaded = key.banked || (key.stage != Stage::Off && !key.on_supply);
    if key.bridge == Bridge::OPEN && !loaded {
        e.leakage
    } else {
        0.0
    }
}

/// The current through a rectifier with `drop` and `resistance` into the
/// voltage `behind` it.
fn through_rectifier(
    rectifier: Rectifier,
    node: Affine,
    behind: usize,
    drop: f64,
    resistance: f64,
) -> Affine {
    if rectifier == Rectifier::Blocked {
        return Affine::zero();
    }
    node.times(rectifier.sign())
        .plus(-1.0, Affine::state(behind))
        .plus(-1.0, Affine::constant(drop))
        .times(1.0 / resistance)
}

/// The current into the load's input.
fn load_input(e: &Electrics, key: &Key, rail: Affine, node: Affine) -> Affine {
    if key.on_supply {
        return rail
            .plus(-1.0, Affine::state(V_LOAD))
            .times(1.0 / e.load.resistance);
    }
    through_rectifier(key.load, node, V_LOAD, e.rectifier_drop, e.load.resistance)
}

/// The current through the load's stage.
fn stage_current(e: &Electrics, stage: Stage) -> Affine {
    let resistance = match stage {
        Stage::Regulated => return Affine::state(I_LOAD),
        Stage::Off => return Affine::zero(),
        Stage::Saturated | Stage::Ceiling => e.load.saturation,
        Stage::Resistance(bits) => f64::from_bits(bits),
    };
    Affine::state(V_LOAD).times(1.0 / resistance)
}

/// The loop integrates what its stage draws too little.
fn loop_row(e: &Electrics, stage: Stage) -> Affine {
    match stage {
        Stage::Off | Stage::Ceiling | Stage::Resistance(_) => Affine::zero(),
        Stage::Regulated | Stage::Saturated => Affine::state(I_SET)
            .plus(-1.0, stage_current(e, stage))
            .times(1.0 / e.load.response),
    }
}

fn output_row(e: &Electrics, key: &Key, rail: Affine, node: Affine) -> Affine {
    if key.bridge.is_interrupted() {
        return Affine::zero();
    }
    let resistance = key.bridge.resistance(e, key.bin);
    let voltage = key.bridge.voltage(e, rail);
    voltage
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
