//! What the diodes, the supply, the load and the comparators do at a given
//! state. Each answer is a direct function of the state (the piecewise-linear
//! characteristics are monotone), so the same state always gives the same
//! answer; timers and consequences are not its business.

use super::mode::{
    Bridge, Conduction, Contact, Electrics, I_FAR, I_GAP, I_NEAR, I_OUT, I_SET, LOGIC_FLOOR, Mode,
    SupplyMode, V_BULK, V_SENSE, V_SNUB,
};
use super::propagator::State;
use super::signal::Polarity;
use crate::model_board::{BoardParameters, FixtureParameters};
use crate::units::Quantity;

/// Hysteresis of the under-voltage lockout, relative.
const LOCKOUT_HYSTERESIS: f64 = 1.05;
/// Below this share of the lockout voltage the board's logic loses its memory.
const RESET_SHARE: f64 = 0.4;
/// The body diodes of an idle bridge start to conduct this far beyond the
/// rail; it only keeps rounding from opening and closing them in turn.
const DIODE_MARGIN: f64 = 1e-6;

/// The setting of a load as the circuit sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum LoadKind {
    /// Disconnected.
    Off,
    /// Constant current, the state variable.
    Current,
    /// Constant resistance in ohms.
    Resistance(f64),
}

/// Settings and thresholds that the answers depend on, in SI units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Settings {
    pub(super) supply_voltage: f64,
    pub(super) supply_limit: f64,
    pub(super) supply_on: bool,
    pub(super) load: LoadKind,
    trip_level: f64,
    reverse_level: f64,
    under_voltage: f64,
    upstream_trip: f64,
}

impl Settings {
    pub(super) fn new(board: &BoardParameters, fixture: &FixtureParameters) -> Self {
        // The levels are "as sensed": the offset shifts level and signal alike.
        let gain = board.sense_gain.si();
        Self {
            supply_voltage: 0.0,
            supply_limit: 0.0,
            supply_on: false,
            load: LoadKind::Off,
            trip_level: gain * board.trip_current.si(),
            reverse_level: board
                .reversing
                .map_or(f64::INFINITY, |reversing| gain * reversing.current.si()),
            under_voltage: board.under_voltage.si(),
            upstream_trip: fixture.upstream.trip_current.si(),
        }
    }
}

/// The answers at one state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Observed {
    pub(super) supply: SupplyMode,
    /// The body diodes keep the rail from going negative.
    pub(super) rail_clamped: bool,
    pub(super) logic_awake: bool,
    pub(super) load: Conduction,
    /// The body diodes' current has come down to zero.
    pub(super) freewheel_over: bool,
    /// The node drives the idle bridge's diodes.
    pub(super) backdriven: Option<Polarity>,
    /// The clamps of near, far and gap have done their work.
    pub(super) clamp_over: [bool; 3],
    pub(super) trip_above: bool,
    pub(super) reverse_above: bool,
    /// The rail is too low, with hysteresis.
    pub(super) rail_low: bool,
    /// The rail is so low that the logic forgets.
    pub(super) reset: bool,
    pub(super) upstream_above: bool,
}

impl Observed {
    /// A bench without energy.
    pub(super) const fn dead() -> Self {
        Self {
            supply: SupplyMode::Blocked,
            rail_clamped: false,
            logic_awake: false,
            load: Conduction::Blocked,
            freewheel_over: false,
            backdriven: None,
            clamp_over: [false; 3],
            trip_above: false,
            reverse_above: false,
            rail_low: true,
            reset: true,
            upstream_above: false,
        }
    }

    /// The answers at `state` in `mode`, `was` being the present ones.
    pub(super) fn at(
        e: &Electrics,
        settings: &Settings,
        mode: &Mode,
        was: &Self,
        state: &State,
    ) -> Self {
        let key = &mode.key;
        let rail = mode.rail.at(state);
        let current = state[I_OUT];
        let backdriven = if key.bridge == Bridge::Open {
            let node = mode.node.at(state);
            let beyond = node.abs() - rail - e.diodes_drop;
            (beyond > DIODE_MARGIN).then_some(Polarity::of(-node))
        } else {
            None
        };
        let lockout = if was.rail_low {
            settings.under_voltage * LOCKOUT_HYSTERESIS
        } else {
            settings.under_voltage
        };
        let (supply, rail_clamped) = supply_and_clamp(e, settings, key.bridge, state);
        Self {
            supply,
            rail_clamped,
            logic_awake: state[V_BULK] > LOGIC_FLOOR,
            load: load(e, settings.load, state),
            freewheel_over: match key.bridge {
                Bridge::Freewheel(sign) => sign.sign() * current < 0.0,
                _ => false,
            },
            backdriven,
            clamp_over: [
                clamp_over(key.near, state[I_NEAR]),
                clamp_over(key.far, state[I_FAR]),
                clamp_over(key.gap, state[I_GAP]),
            ],
            trip_above: state[V_SENSE] > settings.trip_level,
            reverse_above: state[V_SENSE] > settings.reverse_level,
            rail_low: rail < lockout,
            reset: state[V_BULK] < settings.under_voltage * RESET_SHARE,
            upstream_above: state[I_GAP].abs() > settings.upstream_trip,
        }
    }
}

fn clamp_over(contact: Contact, current: f64) -> bool {
    matches!(contact, Contact::Clamped(sign) if sign.sign() * current < 0.0)
}

/// Where the characteristics of supply and body diodes meet the rest of the
/// circuit: the supply's mode, and whether the diodes hold the rail up.
fn supply_and_clamp(
    e: &Electrics,
    settings: &Settings,
    bridge: Bridge,
    state: &State,
) -> (SupplyMode, bool) {
    let into_bridge = match bridge {
        Bridge::Drive(polarity) => polarity.sign() * state[I_OUT],
        Bridge::Freewheel(sign) => -sign.sign() * state[I_OUT],
        Bridge::Open | Bridge::Brake => 0.0,
    };
    let bulk = state[V_BULK];
    let logic = if bulk > LOGIC_FLOOR {
        e.quiescent
    } else {
        e.quiescent * bulk / LOGIC_FLOOR
    };
    // The rail without a supply is a source `open` behind `inner` ohms.
    let open = bulk - e.bulk_resistance * (into_bridge + logic);
    let (mode, rail) = supply(e, settings, open, e.bulk_resistance);
    if rail >= -e.diodes_drop {
        return (mode, false);
    }
    let share = 1.0 / (1.0 + e.bulk_resistance * e.clamp_conductance);
    let held = (open + e.diodes_drop) * share - e.diodes_drop;
    (supply(e, settings, held, e.bulk_resistance * share).0, true)
}

/// The supply's mode and the rail it makes of a source `open` behind `inner`
/// ohms.
fn supply(e: &Electrics, settings: &Settings, open: f64, inner: f64) -> (SupplyMode, f64) {
    if !settings.supply_on {
        return (SupplyMode::Blocked, open);
    }
    let current = (settings.supply_voltage - open) / (e.supply_resistance + inner);
    if current < 0.0 {
        (SupplyMode::Blocked, open)
    } else if current > settings.supply_limit {
        (SupplyMode::Limit, open + inner * settings.supply_limit)
    } else {
        (SupplyMode::Voltage, open + inner * current)
    }
}

/// Where the load's characteristic behind its rectifier meets the node.
fn load(e: &Electrics, kind: LoadKind, state: &State) -> Conduction {
    let resistance = match kind {
        LoadKind::Off => return Conduction::Blocked,
        LoadKind::Current => e.load_saturation,
        LoadKind::Resistance(ohms) => ohms.max(e.load_saturation),
    };
    let flowing = state[I_OUT] - state[I_NEAR] - state[I_FAR] - state[I_GAP]
        + state[V_SNUB] / e.snubber_resistance;
    let polarity = Polarity::of(flowing);
    let flowing = flowing.abs();
    if flowing <= e.rectifier_drop * e.node_conductance {
        return Conduction::Blocked;
    }
    let conductance = 1.0 / resistance;
    let node = (flowing + conductance * e.rectifier_drop) / (e.node_conductance + conductance);
    let current = (node - e.rectifier_drop) * conductance;
    if kind == LoadKind::Current && current > state[I_SET] {
        Conduction::Current(polarity)
    } else {
        Conduction::Resistance(polarity, resistance.to_bits())
    }
}
