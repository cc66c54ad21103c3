//! The board's own logic: phase and dead time, overload, retry, reversal,
//! lockout. It sees comparators and clocks and commands the bridge; it never
//! sees a current.

use super::observed::Observed;
use super::signal::Polarity;
use super::timers::{NEVER, Timer, Timers};
use crate::clock::BenchSpan;
use crate::model_board::BoardParameters;

/// The lockout comparator must be steady this long, 2 us (drivers filter it so
/// that their own edges do not trip it: common practice, no source).
const LOCKOUT_FILTER: i64 = 2_000_000;
/// The bridge is switched off when the signal has been quiet this long, 2 ms.
pub(super) const SIGNAL_LOSS: i64 = 2_000_000_000;
/// Output edges that may be under way at once.
const EDGES: usize = 8;

/// The board's times in picoseconds.
#[derive(Clone, Copy, Debug)]
pub(super) struct BoardTimes {
    dead_time: i64,
    delay_rising: i64,
    delay_falling: i64,
    trip_debounce: i64,
    retry_interval: i64,
    retry_limit: Option<u32>,
    /// Debounce and hold-off of the reversing logic, where there is one.
    reversing: Option<(i64, i64)>,
}

impl BoardTimes {
    pub(super) fn new(board: &BoardParameters) -> Self {
        let span = |seconds| BenchSpan::from_seconds(seconds).picoseconds();
        Self {
            dead_time: span(board.dead_time),
            delay_rising: span(board.delay_rising),
            delay_falling: span(board.delay_falling),
            trip_debounce: span(board.trip_debounce),
            retry_interval: span(board.retry_interval),
            retry_limit: board.retry_limit,
            reversing: board
                .reversing
                .map(|reversing| (span(reversing.debounce), span(reversing.hold_off))),
        }
    }
}

/// What the bridge is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Command {
    Off,
    Brake,
    Drive(Polarity),
}

/// Output edges on their way through the drivers, earliest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct EdgeQueue {
    entries: [(i64, Polarity); EDGES],
    length: usize,
}

impl EdgeQueue {
    fn push(&mut self, due: i64, phase: Polarity) {
        // An edge with the shorter delay cannot overtake the one before it.
        let due = match self.length {
            0 => due,
            length => due.max(self.entries[length - 1].0),
        };
        if self.length == EDGES {
            // Beyond what a driver can hold, the newest pulse is swallowed.
            self.length -= 1;
        }
        self.entries[self.length] = (due, phase);
        self.length += 1;
    }

    fn pop(&mut self) -> Option<Polarity> {
        if self.length == 0 {
            return None;
        }
        let (_, phase) = self.entries[0];
        self.entries.copy_within(1..self.length, 0);
        self.length -= 1;
        self.entries[self.length] = (NEVER, Polarity::Positive);
        Some(phase)
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
    output: Polarity,
    dead: bool,
    queue: EdgeQueue,
}

impl BoardLogic {
    pub(super) const fn new() -> Self {
        Self {
            enabled: true,
            braked: false,
            lost: true,
            tripped: false,
            inverted: false,
            holding_off: false,
            spent: false,
            locked_out: true,
            retries: 0,
            last_retry: 0,
            output: Polarity::Positive,
            dead: false,
            queue: EdgeQueue {
                entries: [(NEVER, Polarity::Positive); EDGES],
                length: 0,
            },
        }
    }

    /// What the bridge is told now.
    pub(super) fn command(&self) -> Command {
        if !self.enabled || self.tripped || self.locked_out || self.lost {
            Command::Off
        } else if self.braked {
            Command::Brake
        } else if self.dead {
            Command::Off
        } else {
            Command::Drive(self.output.flipped_if(self.inverted))
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

    /// An edge of the input signal enters the drivers.
    pub(super) fn input_edge(
        &mut self,
        phase: Polarity,
        now: i64,
        times: &BoardTimes,
        timers: &mut Timers,
    ) {
        let delay = match phase.flipped_if(self.inverted) {
            Polarity::Positive => times.delay_rising,
            Polarity::Negative => times.delay_falling,
        };
        self.queue.push(now + delay, phase);
        timers.set(Timer::OutputEdge, self.queue.next());
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
            self.lost = true;
            acted = true;
        }
        if timers.take(Timer::OutputEdge, now) {
            if let Some(phase) = self.queue.pop()
                && phase != self.output
            {
                self.output = phase;
                self.start_dead_time(now, times, timers);
            }
            timers.set(Timer::OutputEdge, self.queue.next());
            acted = true;
        }
        if timers.take(Timer::UnderVoltage, now) {
            self.locked_out = observed.rail_low;
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
        if timers.take(Timer::TripDebounce, now) {
            self.trip(now, times, timers);
            acted = true;
        }
        if timers.take(Timer::DeadTime, now) {
            self.dead = false;
            acted = true;
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
        if observed.reset {
            self.forget(timers);
        }
        let alive = !self.tripped && !observed.reset;
        let counting = observed.trip_above && alive && !self.holding_off;
        hold(
            timers,
            Timer::TripDebounce,
            counting,
            now + times.trip_debounce,
        );
        if let Some((debounce, hold_off)) = times.reversing {
            let wrong = observed.reverse_above && alive && !self.holding_off && !self.spent;
            hold(timers, Timer::ReverseDebounce, wrong, now + debounce);
            let calm = self.spent && !observed.reverse_above && !self.holding_off;
            hold(timers, Timer::ReverseRearm, calm, now + hold_off);
        }
        let changing = observed.rail_low != self.locked_out;
        hold(timers, Timer::UnderVoltage, changing, now + LOCKOUT_FILTER);
    }

    /// Moves the edges under way when whole periods are skipped.
    pub(super) fn shift(&mut self, picoseconds: i64) {
        for entry in &mut self.queue.entries[..self.queue.length] {
            entry.0 += picoseconds;
        }
    }

    fn start_dead_time(&mut self, now: i64, times: &BoardTimes, timers: &mut Timers) {
        self.dead = true;
        timers.set(Timer::DeadTime, now + times.dead_time);
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
        self.start_dead_time(now, times, timers);
    }

    fn trip(&mut self, now: i64, times: &BoardTimes, timers: &mut Timers) {
        // A retry that held for a whole interval was a success.
        if now - self.last_retry > times.retry_interval + times.trip_debounce {
            self.retries = 0;
        }
        self.tripped = true;
        if times.retry_limit.is_none_or(|limit| self.retries < limit) {
            timers.set(Timer::Retry, now + times.retry_interval);
        }
    }

    /// Loses its memory, as logic without supply does.
    fn forget(&mut self, timers: &mut Timers) {
        self.tripped = false;
        self.inverted = false;
        self.holding_off = false;
        self.spent = false;
        self.retries = 0;
        timers.cancel(Timer::Retry);
        timers.cancel(Timer::HoldOff);
    }
}

/// A timer that runs as long as its condition holds.
fn hold(timers: &mut Timers, timer: Timer, condition: bool, due: i64) {
    if !condition {
        timers.cancel(timer);
    } else if !timers.is_running(timer) {
        timers.set(timer, due);
    }
}
