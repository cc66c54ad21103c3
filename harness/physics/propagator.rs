//! The exact step of a linear circuit: how far the state rises in any whole
//! number of picoseconds. It knows matrices, not what their rows mean.

use super::rise::Packed;
use std::sync::OnceLock;

/// Number of state variables.
pub(super) const STATES: usize = 11;
/// Columns of the augmented matrix: one for each state, one for the constant.
pub(super) const COLUMNS: usize = STATES + 1;
/// The longest single step is 2^44 ps, about 17.6 s.
pub(super) const LEVELS: usize = 45;
/// Steps of 2^27 ps, about 134 us, and more are made when one is asked for:
/// most circuits are in force for less than a half-bit.
const SHORT: usize = 27;

/// The values of all state variables.
pub(super) type State = [f64; STATES];

/// A matrix acting on (state, 1), column by column: the generator [A b] of a circuit.
/// The augmented last row is zero.
pub(super) type Matrix = [[f64; STATES]; COLUMNS];

/// Rise matrices E - I for spans of 2^k picoseconds, where E is the exponential
/// of the augmented generator.
///
/// Keeping E - I instead of E preserves the tiny rises of slow variables over
/// short spans, which E would round away against its ones. The recursion
/// D(2h) = 2 D(h) + D(h)^2 is the squaring phase of scaling and squaring
/// (N. J. Higham, "Functions of Matrices", SIAM 2008, section 10.3) written
/// for the rise; it adds about one rounding a level.
#[derive(Debug)]
pub(super) enum Propagator {
    /// Where the first four variables alone move: a board without a load.
    Four(Ladder<4>),
    /// With a load and the near short at most.
    Eight(Ladder<8>),
    /// With anything.
    All(Ladder<STATES>),
}

/// One step of any length.
#[derive(Clone, Debug)]
pub(super) enum Rise {
    /// As for [`Propagator::Four`].
    Four(Box<Packed<4>>),
    /// As for [`Propagator::Eight`].
    Eight(Box<Packed<8>>),
    /// As for [`Propagator::All`].
    All(Box<Packed<STATES>>),
}

/// The same with whatever is inside, which has the same functions.
macro_rules! whatever {
    ($of:expr, $kind:ident, $inside:ident => $result:expr) => {
        match $of {
            $kind::Four($inside) => $result,
            $kind::Eight($inside) => $result,
            $kind::All($inside) => $result,
        }
    };
}

impl Propagator {
    /// The propagator of x' = A x + b, `generator` in SI units.
    pub(super) fn new(generator: &Matrix) -> Self {
        match moving(generator) {
            ..=4 => Self::Four(Ladder::new(generator)),
            5..=8 => Self::Eight(Ladder::new(generator)),
            _ => Self::All(Ladder::new(generator)),
        }
    }

    /// The state 2^`level` picoseconds later.
    pub(super) fn step(&self, level: usize, state: &State) -> State {
        whatever!(self, Self, ladder => ladder.level(level).risen(state))
    }

    /// The state `picoseconds` later, the longest steps first.
    pub(super) fn advance(&self, picoseconds: i64, state: &State) -> State {
        assert!(picoseconds >= 0, "the circuit only moves forward");
        whatever!(self, Self, ladder => ladder.advance(picoseconds, state))
    }

    /// The row that gives at a state what `row` gives 2^`level` picoseconds later.
    pub(super) fn row_before(&self, level: usize, row: &[f64; COLUMNS]) -> [f64; COLUMNS] {
        whatever!(self, Self, ladder => ladder.level(level).row_before(row))
    }

    /// The step of `picoseconds`, for many of the same length.
    pub(super) fn rise(&self, picoseconds: i64) -> Rise {
        assert!(picoseconds >= 0, "the circuit only moves forward");
        match self {
            Self::Four(ladder) => Rise::Four(Box::new(ladder.rise(picoseconds))),
            Self::Eight(ladder) => Rise::Eight(Box::new(ladder.rise(picoseconds))),
            Self::All(ladder) => Rise::All(Box::new(ladder.rise(picoseconds))),
        }
    }
}

impl Rise {
    /// The state after the step.
    pub(super) fn risen(&self, state: &State) -> State {
        whatever!(self, Self, packed => packed.risen(state))
    }

    /// The row that gives at a state what `row` gives one step later.
    pub(super) fn row_before(&self, row: &[f64; COLUMNS]) -> [f64; COLUMNS] {
        whatever!(self, Self, packed => packed.row_before(row))
    }

    /// The step twice.
    pub(super) fn doubled(&self) -> Self {
        match self {
            Self::Four(packed) => Self::Four(Box::new(packed.doubled())),
            Self::Eight(packed) => Self::Eight(Box::new(packed.doubled())),
            Self::All(packed) => Self::All(Box::new(packed.doubled())),
        }
    }
}

/// Steps of 2^k picoseconds for each k from zero.
#[derive(Debug)]
pub(super) struct Ladder<const N: usize> {
    short: Vec<Packed<N>>,
    long: OnceLock<Vec<Packed<N>>>,
}

impl<const N: usize> Ladder<N> {
    fn new(generator: &Matrix) -> Self {
        let sum = |column: &[f64; STATES]| -> f64 {
            column.iter().map(|value| (value * 1e-12).abs()).sum()
        };
        let mut norm = generator.iter().map(sum).fold(0.0, f64::max);
        assert!(norm.is_finite(), "the circuit's equations must be finite");
        let mut halvings = 0;
        while norm > 0.125 {
            norm *= 0.5;
            halvings += 1;
        }
        let scaled = Packed::of(generator, 1e-12 * libm::ldexp(1.0, -halvings));
        let rise = scaled.exponential(norm);
        let first = (0..halvings).fold(rise, |rise, _| rise.doubled());
        Self {
            short: doublings(first, SHORT),
            long: OnceLock::new(),
        }
    }

    fn level(&self, level: usize) -> &Packed<N> {
        match self.short.get(level) {
            Some(rise) => rise,
            None => &self.long()[level - SHORT],
        }
    }

    #[cold]
    fn long(&self) -> &[Packed<N>] {
        self.long
            .get_or_init(|| doublings(self.short[SHORT - 1].doubled(), LEVELS - SHORT))
    }

    fn advance(&self, picoseconds: i64, state: &State) -> State {
        let mut left = picoseconds;
        let mut after = *state;
        if let Some(moving) = after.first_chunk_mut() {
            while left >> LEVELS != 0 {
                *moving = self.level(LEVELS - 1).moved(moving);
                left -= 1 << (LEVELS - 1);
            }
            while left > 0 {
                let level = left.ilog2() as usize;
                *moving = self.level(level).moved(moving);
                left -= 1 << level;
            }
        }
        after
    }

    fn rise(&self, picoseconds: i64) -> Packed<N> {
        let mut left = picoseconds;
        let mut rise = Packed::NONE;
        while left > 0 {
            let level = (left.ilog2() as usize).min(LEVELS - 1);
            rise = rise.after(self.level(level));
            left -= 1 << level;
        }
        rise
    }
}

/// How many variables, from the first on, hold all that move or move others.
fn moving(generator: &Matrix) -> usize {
    let still = |index: usize| {
        let row = generator.iter().all(|column| column[index] == 0.0);
        row && generator[index].iter().all(|entry| *entry == 0.0)
    };
    (0..STATES)
        .rev()
        .find(|&index| !still(index))
        .map_or(0, |last| last + 1)
}

/// `first` and what comes of doubling it again and again, `count` in all.
fn doublings<const N: usize>(first: Packed<N>, count: usize) -> Vec<Packed<N>> {
    let mut steps = Vec::with_capacity(count);
    let mut next = first;
    for _ in 1..count {
        steps.push(next);
        next = next.doubled();
    }
    steps.push(next);
    steps
}
