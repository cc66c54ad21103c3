//! What the diodes, the supply, the load and the comparators do at a given
//! state. Each answer is a direct function of the state (the piecewise-linear
//! characteristics are monotone), so the same state always gives the same
//! answer; timers and consequences are not its business.

use super::action::SwitchBranch;
use super::bridge::{BodyDiodes, Bridge, Half, OUTPUT, currents};
use super::electrics::{Electrics, Fold};
use super::mode::{
    Contact, I_FAR, I_GAP, I_LOAD, I_NEAR, I_OUT, I_SET, LOGIC_FLOOR, Mode, Rectifier, Stage,
    SupplyMode, V_BANK, V_BULK, V_LOAD, V_SENSE, V_SNUB,
};
use super::propagator::State;
use super::signal::Polarity;
use super::timers::{Timer, Timers};
use crate::model_board::{BoardParameters, FixtureParameters, SupplyKind};
use crate::units::Quantity;

/// Hysteresis of the under-voltage lockout, relative.
const LOCKOUT_HYSTERESIS: f64 = 1.05;
/// Below this share of the lockout voltage the board's logic loses its memory.
const RESET_SHARE: f64 = 0.4;
/// The body diodes of an idle half-bridge start to conduct this far beyond
/// their drop; it only keeps rounding from opening and closing them in turn.
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

/// What hangs on the circuit by a closed channel of the switch.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Connected {
    pub(super) bank: bool,
    pub(super) resistor: bool,
    /// The load on the supply rail instead of the node.
    pub(super) on_supply: bool,
}

impl Connected {
    /// A channel's state and the timer of its pulse; `None` for the channels
    /// that are contacts of their own.
    pub(super) fn channel(&mut self, branch: SwitchBranch) -> Option<(&mut bool, Timer)> {
        match branch {
            SwitchBranch::Bank => Some((&mut self.bank, Timer::BankPulse)),
            SwitchBranch::Resistor => Some((&mut self.resistor, Timer::ResistorPulse)),
            SwitchBranch::SupplyLoad => Some((&mut self.on_supply, Timer::SupplyLoadPulse)),
            SwitchBranch::Near
            | SwitchBranch::Far
            | SwitchBranch::GapStraight
            | SwitchBranch::GapCrossed => None,
        }
    }

    /// Ends the pulses that are due.
    pub(super) fn due(&mut self, now: i64, timers: &mut Timers) {
        self.bank &= !timers.take(Timer::BankPulse, now);
        self.resistor &= !timers.take(Timer::ResistorPulse, now);
        self.on_supply &= !timers.take(Timer::SupplyLoadPulse, now);
    }
}

/// Settings and thresholds that the answers depend on, in SI units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Settings {
    pub(super) supply_voltage: f64,
    pub(super) supply_limit: f64,
    pub(super) supply_on: bool,
    /// Its own protection rests before it tries again.
    pub(super) supply_resting: bool,
    /// Its limit falls with its voltage.
    folds: bool,
    pub(super) load: LoadKind,
    /// What the switch has put on the rail and on the node.
    pub(super) connected: Connected,
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
            supply_resting: false,
            folds: fixture.supply.kind == SupplyKind::Foldback,
            load: LoadKind::Off,
            connected: Connected::default(),
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
    pub(super) load: Rectifier,
    pub(super) stage: Stage,
    pub(super) bank: Rectifier,
    /// What the body diodes of each half-bridge whose switches are off do from
    /// here on, where it is something else.
    pub(super) turned: [Option<BodyDiodes>; 2],
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
            load: Rectifier::Blocked,
            stage: Stage::Off,
            bank: Rectifier::Blocked,
            turned: [None; 2],
            clamp_over: [false; 3],
            trip_above: false,
            reverse_above: false,
            rail_low: true,
            reset: true,
            upstream_above: false,
        }
    }

    /// The answers at `state` in `mode` to the questions of `asked`; to all
    /// others the present ones, `was`.
    pub(super) fn at(
        e: &Electrics,
        settings: &Settings,
        mode: &Mode,
        was: &Self,
        (state, asked): (&State, Asked),
    ) -> Self {
        let key = &mode.key;
        let mut seen = *was;
        if asked.has(Asked::SOURCES) {
            (seen.supply, seen.rail_clamped) = supply_and_clamp(e, settings, mode.drawn, state);
            seen.logic_awake = state[V_BULK] > LOGIC_FLOOR;
            let lockout = if was.rail_low {
                settings.under_voltage * LOCKOUT_HYSTERESIS
            } else {
                settings.under_voltage
            };
            seen.rail_low = mode.rail.at(state) < lockout;
            seen.reset = state[V_BULK] < settings.under_voltage * RESET_SHARE;
        }
        if asked.has(Asked::LOADS) {
            (seen.load, seen.bank) = rectifiers(e, settings, state);
            seen.stage = stage(e, settings.load, state);
        }
        if asked.has(Asked::BRIDGE) {
            seen.turned = if key.bridge.is_switched() {
                [None; 2]
            } else {
                turned(e, mode, state)
            };
        }
        if asked.has(Asked::LEVELS) {
            seen.trip_above = state[V_SENSE] > settings.trip_level;
            seen.reverse_above = state[V_SENSE] > settings.reverse_level;
            seen.upstream_above = state[I_GAP].abs() > settings.upstream_trip;
            seen.clamp_over = [
                clamp_over(key.near, state[I_NEAR]),
                clamp_over(key.far, state[I_FAR]),
                clamp_over(key.gap, state[I_GAP]),
            ];
        }
        seen
    }

    /// The questions whose answers differ.
    pub(super) fn differing(&self, other: &Self) -> Asked {
        let mut asked = 0;
        let sources = |of: &Self| {
            (
                of.supply,
                of.rail_clamped,
                of.logic_awake,
                of.rail_low,
                of.reset,
            )
        };
        let loads = |of: &Self| (of.load, of.bank, of.stage);
        if sources(self) != sources(other) {
            asked |= Asked::SOURCES;
        }
        if loads(self) != loads(other) {
            asked |= Asked::LOADS;
        }
        if self.turned != other.turned {
            asked |= Asked::BRIDGE;
        }
        if asked == 0 {
            asked = Asked::LEVELS;
        } else if (self.trip_above, self.reverse_above, self.upstream_above)
            != (other.trip_above, other.reverse_above, other.upstream_above)
            || self.clamp_over != other.clamp_over
        {
            asked |= Asked::LEVELS;
        }
        Asked(asked)
    }
}

/// Which questions are asked of a state: while an event is searched for, only
/// those whose answers it changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Asked(u8);

impl Asked {
    /// Of supply, rail and logic.
    const SOURCES: u8 = 1;
    /// Of load and bank.
    const LOADS: u8 = 2;
    /// Of the bridge's diodes.
    const BRIDGE: u8 = 4;
    /// Of comparators and clamps.
    const LEVELS: u8 = 8;
    /// All of them.
    pub(super) const ALL: Self = Self(15);

    const fn has(self, group: u8) -> bool {
        self.0 & group != 0
    }
}

/// What the body diodes turn to: nothing when their current has come down to
/// zero, conducting when the node drives them.
fn turned(e: &Electrics, mode: &Mode, state: &State) -> [Option<BodyDiodes>; 2] {
    let bridge = mode.key.bridge;
    if bridge == Bridge::OPEN && !mode.shared {
        return backdriven(e, mode, state);
    }
    let currents = currents(mode.shared, state);
    [0, 1].map(|half| {
        let Half::Off(diodes) = bridge.0[half] else {
            return None;
        };
        let to = match &mode.held[half] {
            Some(terminal) => {
                let rail = mode.rail.at(state);
                BodyDiodes::driven(terminal.at(state), rail, e.diode_drop, DIODE_MARGIN)
            }
            None if diodes.over(currents[half]) => BodyDiodes::Blocked,
            None => diodes,
        };
        (to != diodes).then_some(to)
    })
}

/// The diodes of an idle bridge, which the node drives two at a time.
fn backdriven(e: &Electrics, mode: &Mode, state: &State) -> [Option<BodyDiodes>; 2] {
    let node = mode.node.at(state);
    let beyond = node.abs() - mode.rail.at(state) - e.diodes_drop;
    if beyond <= DIODE_MARGIN {
        [None; 2]
    } else {
        OUTPUT.map(|sign| Some(BodyDiodes::carrying(-node * sign)))
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
    drawn: [f64; 2],
    state: &State,
) -> (SupplyMode, bool) {
    let into_bridge = drawn[0] * state[I_OUT] + drawn[1] * state[I_GAP];
    let bulk = state[V_BULK];
    let logic = if bulk > LOGIC_FLOOR {
        e.quiescent
    } else {
        e.quiescent * bulk / LOGIC_FLOOR
    };
    // The rail without a supply is a source `open` behind `inner` ohms.
    let mut open = bulk - e.bulk_resistance * (into_bridge + logic);
    let mut inner = e.bulk_resistance;
    if settings.connected.on_supply && settings.load != LoadKind::Off {
        let share = 1.0 / (1.0 + inner / e.load.resistance);
        open = (open + inner / e.load.resistance * state[V_LOAD]) * share;
        inner *= share;
    }
    // No supply lowers the rail, so that most of the time there is nothing to
    // clamp and the rail itself is not needed.
    let mode = supply(e, settings, open, inner);
    if open >= -e.diodes_drop || rail(e, settings, mode, open, inner) >= -e.diodes_drop {
        return (mode, false);
    }
    let share = 1.0 / (1.0 + inner * e.clamp_conductance);
    let held = (open + e.diodes_drop) * share - e.diodes_drop;
    (supply(e, settings, held, inner * share), true)
}

/// The supply's mode on a source `open` behind `inner` ohms.
fn supply(e: &Electrics, settings: &Settings, open: f64, inner: f64) -> SupplyMode {
    if !settings.supply_on || settings.supply_resting {
        return SupplyMode::Blocked;
    }
    let above = settings.supply_voltage - open;
    if above < 0.0 {
        SupplyMode::Blocked
    } else if above <= settings.supply_limit * (e.supply_resistance + inner) {
        SupplyMode::Voltage
    } else if settings.folds {
        SupplyMode::Foldback
    } else {
        SupplyMode::Limit
    }
}

/// The rail that the supply in `mode` makes of a source `open` behind `inner`
/// ohms.
fn rail(e: &Electrics, settings: &Settings, mode: SupplyMode, open: f64, inner: f64) -> f64 {
    let whole = e.supply_resistance + inner;
    let current = match mode {
        SupplyMode::Blocked => 0.0,
        SupplyMode::Voltage => (settings.supply_voltage - open) / whole,
        SupplyMode::Limit => settings.supply_limit,
        SupplyMode::Foldback => {
            Fold::new(e, settings.supply_voltage, settings.supply_limit).into_source(open, whole)
        }
    };
    open + inner * current
}

/// Which rectifiers on the node conduct: of load and capacitor bank the one
/// with less voltage behind it takes the current first.
fn rectifiers(e: &Electrics, settings: &Settings, state: &State) -> (Rectifier, Rectifier) {
    let connected = settings.connected;
    let drawing = settings.load != LoadKind::Off && !connected.on_supply;
    if !drawing && !connected.bank {
        return (Rectifier::Blocked, Rectifier::Blocked);
    }
    let mut flowing = state[I_OUT] - state[I_NEAR] - state[I_FAR] - state[I_GAP]
        + state[V_SNUB] / e.snubber_resistance;
    let mut conductance = e.node_conductance;
    if connected.resistor {
        conductance += 1.0 / e.resistor;
    }
    let conducting = Rectifier::Conducting(Polarity::of(flowing));
    flowing = flowing.abs();
    let load = (state[V_LOAD] + e.rectifier_drop, e.load.resistance);
    let bank = (state[V_BANK] + e.bank.drop, e.bank.resistance);
    let has = [drawing, connected.bank];
    let order = if bank.0 < load.0 { [1, 0] } else { [0, 1] };
    let mut found = [Rectifier::Blocked; 2];
    for index in order {
        let (threshold, resistance) = [load, bank][index];
        if has[index] && flowing > threshold * conductance {
            found[index] = conducting;
            flowing += threshold / resistance;
            conductance += 1.0 / resistance;
        }
    }
    let [load, bank] = found;
    (load, bank)
}

/// What the load's stage does at the voltage across its input.
fn stage(e: &Electrics, kind: LoadKind, state: &State) -> Stage {
    match kind {
        LoadKind::Off => Stage::Off,
        LoadKind::Resistance(ohms) => Stage::Resistance(ohms.max(e.load.saturation).to_bits()),
        LoadKind::Current => {
            let most = state[V_LOAD] / e.load.saturation;
            if most >= state[I_LOAD] {
                Stage::Regulated
            } else if state[I_LOAD] >= e.load.ceiling && state[I_SET] > most {
                Stage::Ceiling
            } else {
                Stage::Saturated
            }
        }
    }
}
