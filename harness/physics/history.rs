//! Edges and crossings in the kept trajectory, and its pieces. It moves nothing; how
//! the trajectory is kept is said in `trajectory`.

use super::action::{Probe, bit};
use super::circuit::Circuit;
use super::propagator::State;
use super::step::step_level;
use super::trajectory::Segment;
use crate::clock::BenchInstant;
use crate::waveform::LogicLine;

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
