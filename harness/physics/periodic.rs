//! Skipping whole periods of the input pattern: those that repeat themselves,
//! the history repeating its stretches with them, and those in which the input
//! moves nothing but logic, as while the bridge is off. Where a period repeats
//! itself, a present within the next one is read out of it, too: the circuit
//! stays at the period's start until something is done to it. How the circuit
//! moves within a period is not decided here.

use super::bridge::Bridge;
use super::circuit::{Circuit, Switches};
use super::mode::Mode;
use super::observed::Asked;
use super::propagator::State;
use super::step::step_level;
use super::thermal::Warmed;
use super::timers::{NEVER, Timer, Timers};
use super::trajectory::{Segment, Turns};
use std::sync::Arc;

/// A period repeats when no state moved by more than this share of itself and of a
/// volt or ampere ...
const STILL: f64 = 1e-14;
/// ... or by no more than this, and what is still to come, if each period moves it less
/// than the one before by the same factor, is no more than that.
const NEARLY_STILL: f64 = 1e-12;
const STILL_TO_COME: f64 = 1e-11;

/// Most stretches of a period that may repeat itself.
const LONGEST: usize = 1 << 14;

/// The circuit at the start of a pattern period.
#[derive(Clone, Debug)]
pub(super) struct Snapshot {
    at: i64,
    state: State,
    mode: Arc<Mode>,
    switches: Switches,
    current_squared: f64,
    /// How far the period before it moved the state, if that alone moved.
    moved: Option<f64>,
    /// The period before it, if the next ones are like it.
    repeats: Option<Period>,
    /// Thermal steps in the period that begins here, which was not stepped through.
    warmed: Option<Warmed>,
}

/// One period that leads back to where it began, but for deadlines.
#[derive(Clone, Debug)]
struct Period {
    turns: Turns,
    /// The deadlines that move with it, one bit each.
    moving: u64,
    /// Its circuit came into force within it.
    renewed: bool,
    current_squared: f64,
}

impl Period {
    /// The next deadline that does not move with it.
    fn due_once(&self, timers: &Timers) -> i64 {
        let deadlines = timers.deadlines().iter().enumerate();
        let once = deadlines.filter(|(index, _)| self.moving >> index & 1 == 0);
        once.fold(NEVER, |due, (_, next)| due.min(*next))
    }
}

/// Whether a period that `moved` the state may repeat itself, the one `before` having
/// moved it by so much.
fn is_still(moved: f64, before: Option<f64>) -> bool {
    // The sum of a geometric series.
    let dies_away = |before: f64| moved * moved <= STILL_TO_COME * (before - moved);
    moved <= STILL || (moved <= NEARLY_STILL && before.is_some_and(dies_away))
}

/// What holds at the circuit's anchor, while it shows the present within a
/// period that was not stepped through.
#[derive(Clone, Debug)]
pub(super) struct Coasting {
    pub(super) mode: Arc<Mode>,
    lines: u16,
    upstream: f64,
    /// The history goes on to the end of this period.
    kept: bool,
}

impl Circuit {
    /// At a period's start: sees whether the last one led back to where it
    /// began, and skips what moves logic alone before `target`.
    pub(super) fn begin_period(&mut self, target: i64) {
        #[cfg(test)]
        if self.steps_through {
            return;
        }
        let (mut repeats, mut moved) = (None, None);
        if let Some(before) = self.snapshot.take()
            && let Some(moving) = self.logic_repeats_since(&before)
        {
            let here = self.moved_since(&before);
            moved = Some(here);
            if is_still(here, before.moved) {
                repeats = Some(self.period_since(&before, moving));
            } else if self.mode_since <= before.at && self.mode.key.bridge == Bridge::OPEN {
                self.drift(&self.period_since(&before, moving), target);
                moved = None;
            }
        }
        // Also after what was skipped: one more period like it shows that the next
        // ones are.
        self.snapshot = Some(Box::new(Snapshot {
            at: self.anchor,
            state: self.state,
            mode: Arc::clone(&self.mode),
            switches: self.switches,
            current_squared: self.thermal.current_squared,
            moved,
            repeats,
            warmed: None,
        }));
        let since = self.turn.len().saturating_sub(1);
        self.turn.drain(..since);
    }

    /// Where the circuit repeats itself from its anchor on: moves by as many whole
    /// periods as fit before `target` and before anything that is due only once,
    /// and shows the present at `target` if that comes before it.
    pub(super) fn coast_to(&mut self, target: i64) -> bool {
        let Some(mut here) = self.snapshot.take_if(|here| here.repeats.is_some()) else {
            return false;
        };
        let mut coasts = false;
        if let Some(period) = &here.repeats
            && here.at == self.anchor
        {
            self.anchor_again();
            self.repeat(period, &mut here.warmed, target);
            let timers = &self.switches.timers;
            coasts = self.mode.key.bridge != Bridge::OPEN && target < period.due_once(timers);
            if coasts {
                self.show(period, target);
            } else if let Some(warmed) = here.warmed.take() {
                self.take_back(&warmed);
            }
            here.at = self.anchor;
            here.switches = self.switches;
            here.current_squared = self.thermal.current_squared;
        }
        self.snapshot = Some(here);
        coasts
    }

    /// Moves by as many whole periods as fit before `target` and before anything
    /// that is due only once and changes something.
    fn repeat(&mut self, period: &Period, warmed: &mut Option<Warmed>, target: i64) {
        loop {
            let periods = self.periods_before(period, target);
            if periods > 0 {
                self.history
                    .repeat(&period.turns, self.anchor, periods, false);
                self.skip(period, periods);
                *warmed = None;
            }
            // A thermal step that moves nothing else lets the period go on.
            let tick = self.switches.timers.deadlines()[Timer::Thermal as usize];
            let mut others = self.switches.timers;
            others.cancel(Timer::Thermal);
            let alone = tick <= target && tick < period.due_once(&others);
            let whole = (&period.turns, period.current_squared);
            if !(alone && self.warms_in_passing(whole, warmed, tick)) {
                return;
            }
        }
    }

    /// Shows the present at `target`, which is in the period that begins here.
    fn show(&mut self, period: &Period, target: i64) {
        let stretch = period.turns.within(self.anchor, target);
        let coasting = Coasting {
            mode: Arc::clone(&self.mode),
            lines: self.lines,
            upstream: self.upstream,
            kept: stretch.is_some() && self.history.is_kept(),
        };
        self.now = target;
        self.pending = None;
        match stretch {
            None => {
                let ahead = target - self.anchor;
                self.view = self.mode.propagator.advance(ahead, &self.state);
            }
            Some(stretch) => {
                self.view = stretch.state_at(target);
                self.mode = Arc::clone(&stretch.segment.mode);
                self.lines = stretch.segment.lines;
                self.upstream = stretch.segment.upstream;
            }
        }
        if coasting.kept {
            self.history.repeat(&period.turns, self.anchor, 1, false);
        }
        self.coasting = Some(Box::new(coasting));
    }

    /// Ends that: what holds is again what holds at the anchor.
    fn anchor_again(&mut self) {
        if let Some(coasting) = self.coasting.take() {
            self.mode = coasting.mode;
            self.lines = coasting.lines;
            self.upstream = coasting.upstream;
            if coasting.kept {
                self.history.take_back_a_turn();
            }
        }
    }

    /// Steps to the present, if it is only shown.
    pub(super) fn catch_up(&mut self) {
        if self.coasting.is_some() {
            self.anchor_again();
            if let Some(warmed) = self.snapshot.take().and_then(|here| here.warmed) {
                self.take_back(&warmed);
            }
            self.walk_to(self.now);
        }
    }

    /// Lets a history that has just begun, unless it `was_kept` before, reach back
    /// to the start of the period that is shown.
    pub(super) fn keep_what_is_shown(&mut self, was_kept: bool) {
        let here = self.snapshot.as_ref();
        if let Some(coasting) = &mut self.coasting
            && let Some(period) = here.and_then(|here| here.repeats.as_ref())
        {
            if !self.history.is_kept() {
                coasting.kept = false;
            } else if !was_kept {
                coasting.kept = self.history.begin_with(&period.turns, self.anchor);
            }
        }
    }

    /// Integral of the squared currents through the switches from the last thermal
    /// step to the present.
    pub(super) fn squared_until_now(&self) -> f64 {
        if self.coasting.is_some()
            && let Some(here) = &self.snapshot
            && let Some(period) = &here.repeats
        {
            return self.squared_until(&period.turns, here.warmed.as_ref(), self.now);
        }
        self.thermal.current_squared + self.current_squared_until(self.now, &self.view)
    }

    /// Moves all but voltages and currents on by `periods` like the last one.
    fn skip(&mut self, period: &Period, periods: i64) {
        let shift = periods * period.turns.period;
        self.switches.timers.shift(period.moving, shift);
        self.switches.board.shift(shift);
        self.thermal.current_squared += period.current_squared * periods as f64;
        self.anchor += shift;
        if period.renewed {
            self.mode_since += shift;
        }
        self.burst = (self.anchor, 0);
        self.pending = None;
    }

    /// Moves on by as many periods before `target` as the circuit that is in force
    /// stays in force by itself.
    fn drift(&mut self, period: &Period, target: i64) {
        let length = period.turns.period;
        let periods = self.periods_before(period, target);
        let quiet = self.quiet_for(periods * length) / length;
        if quiet > 0 {
            self.state = self.mode.propagator.advance(quiet * length, &self.state);
            self.history.repeat(&period.turns, self.anchor, quiet, true);
            self.skip(period, quiet);
        }
    }

    /// The most by which a state has moved, as a share of itself and of one.
    fn moved_since(&self, before: &Snapshot) -> f64 {
        let states = self.state.iter().zip(&before.state);
        states.fold(0.0, |most, (now, then)| {
            f64::max(most, (now - then).abs() / (1.0 + now.abs()))
        })
    }

    /// How long the circuit in force stays in force by itself, as far as the
    /// points of its grid tell, up to `most` picoseconds.
    fn quiet_for(&self, most: i64) -> i64 {
        let mut state = self.state;
        let mut quiet = 0;
        while quiet < most {
            let level = step_level(self.anchor + quiet - self.mode_since);
            let span = (1_i64 << level).min(most - quiet);
            state = self.mode.propagator.advance(span, &state);
            if !self.answers_hold(Asked::ALL, &state) {
                break;
            }
            quiet += span;
        }
        quiet
    }

    /// How many more periods lie before `target` and before anything that is due
    /// only once.
    fn periods_before(&self, period: &Period, target: i64) -> i64 {
        let end = target.min(period.due_once(&self.switches.timers) - 1);
        (end - self.anchor) / period.turns.period
    }

    /// The deadlines that moved by a period since `before`, one bit each, if all but
    /// voltages and currents repeated itself.
    fn logic_repeats_since(&self, before: &Snapshot) -> Option<u64> {
        let length = self.anchor - before.at;
        // A tick of the junction in between clears the sum of the squares.
        let tick = Timer::Thermal as usize;
        let ticked =
            self.switches.timers.deadlines()[tick] != before.switches.timers.deadlines()[tick];
        if ticked || !Arc::ptr_eq(&self.mode, &before.mode) {
            return None;
        }
        let mut moved = before.switches;
        let mut moving = 0;
        let deadlines = self.switches.timers.deadlines();
        for (index, (now, then)) in deadlines
            .iter()
            .zip(before.switches.timers.deadlines())
            .enumerate()
        {
            if *now != NEVER && *then != NEVER && now - then == length {
                moving |= 1 << index;
            } else if now != then {
                return None;
            }
        }
        moved.timers.shift(moving, length);
        moved.board.shift(length);
        (moved == self.switches).then_some(moving)
    }

    fn period_since(&self, before: &Snapshot, moving: u64) -> Period {
        let segments = self.turn.iter().filter(|segment| segment.start > before.at);
        Period {
            turns: Turns {
                template: segments.cloned().collect(),
                period: self.anchor - before.at,
                end: self.anchor,
            },
            moving,
            renewed: self.mode_since > before.at,
            current_squared: self.thermal.current_squared - before.current_squared,
        }
    }

    /// Notes a stretch of the period that is under way.
    pub(super) fn note(&mut self, mut segment: Segment) {
        if self.snapshot.is_none() || self.turn.len() >= LONGEST {
            self.snapshot = None;
            self.turn.clear();
        }
        let last = self.turn.last();
        if last.is_some_and(|last| last.start == segment.start) {
            // Settling twice at one instant leaves only the outcome.
            segment.continued &= self.turn.pop().is_some_and(|last| last.continued);
        } else if last.is_some_and(|last| segment.adds_nothing_to(last)) {
            return;
        }
        self.turn.push(segment);
    }
}
