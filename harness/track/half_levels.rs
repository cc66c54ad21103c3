//! The level of every half-bit of one polarity: their mean, and the least and
//! greatest of them. It judges none.

use super::extremes::{alone, deviation_left};

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

    /// Count, mean and deviation of the halves within `room` of `centre`. Of
    /// those farther away, which collapsed or were disturbed, as many as are
    /// kept are left out.
    fn sound(&self, centre: f64, room: f64) -> (f64, f64, f64) {
        let low = self.lowest.iter().map(|(level, _)| *level);
        let high = self.highest.iter().map(|(level, _)| *level);
        let out = low
            .filter(|level| centre - level > room)
            .chain(high.filter(|level| level - centre > room));
        // Counted from the mean, so that nothing cancels.
        let (mut count, mut sum, mut squares) = (self.count, 0.0, self.squares);
        for level in out {
            let distance = level - self.mean;
            count -= 1.0;
            sum -= distance;
            squares -= distance * distance;
        }
        let shift = sum / count.max(1.0);
        let left = (squares - count * shift * shift).max(0.0) / (count - 1.0).max(1.0);
        (count, self.mean + shift, libm::sqrt(left))
    }

    /// The mean of those within `room` of `centre` and what it owns alone; none
    /// of fewer than three.
    pub(super) fn mean(&self, centre: f64, room: f64) -> Option<(f64, f64)> {
        let (count, mean, deviation) = self.sound(centre, room);
        // Wider for few, by Student's law.
        let few = (count - 1.0) / (count - 3.0).max(0.5);
        (count >= 3.0).then(|| (mean, deviation * libm::sqrt(few / count)))
    }

    /// The lowest or highest, less what noise of `noise` in each overstates it
    /// by; its standard uncertainty, and when that half ended.
    pub(super) fn extreme(
        &self,
        highest: bool,
        noise: f64,
        (centre, room): (f64, f64),
    ) -> Option<(f64, f64, f64)> {
        let list = if highest { &self.highest } else { &self.lowest };
        let (first, at) = *list.first()?;
        let near = |item: &&(f64, f64)| (item.0 - first).abs() <= 3.0 * noise;
        let alike = list.iter().filter(near).count();
        let (count, _, deviation) = self.sound(centre, room);
        let among = (first - centre).abs() <= room;
        let (bias, u) = if among && (alike == list.len() || alike as f64 * 4.0 >= count) {
            deviation_left(count as u64, deviation, noise)
        } else {
            alone(alike, noise)
        };
        let value = if highest { first - bias } else { first + bias };
        Some((value, u, at))
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
