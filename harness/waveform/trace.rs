//! One channel as SI numbers over time, with what its numbers can be trusted
//! for. It finds no levels and no instants; that is done beside it.

use super::{Capture, Signal};
use crate::measurement::{combined, resolution};
use crate::units::Quantity;

/// A channel's samples in SI units, equally spaced, never empty, all finite.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    first: f64,
    period: f64,
    values: Vec<f64>,
    /// SI units per code.
    step: f64,
    clipped: bool,
    /// Relative standard uncertainty of the gain.
    gain_u: f64,
    /// Standard uncertainty of zero, in the channel's unit.
    zero_u: f64,
    /// Relative standard uncertainty of the time base.
    time_base_u: f64,
    /// Standard deviation of one sample, from its neighbours.
    grain: f64,
}

impl Trace {
    /// The channel of `capture` that measures `signal`; `None` where there is
    /// none, or where it holds no sample or no usable scale.
    pub fn of(capture: &Capture, signal: Signal) -> Option<Self> {
        let channel = capture.channel(signal)?;
        let accuracy = channel.accuracy;
        let numbers = [
            channel.scale,
            channel.offset,
            accuracy.gain_u,
            accuracy.offset_u,
            capture.time_base_u,
        ];
        if numbers.iter().any(|number| !number.is_finite()) {
            return None;
        }
        let values = channel
            .codes
            .iter()
            .map(|&code| channel.offset + channel.scale * f64::from(code))
            .collect();
        let grain = grain_of_codes(&channel.codes).map(|grain| grain * channel.scale.abs());
        let trace = Self::new(capture.first.si(), capture.period.si(), values, grain)?;
        Some(Self {
            step: channel.scale.abs(),
            clipped: channel.clipped,
            gain_u: accuracy.gain_u.abs(),
            zero_u: accuracy.offset_u.abs(),
            time_base_u: capture.time_base_u.abs(),
            ..trace
        })
    }

    /// Exact samples, the first at `first` seconds, `period` apart; `None`
    /// when there are none, one is not finite, or the period is not positive.
    pub fn from_values(first: f64, period: f64, values: Vec<f64>) -> Option<Self> {
        Self::new(first, period, values, None)
    }

    fn new(first: f64, period: f64, values: Vec<f64>, grain: Option<f64>) -> Option<Self> {
        let sound = first.is_finite() && period.is_finite() && period > 0.0 && !values.is_empty();
        // No early way out: that is a vector comparison.
        let finite = |all, value: &f64| all & value.is_finite();
        if !sound || !values.iter().fold(true, finite) {
            return None;
        }
        let grain = grain.unwrap_or_else(|| grain_of(&values));
        Some(Self {
            first,
            period,
            values,
            step: 0.0,
            clipped: false,
            gain_u: 0.0,
            zero_u: 0.0,
            time_base_u: 0.0,
            grain,
        })
    }

    /// The trace with `zero` taken from every sample; its uncertainty takes
    /// the place of the channel's offset.
    #[must_use]
    pub fn less(mut self, zero: f64, zero_u: f64) -> Self {
        for value in &mut self.values {
            *value -= zero;
        }
        self.zero_u = zero_u;
        self
    }

    /// The trace as of a converter with this step; zero for exact samples.
    #[must_use]
    pub fn in_steps(mut self, step: f64) -> Self {
        self.step = step.abs();
        self
    }

    /// The samples.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// How many there are, at least one.
    #[allow(clippy::len_without_is_empty)] // a trace is never empty
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Time of the first sample.
    pub fn first(&self) -> f64 {
        self.first
    }

    /// Time of the last sample.
    pub fn last(&self) -> f64 {
        self.time(self.len() - 1)
    }

    /// Time between samples.
    pub fn period(&self) -> f64 {
        self.period
    }

    /// Time of sample `index`.
    pub fn time(&self, index: usize) -> f64 {
        self.first + index as f64 * self.period
    }

    /// The first sample at `time` or later; the length where there is none.
    pub fn index_from(&self, time: f64) -> usize {
        let place = libm::ceil((time - self.first) / self.period - 1e-9);
        // `as` saturates and takes a missing number for zero.
        (place.max(0.0) as usize).min(self.len())
    }

    /// The samples from `from` on and before `to`.
    pub fn window(&self, from: f64, to: f64) -> &[f64] {
        let (start, end) = (self.index_from(from), self.index_from(to));
        &self.values[start..end.max(start)]
    }

    /// The value at `time`, linear between samples and constant beyond them.
    pub fn at(&self, time: f64) -> f64 {
        let place = ((time - self.first) / self.period).clamp(0.0, (self.len() - 1) as f64);
        let index = libm::floor(place) as usize;
        let here = self.values[index];
        let next = self.values.get(index + 1).copied().unwrap_or(here);
        here + (next - here) * (place - index as f64)
    }

    /// Whether a sample reached the end of the channel's range.
    pub fn clipped(&self) -> bool {
        self.clipped
    }

    /// SI units of one code; zero for exact samples.
    pub fn step(&self) -> f64 {
        self.step
    }

    /// Relative standard uncertainty of the gain.
    pub fn gain_u(&self) -> f64 {
        self.gain_u
    }

    /// Standard uncertainty of zero.
    pub fn zero_u(&self) -> f64 {
        self.zero_u
    }

    /// Relative standard uncertainty of the time base.
    pub fn time_base_u(&self) -> f64 {
        self.time_base_u
    }

    /// Standard deviation of one sample about the waveform: the median of its
    /// second differences, over 0.6745 sqrt 6 (the quartile of a normal
    /// distribution, and the weights 1, -2, 1). Slopes cancel, and edges, being
    /// few, do not enter it.
    pub fn grain(&self) -> f64 {
        self.grain
    }

    /// As [`Self::grain`], by samples `lag` apart: noise that neighbours share
    /// shows in it too.
    pub fn grain_apart(&self, lag: usize) -> f64 {
        if lag <= 1 {
            return self.grain;
        }
        let apart = |k: usize| self.values.get(k + 2 * lag);
        let bends = self.values.iter().enumerate().filter_map(|(k, first)| {
            let last = apart(k)?;
            Some((first - 2.0 * self.values[k + lag] + last).abs())
        });
        median_bend(bends.collect())
    }

    /// Standard uncertainty of one sample but for gain and zero: its grain
    /// and its resolution, the rectangle of GUM F.2.2.1.
    pub fn sample_u(&self) -> f64 {
        combined([self.grain, resolution(self.step)])
    }

    /// Standard uncertainty that gain and zero put on a reading of `level`
    /// (GUM 5.1.2).
    pub fn scale_u(&self, level: f64) -> f64 {
        combined([self.gain_u * level, self.zero_u])
    }
}

/// What normal noise of unit standard deviation gives as the median magnitude
/// of x0 - 2 x1 + x2, whose variance is six times as large (quartile of the
/// normal distribution, any table).
const MEDIAN_BEND: f64 = 0.674_489_750_196_081_7 * 2.449_489_742_783_178;

/// The grain in codes, by counting; `None` where it is so coarse that counting
/// does not pay.
fn grain_of_codes(codes: &[i16]) -> Option<f64> {
    let mut counts = [0_u32; 256];
    for w in codes.windows(3) {
        let bend = (i32::from(w[0]) - 2 * i32::from(w[1]) + i32::from(w[2])).unsigned_abs();
        if let Some(count) = counts.get_mut(bend as usize) {
            *count += 1;
        }
    }
    let middle = codes.len().saturating_sub(2) / 2;
    let mut seen = 0;
    let median = counts.iter().position(|&count| {
        seen += count as usize;
        seen > middle
    })?;
    Some(median as f64 / MEDIAN_BEND)
}

fn grain_of(values: &[f64]) -> f64 {
    let bends = values.windows(3);
    median_bend(bends.map(|w| (w[0] - 2.0 * w[1] + w[2]).abs()).collect())
}

fn median_bend(mut bends: Vec<f64>) -> f64 {
    if bends.is_empty() {
        return 0.0;
    }
    let middle = bends.len() / 2;
    let (_, median, _) = bends.select_nth_unstable_by(middle, f64::total_cmp);
    *median / MEDIAN_BEND
}

/// Mean and scatter of a stretch in which nothing happens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Baseline {
    /// Arithmetic mean.
    pub mean: f64,
    /// Standard deviation with n - 1 (GUM 4.2.2).
    pub noise: f64,
    /// Largest distance from the mean.
    pub reach: f64,
    /// Samples.
    pub count: usize,
}

impl Baseline {
    /// Fewest samples from which a baseline is taken.
    pub const FEWEST: usize = 8;

    /// The baseline of `trace` from `from` up to `to`; `None` with fewer than
    /// [`Self::FEWEST`] samples there.
    pub fn of(trace: &Trace, from: f64, to: f64) -> Option<Self> {
        let samples = trace.window(from, to);
        if samples.len() < Self::FEWEST {
            return None;
        }
        let count = samples.len() as f64;
        let mean = samples.iter().sum::<f64>() / count;
        let squares: f64 = samples.iter().map(|x| (x - mean) * (x - mean)).sum();
        let reach = samples.iter().map(|x| (x - mean).abs()).fold(0.0, f64::max);
        Some(Self {
            mean,
            noise: libm::sqrt(squares / (count - 1.0)),
            reach,
            count: samples.len(),
        })
    }

    /// Standard uncertainty of the mean (GUM 4.2.3).
    pub fn mean_u(&self) -> f64 {
        self.noise / libm::sqrt(self.count as f64)
    }
}

#[cfg(test)]
mod tests {
    //! The median of bends against a sorted list, for any number of codes.

    use super::*;

    proptest::proptest! {
        #[test]
        fn the_grain_of_codes_is_the_median_of_their_bends(
            codes in proptest::collection::vec(-40_i16..40, 0..40),
        ) {
            let numbers: Vec<f64> = codes.iter().map(|&code| f64::from(code)).collect();
            let bends = codes.len().saturating_sub(2);
            let known = (bends > 0).then(|| grain_of(&numbers));
            proptest::prop_assert_eq!(grain_of_codes(&codes), known);
        }
    }
}
