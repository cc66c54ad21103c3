//! Samples of the kept trajectory at a steady pace, as a capture device takes them.
//! It moves nothing, and knows no converter.

use super::action::{Probe, bit};
use super::affine::Affine;
use super::circuit::Circuit;
use super::mode::Mode;
use super::propagator::{COLUMNS, Propagator, Rise, STATES, State};
use super::rise::add;
use super::trajectory::{Place, Segment};
use crate::clock::{BenchInstant, BenchSpan};
use crate::waveform::LogicLine;
use rustc_hash::FxHashMap;
use std::cell::OnceCell;
use std::sync::Arc;

/// As many samples to come in one circuit are worth a step matrix.
const WORTHWHILE: i64 = 16;
/// Most values in one answer.
const SAMPLES: usize = 1 << 26;

/// Number of quantities.
const PROBES: usize = Probe::SenseVoltage as usize + 1;

/// Most samples that are looked at together.
const TOGETHER: usize = 64;
/// Samples that are read out of one state, where their circuit is worth it.
const EACH: usize = 8;

/// The circuit at one or more samples of its kept past, between which nothing
/// has switched.
pub struct Look<'a> {
    circuit: &'a Circuit,
    segment: &'a Segment,
    pace: Pace<'a>,
    /// The circuit at each sample, or at the first of each [`EACH`] of them.
    states: &'a [State],
    count: usize,
}

impl Look<'_> {
    /// How many samples these are.
    pub fn count(&self) -> usize {
        self.count
    }

    /// Puts the values of a quantity then, in SI units, after those in `values`.
    pub fn read(&self, probe: Probe, values: &mut Vec<f64>) {
        let Segment { mode, upstream, .. } = self.segment;
        let electrics = &self.circuit.electrics;
        if let Some(value) = mode.constant(probe, *upstream) {
            return values.extend(std::iter::repeat_n(value, self.count));
        }
        let many = |_: &&Strides| self.count > 1;
        let Some(strides) = self.pace.strides.filter(many) else {
            let at = (self.states, *upstream);
            return mode.probe_each(electrics, probe, at, values);
        };
        let ahead = strides.ahead[probe as usize].get_or_init(|| {
            let quantity = mode.linear(electrics, probe)?;
            Some(Box::new(Ahead::of(quantity, &strides.one)))
        });
        let mut left = self.count;
        for state in self.states {
            let here = left.min(EACH);
            match ahead {
                Some(ahead) if here == EACH => values.extend_from_slice(&ahead.at(state)),
                Some(ahead) => values.extend_from_slice(&ahead.at(state)[..here]),
                None => {
                    let next = |state: &State| Some(strides.one.risen(state));
                    let states = std::iter::successors(Some(*state), next).take(here);
                    let value = |state| mode.probe(electrics, probe, &state, *upstream);
                    values.extend(states.map(value));
                }
            }
            left -= here;
        }
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

/// A quantity of one circuit at [`EACH`] samples as a linear function of the state at
/// the first of them: a column for each state variable, one for the constant.
struct Ahead([[f64; EACH]; COLUMNS]);

impl Ahead {
    fn of(quantity: Affine, one: &Rise) -> Self {
        let mut columns = [[0.0; EACH]; COLUMNS];
        let later = |row: &Affine| Some(Affine(one.row_before(&row.0)));
        let rows = std::iter::successors(Some(quantity), later);
        for (index, row) in rows.take(EACH).enumerate() {
            for (column, entry) in columns.iter_mut().zip(row.0) {
                column[index] = entry;
            }
        }
        Self(columns)
    }

    fn at(&self, state: &State) -> [f64; EACH] {
        let mut values = self.0[STATES];
        for (index, value) in state.iter().enumerate() {
            // Most branches are not connected most of the time.
            if *value != 0.0 {
                add(&mut values, &self.0[index], *value);
            }
        }
        values
    }
}

/// Steps in each circuit that is met.
struct Paces {
    period: i64,
    /// Steps asked for, and their matrices once that is worth it.
    known: FxHashMap<*const Mode, (i64, Option<Box<Strides>>)>,
}

/// A step of one period, and one of [`EACH`].
struct Strides {
    one: Rise,
    each: Rise,
    /// Of each quantity, once it is asked for; nothing of one that is no linear
    /// function of the state.
    ahead: [OnceCell<Option<Box<Ahead>>>; PROBES],
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
        let (asked, strides) = self.known.entry(Arc::as_ptr(mode)).or_default();
        *asked += coming;
        if strides.is_none() && *asked > WORTHWHILE {
            let one = mode.propagator.rise(self.period);
            let each = one.doubled().doubled().doubled();
            let ahead = [const { OnceCell::new() }; PROBES];
            *strides = Some(Box::new(Strides { one, each, ahead }));
        }
        Pace {
            period: self.period,
            propagator: &mode.propagator,
            strides: strides.as_deref(),
        }
    }
}

/// Steps in one circuit.
#[derive(Clone, Copy)]
struct Pace<'a> {
    period: i64,
    propagator: &'a Propagator,
    strides: Option<&'a Strides>,
}

impl Pace<'_> {
    /// The state a period later.
    fn step(&self, state: &State) -> State {
        match self.strides {
            Some(strides) => strides.one.risen(state),
            None => self.propagator.advance(self.period, state),
        }
    }

    /// Samples from one state that is kept to the next.
    fn each(&self) -> usize {
        if self.strides.is_some() { EACH } else { 1 }
    }

    /// The next state that is kept.
    fn stride(&self, state: &State) -> State {
        match self.strides {
            Some(strides) => strides.each.risen(state),
            None => self.propagator.advance(self.period, state),
        }
    }
}

impl Circuit {
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
        let mut states = Vec::with_capacity(TOGETHER);
        // Where the last look was taken, the last state that was kept, and how many
        // steps lead from there to the next sample if nothing comes between.
        let mut last: Option<(Place, State, usize)> = None;
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
                Some((from, state, steps)) if self.history.goes_on(from, place) => {
                    (0..steps).fold(state, |state, _| pace.step(&state))
                }
                _ => stretch.state_at(instant),
            };
            let samples = here as usize;
            for first in (0..samples).step_by(TOGETHER) {
                let count = TOGETHER.min(samples - first);
                for index in 0..count.div_ceil(pace.each()) {
                    if first + index > 0 {
                        state = pace.stride(&state);
                    }
                    states.push(state);
                }
                look(&Look {
                    circuit: self,
                    segment,
                    pace,
                    states: &states,
                    count,
                });
                states.clear();
            }
            last = Some((place, state, (samples - 1) % pace.each() + 1));
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
}
