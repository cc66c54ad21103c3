//! The kept trajectory as a list: linear stretches with their starting states,
//! and runs of stretches that repeat themselves. It reads nothing out of them;
//! memory is bounded.

use super::mode::Mode;
use super::propagator::State;
use std::collections::VecDeque;
use std::sync::Arc;

/// Most stretches that are kept, a run of repeated ones counting as one; the
/// oldest go first.
const CHUNKS: usize = 1 << 19;
/// One linear stretch: in force from `start` until the next one's.
#[derive(Clone, Debug)]
pub(super) struct Segment {
    pub(super) start: i64,
    pub(super) mode: Arc<Mode>,
    pub(super) state: State,
    pub(super) lines: u16,
    pub(super) upstream: f64,
    /// It goes on where the one before it ended: only lines have changed.
    pub(super) continued: bool,
}

impl Segment {
    /// Whether it is only more of `last`, lines included.
    pub(super) fn adds_nothing_to(&self, last: &Self) -> bool {
        self.continued && last.lines == self.lines && last.upstream == self.upstream
    }
}

/// The stretches that begin in a period which ends at `end`, that instant
/// included, and in each one after it.
#[derive(Clone, Debug)]
pub(super) struct Turns {
    pub(super) template: Arc<[Segment]>,
    pub(super) period: i64,
    pub(super) end: i64,
}

impl Turns {
    /// How many periods after the template is the one that begins at `start`?
    fn turn_from(&self, start: i64) -> i64 {
        (start - self.end) / self.period + 1
    }

    /// The stretches that begin in the period after `start`.
    pub(super) fn stretches_after(&self, start: i64) -> impl Iterator<Item = Stretch<'_>> {
        let shift = self.turn_from(start) * self.period;
        self.template.iter().map(move |segment| Stretch {
            segment,
            start: segment.start + shift,
            origin: (segment.start + shift, &segment.state),
        })
    }

    /// The one in force at `instant` that begins in the period after `start`.
    pub(super) fn within(&self, start: i64, instant: i64) -> Option<Stretch<'_>> {
        let begun = |stretch: &Stretch<'_>| stretch.start <= instant;
        self.stretches_after(start).take_while(begun).last()
    }
}

/// A stretch of stretches that repeats itself: `template` once for each turn
/// from `first` to `last`, each a period later than the one before.
#[derive(Clone, Debug)]
struct Run {
    template: Arc<[Segment]>,
    period: i64,
    first: i64,
    last: i64,
    /// Only the lines repeat themselves; voltages and currents go on from the
    /// template's start.
    drifts: bool,
}

impl Run {
    fn stretch(&self, turn: i64, within: usize) -> Stretch<'_> {
        let segment = &self.template[within];
        let start = segment.start + turn * self.period;
        let origin = if self.drifts {
            let first = &self.template[0];
            (first.start, &first.state)
        } else {
            (start, &segment.state)
        };
        Stretch {
            segment,
            start,
            origin,
        }
    }
}

/// What the history is a list of.
#[derive(Clone, Debug)]
enum Chunk {
    One(Segment),
    Run(Run),
}

impl Chunk {
    fn start(&self) -> i64 {
        match self {
            Self::One(segment) => segment.start,
            Self::Run(run) => run.template[0].start + run.first * run.period,
        }
    }
}

/// Where in the history a stretch is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Place {
    chunk: usize,
    turn: i64,
    within: usize,
}

/// A stretch at its place in time.
#[derive(Clone, Copy)]
pub(super) struct Stretch<'a> {
    pub(super) segment: &'a Segment,
    pub(super) start: i64,
    /// Where its voltages and currents come from.
    origin: (i64, &'a State),
}

impl Stretch<'_> {
    pub(super) fn state_at(&self, instant: i64) -> State {
        let (since, state) = self.origin;
        self.segment.mode.propagator.advance(instant - since, state)
    }
}

/// The stretches, oldest first.
#[derive(Clone, Debug)]
pub(super) struct History {
    span: i64,
    chunks: VecDeque<Chunk>,
}

impl History {
    pub(super) const fn new() -> Self {
        Self {
            span: 0,
            chunks: VecDeque::new(),
        }
    }

    pub(super) fn is_kept(&self) -> bool {
        self.span > 0
    }

    /// Starts keeping at `present`, or changes how much is kept.
    pub(super) fn keep(&mut self, span: i64, present: Segment) {
        self.span = span.max(0);
        if self.span == 0 {
            self.chunks = VecDeque::new();
        } else if self.chunks.is_empty() {
            self.chunks.push_back(Chunk::One(present));
        }
    }

    pub(super) fn push(&mut self, mut segment: Segment) {
        self.open_last_turn();
        if let Some(Chunk::One(last)) = self.chunks.back() {
            if last.start == segment.start {
                // Settling twice at one instant leaves only the outcome.
                segment.continued &= last.continued;
                self.chunks.pop_back();
            } else if segment.adds_nothing_to(last) {
                return;
            }
        }
        let start = segment.start;
        self.chunks.push_back(Chunk::One(segment));
        if self.chunks.len() > CHUNKS {
            self.chunks.pop_front();
        }
        self.trim(start);
    }

    /// Repeats `turns` for `periods` periods after `start`; of what `drifts`, the
    /// lines alone.
    pub(super) fn repeat(&mut self, turns: &Turns, start: i64, periods: i64, drifts: bool) {
        let first = turns.turn_from(start);
        if !self.is_kept() || turns.template.is_empty() || periods <= 0 {
            return;
        }
        if let Some(Chunk::Run(run)) = self.chunks.back_mut()
            && Arc::ptr_eq(&run.template, &turns.template)
            && run.last + 1 == first
        {
            run.last += periods;
            return;
        }
        self.chunks.push_back(Chunk::Run(Run {
            template: Arc::clone(&turns.template),
            period: turns.period,
            first,
            last: first + periods - 1,
            drifts,
        }));
    }

    /// Replaces what has been kept by the period before `start` and the one after
    /// it. Whether that says anything.
    pub(super) fn begin_with(&mut self, turns: &Turns, start: i64) -> bool {
        if turns.template.is_empty() {
            return false;
        }
        self.chunks.clear();
        self.repeat(turns, start - turns.period, 2, false);
        true
    }

    /// Forgets the last turn of the run at the end; a run that is all there is goes
    /// back by one.
    pub(super) fn take_back_a_turn(&mut self) {
        let alone = self.chunks.len() == 1;
        if let Some(Chunk::Run(run)) = self.chunks.back_mut() {
            run.last -= 1;
            if alone {
                run.first = run.first.min(run.last);
            } else if run.last < run.first {
                self.chunks.pop_back();
            }
        }
    }

    /// Takes the last turn of a run at the end apart, so that what follows can
    /// join or replace its end.
    fn open_last_turn(&mut self) {
        let Some(Chunk::Run(_)) = self.chunks.back() else {
            return;
        };
        let Some(Chunk::Run(mut run)) = self.chunks.pop_back() else {
            return;
        };
        let opened: Vec<Segment> = (0..run.template.len())
            .map(|within| {
                let stretch = run.stretch(run.last, within);
                Segment {
                    start: stretch.start,
                    state: stretch.state_at(stretch.start),
                    ..stretch.segment.clone()
                }
            })
            .collect();
        run.last -= 1;
        if run.last >= run.first {
            self.chunks.push_back(Chunk::Run(run));
        }
        self.chunks.extend(opened.into_iter().map(Chunk::One));
    }

    /// Forgets what ended longer ago than the kept span.
    pub(super) fn trim(&mut self, now: i64) {
        let oldest = now.saturating_sub(self.span);
        while self
            .chunks
            .get(1)
            .is_some_and(|second| second.start() <= oldest)
        {
            self.chunks.pop_front();
        }
        if let Some(Chunk::Run(run)) = self.chunks.front_mut() {
            let turn = (oldest - run.template[0].start).div_euclid(run.period);
            run.first = turn.clamp(run.first, run.last);
        }
    }

    /// The stretch in force at `instant`.
    pub(super) fn place_at(&self, instant: i64) -> Option<Place> {
        let chunk = self
            .chunks
            .partition_point(|chunk| chunk.start() <= instant)
            .checked_sub(1)?;
        Some(self.place_in(chunk, instant))
    }

    /// The stretch in force at `instant`, which is not before the one at `from`
    /// and most often near it.
    pub(super) fn place_from(&self, from: Place, instant: i64) -> Place {
        let begun = |chunk: usize| {
            let chunk = self.chunks.get(chunk);
            chunk.is_some_and(|chunk| chunk.start() <= instant)
        };
        let (mut chunk, mut stride) = (from.chunk, 1);
        while begun(chunk + stride) {
            chunk += stride;
            stride *= 2;
        }
        while stride > 1 {
            stride /= 2;
            if begun(chunk + stride) {
                chunk += stride;
            }
        }
        self.place_in(chunk, instant)
    }

    fn place_in(&self, chunk: usize, instant: i64) -> Place {
        let (turn, within) = match &self.chunks[chunk] {
            Chunk::One(_) => (0, 0),
            Chunk::Run(run) => {
                let turn = (instant - run.template[0].start).div_euclid(run.period);
                let turn = turn.clamp(run.first, run.last);
                let shifted = instant - turn * run.period;
                let after = run.template.partition_point(|s| s.start <= shifted);
                (turn, after.saturating_sub(1))
            }
        };
        Place {
            chunk,
            turn,
            within,
        }
    }

    pub(super) fn oldest(&self) -> Option<Place> {
        self.first_of(0)
    }

    fn first_of(&self, chunk: usize) -> Option<Place> {
        let turn = match self.chunks.get(chunk)? {
            Chunk::One(_) => 0,
            Chunk::Run(run) => run.first,
        };
        Some(Place {
            chunk,
            turn,
            within: 0,
        })
    }

    pub(super) fn stretch(&self, place: Place) -> Stretch<'_> {
        match &self.chunks[place.chunk] {
            Chunk::One(segment) => Stretch {
                segment,
                start: segment.start,
                origin: (segment.start, &segment.state),
            },
            Chunk::Run(run) => run.stretch(place.turn, place.within),
        }
    }

    /// Whether voltages and currents simply go on in the same circuit from the
    /// stretch at `from` to the one at `to`, which is the next or in the same
    /// run.
    pub(super) fn goes_on(&self, from: Place, to: Place) -> bool {
        match &self.chunks[to.chunk] {
            Chunk::Run(run) if from.chunk == to.chunk && run.drifts => true,
            _ => self.after(from) == Some(to) && self.stretch(to).segment.continued,
        }
    }

    /// From `from` on: the end of what is to be read next, no later than `to`, and
    /// how often it then comes, that time included.
    pub(super) fn next_turns(&self, from: i64, to: i64) -> (i64, i64) {
        let begun = self.chunks.partition_point(|chunk| chunk.start() <= from);
        let end = self
            .chunks
            .get(begun)
            .map_or(to, |next| next.start().min(to));
        let here = begun.checked_sub(1).map(|here| &self.chunks[here]);
        match here {
            Some(Chunk::Run(run)) if !run.drifts && end - from > run.period => {
                (from + run.period, (end - from) / run.period)
            }
            _ => (end, 1),
        }
    }

    /// The place after `place`, if there is one.
    pub(super) fn after(&self, place: Place) -> Option<Place> {
        if let Chunk::Run(run) = &self.chunks[place.chunk] {
            if place.within + 1 < run.template.len() {
                return Some(Place {
                    within: place.within + 1,
                    ..place
                });
            }
            if place.turn < run.last {
                return Some(Place {
                    turn: place.turn + 1,
                    within: 0,
                    ..place
                });
            }
        }
        self.first_of(place.chunk + 1)
    }

    /// Where the stretch at `place` ends; `open` where none follows.
    pub(super) fn end_of(&self, place: Place, open: i64) -> i64 {
        let next = self.after(place);
        next.map_or(open, |next| self.stretch(next).start)
    }
}
