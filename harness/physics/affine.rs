//! Linear functions of the state, in which the equations are written. It knows
//! no circuit.

use super::propagator::{COLUMNS, STATES, State};
use super::rise::add;

/// A linear function of the state and the constant one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Affine(pub(super) [f64; COLUMNS]);

impl Affine {
    pub(super) fn constant(value: f64) -> Self {
        let mut entries = [0.0; COLUMNS];
        entries[STATES] = value;
        Self(entries)
    }

    pub(super) fn state(index: usize) -> Self {
        let mut entries = [0.0; COLUMNS];
        entries[index] = 1.0;
        Self(entries)
    }

    pub(super) fn zero() -> Self {
        Self([0.0; COLUMNS])
    }

    /// This plus `factor` times `other`.
    pub(super) fn plus(mut self, factor: f64, other: Self) -> Self {
        add(&mut self.0, &other.0, factor);
        self
    }

    pub(super) fn times(self, factor: f64) -> Self {
        Self::zero().plus(factor, self)
    }

    /// Its value at `state`.
    pub(super) fn at(&self, state: &State) -> f64 {
        // Sums side by side: one after the other, each would wait for the last.
        let mut sums = [0.0, 0.0, 0.0, self.0[STATES]];
        for (index, value) in state.iter().enumerate() {
            sums[index % 4] += self.0[index] * value;
        }
        (sums[0] + sums[1]) + (sums[2] + sums[3])
    }
}
