//! State levels of a two-level waveform, by the definitions of IEEE Std 181-2011
//! (from memory). It finds no edges and judges nothing.

use super::crossing::Sample;
use serde::{Deserialize, Serialize};

/// Bins of a histogram; when a value falls outside, pairs of bins are merged
/// until it fits, so between half of them and all are in use.
const BINS: usize = 4096;
/// Values kept before the first range is chosen.
const OPENING: usize = 4096;

/// No instrument reads more: such values are damage, and their squares would
/// leave the range of numbers.
pub const BEYOND_READING: f64 = 1e30;

/// A histogram of sample values in bounded memory.
#[derive(Clone, Debug)]
pub struct LevelHistogram {
    quantum: f64,
    /// Values before the range is known.
    opening: Vec<f64>,
    counts: Vec<u64>,
    /// Lower border of the first bin, and the width of each.
    origin: f64,
    width: f64,
    /// One by the width.
    per_width: f64,
}

/// The two state levels, in the values' unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct StateLevels {
    /// The lower state level.
    pub low: f64,
    /// The upper state level.
    pub high: f64,
    /// Standard deviation of the samples at the lower level; below a bin's
    /// width it says no more than that.
    pub noise_low: f64,
    /// Standard deviation of the samples at the upper level.
    pub noise_high: f64,
    /// Width of a histogram bin, which bounds what a level can resolve.
    pub resolution: f64,
    /// Samples that were counted.
    pub samples: u64,
}

impl StateLevels {
    /// Upper less lower state level.
    pub fn amplitude(&self) -> f64 {
        self.high - self.low
    }

    /// The reference level `percent` of the way up.
    pub fn reference(&self, percent: f64) -> f64 {
        self.low + percent / 100.0 * self.amplitude()
    }

    /// The same levels after `value * gain + offset`.
    pub fn scaled(&self, gain: f64, offset: f64) -> Self {
        let (a, b) = (self.low * gain + offset, self.high * gain + offset);
        let (low, high, noise_low, noise_high) = if gain < 0.0 {
            (b, a, self.noise_high, self.noise_low)
        } else {
            (a, b, self.noise_low, self.noise_high)
        };
        Self {
            low,
            high,
            noise_low: noise_low * gain.abs(),
            noise_high: noise_high * gain.abs(),
            resolution: self.resolution * gain.abs(),
            samples: self.samples,
        }
    }
}

impl LevelHistogram {
    /// An empty histogram. `quantum` is the step between possible values (one
    /// for converter counts, so that every bin holds as many codes), zero
    /// where values are continuous.
    pub fn new(quantum: f64) -> Self {
        Self {
            quantum: quantum.max(0.0),
            opening: Vec::new(),
            counts: Vec::new(),
            origin: 0.0,
            width: 0.0,
            per_width: 0.0,
        }
    }

    /// Counts every `stride`-th sample of a piece, beginning with `first`.
    pub fn push_every<S: Sample>(&mut self, samples: &[S], first: usize, stride: usize) {
        let mut index = first;
        while let Some(sample) = samples.get(index) {
            self.push(sample.number());
            index = index.saturating_add(stride.max(1));
        }
    }

    /// Counts one value; what no instrument reads (not finite, or beyond
    /// 1e30) is passed over.
    pub fn push(&mut self, value: f64) {
        if value.is_nan() || value.abs() > BEYOND_READING {
            return;
        }
        if self.counts.is_empty() {
            self.early(value);
        } else {
            self.count(value);
        }
    }

    /// Both state levels, if the samples have two: each the mode of its half
    /// of the histogram, refined by the mean of the bins within 0.5 % of the
    /// amplitude around it.
    pub fn levels(&self) -> Option<StateLevels> {
        if self.counts.is_empty() {
            let mut opened = self.clone();
            opened.open();
            return if opened.counts.is_empty() {
                None
            } else {
                opened.levels()
            };
        }
        let first = self.counts.iter().position(|&n| n > 0)?;
        let last = self.counts.iter().rposition(|&n| n > 0)?;
        if first == last {
            return None;
        }
        let middle = first + (last - first).div_ceil(2);
        let low = mode(&self.counts[..middle])?;
        let high = middle + mode(&self.counts[middle..])?;
        let near = ((last - first) / 200).max(1);
        Some(StateLevels {
            low: self.mean_around(low, near),
            high: self.mean_around(high, near),
            noise_low: self.noise_around(low, 0..middle),
            noise_high: self.noise_around(high, middle..BINS),
            resolution: self.width,
            samples: self.counts.iter().sum(),
        })
    }

    #[cold]
    fn early(&mut self, value: f64) {
        self.opening.push(value);
        if self.opening.len() >= OPENING {
            self.open();
        }
    }

    fn open(&mut self) {
        let opening = std::mem::take(&mut self.opening);
        let least = opening.iter().copied().fold(f64::INFINITY, f64::min);
        let greatest = opening.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if least > greatest {
            return;
        }
        let span = (greatest - least).max(least.abs() * 1e-9).max(1e-12);
        self.width = span / (BINS as f64 / 2.0);
        if self.quantum > 0.0 {
            let doublings = libm::ceil(libm::log2(self.width / self.quantum)).max(0.0);
            self.width = self.quantum * libm::exp2(doublings);
        }
        // Codes lie in the middle of bins one quantum wide.
        let start = if self.quantum > 0.0 {
            (libm::floor(least / self.quantum) - 0.5) * self.quantum
        } else {
            least - self.width / 2.0
        };
        self.origin = start - self.width * (BINS as f64 / 8.0);
        self.per_width = self.width.recip();
        self.counts = vec![0; BINS];
        for value in opening {
            self.count(value);
        }
    }

    #[inline]
    fn count(&mut self, value: f64) {
        let bin = self.bin(value).unwrap_or_else(|| self.widened(value));
        self.counts[bin] += 1;
    }

    #[inline]
    fn bin(&self, value: f64) -> Option<usize> {
        // A multiplication takes a fraction of a division's time; for codes it
        // says the same, since their bins are a power of two wide.
        let bin = (value - self.origin) * self.per_width;
        (bin >= 0.0 && bin < BINS as f64).then_some(bin as u32 as usize)
    }

    /// The bin of a value outside, once the range holds it.
    #[cold]
    fn widened(&mut self, value: f64) -> usize {
        // From the narrowest range to 1e30 it is 220 doublings; a value still
        // outside then would be counted in the border bin.
        for _ in 0..256 {
            self.double(value < self.origin);
            if let Some(bin) = self.bin(value) {
                return bin;
            }
        }
        if value < self.origin { 0 } else { BINS - 1 }
    }

    /// Doubles the range downwards or upwards by merging pairs of bins.
    fn double(&mut self, downwards: bool) {
        let mut merged = vec![0; BINS];
        let shift = if downwards { BINS / 2 } else { 0 };
        for (index, &count) in self.counts.iter().enumerate() {
            merged[shift + index / 2] += count;
        }
        if downwards {
            self.origin -= self.width * BINS as f64;
        }
        self.width *= 2.0;
        self.per_width = self.width.recip();
        self.counts = merged;
    }

    /// Mean of what lies within `reach` bins of `mode`.
    fn mean_around(&self, mode: usize, reach: usize) -> f64 {
        let (mut n, mut sum) = (0.0, 0.0);
        for bin in mode.saturating_sub(reach)..=(mode + reach).min(BINS - 1) {
            let count = self.counts[bin] as f64;
            n += count;
            // Counted from the mode, so that nothing cancels.
            sum += count * (bin as f64 - mode as f64);
        }
        self.origin + (mode as f64 + 0.5 + sum / n) * self.width
    }

    /// Standard deviation by the median absolute deviation, of which it is
    /// 1.4826 times under a normal law: transitions, ringing and cutouts in
    /// the same half of the histogram then do not pass for noise.
    fn noise_around(&self, mode: usize, half: std::ops::Range<usize>) -> f64 {
        let total: u64 = self.counts[half.clone()].iter().sum();
        let wanted = total as f64 / 2.0;
        let at = |bin: Option<usize>| {
            let inside = bin.filter(|bin| half.contains(bin));
            inside.map_or(0, |bin| self.counts[bin])
        };
        let mut below = 0.0;
        for distance in 0..BINS {
            let lower = if distance > 0 {
                at(mode.checked_sub(distance))
            } else {
                0
            };
            let here = (lower + at(mode.checked_add(distance))) as f64;
            if below + here >= wanted && here > 0.0 {
                let share = (wanted - below) / here;
                let (from, wide) = if distance == 0 {
                    (0.0, 0.5)
                } else {
                    (distance as f64 - 0.5, 1.0)
                };
                return 1.4826 * (from + share * wide) * self.width;
            }
            below += here;
        }
        0.0
    }
}

/// The fullest bin, the first of equals.
fn mode(counts: &[u64]) -> Option<usize> {
    let (mut best, mut most) = (None, 0);
    for (index, &count) in counts.iter().enumerate() {
        if count > most {
            (best, most) = (Some(index), count);
        }
    }
    best
}

#[cfg(test)]
mod tests;
