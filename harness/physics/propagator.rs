//! The exact step of a linear circuit: how far the state rises in any whole
//! number of picoseconds. It knows matrices, not what their rows mean.

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
/// A term of the exponential's series that is smaller than this share of the
/// first one is left out with all that follow.
const NEGLIGIBLE: f64 = 1e-20;

/// The values of all state variables.
pub(super) type State = [f64; STATES];

/// A matrix acting on (state, 1), column by column. The generator [A b] and
/// every rise matrix have this shape; the augmented last row is zero.
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
pub(super) struct Propagator {
    short: Vec<Matrix>,
    long: OnceLock<Vec<Matrix>>,
}

impl Propagator {
    /// The propagator of x' = A x + b, `generator` in SI units.
    pub(super) fn new(generator: &Matrix) -> Self {
        let mut scaled = *generator;
        let mut norm: f64 = 0.0;
        for column in &mut scaled {
            let mut sum = 0.0;
            for value in column.iter_mut() {
                *value *= 1e-12;
                sum += value.abs();
            }
            norm = norm.max(sum);
        }
        assert!(norm.is_finite(), "the circuit's equations must be finite");
        let mut halvings = 0;
        while norm > 0.125 {
            norm *= 0.5;
            halvings += 1;
        }
        let factor = libm::ldexp(1.0, -halvings);
        for value in scaled.iter_mut().flatten() {
            *value *= factor;
        }
        let mut rise = taylor_rise(&scaled, norm);
        for _ in 0..halvings {
            rise = doubled(&rise);
        }
        Self {
            short: doublings(rise, SHORT),
            long: OnceLock::new(),
        }
    }

    /// The rise matrix of 2^`level` picoseconds.
    pub(super) fn level(&self, level: usize) -> &Matrix {
        match self.short.get(level) {
            Some(rise) => rise,
            None => &self.long()[level - SHORT],
        }
    }

    #[cold]
    fn long(&self) -> &[Matrix] {
        self.long
            .get_or_init(|| doublings(doubled(&self.short[SHORT - 1]), LEVELS - SHORT))
    }

    /// The state 2^`level` picoseconds later.
    pub(super) fn step(&self, level: usize, state: &State) -> State {
        risen(self.level(level), state)
    }

    /// The state `picoseconds` later, the longest steps first.
    pub(super) fn advance(&self, picoseconds: i64, state: &State) -> State {
        assert!(picoseconds >= 0, "the circuit only moves forward");
        let mut left = picoseconds;
        let mut state = *state;
        while left >> LEVELS != 0 {
            state = self.step(LEVELS - 1, &state);
            left -= 1 << (LEVELS - 1);
        }
        while left > 0 {
            let level = left.ilog2() as usize;
            state = self.step(level, &state);
            left -= 1 << level;
        }
        state
    }

    /// The rise matrix of `picoseconds`, for many steps of the same length.
    pub(super) fn rise(&self, picoseconds: i64) -> Matrix {
        assert!(picoseconds >= 0, "the circuit only moves forward");
        let mut left = picoseconds;
        let mut rise = [[0.0; STATES]; COLUMNS];
        while left > 0 {
            let level = (left.ilog2() as usize).min(LEVELS - 1);
            rise = composed(&rise, self.level(level));
            left -= 1 << level;
        }
        rise
    }
}

/// The state after one step of `rise`.
pub(super) fn risen(rise: &Matrix, state: &State) -> State {
    let mut delta = rise[STATES];
    for (index, value) in state.iter().enumerate() {
        // Branches that are not connected carry nothing, most of the time.
        if *value != 0.0 {
            add(&mut delta, &rise[index], *value);
        }
    }
    add(&mut delta, state, 1.0);
    delta
}

/// Adds `factor` times `column` to `sum`.
#[inline]
pub(super) fn add<const N: usize>(sum: &mut [f64; N], column: &[f64; N], factor: f64) {
    // Here and in `row_before` one after the other: this is what a run spends its time
    // in. What puts two iterators together is not inlined in every profile, and an index
    // is checked for each entry.
    let mut entries = column.iter();
    for total in sum {
        if let Some(entry) = entries.next() {
            *total += entry * factor;
        }
    }
}

/// The row that gives at a state what `row` gives one step of `rise` later.
pub(super) fn row_before(rise: &Matrix, row: &[f64; COLUMNS]) -> [f64; COLUMNS] {
    let mut before = *row;
    for (place, column) in rise.iter().enumerate() {
        let mut values = row.iter();
        for entry in column {
            if let Some(value) = values.next() {
                before[place] += entry * value;
            }
        }
    }
    before
}

/// `a` times `b`, both with a zero last row.
fn product(a: &Matrix, b: &Matrix) -> Matrix {
    let mut result = [[0.0; STATES]; COLUMNS];
    for (place, column) in b.iter().enumerate() {
        for (index, value) in column.iter().enumerate() {
            if *value != 0.0 {
                add(&mut result[place], &a[index], *value);
            }
        }
    }
    result
}

/// (I + a)(I + b) - I.
fn composed(a: &Matrix, b: &Matrix) -> Matrix {
    let mut result = product(a, b);
    for (place, target) in result.iter_mut().enumerate() {
        for (index, sum) in target.iter_mut().enumerate() {
            *sum += a[place][index] + b[place][index];
        }
    }
    result
}

/// The rise matrix of twice the span of `rise`.
pub(super) fn doubled(rise: &Matrix) -> Matrix {
    composed(rise, rise)
}

/// `first` and what comes of doubling it again and again, `count` in all.
fn doublings(first: Matrix, count: usize) -> Vec<Matrix> {
    let next = |rise: &Matrix| Some(doubled(rise));
    std::iter::successors(Some(first), next)
        .take(count)
        .collect()
}

/// exp(m) - 1 by its series, `m` having `norm`; of one of 1/8 fourteen terms
/// are taken.
fn taylor_rise(m: &Matrix, norm: f64) -> Matrix {
    let mut sum = *m;
    let mut term = *m;
    let mut share = 1.0;
    for order in 2..=14 {
        let factor = 1.0 / f64::from(order);
        share *= norm * factor;
        if share < NEGLIGIBLE {
            break;
        }
        term = product(m, &term);
        for (total, value) in sum.iter_mut().flatten().zip(term.iter_mut().flatten()) {
            *value *= factor;
            *total += *value;
        }
    }
    sum
}
