//! The shape of the transitions of one direction, by the definitions of IEEE
//! Std 181-2011 (from memory), from all of them laid over each other. It judges
//! nothing.

use super::extremes::extreme_of_all;
use super::noise::{quantised, stairs};
use super::overlay::{AFTER, Known, Overlay, SHOWN};
use super::places::Laid;
use super::report::ShapeFigures;
use crate::measurement::{Estimate, combined};

/// Slew is taken between this voltage, V, and the same below zero: NMRA
/// S-9.1:2020.
pub const SLEW_LEVEL: f64 = 4.0;
pub(super) const SLEW_LEVELS: (f64, f64) = (-SLEW_LEVEL, SLEW_LEVEL);
/// Places between the slew levels at which all edges together are read (our own
/// choice, no source).
const PLACES: usize = 24;
/// Fewest sampling periods between the slew levels for which slew is more than
/// a bound (common practice, no source), and how many of its standard
/// uncertainties that time must be longer than (our own allowance, no source).
const FEWEST: f64 = 1.0;
const SURE: f64 = 4.0;
/// What laying edges of a few samples over each other does to a time between two
/// levels, in samples for a jump: at the ends of an edge, and about its middle
/// (our own allowances, no source).
const LAID_ENDS: f64 = 0.5;
const LAID_MIDDLE: f64 = 0.25;
impl Overlay<'_> {
    /// The figures of the direction.
    pub(super) fn figures(&self) -> ShapeFigures {
        let (start, amplitude) = (self.known.start, self.amplitude());
        let Known {
            period,
            level_u,
            scale_u,
            ..
        } = self.known;
        let (ten, ninety) = (start + 0.1 * amplitude, start + 0.9 * amplitude);
        let duration =
            self.span((ten, ninety), 0.045, LAID_ENDS)
                .map(|(span, own, [low, high])| {
                    // Each level moves both reference levels, through the slope there.
                    let of_end = level_u * (0.9 / high - 0.1 / low);
                    let of_start = level_u * (0.9 / low - 0.1 / high);
                    Estimate::new(span * period, combined([own, of_end, of_start]) * period)
                });
        let swing = SLEW_LEVELS.1 - SLEW_LEVELS.0;
        let reaches = start < SLEW_LEVELS.0 && self.known.end > SLEW_LEVELS.1;
        let between = reaches
            .then(|| self.span(SLEW_LEVELS, 0.06, LAID_MIDDLE))
            .flatten();
        let mut figures = ShapeFigures {
            measured: self.edges.len() as u64,
            duration,
            reversal: self.known.reversal,
            distortion_u: combined([
                self.known.noise,
                quantised(self.known.quantum, self.known.noise),
            ]),
            ..ShapeFigures::default()
        };
        match between {
            Some((span, own_u, _)) if span >= FEWEST && SURE * own_u < span => {
                let slew = swing / (span * period);
                let relative = combined([own_u / span, scale_u]);
                figures.slew = Some(Estimate::new(slew, slew * relative));
                // The slowest edge takes longest.
                let share = Self::least_share(&self.own_slopes());
                let of_share = share.u / share.value;
                let u = slew * share.value * combined([of_share, relative]);
                figures.slowest = Some(Estimate::new(slew * share.value, u));
                figures.longest = duration.map(|mean| {
                    let value = mean.value / share.value;
                    Estimate::new(value, value * combined([of_share, mean.u / mean.value]))
                });
            }
            _ if reaches => {
                let bounds = self.bounds();
                figures.slew_bounded = self.edges.len() as u64;
                let n = bounds.len().max(1) as f64;
                let mean = bounds.iter().sum::<f64>() / n;
                let least = bounds.iter().copied().fold(f64::INFINITY, f64::min);
                if least.is_finite() {
                    let of = |slew: f64| Estimate::new(slew / period, slew / period * scale_u);
                    figures.slew = Some(of(mean));
                    figures.slowest = Some(of(least));
                }
                figures.longest = duration;
            }
            _ => figures.longest = duration,
        }
        figures.overshoot_bounded = self.known.apparent < SHOWN || self.gap > 0.5;
        let reach = (self.outward(ten, false), self.outward(ninety, true));
        if let (Some(from), Some(to)) = reach {
            let wide = AFTER * (to - from).max(1.0);
            let (last, first) = self.outside(ten, ninety);
            figures.overshoot = self.aberration(first.min(to), to + wide, true);
            figures.preshoot = self.aberration(from - wide, last.max(from), false);
        }
        self.distortions(&mut figures);
        figures
    }

    /// The last place at which a sample is not yet above `low`, and the first at
    /// which one is no more below `high`, of edges of few samples: their profile, a
    /// mean over a sample each, is past them later than the samples are. Of others
    /// nowhere.
    fn outside(&self, low: f64, high: f64) -> (f64, f64) {
        let mut found = (f64::NEG_INFINITY, f64::INFINITY);
        if self.known.apparent >= SHOWN {
            return found;
        }
        for laid in self.edges {
            let zero = (libm::floor(laid.zero) as usize).min(laid.volts.len() - 1);
            let before = laid.volts[..=zero].iter().rposition(|v| *v <= low);
            let behind = laid.volts[zero..].iter().position(|v| *v >= high);
            if let Some(index) = before {
                found.0 = found.0.max(index as f64 - laid.zero);
            }
            if let Some(index) = behind {
                found.1 = found.1.min((zero + index) as f64 - laid.zero);
            }
        }
        found
    }

    /// The slope of every edge between the slew levels over that of all, and its
    /// standard uncertainty by noise.
    fn own_slopes(&self) -> Vec<(f64, f64)> {
        let ends = self
            .outward(SLEW_LEVELS.0, false)
            .zip(self.outward(SLEW_LEVELS.1, true));
        let Some((from, to)) = ends else {
            return Vec::new();
        };
        // What all edges together do there, at so many places.
        let stride = (to - from) / PLACES as f64;
        let place = |step: usize| from + stride * (step as f64 - 1.0);
        let half = (0.06 * (to - from)).max(0.2);
        let means: Option<Vec<f64>> = (0..PLACES + 3)
            .map(|step| self.about(place(step), half).map(|local| local.value))
            .collect();
        let Some(means) = means else {
            return Vec::new();
        };
        let common = |x: f64| {
            let step = ((x - place(0)) / stride).clamp(0.0, PLACES as f64 + 1.99);
            let index = step as usize;
            means[index] + (step - index as f64) * (means[index + 1] - means[index])
        };
        let mean_slope = (SLEW_LEVELS.1 - SLEW_LEVELS.0) / (to - from);
        let relative = self.slope_u(to - from) / mean_slope;
        let slope = |laid: &Laid| {
            let first = libm::ceil(laid.zero + from).max(0.0) as usize;
            let last = libm::floor(laid.zero + to) as usize;
            let last = last.min(laid.volts.len() - 1);
            if last < first + 2 {
                return None;
            }
            let n = (last - first + 1) as f64;
            let middle = (first + last) as f64 / 2.0;
            let moment = n * (n * n - 1.0) / 12.0;
            let left = |index: usize| laid.volts[index] - common(index as f64 - laid.zero);
            let lever = |index: usize| index as f64 - middle;
            let mean = (first..=last).map(left).sum::<f64>() / n;
            let apart = (first..=last).map(|index| lever(index) * left(index));
            let apart = apart.sum::<f64>() / moment;
            let rest = |index: usize| left(index) - mean - apart * lever(index);
            let rest = (first..=last).map(|index| rest(index) * rest(index)).sum();
            Some((1.0 + apart / mean_slope, relative, rest))
        };
        let own: Vec<(f64, f64, f64)> = self.edges.iter().filter_map(slope).collect();
        // Tops that are cut off hide noise, which the edges' own lines show.
        let free = own.len() as f64 * (libm::floor(to - from) - 1.0).max(1.0);
        let rest = libm::sqrt(own.iter().map(|(.., rest)| rest).sum::<f64>() / free);
        let count = libm::floor(to - from).max(3.0);
        let seen = rest / libm::sqrt(count * (count * count - 1.0) / 12.0) / mean_slope;
        let pair = |(share, relative, _): (f64, f64, f64)| (share, relative.max(seen));
        own.into_iter().map(pair).collect()
    }

    /// What noise and the converter's step leave in the slope of a line through
    /// the samples of one edge, V per sample: steps that noise does not blur err
    /// alike all along it, as two readings at its ends do.
    fn slope_u(&self, span: f64) -> f64 {
        // Some edges hold one sample more; the extreme is of those that do not.
        let count = libm::floor(span).max(3.0);
        let moment = count * (count * count - 1.0) / 12.0;
        let middle = (count - 1.0) / 2.0;
        let weights: Vec<f64> = (0..count as usize)
            .map(|index| (index as f64 - middle) / moment)
            .collect();
        let Known { quantum, noise, .. } = self.known;
        let alike = stairs(quantum, noise) * std::f64::consts::SQRT_2 / span.max(1.0);
        let apart = quantised(quantum, noise) / libm::sqrt(moment);
        combined([self.noise.through(&weights), alike, apart])
    }

    /// The least slope as a share of the mean; 1 where single edges cannot be
    /// told apart.
    fn least_share(own: &[(f64, f64)]) -> Estimate {
        let same = Estimate::new(1.0, 0.0);
        if own.len() < 3 {
            return same;
        }
        let n = own.len() as f64;
        let noise = libm::sqrt(own.iter().map(|(_, u)| u * u).sum::<f64>() / n);
        let shares: Vec<f64> = own.iter().map(|(share, _)| *share).collect();
        extreme_of_all(&shares, false, noise).map_or(same, |least| {
            Estimate::new(least.value.clamp(1e-3, 1.0), least.u)
        })
    }

    /// Of every edge the least slew that its samples leave: from the last
    /// sample surely before the slew levels to the first surely behind.
    fn bounds(&self) -> Vec<f64> {
        let sure = 2.0 * self.known.noise + self.known.quantum / 2.0;
        let swing = SLEW_LEVELS.1 - SLEW_LEVELS.0;
        let bound = |laid: &Laid| {
            let zero = libm::floor(laid.zero) as usize;
            let low = SLEW_LEVELS.0 - sure.min(0.5 * (SLEW_LEVELS.0 - self.known.start).max(0.0));
            let high = SLEW_LEVELS.1 + sure.min(0.5 * (self.known.end - SLEW_LEVELS.1).max(0.0));
            let before = (0..=zero).rev().find(|&index| laid.volts[index] <= low)?;
            let behind = (zero + 1..laid.volts.len()).find(|&index| laid.volts[index] >= high)?;
            Some(swing / (behind - before) as f64)
        };
        self.edges.iter().filter_map(bound).collect()
    }

    /// Edges that run backwards between 10 % and 90 %.
    fn distortions(&self, figures: &mut ShapeFigures) {
        let (start, amplitude) = (self.known.start, self.amplitude());
        let (low, high) = (start + 0.1 * amplitude, start + 0.9 * amplitude);
        for laid in self.edges {
            let zero = libm::floor(laid.zero) as usize;
            let last = laid.volts.len() - 1;
            let from = (0..=zero.min(last))
                .rev()
                .find(|&i| laid.volts[i] <= low)
                .unwrap_or(0);
            let to = (zero..=last)
                .find(|&i| laid.volts[i] >= high)
                .unwrap_or(last);
            let Some((least, most)) =
                backwards(&laid.volts[from + 1..to.max(from + 1)], self.known.reversal)
            else {
                continue;
            };
            figures.distorted += 1;
            let (a, b) = figures.distortion.unwrap_or((least, most));
            figures.distortion = Some((a.min(least), b.max(most)));
        }
    }
}

/// Lowest and highest value of stretches that fall by more than `least` on a
/// way that should only rise.
fn backwards(values: &[f64], least: f64) -> Option<(f64, f64)> {
    let mut peak = f64::NEG_INFINITY;
    let mut worst: Option<(f64, f64)> = None;
    for &value in values {
        if peak - value > least {
            let (low, high) = worst.unwrap_or((value, peak));
            worst = Some((low.min(value), high.max(peak)));
        }
        peak = peak.max(value);
    }
    worst
}

#[cfg(test)]
mod tests;
