//! Thermal steps while the circuit repeats itself: as long as they move nothing but
//! temperatures, the period in which one falls is shown all the same. How long the
//! steps are and what they come to is decided in `thermal`.

use super::circuit::Circuit;
use super::mode::Mode;
use super::propagator::State;
use super::step::step_level;
use super::thermal::Warmed;
use super::timers::Timer;
use super::trajectory::Turns;

impl Circuit {
    /// Brings the bridge's temperature up to date at `tick`, within the period that
    /// begins at the anchor and counts `whole`, if that moves nothing else.
    pub(super) fn warms_in_passing(
        &mut self,
        (turns, whole): (&Turns, f64),
        warmed: &mut Option<Warmed>,
        tick: i64,
    ) -> bool {
        let (mut thermal, mut board) = (self.thermal, self.switches.board);
        thermal.current_squared = self.squared_until(turns, warmed.as_ref(), tick);
        thermal.catch_up(tick, self.electrics.switch_at(self.mode.key.bin));
        board.feel(thermal.junction(), &self.board_times);
        if thermal.bin() != self.mode.key.bin || board != self.switches.board {
            return false;
        }
        // The whole period is counted when it is skipped.
        let end = self.anchor + turns.period;
        thermal.current_squared = self.squared_between(turns, tick, end) - whole;
        let before = std::mem::replace(&mut self.thermal, thermal);
        let since = warmed.take().unwrap_or(Warmed {
            before,
            first: tick,
            last: tick,
        });
        *warmed = Some(Warmed {
            last: tick,
            ..since
        });
        let next = tick + self.thermal_tick();
        self.switches.timers.set(Timer::Thermal, next);
        true
    }

    /// Lets them come again, since the period is stepped through after all.
    pub(super) fn take_back(&mut self, warmed: &Warmed) {
        self.thermal = warmed.before;
        self.switches.timers.set(Timer::Thermal, warmed.first);
    }

    /// Integral of the squared currents through the switches from the last thermal
    /// step to `instant`, in the period that begins at the anchor.
    pub(super) fn squared_until(
        &self,
        turns: &Turns,
        warmed: Option<&Warmed>,
        instant: i64,
    ) -> f64 {
        match warmed {
            Some(warmed) => self.squared_between(turns, warmed.last, instant),
            None => {
                let counted = self.thermal.current_squared;
                counted + self.squared_between(turns, self.anchor, instant)
            }
        }
    }

    /// The same from one instant to another.
    fn squared_between(&self, turns: &Turns, from: i64, to: i64) -> f64 {
        let held = self.coasting.as_ref().map_or(&self.mode, |held| &held.mode);
        let (mut mode, mut start, mut state) = (held, self.anchor, self.state);
        let mut sum = 0.0;
        for stretch in turns.stretches_after(self.anchor) {
            let (begun, over) = (from.max(start), to.min(stretch.start));
            if begun < over {
                sum += squared_in_steps(mode, (begun - start, over - start), &state);
            }
            mode = &stretch.segment.mode;
            (start, state) = (stretch.start, stretch.segment.state);
        }
        let begun = from.max(start);
        if begun < to {
            sum += squared_in_steps(mode, (begun - start, to - start), &state);
        }
        sum
    }
}

/// Integral of the squared currents through the switches of `mode`, `from` to `to`
/// picoseconds after it was at `state`, on the grid of the circuit's own steps.
fn squared_in_steps(mode: &Mode, (from, to): (i64, i64), state: &State) -> f64 {
    let (mut elapsed, mut sum) = (from, 0.0);
    let mut before = mode.propagator.advance(from, state);
    while elapsed < to {
        let step = (1_i64 << step_level(elapsed)).min(to - elapsed);
        let after = mode.propagator.advance(step, &before);
        sum += mode.current_squared(step, &before, &after);
        elapsed += step;
        before = after;
    }
    sum
}
