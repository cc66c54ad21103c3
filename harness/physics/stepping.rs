//! How the circuit moves: bounded sub-steps on a grid of its own, events found
//! by bisection, and settling at one instant until nothing changes any more.
//!
//! The grid starts anew at every change of the circuit and never depends on
//! where the caller stops, so the trajectory does not either.

use super::action::bit;
use super::circuit::Circuit;
use super::key::{Contact, Key, SupplyMode};
use super::mode::{Mode, is_shared};
use super::observed::{Asked, Asking};
use super::propagator::State;
use super::signal::{Phase, Polarity};
use super::states::{I_FAR, I_GAP, I_NEAR};
use super::step::{Arrival, Step, step_level};
use super::thermal::SHORTEST_TICK;
use super::timers::Timer;
use super::trajectory::Segment;
use crate::clock::BenchInstant;
use crate::model_board::GapReturn;
use crate::waveform::LogicLine;
use std::sync::Arc;

/// Rounds in which the circuit must settle at one instant.
const ROUNDS: u32 = 64;
/// Events that may come within one nanosecond.
const BURST: u32 = 1_000;
/// Linear circuits kept ready, and as many that were before: most belong to a
/// temperature that does not come again, and each is some thirty kilobytes.
const MODES: usize = 64;

/// What was due at an instant, by how far it reaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Due {
    Nothing,
    /// It moves logic and contacts alone; the answers to the state stand until
    /// another circuit is in force.
    Logic,
    /// It moves what the answers themselves depend on.
    Settings,
}

impl Circuit {
    /// Moves the circuit to `instant`; an instant in the past changes nothing.
    pub fn advance_to(&mut self, instant: BenchInstant) {
        let target = instant.picoseconds();
        if target <= self.now {
            return;
        }
        if !self.coast_to(target) {
            self.walk_to(target);
        }
        self.history.trim(self.now);
    }

    /// Steps to `target`, unless what lies before it repeats itself.
    pub(super) fn walk_to(&mut self, target: i64) {
        loop {
            let step = match self.pending.take() {
                Some(step) => step,
                None => self.next_step(),
            };
            if step.end > target {
                self.pending = Some(step);
                break;
            }
            self.take_step(step.end, step.state);
            if step.arrival == Arrival::Event || self.switches.timers.next() <= self.anchor {
                self.guard_against_bursts();
                self.settle(step.arrival);
                if self.at_boundary {
                    self.at_boundary = false;
                    self.begin_period(target);
                    if self.coast_to(target) {
                        return;
                    }
                }
            }
        }
        self.now = target;
        let ahead = target - self.anchor;
        self.view = self.mode.propagator.advance(ahead, &self.state);
    }

    /// Makes the present a point of the grid, before something changes.
    pub(super) fn stop_here(&mut self) {
        self.catch_up();
        self.pending = None;
        self.snapshot = None;
        self.take_step(self.now, self.view);
    }

    fn take_step(&mut self, end: i64, state: State) {
        self.thermal.current_squared += self.current_squared_until(end, &state);
        self.anchor = end;
        self.state = state;
    }

    /// Integral of the squared currents through the switches from the anchor to
    /// `end`, in one sub-step.
    pub(super) fn current_squared_until(&self, end: i64, state: &State) -> f64 {
        let span = end - self.anchor;
        self.mode.current_squared(span, &self.state, state)
    }

    /// The next sub-step: to the next deadline, to the grid's next point, or to
    /// the first picosecond at which a diode, supply, load or comparator acts.
    fn next_step(&mut self) -> Step {
        let level = step_level(self.anchor - self.mode_since);
        let due = self.switches.timers.next();
        assert!(
            due > self.anchor,
            "what is due is done before the next step"
        );
        let span = (1_i64 << level).min(due - self.anchor);
        let state = if span == 1 << level {
            self.mode.propagator.step(level, &self.state)
        } else {
            self.strides.advance(&self.mode, span, &self.state)
        };
        if self.answers_hold(Asked::ALL, &state) {
            return Step {
                end: self.anchor + span,
                state,
                arrival: Arrival::Deadline,
            };
        }
        let propagator = &self.mode.propagator;
        let was = &self.switches.observed;
        let asked = was.next(self.asking(), &state).differing(was);
        let nearest = asked.nearness();
        let mut quiet_for = 0;
        let mut quiet = self.state;
        for level in (nearest..=span.ilog2() as usize).rev() {
            let longer = quiet_for + (1 << level);
            if longer < span {
                let tried = propagator.step(level, &quiet);
                if self.answers_hold(asked, &tried) {
                    quiet_for = longer;
                    quiet = tried;
                }
            }
        }
        let after = quiet_for + (1 << nearest);
        let (after, state) = if after < span {
            (after, propagator.step(nearest, &quiet))
        } else {
            (span, state)
        };
        Step {
            end: self.anchor + after,
            state,
            arrival: Arrival::Event,
        }
    }

    /// Whether the present answers to `asked` hold at `state`, too.
    pub(super) fn answers_hold(&self, asked: Asked, state: &State) -> bool {
        self.switches.observed.hold(self.asking(), asked, state)
    }

    fn asking(&self) -> Asking<'_> {
        Asking {
            electrics: &self.electrics,
            settings: &self.switches.settings,
            mode: &self.mode,
        }
    }

    fn guard_against_bursts(&mut self) {
        if self.anchor - self.burst.0 > 1_000 {
            self.burst = (self.anchor, 0);
        }
        self.burst.1 += 1;
        assert!(
            self.burst.1 < BURST,
            "more than {BURST} events within a nanosecond at {}",
            BenchInstant::from_picoseconds(self.anchor)
        );
    }

    /// Lets timers, comparators and switches act on each other at this instant
    /// until nothing changes.
    pub(super) fn settle(&mut self, arrival: Arrival) {
        let mut answered = arrival == Arrival::Deadline;
        let came = (arrival != Arrival::Action).then_some((Arc::as_ptr(&self.mode), self.state));
        for round in 0..ROUNDS {
            let due = self.do_what_is_due();
            answered &= due != Due::Settings;
            let news = !answered && self.ask_again();
            let moved = due != Due::Nothing || news;
            if round > 0 && !moved {
                // What follows from the same answers has been done.
                self.remember(came);
                return;
            }
            self.supervise();
            let key = self.wanted_key();
            answered = key == self.mode.key;
            if !answered {
                self.enter(key);
            } else if !moved && self.switches.timers.next() > self.anchor {
                self.remember(came);
                return;
            }
        }
        panic!(
            "the circuit does not settle at {} in {:?}",
            BenchInstant::from_picoseconds(self.anchor),
            self.mode.key
        );
    }

    /// Asks for the answers to the present state. Whether one has changed.
    fn ask_again(&mut self) -> bool {
        let was = self.switches.observed;
        let seen = was.next(self.asking(), &self.state);
        self.switches.observed = seen;
        seen != was
    }

    fn do_what_is_due(&mut self) -> Due {
        let now = self.anchor;
        if self.switches.timers.next() > now {
            return Due::Nothing;
        }
        if self.switches.timers.take(Timer::InputEdge, now) {
            self.next_stretch();
        }
        if self.switches.timers.take(Timer::Thermal, now) {
            self.warm_up();
            let next = now + self.thermal_tick();
            self.switches.timers.set(Timer::Thermal, next);
        }
        let switches = &mut self.switches;
        let timers = &mut switches.timers;
        let times = &self.fixture_times;
        for contact in &mut switches.contacts {
            contact.due(now, times, timers);
        }
        switches.gap.due(now, timers);
        let (connected, resting) = (
            switches.settings.connected,
            switches.settings.supply_resting,
        );
        switches.settings.connected.due(now, timers);
        if connected.bank && !switches.settings.connected.bank {
            switches.bank_since = now;
        }
        switches.supply.due(now, &mut switches.settings, timers);
        let load = (&mut switches.settings.load, &mut self.state, &mut *timers);
        let loaded = switches.load.due(now, times, load);
        switches
            .board
            .due(now, &self.board_times, &switches.observed, timers);
        let settings = &switches.settings;
        if loaded || settings.connected != connected || settings.supply_resting != resting {
            Due::Settings
        } else {
            Due::Logic
        }
    }

    fn supervise(&mut self) {
        let now = self.anchor;
        let switches = &mut self.switches;
        let timers = &mut switches.timers;
        switches
            .board
            .supervise(now, &self.board_times, &switches.observed, timers);
        switches
            .gap
            .supervise(now, &self.fixture_times, &switches.observed, timers);
        switches.supply.supervise(now, &switches.observed, timers);
    }

    fn next_stretch(&mut self) {
        let Some(pattern) = &self.pattern else {
            return;
        };
        let stretches = pattern.stretches();
        let index = (self.switches.stretch + 1) % stretches.len();
        let stretch = stretches[index];
        self.switches.stretch = index;
        let due = self.anchor + stretch.span.picoseconds();
        self.switches.timers.set(Timer::InputEdge, due);
        self.set_phase(stretch.phase);
        self.at_boundary = index == 0;
    }

    /// The signal source says `phase`.
    pub(super) fn set_phase(&mut self, phase: Phase) {
        self.switches.phase = phase;
        if let Phase::Half(polarity) = phase {
            self.switches.polarity = polarity;
        }
        self.feed_board();
    }

    /// The board receives what the source says over the lines that are whole.
    pub(super) fn feed_board(&mut self) {
        let levels = self.switches.levels();
        let now = self.anchor;
        let switches = &mut self.switches;
        switches
            .board
            .input(levels, now, &self.board_times, &mut switches.timers);
    }

    /// How long the next thermal step is.
    pub(super) const fn thermal_tick(&self) -> i64 {
        if self.switches.load.running {
            SHORTEST_TICK
        } else {
            self.thermal.tick()
        }
    }

    /// Brings the bridge's temperature up to the present.
    pub(super) fn warm_up(&mut self) {
        let resistance = self.electrics.switch_at(self.mode.key.bin);
        self.thermal.catch_up(self.anchor, resistance);
        let junction = self.thermal.junction();
        self.switches.board.feel(junction, &self.board_times);
    }

    /// The linear circuit that switches, diodes and contacts ask for. A current
    /// whose way has closed is zero from here on.
    fn wanted_key(&mut self) -> Key {
        let switches = &self.switches;
        let observed = &switches.observed;
        let was = self.mode.key;
        let intact = self.fuse_is_intact();
        let [near, far] = switches.contacts;
        let alive = !switches.gap.tripped && !switches.board.lost;
        let returns = self.electrics.gap_returns;
        let state = &mut self.state;
        let over = observed.levels.clamp_over;
        let near = wanted_contact(
            near.touching && intact,
            was.near,
            over[0],
            &mut state[I_NEAR],
        );
        let far = wanted_contact(far.touching && intact, was.far, over[1], &mut state[I_FAR]);
        let flows = alive && returns != GapReturn::Nowhere;
        let bridged = switches.gap.bridged.filter(|_| flows);
        let gap = wanted_contact(bridged.is_some(), was.gap, over[2], &mut state[I_GAP]);
        let shared = is_shared(returns, gap);
        let (gates, turned) = (switches.board.gates(&switches.timers), observed.turned);
        let bridge = was.bridge.told(gates, turned, shared, state);
        let connected = switches.settings.connected;
        let (voltage, limit) = match observed.sources.supply {
            SupplyMode::Voltage => (switches.settings.supply_voltage, 0.0),
            SupplyMode::Limit => (0.0, switches.settings.supply_limit),
            SupplyMode::Foldback => (
                switches.settings.supply_voltage,
                switches.settings.supply_limit,
            ),
            SupplyMode::Blocked => (0.0, 0.0),
        };
        Key {
            supply: observed.sources.supply,
            voltage: voltage.to_bits(),
            limit: limit.to_bits(),
            bridge,
            bin: self.thermal.bin(),
            rail_clamped: observed.sources.rail_clamped,
            logic_awake: observed.sources.logic_awake,
            load: observed.loads.load,
            stage: observed.loads.stage,
            on_supply: connected.on_supply,
            banked: connected.bank,
            bank: observed.loads.bank,
            resistor: connected.resistor,
            slope: switches.load.slope.to_bits(),
            near,
            far,
            gap,
            upstream: bridged.map(|crossed| switches.polarity.flipped_if(crossed)),
        }
    }

    fn enter(&mut self, key: Key) {
        if let Some(mode) = self.modes.get(&key) {
            self.mode = Arc::clone(mode);
        } else {
            if self.modes.len() >= MODES {
                let full = std::mem::take(&mut self.modes);
                let gone = std::mem::replace(&mut self.older_modes, full);
                self.strides.forget(gone.values());
            }
            let older = self.older_modes.remove(&key);
            self.mode = older.unwrap_or_else(|| Arc::new(Mode::new(&self.electrics, key)));
            self.modes.insert(key, Arc::clone(&self.mode));
        }
        self.mode_since = self.anchor;
    }

    /// Notes what holds from here on; `came` are the circuit and the state that
    /// led here.
    fn remember(&mut self, came: Option<(*const Mode, State)>) {
        let switches = &self.switches;
        let [near, far] = &switches.contacts;
        let intact = self.fuse_is_intact();
        let [a, b] = switches.levels();
        self.lines = [
            (LogicLine::SignalA, a),
            (LogicLine::SignalB, b),
            (
                LogicLine::Fault,
                switches.board.tripped || switches.board.hot,
            ),
            (LogicLine::NearMarker, near.commanded),
            (LogicLine::FarMarker, far.commanded),
            (LogicLine::GapMarker, switches.gap.bridged.is_some()),
            (LogicLine::NearPilot, near.touching && intact),
            (LogicLine::FarPilot, far.touching && intact),
        ]
        .into_iter()
        .filter(|(_, high)| *high)
        .fold(0, |word, (line, _)| word | bit(line));
        let alive = !switches.gap.tripped && !switches.board.lost;
        self.upstream = if alive {
            switches.polarity.sign() * self.electrics.upstream_voltage
        } else {
            0.0
        };
        let segment = Segment {
            start: self.anchor,
            mode: Arc::clone(&self.mode),
            state: self.state,
            lines: self.lines,
            upstream: self.upstream,
            // The circuit that led here is kept, so that no other stands in its place.
            continued: came.is_some_and(|(mode, state)| {
                mode == Arc::as_ptr(&self.mode) && state == self.state
            }),
        };
        if self.history.is_kept() {
            self.history.push(segment.clone());
        }
        self.note(segment);
    }
}

fn wanted_contact(conducts: bool, was: Contact, over: bool, current: &mut f64) -> Contact {
    match was {
        _ if conducts => Contact::Closed,
        Contact::Closed if *current != 0.0 => Contact::Clamped(Polarity::of(*current)),
        Contact::Clamped(sign) if !over => Contact::Clamped(sign),
        Contact::Open | Contact::Closed | Contact::Clamped(_) => {
            *current = 0.0;
            Contact::Open
        }
    }
}

/// A mode is shared between the circuit, its copies and its history.
const _: fn() = || {
    fn shared<T: Send + Sync>() {}
    shared::<Mode>();
};
