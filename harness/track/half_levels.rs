//! The level of every half-bit of one polarity: their mean, and the least and
//! greatest of them. It judges none.

use super::spread::{Extreme, deviation_left, extreme_of};

/// Levels at each end that are kept.
const KEPT: usize = 32;

/// Levels of halves, in raw units.
#[derive(Clone, Debug)]
pub(super) struct HalfLevels {
    count: f64,
    mean: f64,
    squares: f64,
    /// Level and position, the lowest first and the highest first.
    lowest: Vec<(f64, f64)>,
    highest: Vec<(f64, f64)>,
}

impl HalfLevels {
    pub(super) const fn new() -> Self {
        Self {
            count: 0.0,
            mean: 0.0,
            squares: 0.0,
            lowest: Vec::new(),
            highest: Vec::new(),
        }
    }

    /// Takes the level of one half, which ended at `position`.
    pub(super) fn push(&mut self, level: f64, position: f64) {
        if !level.is_finite() {
            return;
        }
        // Welford's update (Technometrics 4, 1962, p. 419).
        self.count += 1.0;
        let distance = level - self.mean;
        self.mean += distance / self.count;
        self.squares += distance * (level - self.mean);
        insert(&mut self.lowest, (level, position), |a, b| a < b);
        insert(&mut self.highest, (level, position), |a, b| a > b);
    }

    fn deviation(&self) -> f64 {
        libm::sqrt(self.squares / (self.count - 1.0).max(1.0))
    }

    /// Their mean and what it owns alone; none of fewer than three.
    pub(super) fn mean(&self) -> Option<(f64, f64)> {
        (self.count >= 3.0).then(|| (self.mean, self.deviation() / libm::sqrt(self.count)))
    }

    /// The lowest or highest, less what noise of `noise` in each overstates it
    /// by; its standard uncertainty, and when that half ended.
    pub(super) fn extreme(&self, highest: bool, noise: f64) -> Option<(f64, f64, f64)> {
        let list = if highest { &self.highest } else { &self.lowest };
        let first = list.first()?;
        let values: Vec<f64> = list.iter().map(|(level, _)| *level).collect();
        let alike = values
            .iter()
            .filter(|v| (*v - first.0).abs() <= 3.0 * noise)
            .count();
        if alike < values.len() || (values.len() as f64) >= self.count {
            let Extreme { value, u, .. } = extreme_of(&values, noise, highest);
            return Some((value, u, first.1));
        }
        let (bias, u) = deviation_left(self.count as u64, self.deviation(), noise);
        let value = if highest {
            first.0 - bias
        } else {
            first.0 + bias
        };
        Some((value, u, first.1))
    }
}

fn insert(list: &mut Vec<(f64, f64)>, item: (f64, f64), before: fn(f64, f64) -> bool) {
    let full = list.len() >= KEPT;
    if full && list.last().is_some_and(|last| !before(item.0, last.0)) {
        return;
    }
    let place = list.partition_point(|other| !before(item.0, other.0));
    list.insert(place, item);
    list.truncate(KEPT);
}
