//! The circuit as its users see it: build it, act on it, move it on, look at
//! it. How it moves is in `stepping`, how it is remembered in `history`.

use super::action::{Action, LoadMode, Probe, SwitchBranch, bit};
use super::board_logic::{BoardLogic, BoardTimes};
use super::bridge::Bridge;
use super::electrics::Electrics;
use super::fault::{PhysicsFault, check_board, check_fixture};
use super::fixture_logic::{ContactLogic, FixtureTimes, GapLogic, LoadLogic, SupplyLogic};
use super::key::{Contact, Key, Rectifier, Stage, SupplyMode};
use super::mode::Mode;
use super::observed::{Observed, Settings};
use super::periodic::{Coasting, Snapshot};
use super::propagator::{STATES, State};
use super::signal::{DriveSignal, InputLine, Pattern, Phase, Polarity};
use super::states::{V_BANK, V_SENSE};
use super::step::{Arrival, Step};
use super::strides::Strides;
use super::thermal::{SHORTEST_TICK, Thermal};
use super::timers::{Timer, Timers};
use super::trajectory::{History, Segment};
use crate::clock::{BenchInstant, BenchSpan};
use crate::model_board::{BoardParameters, ContactDefect, FixtureParameters};
use crate::units::{Celsius, Kelvins, Quantity};
use crate::waveform::LogicLine;
use rustc_hash::FxHashMap;
use std::sync::Arc;

/// Everything about the circuit that is not a voltage or a current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Switches {
    pub(super) settings: Settings,
    pub(super) observed: Observed,
    pub(super) timers: Timers,
    /// What the signal source says, and the stretch of its pattern it is in.
    pub(super) phase: Phase,
    pub(super) stretch: usize,
    /// The polarity that the upstream source follows: it knows no cutout.
    pub(super) polarity: Polarity,
    /// A line that is broken.
    pub(super) broken: Option<InputLine>,
    pub(super) board: BoardLogic,
    /// The near and the far contact.
    pub(super) contacts: [ContactLogic; 2],
    pub(super) gap: GapLogic,
    pub(super) load: LoadLogic,
    pub(super) supply: SupplyLogic,
    /// Since when the capacitor bank is off the node.
    pub(super) bank_since: i64,
}

impl Switches {
    /// The levels of the input lines as they reach the board.
    pub(super) fn levels(&self) -> [bool; 2] {
        let [a, b] = self.phase.levels();
        [
            a && self.broken != Some(InputLine::A),
            b && self.broken != Some(InputLine::B),
        ]
    }
}

/// Supply, board, fixture and everything on the node, at one instant.
///
/// It is advanced exactly: the same actions at the same instants give the same
/// trajectory bit for bit, however the way there is cut into calls of
/// [`Circuit::advance_to`] (periods that repeat themselves are skipped, which
/// moves the state by less than about 1e-11 of itself).
///
/// ```
/// use bufferstop::clock::BenchInstant;
/// use bufferstop::model_board::{BoardParameters, FixtureParameters};
/// use bufferstop::physics::{Action, Circuit, DriveSignal, Pattern, Probe};
/// use bufferstop::units::{Amperes, Volts};
///
/// let mut circuit = Circuit::new(&BoardParameters::default(), &FixtureParameters::default())?;
/// circuit.apply(Action::SupplySetting {
///     voltage: Volts::new(18.0),
///     current_limit: Amperes::new(5.0),
/// });
/// circuit.apply(Action::SupplyOutput(true));
/// circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
/// circuit.advance_to(BenchInstant::from_picoseconds(100_000_000_000));
/// assert!(circuit.probe(Probe::BoardRail) > 17.9);
/// # Ok::<(), bufferstop::physics::PhysicsFault>(())
/// ```
#[derive(Clone, Debug)]
pub struct Circuit {
    pub(super) electrics: Electrics,
    pub(super) board_times: BoardTimes,
    pub(super) fixture_times: FixtureTimes,
    converter: (f64, u8),
    pub(super) pattern: Option<Pattern>,
    /// The signal source is stopped.
    silent: bool,
    pub(super) switches: Switches,
    pub(super) thermal: Thermal,
    /// The last instant of the internal grid, and the state there.
    pub(super) anchor: i64,
    pub(super) state: State,
    pub(super) mode: Arc<Mode>,
    pub(super) mode_since: i64,
    /// The step that leads from the anchor beyond the present.
    pub(super) pending: Option<Step>,
    /// The present and the state at it.
    pub(super) now: i64,
    pub(super) view: State,
    pub(super) lines: u16,
    pub(super) upstream: f64,
    /// Looked up by key alone, never walked.
    pub(super) modes: FxHashMap<Key, Arc<Mode>>,
    /// Those that were in there before it was full, unless they have come again.
    pub(super) older_modes: FxHashMap<Key, Arc<Mode>>,
    pub(super) strides: Strides,
    pub(super) history: History,
    pub(super) snapshot: Option<Box<Snapshot>>,
    /// The stretch in which the last period began, and those since.
    pub(super) turn: Vec<Segment>,
    /// The present, the circuit in force then and the lines are those of the last
    /// period, and nothing else has moved on from the anchor.
    pub(super) coasting: Option<Box<Coasting>>,
    pub(super) at_boundary: bool,
    /// Nothing is skipped, which is what skipping is compared with.
    #[cfg(test)]
    pub(super) steps_through: bool,
    /// Start and number of the events that came within a nanosecond.
    pub(super) burst: (i64, u32),
}

impl Circuit {
    /// A bench without energy: supply off, nothing connected, no signal, the
    /// board enabled.
    ///
    /// # Errors
    /// When a parameter describes no circuit.
    pub fn new(board: &BoardParameters, fixture: &FixtureParameters) -> Result<Self, PhysicsFault> {
        check_board(board)?;
        check_fixture(fixture, board)?;
        let electrics = Electrics::new(board, fixture);
        let mut timers = Timers::new();
        timers.set(Timer::Thermal, SHORTEST_TICK);
        let mode = Arc::new(Mode::new(&electrics, dead_key()));
        let settings = Settings::new(board, fixture);
        let mut circuit = Self {
            electrics,
            board_times: BoardTimes::new(board),
            fixture_times: FixtureTimes::new(fixture),
            converter: (board.converter_reference.si(), board.converter_bits),
            pattern: None,
            silent: true,
            switches: Switches {
                settings,
                observed: Observed::dead(),
                timers,
                phase: Phase::Half(Polarity::Positive),
                stretch: 0,
                polarity: Polarity::Positive,
                broken: None,
                board: BoardLogic::new(),
                contacts: [
                    ContactLogic::new(Timer::NearPulse, Timer::NearBounce),
                    ContactLogic::new(Timer::FarPulse, Timer::FarBounce),
                ],
                gap: GapLogic::new(),
                load: LoadLogic::new(),
                supply: SupplyLogic::new(fixture),
                bank_since: 0,
            },
            thermal: Thermal::new(board, fixture.ambient),
            anchor: 0,
            state: [0.0; STATES],
            mode,
            mode_since: 0,
            pending: None,
            now: 0,
            view: [0.0; STATES],
            lines: 0,
            upstream: 0.0,
            modes: FxHashMap::default(),
            older_modes: FxHashMap::default(),
            strides: Strides::default(),
            history: History::new(),
            snapshot: None,
            turn: Vec::new(),
            coasting: None,
            at_boundary: false,
            #[cfg(test)]
            steps_through: false,
            burst: (0, 0),
        };
        // Kept like every other: its strides are known by where it stands.
        let first = Arc::clone(&circuit.mode);
        circuit.modes.insert(first.key, first);
        circuit.settle(Arrival::Action);
        Ok(circuit)
    }

    /// The present.
    pub fn now(&self) -> BenchInstant {
        BenchInstant::from_picoseconds(self.now)
    }

    /// Does something to the circuit at the present instant.
    pub fn apply(&mut self, action: Action) {
        self.stop_here();
        self.warm_up();
        let now = self.now;
        let tick = now + SHORTEST_TICK;
        self.switches.timers.set(Timer::Thermal, tick);
        match action {
            Action::SupplySetting {
                voltage,
                current_limit,
            } => {
                self.switches.settings.supply_voltage = voltage.si().max(0.0);
                let limit = current_limit.si().max(0.0);
                self.switches.settings.supply_limit =
                    limit.min(self.fixture_times.supply_own_limit);
            }
            Action::SupplyOutput(on) => {
                self.switches.settings.supply_on = on;
                let switches = &mut self.switches;
                switches
                    .supply
                    .restart(&mut switches.settings, &mut switches.timers);
                if !on {
                    for contact in &mut self.switches.contacts {
                        contact.supply_off();
                    }
                }
            }
            Action::Load(mode) => self.set_load(mode),
            Action::LoadPulse { mode, duration } => {
                self.set_load(mode);
                let until = now + duration.picoseconds().max(0);
                let switches = &mut self.switches;
                switches.load.pulse(until, &mut switches.timers);
            }
            Action::LoadRamp { from, to, duration } => {
                let switches = &mut self.switches;
                switches.load.ramp(
                    (from.si(), to.si()),
                    (now, duration.picoseconds()),
                    (
                        &mut switches.settings.load,
                        &mut self.state,
                        &mut switches.timers,
                    ),
                );
            }
            Action::ClosePulse { branch, duration } => {
                self.close(branch, Some(now + duration.picoseconds().max(0)));
            }
            Action::Close(branch) => self.close(branch, None),
            Action::Open(branch) => self.open(branch),
            Action::OpenAll => {
                for branch in [
                    SwitchBranch::Near,
                    SwitchBranch::Far,
                    SwitchBranch::Bank,
                    SwitchBranch::Resistor,
                    SwitchBranch::SupplyLoad,
                ] {
                    self.open(branch);
                }
                self.switches.gap.open(&mut self.switches.timers);
            }
            Action::Weld(branch) => self.weld(branch),
            Action::Drive(signal) => self.drive(signal),
            Action::Break(line) => {
                self.switches.broken = line;
                self.watch_signal();
                self.feed_board();
            }
            Action::Enable(on) => {
                let switches = &mut self.switches;
                switches.board.enable(on, &mut switches.timers);
            }
            Action::Brake(on) => {
                let switches = &mut self.switches;
                let timers = &mut switches.timers;
                switches.board.brake(on, now, &self.board_times, timers);
            }
        }
        self.settle(Arrival::Action);
        self.view = self.state;
    }

    /// The present value of a quantity, in SI units.
    pub fn probe(&self, probe: Probe) -> f64 {
        if probe == Probe::BankVoltage && !self.switches.settings.connected.bank {
            return self.view[V_BANK] * self.bank_left();
        }
        self.mode
            .probe(&self.electrics, probe, &self.view, self.upstream)
    }

    /// The present state of a line.
    pub fn line(&self, line: LogicLine) -> bool {
        self.lines & bit(line) != 0
    }

    /// The board's own current reading: its sense voltage quantised by its
    /// converter, whose first code changes half a step above zero; `noise`
    /// counts come on top before it is rounded.
    pub fn sense_counts(&self, noise: f64) -> u32 {
        let (reference, bits) = self.converter;
        let volts = self.view[V_SENSE] + self.electrics.sense_offset;
        let codes = f64::from(1_u32 << bits);
        let code = libm::round(volts / reference * codes + noise);
        code.clamp(0.0, codes - 1.0) as u32
    }

    /// Whether a pulse or ramp of the load is under way.
    pub fn load_is_running(&self) -> bool {
        self.switches.load.running
    }

    /// Whether a channel is closed by command, as the switch itself would
    /// answer; a pilot line shows what the contact really does.
    pub fn switch_is_closed(&self, branch: SwitchBranch) -> bool {
        let [near, far] = &self.switches.contacts;
        match branch {
            SwitchBranch::Near => near.commanded,
            SwitchBranch::Far => far.commanded,
            SwitchBranch::GapStraight => self.switches.gap.bridged == Some(false),
            SwitchBranch::GapCrossed => self.switches.gap.bridged == Some(true),
            SwitchBranch::Bank => self.switches.settings.connected.bank,
            SwitchBranch::Resistor => self.switches.settings.connected.resistor,
            SwitchBranch::SupplyLoad => self.switches.settings.connected.on_supply,
        }
    }

    /// Whether the supply holds its current limit, or rests from it.
    pub fn supply_is_limiting(&self) -> bool {
        self.switches.settings.supply_resting
            || matches!(
                self.mode.key.supply,
                SupplyMode::Limit | SupplyMode::Foldback
            )
    }

    /// Whether the fuse of the shorting contacts is intact.
    pub fn fuse_is_intact(&self) -> bool {
        self.fixture_times.defect != Some(ContactDefect::FuseBlown)
    }

    /// Rise of the bridge's junction over the ambient now.
    pub fn junction_rise(&self) -> Kelvins {
        self.thermal_now().junction_rise()
    }

    /// Temperature of the bridge's case now.
    pub fn case_temperature(&self) -> Celsius {
        self.thermal_now().case()
    }

    /// Temperature of the air around the board.
    pub const fn ambient(&self) -> Celsius {
        self.thermal.ambient()
    }

    /// The heat at the present, which may lie between two thermal steps.
    fn thermal_now(&self) -> Thermal {
        let mut thermal = self.thermal;
        let ohms = self.electrics.switch_at(self.mode.key.bin);
        thermal.current_squared = self.squared_until_now();
        thermal.catch_up(self.now, ohms);
        thermal
    }

    /// Keeps the trajectory from now on, no more than `span` back from the
    /// present; zero forgets all.
    pub fn keep_history(&mut self, span: BenchSpan) {
        let start = Segment {
            start: self.now,
            mode: Arc::clone(&self.mode),
            state: self.view,
            lines: self.lines,
            upstream: self.upstream,
            continued: false,
        };
        let was_kept = self.history.is_kept();
        self.history.keep(span.picoseconds(), start);
        self.keep_what_is_shown(was_kept);
    }

    /// The share of its voltage that its bleeder has left the bank since it was
    /// taken off the node.
    fn bank_left(&self) -> f64 {
        let span = BenchSpan::from_picoseconds(self.now - self.switches.bank_since);
        let bank = &self.electrics.bank;
        libm::exp(-(span.seconds().si() / (bank.bleeder * bank.capacitance)))
    }

    fn set_load(&mut self, mode: LoadMode) {
        let switches = &mut self.switches;
        switches.load.set(
            mode,
            self.now,
            &self.fixture_times,
            (
                &mut switches.settings.load,
                &mut self.state,
                &mut switches.timers,
            ),
        );
    }

    fn close(&mut self, branch: SwitchBranch, until: Option<i64>) {
        if branch == SwitchBranch::Bank && !self.switches.settings.connected.bank {
            self.state[V_BANK] *= self.bank_left();
        }
        let switches = &mut self.switches;
        let timers = &mut switches.timers;
        let [near, far] = &mut switches.contacts;
        match branch {
            SwitchBranch::Near => near.close(self.now, until, &self.fixture_times, timers),
            SwitchBranch::Far => far.close(self.now, until, &self.fixture_times, timers),
            SwitchBranch::GapStraight => switches.gap.close(false, until, timers),
            SwitchBranch::GapCrossed => switches.gap.close(true, until, timers),
            SwitchBranch::Bank | SwitchBranch::Resistor | SwitchBranch::SupplyLoad => {
                let connected = &mut switches.settings.connected;
                if let Some((closed, timer)) = connected.channel(branch) {
                    *closed = true;
                    match until {
                        Some(due) => timers.set(timer, due),
                        None => timers.cancel(timer),
                    }
                }
            }
        }
    }

    fn open(&mut self, branch: SwitchBranch) {
        if branch == SwitchBranch::Bank && self.switches.settings.connected.bank {
            self.switches.bank_since = self.now;
        }
        let switches = &mut self.switches;
        let timers = &mut switches.timers;
        let [near, far] = &mut switches.contacts;
        match branch {
            SwitchBranch::Near => near.open(&self.fixture_times, timers),
            SwitchBranch::Far => far.open(&self.fixture_times, timers),
            SwitchBranch::GapStraight if switches.gap.bridged == Some(false) => {
                switches.gap.open(timers);
            }
            SwitchBranch::GapCrossed if switches.gap.bridged == Some(true) => {
                switches.gap.open(timers);
            }
            SwitchBranch::GapStraight | SwitchBranch::GapCrossed => {}
            SwitchBranch::Bank | SwitchBranch::Resistor | SwitchBranch::SupplyLoad => {
                let connected = &mut switches.settings.connected;
                if let Some((closed, timer)) = connected.channel(branch) {
                    *closed = false;
                    timers.cancel(timer);
                }
            }
        }
    }

    fn drive(&mut self, signal: DriveSignal) {
        let now = self.now;
        self.switches.timers.cancel(Timer::InputEdge);
        self.pattern = None;
        self.silent = signal == DriveSignal::Stopped;
        match signal {
            DriveSignal::Stopped => {}
            DriveSignal::Held(polarity) => self.set_phase(Phase::Half(polarity)),
            DriveSignal::Alternating(pattern) => {
                self.switches.stretch = 0;
                let first = pattern.stretches()[0];
                let due = now + first.span.picoseconds();
                self.switches.timers.set(Timer::InputEdge, due);
                self.pattern = Some(pattern);
                self.set_phase(first.phase);
            }
        }
        self.watch_signal();
    }

    /// Lets the board watch for a lost signal as long as a line of it is quiet.
    fn watch_signal(&mut self) {
        let quiet = self.silent || self.switches.broken.is_some();
        let now = self.now;
        let switches = &mut self.switches;
        switches
            .board
            .watch(quiet, now, &self.board_times, &mut switches.timers);
    }
}

/// The circuit of a bench without energy.
fn dead_key() -> Key {
    Key {
        supply: SupplyMode::Blocked,
        voltage: 0,
        limit: 0,
        bridge: Bridge::OPEN,
        bin: 0,
        rail_clamped: false,
        logic_awake: false,
        load: Rectifier::Blocked,
        stage: Stage::Off,
        on_supply: false,
        banked: false,
        bank: Rectifier::Blocked,
        resistor: false,
        slope: 0,
        near: Contact::Open,
        far: Contact::Open,
        gap: Contact::Open,
        upstream: None,
    }
}
