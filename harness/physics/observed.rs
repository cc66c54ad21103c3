//! What the diodes, the supply, the load and the comparators do at a given
//! state. Each answer is a direct function of the state (the piecewise-linear
//! characteristics are monotone), so the same state always gives the same
//! answer; timers and consequences are not its business.

use super::action::SwitchBranch;
use super::bridge::{BodyDiodes, Bridge, Half, OUTPUT, currents};
use super::electrics::{Electrics, Fold};
use super::key::{Contact, LOGIC_FLOOR, Rectifier, Stage, SupplyMode};
use super::mode::Mode;
use super::propagator::State;
use super::signal::Polarity;
use super::states::{
    I_FAR, I_GAP, I_LOAD, I_NEAR, I_OUT, I_SET, V_BANK, V_BULK, V_LOAD, V_SENSE, V_SNUB,
};
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

/// The answers at one state, in groups that are asked for together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Observed {
    pub(super) sources: Sources,
    pub(super) loads: Loads,
    /// What the body diodes of each half-bridge whose switches are off do from
    /// here on, where it is something else.
    pub(super) turned: [Option<BodyDiodes>; 2],
    pub(super) levels: Levels,
}

/// Of supply, rail and logic.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Sources {
    pub(super) supply: SupplyMode,
    /// The body diodes keep the rail from going negative.
    pub(super) rail_clamped: bool,
    pub(super) logic_awake: bool,
    /// The rail is too low, with hysteresis.
    pub(super) rail_low: bool,
    /// The rail is so low that the logic forgets.
    pub(super) reset: bool,
}

/// Of load and bank.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Loads {
    pub(super) load: Rectifier,
    pub(super) bank: Rectifier,
    pub(super) stage: Stage,
}

/// Of comparators and clamps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Levels {
    pub(super) trip_above: bool,
    pub(super) reverse_above: bool,
    pub(super) upstream_above: bool,
    /// The clamps of near, far and gap have done their work.
    pub(super) clamp_over: [bool; 3],
}

/// What is asked: of whom, under which settings, in which circuit.
#[derive(Clone, Copy)]
pub(super) struct Asking<'a> {
    pub(super) electrics: &'a Electrics,
    pub(super) settings: &'a Settings,
    pub(super) mode: &'a Mode,
}

impl Observed {
    /// A bench without energy.
    pub(super) const fn dead() -> Self {
        Self {
            sources: Sources {
                supply: SupplyMode::Blocked,
                rail_clamped: false,
                logic_awake: false,
                rail_low: true,
                reset: true,
            },
            loads: Loads {
                load: Rectifier::Blocked,
                bank: Rectifier::Blocked,
                stage: Stage::Off,
            },
            turned: [None; 2],
            levels: Levels {
                trip_above: false,
                reverse_above: false,
                upstream_above: false,
                clamp_over: [false; 3],
            },
        }
    }

    /// The answers at `state`, after `self` was the answer.
    pub(super) fn next(&self, asking: Asking<'_>, state: &State) -> Self {
        Self {
            sources: asking.sources(self.sources.rail_low, state),
            loads: asking.loads(state),
            turned: asking.turned(state),
            levels: asking.levels(state),
        }
    }

    /// Whether the answers to `asked` are still these at `state`.
    pub(super) fn hold(&self, asking: Asking<'_>, asked: Asked, state: &State) -> bool {
        (!asked.has(Asked::LOADS) || asking.loads(state) == self.loads)
            && (!asked.has(Asked::SOURCES)
                || asking.sources(self.sources.rail_low, state) == self.sources)
            && (!asked.has(Asked::DIODES) || asking.turned(state) == self.turned)
            && (!asked.has(Asked::LEVELS) || asking.levels(state) == self.levels)
    }

    /// The groups in which answers differ.
    pub(super) fn differing(&self, other: &Self) -> Asked {
        let groups = [
            (self.sources != other.sources, Asked::SOURCES),
            (self.loads != other.loads, Asked::LOADS),
            (self.turned != other.turned, Asked::DIODES),
            (self.levels != other.levels, Asked::LEVELS),
        ];
        let differing = groups.iter().filter(|(differ, _)| *differ);
        Asked(differing.fold(0, |asked, (_, group)| asked | group))
    }
}

/// Which groups of questions are asked of a state: while an event is searched
/// for, only those whose answers it changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Asked(u8);

impl Asked {
    const SOURCES: u8 = 1;
    const LOADS: u8 = 2;
    const DIODES: u8 = 4;
    const LEVELS: u8 = 8;
    /// All of them.
    pub(super) const ALL: Self = Self(15);

    /// How near an event must be found, as a power of two in picoseconds. Where
    /// it only bends a characteristic, half a nanosecond; where it makes a
    /// current zero, of which the rest of the loop keeps what it was beyond, to
    /// one picosecond.
    pub(super) const fn nearness(self) -> usize {
        if self.has(Self::DIODES | Self::LEVELS) {
            0
        } else {
            9
        }
    }

    const fn has(self, group: u8) -> bool {
        self.0 & group != 0
    }
}

impl Asking<'_> {
    fn sources(self, was_low: bool, state: &State) -> Sources {
        let Self {
            electrics,
            settings,
            mode,
        } = self;
        let (supply, rail, rail_clamped) = supply_and_rail(electrics, settings, mode.drawn, state);
        let lockout = if was_low {
            settings.under_voltage * LOCKOUT_HYSTERESIS
        } else {
            settings.under_voltage
        };
        Sources {
            supply,
            rail_clamped,
            logic_awake: state[V_BULK] > LOGIC_FLOOR,
            rail_low: rail < lockout,
            reset: state[V_BULK] < settings.under_voltage * RESET_SHARE,
        }
    }

    fn loads(self, state: &State) -> Loads {
        let (load, bank) = rectifiers(self.electrics, self.settings, state);
        Loads {
            load,
            bank,
            stage: stage(self.electrics, self.settings.load, state),
        }
    }

    #[inline]
    fn turned(self, state: &State) -> [Option<BodyDiodes>; 2] {
        if self.mode.key.bridge.is_switched() {
            [None; 2]
        } else {
            turned(self.electrics, self.mode, state)
        }
    }

    fn levels(self, state: &State) -> Levels {
        let Self { settings, mode, .. } = self;
        Levels {
            trip_above: state[V_SENSE] > settings.trip_level,
            reverse_above: state[V_SENSE] > settings.reverse_level,
            upstream_above: state[I_GAP].abs() > settings.upstream_trip,
            clamp_over: [
                clamp_over(mode.key.near, state[I_NEAR]),
                clamp_over(mode.key.far, state[I_FAR]),
                clamp_over(mode.key.gap, state[I_GAP]),
            ],
        }
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
    let turned = |half: usize| {
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
    };
    [turned(0), turned(1)]
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
/// circuit: the supply's mode, the rail, and whether the diodes hold it up.
fn supply_and_rail(
    e: &Electrics,
    settings: &Settings,
    drawn: [f64; 2],
    state: &State,
) -> (SupplyMode, f64, bool) {
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
    let mode = supply(e, settings, open, inner);
    let free = rail(e, settings, mode, open, inner);
    if free >= -e.diodes_drop {
        return (mode, free, false);
    }
    let share = 1.0 / (1.0 + inner * e.clamp_conductance);
    let (held, inner) = (
        (open + e.diodes_drop) * share - e.diodes_drop,
        inner * share,
    );
    let mode = supply(e, settings, held, inner);
    (mode, rail(e, settings, mode, held, inner), true)
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
        + state[V_SNUB] * e.snubber_conductance;
    let mut conductance = e.node_conductance;
    if connected.resistor {
        conductance += e.resistor_conductance;
    }
    let conducting = Rectifier::Conducting(Polarity::of(flowing));
    flowing = flowing.abs();
    if !connected.bank {
        let conducts = flowing > (state[V_LOAD] + e.rectifier_drop) * conductance;
        let load = if conducts {
            conducting
        } else {
            Rectifier::Blocked
        };
        return (load, Rectifier::Blocked);
    }
    let load = (state[V_LOAD] + e.rectifier_drop, e.load.conductance);
    let bank = (state[V_BANK] + e.bank.drop, e.bank.conductance);
    let has = [drawing, connected.bank];
    let order = if bank.0 < load.0 { [1, 0] } else { [0, 1] };
    let mut found = [Rectifier::Blocked; 2];
    for index in order {
        let (threshold, own) = [load, bank][index];
        if has[index] && flowing > threshold * conductance {
            found[index] = conducting;
            flowing += threshold * own;
            conductance += own;
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
            let most = |amperes: f64| amperes * e.load.saturation;
            if state[V_LOAD] >= most(state[I_LOAD]) {
                Stage::Regulated
            } else if state[I_LOAD] >= e.load.ceiling && most(state[I_SET]) > state[V_LOAD] {
                Stage::Ceiling
            } else {
                Stage::Saturated
            }
        }
    }
}
