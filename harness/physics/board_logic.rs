//! The board's own logic: phase and dead time, overload, retry, reversal,
//! lockout. It sees comparators and clocks and commands the bridge; it never
//! sees a current.

use super::bridge::Gate;
use super::observed::Observed;
use super::timers::{NEVER, Timer, Timers, hold};
use crate::clock::{BenchSpan, PICOSECONDS};
use crate::model_board::{BoardParameters, OnSignalLoss};
use crate::units::{Celsius, Quantity};

/// The lockout comparator must be steady this long, 2 us (drivers filter it so
/// that their own edges do not trip it: common practice, no source).
const LOCKOUT_FILTER: i64 = 2_000_000;
/// Half-bits of a signal that the board makes itself: ones of 58 us.
const OWN_HALF: i64 = 58_000_000;
/// The off time grows this often at most, and to no more than an hour.
const MOST_GROWTH: u32 = 64;
const LONGEST_WAIT: i64 = 3_600 * PICOSECONDS;
/// Edges that may be under way at once in the drivers of one line.
const EDGES: usize = 8;

/// The board's times in picoseconds.
#[derive(Clone, Copy, Debug)]
pub(super) struct BoardTimes {
    dead_time: i64,
    two_lines: bool,
    brake_wired: bool,
    /// Of each half-bridge: going low, going high.
    delays: [[i64; 2]; 2],
    signal_loss: i64,
    on_signal_loss: OnSignalLoss,
    trip_debounce: i64,
    /// How often a polled board looks; zero for a comparator.
    trip_look: i64,
    retry_interval: i64,
    retry_backoff: f64,
    over_temperature: f64,
    over_temperature_restart: f64,
    retry_limit: Option<u32>,
    /// Debounce and hold-off of the reversing logic, where there is one.
    reversing: Option<(i64, i64)>,
}

impl BoardTimes {
    pub(super) fn new(board: &BoardParameters) -> Self {
        let span = |seconds| BenchSpan::from_seconds(seconds).picoseconds();
        Self {
            dead_time: span(board.dead_time),
            two_lines: board.two_lines,
            brake_wired: board.brake_wired,
            delays: [
                [span(board.delay_falling), span(board.delay_rising)],
                [span(board.delay_falling_b), span(board.delay_rising_b)],
            ],
            signal_loss: span(board.signal_loss_time),
            on_signal_loss: board.on_signal_loss,
            trip_debounce: span(board.trip_debounce),
            trip_look: span(board.trip_polled_period),
            retry_interval: span(board.retry_interval),
            retry_backoff: board.retry_backoff.si(),
            over_temperature: board.over_temperature.si(),
            over_temperature_restart: board.over_temperature_restart.si(),
            retry_limit: board.retry_limit,
            reversing: board
                .reversing
                .map(|reversing| (span(reversing.debounce), span(reversing.hold_off))),
        }
    }
}

/// The clocks of the two half-bridges' dead times.
const DEAD_TIMES: [Timer; 2] = [Timer::FirstDeadTime, Timer::SecondDeadTime];

/// Edges of one line on their way through its drivers, earliest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct EdgeQueue {
    entries: [(i64, bool); EDGES],
    length: usize,
}

impl EdgeQueue {
    fn push(&mut self, due: i64, level: bool) {
        // An edge with the shorter delay cannot overtake the one before it.
        let due = match self.length {
            0 => due,
            length => due.max(self.entries[length - 1].0),
        };
        if self.length == EDGES {
            // Beyond what a driver can hold, the newest pulse is swallowed.
            self.length -= 1;
        }
        self.entries[self.length] = (due, level);
        self.length += 1;
    }

    /// Takes the earliest edge if it is due.
    fn pop(&mut self, now: i64) -> Option<bool> {
        if self.next() > now {
            return None;
        }
        let (_, level) = self.entries[0];
        self.entries.copy_within(1..self.length, 0);
        self.length -= 1;
        self.entries[self.length] = (NEVER, false);
        Some(level)
    }

    fn next(&self) -> i64 {
        if self.length == 0 {
            NEVER
        } else {
            self.entries[0].0
        }
    }
}

/// The state of the board's logic.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct BoardLogic {
    pub(super) enabled: bool,
    pub(super) braked: bool,
    /// No edges for too long, or never any.
    pub(super) lost: bool,
    pub(super) tripped: bool,
    /// The junction is too hot.
    pub(super) hot: bool,
    /// When a polled board's looks began to find an overload.
    found_since: Option<i64>,
    /// The reversing logic has swapped the output.
    inverted: bool,
    holding_off: bool,
    /// It has reversed and the current has not been calm since: what is still
    /// too high now is a short, not a boundary.
    spent: bool,
    /// The filtered lockout.
    locked_out: bool,
    retries: u32,
    last_retry: i64,
    /// The input lines as they come in, broken ones low ...
    inputs: [bool; 2],
    /// ... and as they have come through the drivers.
    outputs: [bool; 2],
    /// The board alternates by itself.
    own: bool,
    /// The levels that the half-bridges have been told last; each one's dead
    /// time is over when its clock is.
    levels: [bool; 2],
    queues: [EdgeQueue; 2],
}

impl BoardLogic {
    pub(super) const fn new() -> Self {
        Self {
            enabled: true,
            braked: false,
            lost: true,
            tripped: false,
            hot: false,
            found_since: None,
            inverted: false,
            holding_off: false,
            spent: false,
            locked_out: true,
            retries: 0,
            last_retry: 0,
            inputs: [true, false],
            outputs: [true, false],
            own: false,
            levels: [true, false],
            queues: [EdgeQueue {
                entries: [(NEVER, false); EDGES],
                length: 0,
            }; 2],
        }
    }

    /// What the half-bridges are told now.
    pub(super) fn gates(&self, timers: &Timers) -> [Gate; 2] {
        if !self.enabled || self.tripped || self.hot || self.locked_out || self.lost {
            return [Gate::Off; 2];
        }
        [self.gate(0, timers), self.gate(1, timers)]
    }

    fn gate(&self, half: usize, timers: &Timers) -> Gate {
        match (timers.is_running(DEAD_TIMES[half]), self.levels[half]) {
            (true, _) => Gate::Off,
            (false, false) => Gate::Low,
            (false, true) => Gate::High,
        }
    }

    /// The enable input; switching on again clears a trip.
    pub(super) fn enable(&mut self, on: bool, timers: &mut Timers) {
        if on && !self.enabled {
            self.tripped = false;
            self.retries = 0;
            timers.cancel(Timer::Retry);
        }
        self.enabled = on;
    }

    /// The brake input, as far as it is connected: both half-bridges go low.
    pub(super) fn brake(&mut self, on: bool, now: i64, times: &BoardTimes, timers: &mut Timers) {
        self.braked = on && times.brake_wired;
        self.follow(now, times, timers);
    }

    /// The input lines take `levels`: their edges enter the drivers, and each
    /// line's watch for a lost signal begins anew with an edge of it.
    pub(super) fn input(
        &mut self,
        levels: [bool; 2],
        now: i64,
        times: &BoardTimes,
        timers: &mut Timers,
    ) {
        let levels = if times.two_lines {
            levels
        } else {
            [levels[0], !levels[0]]
        };
        let was = std::mem::replace(&mut self.inputs, levels);
        for (line, level) in levels.into_iter().enumerate() {
            if level != was[line] && !self.own {
                self.enter(line, level, now, times, timers);
            }
        }
    }

    /// An edge of a line enters the drivers of the half-bridge that it governs.
    fn enter(
        &mut self,
        line: usize,
        level: bool,
        now: i64,
        times: &BoardTimes,
        timers: &mut Timers,
    ) {
        // With one line its driver makes both half-bridges' edges at once.
        let (half, rising) = match (times.two_lines, line) {
            (true, line) => (line ^ usize::from(self.inverted), level),
            (false, 0) => (0, level != self.inverted),
            (false, _) => (0, level == self.inverted),
        };
        let delay = times.delays[half][usize::from(rising)];
        self.queues[line].push(now + delay, level);
        timers.set(Timer::OutputEdge, self.next_edge());
    }

    fn next_edge(&self) -> i64 {
        self.queues[0].next().min(self.queues[1].next())
    }

    /// Whether the watch on the signal runs: it does until the signal is lost.
    pub(super) fn watch(&mut self, quiet: bool, now: i64, times: &BoardTimes, timers: &mut Timers) {
        if quiet {
            if !self.lost && !self.own && times.on_signal_loss != OnSignalLoss::Hold {
                hold(timers, Timer::SignalLoss, true, now + times.signal_loss);
            }
            return;
        }
        timers.cancel(Timer::SignalLoss);
        timers.cancel(Timer::OwnEdge);
        self.lost = false;
        if std::mem::take(&mut self.own) {
            let levels = self.inputs;
            for (line, level) in levels.into_iter().enumerate() {
                self.queues[line].push(now, level);
            }
            timers.set(Timer::OutputEdge, self.next_edge());
        }
    }

    /// Does what is due. True if something was.
    pub(super) fn due(
        &mut self,
        now: i64,
        times: &BoardTimes,
        observed: &Observed,
        timers: &mut Timers,
    ) -> bool {
        let mut acted = false;
        if timers.take(Timer::SignalLoss, now) {
            self.own = times.on_signal_loss == OnSignalLoss::OwnSignal;
            self.lost = !self.own;
            if self.own {
                timers.set(Timer::OwnEdge, now);
            }
            acted = true;
        }
        if timers.take(Timer::OwnEdge, now) {
            let high = !self.outputs[0];
            self.queues[0].push(now, high);
            self.queues[1].push(now, !high);
            timers.set(Timer::OutputEdge, now);
            timers.set(Timer::OwnEdge, now + OWN_HALF);
            acted = true;
        }
        if timers.take(Timer::OutputEdge, now) {
            let was = self.outputs;
            for (queue, output) in self.queues.iter_mut().zip(&mut self.outputs) {
                while let Some(level) = queue.pop(now) {
                    *output = level;
                }
            }
            if self.outputs != was {
                self.follow(now, times, timers);
            }
            timers.set(Timer::OutputEdge, self.next_edge());
            acted = true;
        }
        if timers.take(Timer::UnderVoltage, now) {
            self.locked_out = observed.sources.rail_low;
            acted = true;
        }
        if timers.take(Timer::Retry, now) {
            self.tripped = false;
            self.retries += 1;
            self.last_retry = now;
            acted = true;
        }
        if timers.take(Timer::HoldOff, now) {
            self.holding_off = false;
            acted = true;
        }
        if timers.take(Timer::ReverseRearm, now) {
            self.spent = false;
            acted = true;
        }
        if timers.take(Timer::ReverseDebounce, now) {
            self.reverse(now, times, timers);
            acted = true;
        }
        if timers.take(Timer::TripLook, now) {
            self.look(now, times, observed, timers);
            acted = true;
        }
        if timers.take(Timer::TripDebounce, now) {
            self.trip(now, times, timers);
            acted = true;
        }
        for timer in DEAD_TIMES {
            acted |= timers.take(timer, now);
        }
        acted
    }

    /// Starts and stops the clocks that the comparators govern.
    pub(super) fn supervise(
        &mut self,
        now: i64,
        times: &BoardTimes,
        observed: &Observed,
        timers: &mut Timers,
    ) {
        if observed.sources.reset {
            self.forget(now, times, timers);
        }
        let alive = !self.tripped && !observed.sources.reset;
        let counting = observed.levels.trip_above && alive && !self.holding_off;
        if times.trip_look == 0 {
            let due = now + times.trip_debounce;
            hold(timers, Timer::TripDebounce, counting, due);
        } else {
            // The looks stand on a grid of their own; none is needed while
            // none could find anything.
            let looking = counting || self.found_since.is_some();
            let due = (now / times.trip_look + 1) * times.trip_look;
            hold(timers, Timer::TripLook, looking, due);
        }
        if let Some((debounce, hold_off)) = times.reversing {
            let wrong = observed.levels.reverse_above && alive && !self.holding_off && !self.spent;
            hold(timers, Timer::ReverseDebounce, wrong, now + debounce);
            let calm = self.spent && !observed.levels.reverse_above && !self.holding_off;
            hold(timers, Timer::ReverseRearm, calm, now + hold_off);
        }
        let changing = observed.sources.rail_low != self.locked_out;
        hold(timers, Timer::UnderVoltage, changing, now + LOCKOUT_FILTER);
    }

    /// Moves the edges under way when whole periods are skipped.
    pub(super) fn shift(&mut self, picoseconds: i64) {
        for queue in &mut self.queues {
            for entry in &mut queue.entries[..queue.length] {
                entry.0 += picoseconds;
            }
        }
    }

    /// The half-bridges follow lines, brake and reversal: one whose level
    /// changes is off for its dead time first, the other goes on conducting.
    fn follow(&mut self, now: i64, times: &BoardTimes, timers: &mut Timers) {
        for (half, timer) in DEAD_TIMES.into_iter().enumerate() {
            let level = !self.braked && self.outputs[half ^ usize::from(self.inverted)];
            if level != self.levels[half] {
                self.levels[half] = level;
                timers.set(timer, now + times.dead_time);
            }
        }
    }

    fn reverse(&mut self, now: i64, times: &BoardTimes, timers: &mut Timers) {
        let Some((_, hold_off)) = times.reversing else {
            return;
        };
        self.inverted = !self.inverted;
        self.holding_off = true;
        self.spent = true;
        timers.set(Timer::HoldOff, now + hold_off);
        timers.cancel(Timer::TripDebounce);
        self.follow(now, times, timers);
    }

    /// A polled board looks: an overload counts from the first look that found
    /// it, and one look that does not ends it.
    fn look(&mut self, now: i64, times: &BoardTimes, observed: &Observed, timers: &mut Timers) {
        if !observed.levels.trip_above || self.tripped || observed.sources.reset || self.holding_off
        {
            self.found_since = None;
            return;
        }
        let since = *self.found_since.get_or_insert(now);
        if now - since >= times.trip_debounce {
            self.found_since = None;
            self.trip(now, times, timers);
        }
    }

    /// The junction's temperature: the output goes off above one level and
    /// comes back below another.
    pub(super) fn feel(&mut self, junction: Celsius, times: &BoardTimes) {
        let level = if self.hot {
            times.over_temperature_restart.min(times.over_temperature)
        } else {
            times.over_temperature
        };
        self.hot = junction.si() > level;
    }

    fn trip(&mut self, now: i64, times: &BoardTimes, timers: &mut Timers) {
        // A retry that held for a whole interval was a success.
        if now - self.last_retry > times.retry_interval + times.trip_debounce {
            self.retries = 0;
        }
        self.tripped = true;
        if times.retry_limit.is_none_or(|limit| self.retries < limit) {
            let tries = i32::try_from(self.retries.min(MOST_GROWTH)).unwrap_or(0);
            let growth = libm::pow(times.retry_backoff, f64::from(tries));
            let wait = times.retry_interval as f64 * growth;
            // `as` saturates; an hour is as good as never on a bench.
            let wait = (wait as i64).min(LONGEST_WAIT);
            timers.set(Timer::Retry, now + wait);
        }
    }

    /// Loses its memory, as logic without supply does.
    fn forget(&mut self, now: i64, times: &BoardTimes, timers: &mut Timers) {
        self.tripped = false;
        self.found_since = None;
        self.inverted = false;
        self.holding_off = false;
        self.spent = false;
        self.retries = 0;
        timers.cancel(Timer::Retry);
        timers.cancel(Timer::HoldOff);
        self.follow(now, times, timers);
    }
}
