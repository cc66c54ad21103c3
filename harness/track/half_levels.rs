//! The level of every half-bit of one polarity: their mean, and the lowest and
//! highest of them. It judges none.

use super::extremes::{Among, Extreme, Outermost, extreme_of};

/// Levels at each end that are kept.
const KEPT: usize = 32;

/// Levels of halves, in raw units.
#[derive(Clone, Debug)]
pub(super) struct HalfLevels {
    count: f64,
    mean: f64,
    squares: f64,
    /// Level and position.
    lowest: Outermost<f64, f64>,
    highest: Outermost<f64, f64>,
}

impl HalfLevels {
    pub(super) const fn new() -> Self {
        Self {
            count: 0.0,
            mean: 0.0,
            squares: 0.0,
            lowest: Outermost::new(false, KEPT),
            highest: Outermost::new(true, KEPT),
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
        self.lowest.push(level, position);
        self.highest.push(level, position);
    }

    /// Count, mean and deviation of the halves within `room` of `centre`. Of
    /// those farther away, which collapsed or were disturbed, as many as are
    /// kept are left out.
    fn sound(&self, centre: f64, room: f64) -> (f64, f64, f64) {
        let (low, high) = (self.lowest.values(), self.highest.values());
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
        let (first, at) = list.first()?;
        let outermost: Vec<f64> = list.values().collect();
        let (count, mean, deviation) = self.sound(centre, room);
        let among = Among {
            count: count as u64,
            mean,
            deviation,
        };
        // One that collapsed or was disturbed is none of those.
        let sound = (first - centre).abs() <= room;
        let Extreme { value, u, .. } =
            extreme_of(&outermost, highest, sound.then_some(among), (noise, 0.0))?;
        Some((value, u, at))
    }
}
