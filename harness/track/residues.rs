//! Noise as the settled stretches before edges show it: what it does to any sum
//! of samples that follow each other, be it white or slow. It times no edge.

use super::profile::{mean, range};
use super::windows::Window;
use crate::measurement::rectangular;

/// The noise of the samples of one direction.
#[derive(Clone, Debug)]
pub(super) enum Noise {
    /// As the settled stretches show it.
    Seen(Residues),
    /// Flat tops hide it; the edges show its deviation, and whether neighbours
    /// share it.
    Hidden { deviation: f64, slow: bool },
}

/// How much more slow noise of unknown length leaves in a fit than white noise
/// (our own allowance).
const SLOW: f64 = 3.0;

impl Noise {
    /// Standard deviation that it gives a sum of samples with these weights.
    pub(super) fn through(&self, weights: &[f64]) -> f64 {
        match self {
            Self::Seen(residues) => residues.through(weights),
            Self::Hidden { deviation, slow } => {
                let gain: f64 = weights.iter().map(|w| w * w).sum();
                let white = deviation * libm::sqrt(gain);
                let most = deviation * weights.iter().map(|w| w.abs()).sum::<f64>();
                if *slow {
                    (SLOW * white).min(most)
                } else {
                    white
                }
            }
        }
    }

    /// The same noise in units `gain` times as large.
    pub(super) fn scaled(mut self, gain: f64) -> Self {
        match &mut self {
            Self::Seen(residues) => {
                let all = residues.0.iter_mut().flatten();
                all.for_each(|value| *value *= gain);
            }
            Self::Hidden { deviation, .. } => *deviation *= gain,
        }
        self
    }
}

/// What is left of the settled stretches before edges when their mean is taken
/// off: noise.
#[derive(Clone, Debug)]
pub(super) struct Residues(Vec<Vec<f64>>);

impl Residues {
    /// Those of windows with this mean, settled there about their middle.
    pub(super) fn of(
        windows: &[&Window],
        profile: &[f64],
        settled: (i64, i64),
        middle: usize,
    ) -> Self {
        let share = range(settled, middle);
        // The mean of n windows has taken 1 / n of the variance with it.
        let n = windows.len() as f64;
        let whole = libm::sqrt(n / (n - 1.0));
        let of = |window: &&Window| {
            let at = libm::floor(window.crossing) as i64 - middle as i64;
            let place = |index: usize| window.samples[(index as i64 + at) as usize];
            let left = |index: usize| (place(index) - profile[index]) * whole;
            share.clone().map(left).collect()
        };
        Self(windows.iter().map(of).collect())
    }

    /// Standard deviation of a sample.
    pub(super) fn deviation(&self) -> f64 {
        // Robust: a half that a short disturbed is no noise.
        let mut squares: Vec<f64> = self.0.iter().map(|part| square(part)).collect();
        squares.sort_unstable_by(f64::total_cmp);
        let most = squares.len() - squares.len() / 10;
        libm::sqrt(squares[..most].iter().sum::<f64>() / most as f64)
    }

    /// Standard deviation that noise gives a sum of samples with these weights.
    pub(super) fn through(&self, weights: &[f64]) -> f64 {
        let length = self.0.first().map_or(0, Vec::len);
        if length < weights.len() {
            // As white as it is over the length that is settled.
            let gain: f64 = weights.iter().map(|w| w * w).sum();
            let part = length.max(1);
            let share = self.mean_of(part) * libm::sqrt(part as f64);
            return share * libm::sqrt(gain);
        }
        let places = 8.min(length - weights.len() + 1);
        let stride = (length - weights.len()) / places.max(2);
        let sums = self.0.iter().flat_map(|part| {
            (0..places).map(move |place| {
                let part = &part[place * stride..][..weights.len()];
                part.iter().zip(weights).map(|(x, w)| x * w).sum::<f64>()
            })
        });
        rms(sums)
    }

    /// By how much the halves of a settled stretch differ more than noise lets
    /// them, as a rectangle.
    pub(super) fn drift(&self, settled: &[f64]) -> f64 {
        let (first, second) = settled.split_at(settled.len() / 2);
        if first.is_empty() {
            return 0.0;
        }
        let noise = self.mean_of(first.len()) * libm::sqrt(2.0 / self.0.len() as f64);
        rectangular(((mean(first) - mean(second)).abs() - 2.0 * noise).max(0.0))
    }

    /// Standard deviation of the mean of so many samples that follow each other.
    pub(super) fn mean_of(&self, count: usize) -> f64 {
        let length = self.0.first().map_or(0, Vec::len);
        let count = count.min(length).max(1);
        self.through(&vec![(count as f64).recip(); count])
    }
}

fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let mut squares: Vec<f64> = values.map(|x| x * x).collect();
    squares.sort_unstable_by(f64::total_cmp);
    // The uppermost twentieth is left out, and what that takes of a normal law's
    // variance (a quarter, by integration) is put back.
    let kept = squares.len() - squares.len() / 20;
    let whole = if kept < squares.len() { 1.317 } else { 1.0 };
    libm::sqrt(whole * squares[..kept].iter().sum::<f64>() / kept.max(1) as f64)
}

fn square(values: &[f64]) -> f64 {
    values.iter().map(|x| x * x).sum::<f64>() / values.len().max(1) as f64
}
