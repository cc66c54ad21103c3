//! Skipping whole periods of the input pattern: those that repeat themselves,
//! the history repeating its stretches with them, and those in which the input
//! moves nothing but logic, as while the bridge is off. How the circuit moves
//! within a period is not decided here.

use super::bridge::Bridge;
use super::circuit::{Circuit, Switches};
use super::mode::Mode;
use super::observed::Asked;
use super::propagator::State;
use super::step::step_level;
use super::timers::{NEVER, Timer};
use std::sync::Arc;

/// A period repeats when no state moved by more than this share of itself ...
const RELATIVE: f64 = 1e-14;
/// ... or by this much in volts or amperes.
const ABSOLUTE: f64 = 1e-14;

/// The circuit at the start of a pattern period.
#[derive(Clone, Debug)]
pub(super) struct Snapshot {
    at: i64,
    state: State,
    mode: Arc<Mode>,
    switches: Switches,
    current_squared: f64,
}

impl Circuit {
    /// At a period's start: if the last one led back to where it began, moves
    /// on by as many whole periods as fit before `target` and before anything
    /// that is due only once.
    pub(super) fn skip_periods(&mut self, target: i64) {
        if let Some(before) = self.snapshot.take()
            && let Some(periods) = self.logic_repeats_since(&before, target)
            && let Some((periods, drifts)) = self.skipped(&before, periods)
        {
            let period = self.anchor - before.at;
            let shift = periods * period;
            for (index, due) in before.switches.timers.deadlines().iter().enumerate() {
                if self.switches.timers.deadlines()[index] != *due {
                    self.switches.timers.shift(index, shift);
                }
            }
            self.switches.board.shift(shift);
            if self.history.is_kept() {
                self.history.repeat(before.at, self.anchor, periods, drifts);
            }
            let each = self.thermal.current_squared - before.current_squared;
            self.thermal.current_squared += each * periods as f64;
            self.anchor += shift;
            // A circuit that came into force within the period does so again.
            if self.mode_since > before.at {
                self.mode_since += shift;
            }
            self.burst = (self.anchor, 0);
        }
        // Also after what was skipped: one more period like it shows that the next
        // ones are.
        self.snapshot = Some(Box::new(Snapshot {
            at: self.anchor,
            state: self.state,
            mode: Arc::clone(&self.mode),
            switches: self.switches,
            current_squared: self.thermal.current_squared,
        }));
    }

    /// Moves voltages and currents on by up to `periods` periods, if that can be
    /// done at once: by how many, and whether they drift meanwhile.
    fn skipped(&mut self, before: &Snapshot, periods: i64) -> Option<(i64, bool)> {
        let still = self
            .state
            .iter()
            .zip(&before.state)
            .all(|(now, then)| (now - then).abs() <= ABSOLUTE + RELATIVE * now.abs());
        if still {
            return Some((periods, false));
        }
        let undisturbed = self.mode_since <= before.at && self.mode.key.bridge == Bridge::OPEN;
        if !undisturbed {
            return None;
        }
        let period = self.anchor - before.at;
        let quiet = self.quiet_for(periods * period) / period;
        self.state = self.mode.propagator.advance(quiet * period, &self.state);
        (quiet > 0).then_some((quiet, true))
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

    /// How many more periods lie before `target` and before anything that is
    /// due only once, if all but voltages and currents repeated itself.
    fn logic_repeats_since(&self, before: &Snapshot, target: i64) -> Option<i64> {
        let period = self.anchor - before.at;
        // A tick of the junction in between clears the sum of the squares.
        let tick = Timer::Thermal as usize;
        let ticked =
            self.switches.timers.deadlines()[tick] != before.switches.timers.deadlines()[tick];
        if ticked || !Arc::ptr_eq(&self.mode, &before.mode) {
            return None;
        }
        let mut periods = (target - self.anchor) / period;
        let mut moved = before.switches;
        let deadlines = self.switches.timers.deadlines();
        for (index, (now, then)) in deadlines
            .iter()
            .zip(before.switches.timers.deadlines())
            .enumerate()
        {
            if now == then {
                if *now != NEVER {
                    periods = periods.min((now - self.anchor - 1) / period);
                }
            } else if *now != NEVER && *then != NEVER && now - then == period {
                moved.timers.shift(index, period);
            } else {
                return None;
            }
        }
        moved.board.shift(period);
        (moved == self.switches && periods > 0).then_some(periods)
    }
}
