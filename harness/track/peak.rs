//! How far edges overshoot: the highest place of the overlay, and what noise
//! makes of the highest of many. It knows no standard's levels.

use super::extremes::{Extreme, bias_of_maximum, deviation_of_maximum, extreme_of_all};
use super::noise::quantised;
use super::overlay::{Known, Laid, Overlay, REPEATS, scatter};
use crate::measurement::{Estimate, combined};

/// Half of the narrowest and of the widest mean in which a peak is looked for, in
/// samples, how much wider each is than the one before, and the number of places
/// at which it is at most (our own choice, no source).
const NARROWEST: f64 = 0.12;
const WIDEST: f64 = 64.0;
const WIDENING: f64 = 1.5;
const MOST_PLACES: f64 = 600.0;
/// Means contradict each other where they differ by more than so many standard
/// uncertainties of either (our own allowance, no source).
const AGREES: f64 = 1.5;
/// What the correction for the top of a parabola is uncertain by, relative (our own
/// allowance, no source).
const TOP_KNOWN: f64 = 0.3;

impl Overlay<'_> {
    /// The largest excursion past the level from `from` to `to`, as a share of
    /// the amplitude: of the overlay, and of the worst single edge.
    pub(super) fn aberration(
        &self,
        from: f64,
        to: f64,
        after: bool,
    ) -> Option<(Estimate, Estimate)> {
        let Known {
            start,
            end,
            level_u,
            ..
        } = self.known;
        let sign = if after { 1.0 } else { -1.0 };
        let level = if after { end } else { start };
        let last = (self.profile.len() - self.middle) as f64 - 2.0;
        let (from, to) = (from.max(1.0 - self.middle as f64), to.min(last));
        if to <= from {
            return None;
        }
        // From narrow to wide as long as no wider mean contradicts a narrower one
        // (Lepski 1990, from memory): wide means average noise, and peaks too.
        let mut best: Option<Peak> = None;
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        let widest = ((to - from) / 4.0).min(WIDEST);
        // Means reach as far beyond as the widest and those beside it do.
        let room = 3.0 * widest + 1.0;
        let places = Places::of(self.edges, from - room, to + room, level, sign);
        let mut half = NARROWEST;
        while half <= widest {
            if let Some(peak) = self.peak(&places, from, to, half) {
                let room = AGREES * peak.sigma;
                low = low.max(peak.height - room);
                high = high.min(peak.height + room);
                if low > high {
                    break;
                }
                best = Some(peak);
            }
            half *= WIDENING;
        }
        let peak = best?;
        let quantum = quantised(self.known.quantum, self.known.noise);
        let repeated = if self.gap > REPEATS { quantum } else { 0.0 };
        let u = combined([peak.u, level_u, repeated]);
        let amplitude = self.amplitude();
        let mean = Estimate::new(peak.height.max(0.0) / amplitude, u / amplitude);
        // Of single edges the mean over the same place, where they have samples.
        let singles: Vec<f64> = self
            .edges
            .iter()
            .filter_map(|laid| {
                let part = laid.about(peak.at, peak.half);
                let mean = part.iter().sum::<f64>() / part.len() as f64;
                (!part.is_empty()).then_some(sign * (mean - level))
            })
            .collect();
        let each = libm::round(2.0 * peak.half).max(1.0);
        let weights = vec![each.recip(); each as usize];
        // Of samples anywhere on a parabola's top the deviation is that share of
        // what the means beside it lie lower (by integration).
        let noise = combined([self.noise.through(&weights), quantum, 0.0745 * peak.drop]);
        let shown = singles.len() >= 3 && self.known.apparent > 4.0;
        let highest = extreme_of_all(&singles, true, noise).filter(|_| shown);
        let worst = if let Some(Extreme { value, u: own, .. }) = highest {
            let mid = singles.iter().sum::<f64>() / singles.len() as f64;
            let height = (peak.height + (value - mid).max(0.0)).max(0.0);
            Estimate::new(height / amplitude, combined([own, u]) / amplitude)
        } else {
            mean
        };
        Some((mean, worst))
    }

    /// Standard uncertainty of the mean of all samples within `half` of `at`, by
    /// what single edges contribute.
    fn mean_u(&self, at: f64, half: f64) -> Option<f64> {
        let parts = || self.edges.iter().map(move |laid| laid.about(at, half));
        let count: usize = parts().map(<[f64]>::len).sum();
        if count < 3 {
            return None;
        }
        let mean = parts().flatten().sum::<f64>() / count as f64;
        let shares = parts().map(|part| part.iter().map(|v| v - mean).sum::<f64>());
        let squares: f64 = shares.map(|share| share * share).sum();
        Some(scatter(squares, self.edges.len() as f64) / count as f64)
    }

    /// The highest of means `half` wide either side.
    fn peak(&self, places: &Places, from: f64, to: f64, half: f64) -> Option<Peak> {
        let steps = libm::ceil((to - from) / (half / 2.0)).clamp(1.0, MOST_PLACES) as usize;
        let place = |step: usize| from + (to - from) * step as f64 / steps as f64;
        let mut heights = Vec::with_capacity(steps + 1);
        let mut highest = (f64::NEG_INFINITY, 0.0);
        for step in 0..=steps {
            if let Some(height) = places.mean(place(step), half) {
                heights.push(height);
                if height > highest.0 {
                    highest = (height, place(step));
                }
            }
        }
        if heights.is_empty() || heights.len() * 2 < steps {
            return None;
        }
        let (height, at) = highest;
        // The typical uncertainty of a mean so wide, or that of the highest.
        let mut us: Vec<f64> = (0..=8)
            .filter_map(|step| self.mean_u(place(steps * step / 8), half))
            .collect();
        us.sort_unstable_by(f64::total_cmp);
        let u = us.get(us.len() / 2).copied().unwrap_or(0.0);
        let u = u.max(self.mean_u(at, half).unwrap_or(0.0));
        // A mean over a parabola's top lies a twelfth of what the means beside
        // it lie lower under the top (by integration).
        let beside = [at - 2.0 * half, at + 2.0 * half];
        let drop = match beside.map(|at| places.mean(at, half)) {
            [Some(before), Some(behind)] => (height - before).min(height - behind).max(0.0),
            _ => 0.0,
        };
        let drop = if drop < 2.0 * u { 0.0 } else { drop };
        // Where many places are as high as noise lets them differ, three standard
        // uncertainties, the highest overstates; places lie four to a width, and
        // two of them count for one (our own allowance, no source).
        let alike = heights.iter().filter(|h| height - **h < 3.0 * u).count();
        let alike = (alike / 2).max(1) as u64;
        Some(Peak {
            at,
            half,
            height: height + drop / 12.0 - bias_of_maximum(alike) * u,
            sigma: combined([u, TOP_KNOWN * drop / 12.0]),
            drop,
            u: combined([
                u * deviation_of_maximum(alike).max(0.5),
                TOP_KNOWN * drop / 12.0,
            ]),
        })
    }
}

/// Samples of all edges in the order of their places, and their sums so far.
struct Places {
    at: Vec<f64>,
    sums: Vec<f64>,
}

impl Places {
    /// Those from `from` to `to`, as heights past `level`.
    fn of(edges: &[Laid], from: f64, to: f64, level: f64, sign: f64) -> Self {
        let middle = (from + to) / 2.0;
        let mut found: Vec<(f64, f64)> = Vec::new();
        for laid in edges {
            let first = libm::ceil(laid.zero + from).max(0.0);
            let part = laid.about(middle, (to - from) / 2.0).iter().enumerate();
            found.extend(part.map(|(index, volts)| {
                let at = first + index as f64 - laid.zero;
                (at, sign * (volts - level))
            }));
        }
        found.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let mut sum = 0.0;
        let mut sums = vec![0.0];
        sums.extend(found.iter().map(|(_, height)| {
            sum += height;
            sum
        }));
        Self {
            at: found.into_iter().map(|(at, _)| at).collect(),
            sums,
        }
    }

    /// The mean of those within `half` of `at`; none of fewer than three.
    fn mean(&self, at: f64, half: f64) -> Option<f64> {
        let from = self.at.partition_point(|place| *place < at - half);
        let to = self.at.partition_point(|place| *place <= at + half);
        (to >= from + 3).then(|| (self.sums[to] - self.sums[from]) / (to - from) as f64)
    }
}

/// The highest place of an overlay, V and samples.
struct Peak {
    at: f64,
    half: f64,
    height: f64,
    /// Standard uncertainty of a mean as wide, before the highest was chosen.
    sigma: f64,
    u: f64,
    /// How much lower it is twice `half` before and behind it, V.
    drop: f64,
}
