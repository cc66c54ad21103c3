//! Means over the kept trajectory, as a meter integrates it. It moves nothing and
//! rounds nothing.

use super::action::Probe;
use super::affine::Affine;
use super::circuit::Circuit;
use super::mode::Mode;
use super::propagator::Propagator;
use crate::clock::{BenchInstant, PICOSECONDS};
use rustc_hash::FxHashMap;
use std::sync::Arc;

impl Circuit {
    /// Mean of a probe's value over `from` to `to`, for meters: exact within each
    /// linear stretch in which the value is a linear function of the state.
    pub fn mean(&self, probe: Probe, from: BenchInstant, to: BenchInstant) -> Option<f64> {
        let mut integrals = Integrals::default();
        self.mean_of(from, to, |from, to| {
            self.integral(probe, (from, to), &mut integrals)
        })
    }

    /// Mean of a probe's magnitude over `from` to `to`, for rectifying meters.
    pub fn mean_magnitude(
        &self,
        probe: Probe,
        from: BenchInstant,
        to: BenchInstant,
    ) -> Option<f64> {
        self.mean_of(from, to, |from, to| {
            self.simpson(probe, (from, to), f64::abs)
        })
    }

    fn mean_of(
        &self,
        from: BenchInstant,
        to: BenchInstant,
        mut integral: impl FnMut(i64, i64) -> Option<f64>,
    ) -> Option<f64> {
        let (from, to) = (from.picoseconds(), to.picoseconds());
        if to <= from || to > self.now {
            return None;
        }
        let mut sum = 0.0;
        let mut instant = from;
        // What repeats itself has the same integral each time.
        while instant < to {
            let (end, turns) = self.history.next_turns(instant, to);
            sum += integral(instant, end)? * turns as f64;
            instant += (end - instant) * turns;
        }
        Some(sum / seconds(to - from))
    }

    fn integral(
        &self,
        probe: Probe,
        (from, to): (i64, i64),
        integrals: &mut Integrals,
    ) -> Option<f64> {
        let mut place = self.history.place_at(from)?;
        let (mut instant, mut sum) = (from, 0.0);
        while instant < to {
            let mut end = self.history.end_of(place, i64::MAX);
            while end <= instant {
                place = self.history.after(place)?;
                end = self.history.end_of(place, i64::MAX);
            }
            let end = end.min(to);
            let stretch = self.history.stretch(place);
            let mode = &stretch.segment.mode;
            sum += match mode.linear(&self.electrics, probe) {
                Some(quantity) => {
                    let integral = integrals.of(mode, &quantity, end - instant);
                    integral.at(&stretch.state_at(instant))
                }
                None => self.simpson(probe, (instant, end), |value| value)?,
            };
            instant = end;
        }
        Some(sum)
    }

    /// Simpson's rule on each piece. A piece grows with the time since its
    /// stretch began, so the exponentials in it are nearly spent.
    fn simpson(
        &self,
        probe: Probe,
        (from, to): (i64, i64),
        shape: impl Fn(f64) -> f64,
    ) -> Option<f64> {
        let mut sum = 0.0;
        for piece in self.pieces(from, to)? {
            let segment = piece.segment;
            let value = |state| {
                let upstream = segment.upstream;
                shape(segment.mode.probe(&self.electrics, probe, state, upstream))
            };
            let half = piece.span / 2;
            let propagator = &segment.mode.propagator;
            let middle = propagator.advance(half, &piece.before);
            let end = propagator.advance(piece.span - half, &middle);
            let mean = (value(&piece.before) + 4.0 * value(&middle) + value(&end)) / 6.0;
            sum += mean * seconds(piece.span);
        }
        Some(sum)
    }
}

fn seconds(picoseconds: i64) -> f64 {
    picoseconds as f64 / PICOSECONDS as f64
}

/// Integrals of one quantity as linear functions of the state that a stretch begins
/// with. Circuits are looked up by where they stand, never walked, and are kept as
/// long as this.
#[derive(Default)]
struct Integrals {
    /// Over 2^k picoseconds, for each k from zero.
    levels: FxHashMap<*const Mode, Vec<Affine>>,
    spans: FxHashMap<(*const Mode, i64), Affine>,
}

impl Integrals {
    /// The integral of `quantity`, the same one each time, over `span` picoseconds
    /// in `mode`.
    fn of(&mut self, mode: &Arc<Mode>, quantity: &Affine, span: i64) -> Affine {
        let (levels, here) = (&mut self.levels, Arc::as_ptr(mode));
        let found = self.spans.entry((here, span)).or_insert_with(|| {
            let levels = levels.entry(here).or_default();
            composed(&mode.propagator, quantity, levels, span)
        });
        *found
    }
}

/// The integral over `span`: Q(s + t) = Q(s) + Q(t) E(s), the longest spans first.
fn composed(
    propagator: &Propagator,
    quantity: &Affine,
    levels: &mut Vec<Affine>,
    span: i64,
) -> Affine {
    let mut sum = Affine::zero();
    // From the last and shortest span back to the first.
    for level in 0..=span.ilog2() as usize {
        if levels.len() <= level {
            let next = match levels.last() {
                // The trapezium errs by (1 ps / tau)^2 / 12 of what dies away with tau.
                None => quantity
                    .plus(1.0, before(propagator, 0, quantity))
                    .times(0.5 / PICOSECONDS as f64),
                Some(half) => half.plus(1.0, before(propagator, level - 1, half)),
            };
            levels.push(next);
        }
        if span >> level & 1 == 1 {
            sum = levels[level].plus(1.0, before(propagator, level, &sum));
        }
    }
    sum
}

/// What gives at a state the value of `later` 2^`level` picoseconds later.
fn before(propagator: &Propagator, level: usize, later: &Affine) -> Affine {
    Affine(propagator.row_before(level, &later.0))
}
