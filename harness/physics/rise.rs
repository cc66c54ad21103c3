//! How far one step moves the state: a matrix that is as small as the circuit
//! allows, since most circuits move a few variables only. It knows no spans.

use super::propagator::{COLUMNS, Matrix, STATES, State};

/// Acts on (state, 1) of which only the first `N` variables move: a column for each
/// of these, and the one of the constant.
#[derive(Clone, Copy, Debug)]
pub(super) struct Packed<const N: usize> {
    columns: [[f64; N]; N],
    constant: [f64; N],
}

impl<const N: usize> Packed<N> {
    /// No step at all.
    pub(super) const NONE: Self = Self {
        columns: [[0.0; N]; N],
        constant: [0.0; N],
    };

    /// Those entries of `matrix` that can be other than zero, times `factor`.
    pub(super) fn of(matrix: &Matrix, factor: f64) -> Self {
        let mut packed = Self::NONE;
        for (column, entries) in packed.columns.iter_mut().zip(matrix) {
            fill(column, entries, factor);
        }
        fill(&mut packed.constant, &matrix[STATES], factor);
        packed
    }

    /// The state after the step.
    pub(super) fn risen(&self, state: &State) -> State {
        let mut after = *state;
        if let Some(moving) = after.first_chunk_mut() {
            *moving = self.moved(moving);
        }
        after
    }

    /// The same, of the variables that move.
    #[inline]
    pub(super) fn moved(&self, moving: &[f64; N]) -> [f64; N] {
        let mut delta = self.constant;
        let mut columns = self.columns.iter();
        for value in moving {
            if let Some(column) = columns.next()
                // Branches that are not connected carry nothing, most of the time.
                && *value != 0.0
            {
                add(&mut delta, column, *value);
            }
        }
        let mut after = *moving;
        add(&mut after, &delta, 1.0);
        after
    }

    /// The row that gives at a state what `row` gives one step later.
    pub(super) fn row_before(&self, row: &[f64; COLUMNS]) -> [f64; COLUMNS] {
        let mut before = *row;
        if let Some(values) = row.first_chunk() {
            let mut columns = self.columns.iter();
            for entry in &mut before {
                if let Some(column) = columns.next() {
                    *entry = along(*entry, column, values);
                }
            }
            before[STATES] = along(before[STATES], &self.constant, values);
        }
        before
    }

    /// This step after `first`: (I + a)(I + b) - I.
    pub(super) fn after(&self, first: &Self) -> Self {
        let mut both = self.times(first);
        both.plus(self, first);
        both
    }

    /// This step twice.
    pub(super) fn doubled(&self) -> Self {
        self.after(self)
    }

    /// exp(m) - 1 by its series, `norm` being that of m; of one of 1/8 fourteen terms
    /// are taken.
    pub(super) fn exponential(&self, norm: f64) -> Self {
        let (mut sum, mut term) = (*self, *self);
        let mut share = 1.0;
        for order in 2..=14 {
            let factor = 1.0 / f64::from(order);
            share *= norm * factor;
            if share < NEGLIGIBLE {
                break;
            }
            term = self.times(&term).scaled(factor);
            for (total, column) in sum.columns.iter_mut().zip(&term.columns) {
                add(total, column, 1.0);
            }
            add(&mut sum.constant, &term.constant, 1.0);
        }
        sum
    }

    fn scaled(mut self, factor: f64) -> Self {
        let columns = self.columns.as_flattened_mut().iter_mut();
        for value in columns.chain(&mut self.constant) {
            *value *= factor;
        }
        self
    }

    /// This times `b`, both with a zero last row.
    fn times(&self, b: &Self) -> Self {
        let mut result = Self::NONE;
        for (target, column) in result.columns.iter_mut().zip(&b.columns) {
            *target = self.linear(column);
        }
        result.constant = self.linear(&b.constant);
        result
    }

    fn linear(&self, vector: &[f64; N]) -> [f64; N] {
        let mut sum = [0.0; N];
        let mut columns = self.columns.iter();
        for value in vector {
            if let Some(column) = columns.next()
                && *value != 0.0
            {
                add(&mut sum, column, *value);
            }
        }
        sum
    }

    fn plus(&mut self, a: &Self, b: &Self) {
        let (mut firsts, mut seconds) = (a.columns.iter(), b.columns.iter());
        for target in &mut self.columns {
            if let (Some(first), Some(second)) = (firsts.next(), seconds.next()) {
                add_both(target, first, second);
            }
        }
        add_both(&mut self.constant, &a.constant, &b.constant);
    }
}

/// A term of the exponential's series that is smaller than this share of the
/// first one is left out with all that follow.
const NEGLIGIBLE: f64 = 1e-20;

fn fill<const N: usize>(column: &mut [f64; N], entries: &[f64; STATES], factor: f64) {
    for (entry, value) in column.iter_mut().zip(entries) {
        *entry = value * factor;
    }
}

/// Adds `factor` times `column` to `sum`.
#[inline]
pub(super) fn add<const N: usize>(sum: &mut [f64; N], column: &[f64; N], factor: f64) {
    // Here and in what calls it one after the other: this is what a run spends its time
    // in. What puts two iterators together is not inlined in every profile, and an index
    // is checked for each entry.
    let mut entries = column.iter();
    for total in sum {
        if let Some(entry) = entries.next() {
            *total += entry * factor;
        }
    }
}

#[inline]
fn add_both<const N: usize>(sum: &mut [f64; N], a: &[f64; N], b: &[f64; N]) {
    let (mut firsts, mut seconds) = (a.iter(), b.iter());
    for total in sum {
        if let (Some(first), Some(second)) = (firsts.next(), seconds.next()) {
            *total += first + second;
        }
    }
}

/// `sum` plus the entries of `column` times those of `row`.
#[inline]
fn along<const N: usize>(mut sum: f64, column: &[f64; N], row: &[f64; N]) -> f64 {
    let mut values = row.iter();
    for entry in column {
        if let Some(value) = values.next() {
            sum += entry * value;
        }
    }
    sum
}
