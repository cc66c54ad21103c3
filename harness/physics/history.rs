//! Everything that is read out of the kept trajectory. It moves nothing; how
//! the trajectory is kept is said in `trajectory`.

use super::action::{Probe, bit};
use super::circuit::Circuit;
use super::mode::Mode;
use super::propagator::{Matrix, Propagator, State, risen};
use super::step::step_level;
use super::trajectory::{Place, Segment};
use crate::clock::{BenchInstant, BenchSpan};
use crate::waveform::LogicLine;
use rustc_hash::FxHashMap;
use std::sync::Arc;

/// As many samples to come in one circuit are worth a step matrix.
const WORTHWHILE: i64 = 16;
/// Most values in one answer.
const SAMPLES: usize = 1 << 26;

/// Most samples that are looked at together.
const TOGETHER: i64 = 64;

/// The circuit at one or more samples of its kept past, between which nothing
/// has switched.
pub struct Look<'a> {
    circuit: &'a Circuit,
    segment: &'a Segment,
    states: &'a [State],
}

impl Look<'_> {
    /// How many samples these are.
    pub fn count(&self) -> usize {
        self.states.len()
    }

    /// Puts the values of a quantity then, in SI units, after those in `values`.
    pub fn read(&self, probe: Probe, values: &mut Vec<f64>) {
        let Segment { mode, upstream, .. } = self.segment;
        let at = (self.states, *upstream);
        mode.probe_each(&self.circuit.electrics, probe, at, values);
    }

    /// A word that is the same where all lines are.
    pub fn lines(&self) -> u16 {
        self.segment.lines
    }

    /// The state of a line then.
    pub fn line(&self, line: LogicLine) -> bool {
        self.segment.lines & bit(line) != 0
    }
}

/// A piece of a linear stretch, short enough that nothing hides in it.
pub(super) struct Piece<'a> {
    pub(super) segment: &'a Segment,
    start: i64,
    level: usize,
    /// Whole power of two, or a rest that must be composed.
    pub(super) span: i64,
    pub(super) before: State,
}

impl Piece<'_> {
    fn after(&self, span: i64) -> State {
        self.segment.mode.propagator.advance(span, &self.before)
    }
}

/// Steps of one period in each circuit that is met.
struct Paces {
    period: i64,
    /// Steps asked for, and the matrix once that is worth it.
    known: FxHashMap<*const Mode, (i64, Option<Matrix>)>,
}

impl Paces {
    fn new(period: i64) -> Self {
        Self {
            period,
            known: FxHashMap::default(),
        }
    }

    /// The steps in `mode`, `coming` of which are in sight.
    fn of<'a>(&'a mut self, mode: &'a Arc<Mode>, coming: i64) -> Pace<'a> {
        let (asked, rise) = self.known.entry(Arc::as_ptr(mode)).or_default();
        *asked += coming;
        if rise.is_none() && *asked > WORTHWHILE {
            *rise = Some(mode.propagator.rise(self.period));
        }
        Pace {
            period: self.period,
            propagator: &mode.propagator,
            rise: rise.as_ref(),
        }
    }
}

/// Steps of one period in one circuit.
struct Pace<'a> {
    period: i64,
    propagator: &'a Propagator,
    rise: Option<&'a Matrix>,
}

impl Pace<'_> {
    fn step(&self, state: &State) -> State {
        match self.rise {
            Some(rise) => risen(rise, state),
            None => self.propagator.advance(self.period, state),
        }
    }
}

impl Circuit {
    /// How many linear stretches are kept.
    #[cfg(test)]
    pub(super) fn changes(&self) -> usize {
        let mut place = self.history.oldest();
        let mut count = 0;
        while let Some(present) = place {
            count += 1;
            place = self.history.after(present);
        }
        count
    }

    /// Looks at `start`, `start + period`, ... of the kept trajectory, exact
    /// within each linear stretch. `None`, and no look taken, where the history
    /// does not reach, or for a period or count that means nothing. Samples
    /// between which nothing switches are looked at together.
    pub fn look_back(
        &self,
        start: BenchInstant,
        period: BenchSpan,
        count: usize,
        mut look: impl FnMut(&Look<'_>),
    ) -> Option<()> {
        let (start, period) = self.sampling(start, period, count)?;
        let mut paces = Paces::new(period);
        let mut place = self.history.place_at(start)?;
        let mut states = Vec::with_capacity(TOGETHER as usize);
        // Where the last look was taken, and the state a period later if
        // nothing came between.
        let mut last: Option<(Place, State)> = None;
        let (mut instant, mut left) = (start, count as i64);
        while left > 0 {
            let mut end = self.history.end_of(place, i64::MAX);
            if end <= instant {
                place = self.history.after(place)?;
                end = self.history.end_of(place, i64::MAX);
            }
            if end <= instant {
                // Many stretches lie between these two looks.
                place = self.history.place_from(place, instant);
                end = self.history.end_of(place, i64::MAX);
            }
            let stretch = self.history.stretch(place);
            let segment = stretch.segment;
            let here = ((end - instant - 1) / period + 1).min(left);
            let pace = paces.of(&segment.mode, here);
            let mut state = match last {
                Some((from, state)) if self.history.goes_on(from, place) => pace.step(&state),
                _ => stretch.state_at(instant),
            };
            for index in 0..here {
                if index > 0 {
                    state = pace.step(&state);
                }
                states.push(state);
                if index + 1 == here || (index + 1) % TOGETHER == 0 {
                    look(&Look {
                        circuit: self,
                        segment,
                        states: &states,
                    });
                    states.clear();
                }
            }
            last = Some((place, state));
            instant += here * period;
            left -= here;
        }
        Some(())
    }

    /// Values of a probe at `start`, `start + period`, ..., as
    /// [`Circuit::look_back`] sees them.
    pub fn sample(
        &self,
        probe: Probe,
        start: BenchInstant,
        period: BenchSpan,
        count: usize,
    ) -> Option<Vec<f64>> {
        let mut values = Vec::new();
        self.look_back(start, period, count, |look| look.read(probe, &mut values))?;
        Some(values)
    }

    /// States of a line at `start`, `start + period`, ...
    pub fn sample_line(
        &self,
        line: LogicLine,
        start: BenchInstant,
        period: BenchSpan,
        count: usize,
    ) -> Option<Vec<bool>> {
        let mut levels = Vec::new();
        self.look_back(start, period, count, |look| {
            levels.extend(std::iter::repeat_n(look.line(line), look.count()));
        })?;
        Some(levels)
    }

    /// First kept instant at or after `from` at which a line changed to high
    /// (`rising`) or to low.
    pub fn line_edge(
        &self,
        line: LogicLine,
        rising: bool,
        from: BenchInstant,
    ) -> Option<BenchInstant> {
        let from = from.picoseconds();
        let history = &self.history;
        let high = |place| history.stretch(place).segment.lines & bit(line) != 0;
        let mut place = history.place_at(from - 1).or_else(|| history.oldest())?;
        while let Some(next) = history.after(place) {
            if high(next) == rising && high(place) != rising {
                return Some(BenchInstant::from_picoseconds(history.stretch(next).start));
            }
            place = next;
        }
        None
    }

    /// First kept instant at or after `from` at which a probe reached `level`
    /// from below (`rising`) or from above, to the picosecond.
    pub fn crossing(
        &self,
        probe: Probe,
        level: f64,
        rising: bool,
        from: BenchInstant,
    ) -> Option<BenchInstant> {
        let passed = |piece: &Piece<'_>, state: &State| {
            let segment = piece.segment;
            let value = segment
                .mode
                .probe(&self.electrics, probe, state, segment.upstream);
            if rising {
                value >= level
            } else {
                value <= level
            }
        };
        let mut was = true;
        for piece in self.pieces(from.picoseconds(), self.now)? {
            let at_start = passed(&piece, &piece.before);
            if at_start && !was {
                return Some(BenchInstant::from_picoseconds(piece.start));
            }
            was = passed(&piece, &piece.after(piece.span));
            if was && !at_start {
                let mut quiet_for = 0;
                for level in (0..=piece.level).rev() {
                    let longer = quiet_for + (1 << level);
                    if longer < piece.span && !passed(&piece, &piece.after(longer)) {
                        quiet_for = longer;
                    }
                }
                return Some(BenchInstant::from_picoseconds(piece.start + quiet_for + 1));
            }
        }
        None
    }

    /// Checks a request for samples and puts it into picoseconds.
    fn sampling(&self, start: BenchInstant, period: BenchSpan, count: usize) -> Option<(i64, i64)> {
        let (start, period) = (start.picoseconds(), period.picoseconds());
        if period <= 0 || count == 0 || count > SAMPLES {
            return None;
        }
        let last = period
            .checked_mul(count as i64 - 1)
            .and_then(|span| start.checked_add(span))?;
        (last <= self.now && self.history.is_kept()).then_some((start, period))
    }

    /// The pieces of the kept trajectory between two instants.
    pub(super) fn pieces(&self, from: i64, to: i64) -> Option<impl Iterator<Item = Piece<'_>>> {
        let mut place = self.history.place_at(from)?;
        let mut instant = from;
        let mut state: Option<State> = None;
        Some(std::iter::from_fn(move || {
            if instant >= to {
                return None;
            }
            while self.history.end_of(place, i64::MAX) <= instant {
                place = self.history.after(place)?;
                state = None;
            }
            let stretch = self.history.stretch(place);
            let segment = stretch.segment;
            let before = state.unwrap_or_else(|| stretch.state_at(instant));
            let level = step_level(instant - stretch.start);
            let end = self.history.end_of(place, to).min(to);
            let span = (1_i64 << level).min(end - instant);
            let piece = Piece {
                segment,
                start: instant,
                level,
                span,
                before,
            };
            instant += span;
            state = Some(piece.after(span));
            Some(piece)
        }))
    }
}
