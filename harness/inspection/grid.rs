//! How edges were sampled, told by the edges alone. It decodes nothing.

use crate::clock::BenchInstant;
use crate::track::{Edge, Polarity};
use std::collections::BTreeMap;

/// Fewest stretches from which a sampling grid is concluded.
const GRID_FEWEST: u64 = 500;
/// Different lengths that are told apart.
const GRID_LENGTHS: usize = 4096;

/// The coarsest grid on which all edges lie: how they were sampled, whatever
/// the file's time unit. Believed only where stretches of one polarity flicker
/// by one step of it, since a generated signal may be round without being
/// sampled.
#[derive(Clone, Debug, Default)]
pub struct Grid {
    last: Option<BenchInstant>,
    step: i64,
    count: u64,
    lengths: BTreeMap<(Polarity, i64), u64>,
}

impl Grid {
    /// The polarity known first: its stretch began before the capture.
    pub const fn begin(&mut self) {
        self.last = None;
    }

    /// An edge.
    pub fn push(&mut self, edge: Edge) {
        if let Some(last) = self.last {
            let length = (edge.at - last).picoseconds();
            self.step = divisor(self.step, length);
            self.count += 1;
            let key = (edge.to, length);
            if self.lengths.len() < GRID_LENGTHS || self.lengths.contains_key(&key) {
                *self.lengths.entry(key).or_default() += 1;
            }
        }
        self.last = Some(edge.at);
    }

    /// The sampling period that the edges show, s.
    pub fn period(&self) -> Option<f64> {
        let often = |key: &(Polarity, i64)| self.lengths.get(key).is_some_and(|n| *n >= 5);
        let flickers = self
            .lengths
            .keys()
            .any(|key| often(key) && often(&(key.0, key.1 + self.step)));
        (self.count >= GRID_FEWEST && self.step > 0 && flickers).then_some(self.step as f64 * 1e-12)
    }
}

fn divisor(a: i64, b: i64) -> i64 {
    let (mut a, mut b) = (a.abs(), b.abs());
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}
