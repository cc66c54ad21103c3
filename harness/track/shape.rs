//! The shape of the transitions of one direction, by the definitions of IEEE
//! Std 181-2011 (from memory), from all of them laid over each other: samples of
//! many edges at many phases are samples of one. It judges nothing.

use super::noise::quantised;
use super::report::ShapeFigures;
use super::spread::{Extreme, bias_of_maximum, deviation_of_maximum, extreme_of};
use crate::measurement::{Estimate, combined, rectangular};

/// Slew is taken between these voltages: NMRA S-9.1:2020.
pub(super) const SLEW_LEVELS: (f64, f64) = (-4.0, 4.0);
/// Overshoot is looked for within so many durations of the edge.
const AFTER: f64 = 3.0;
/// Half of the narrowest mean in which a peak is looked for, in samples, and the
/// number of places at which it is at most.
const NARROWEST: f64 = 0.12;
const MOST_PLACES: f64 = 600.0;
/// Places between the slew levels at which all edges together are read.
const PLACES: usize = 24;
/// Edges that take fewer samples than this from level to level do not show how
/// far they overshoot.
const SHOWN: f64 = 4.0;
/// Fewest sampling periods between the slew levels for which slew is more than
/// a bound (common practice, no source).
const FEWEST: f64 = 1.0;
/// What laying edges of a few samples over each other does to a time between two
/// levels, in samples for a jump: at the ends of an edge, and about its middle.
const LAID_ENDS: f64 = 0.5;
const LAID_MIDDLE: f64 = 0.25;

/// What is known of one direction before its shape.
#[derive(Clone, Copy, Debug)]
pub(super) struct Known {
    /// Levels before and after, V, as if the edge rose.
    pub(super) start: f64,
    pub(super) end: f64,
    /// Standard uncertainty of a level, but for gain and zero, V.
    pub(super) level_u: f64,
    /// Standard deviation of a sample, V, and how much less than white noise of
    /// that size it averages out.
    pub(super) noise: f64,
    pub(super) colour: f64,
    /// Samples that an edge takes at its slope about zero, 1 for a jump.
    pub(super) apparent: f64,
    /// The converter's step, V.
    pub(super) quantum: f64,
    /// Relative, of the gain and of what the offset does.
    pub(super) scale_u: f64,
    /// Time between samples, s.
    pub(super) period: f64,
    /// Where noise of a sample ends and a reversal begins, V.
    pub(super) reversal: f64,
}

/// One edge: its samples in volts, turned so that it rises, and where among
/// them it passes zero.
pub(super) struct Laid {
    pub(super) volts: Vec<f64>,
    pub(super) zero: f64,
}

impl Laid {
    /// The samples within `half` of `at` after zero.
    fn about(&self, at: f64, half: f64) -> &[f64] {
        let centre = self.zero + at;
        let from = libm::ceil(centre - half).max(0.0) as usize;
        let to = (libm::floor(centre + half).max(-1.0) + 1.0) as usize;
        let to = to.min(self.volts.len());
        &self.volts[from.min(to)..to]
    }
}

/// Edges of one direction laid over each other; times in samples after zero.
pub(super) struct Overlay<'a> {
    edges: &'a [Laid],
    known: Known,
    /// Means over a sample each, from `-middle` on.
    profile: Vec<f64>,
    middle: usize,
    /// How far apart neighbouring samples of all edges together lie at most.
    gap: f64,
}

/// The value at one place, and what each edge contributes to its error.
struct Local {
    value: f64,
    slope: f64,
    shares: Vec<f64>,
    points: f64,
}

/// When the edges are at a level, in samples, and each edge's share in the
/// error.
struct Instant {
    at: f64,
    shares: Vec<f64>,
    /// Standard uncertainty that the shares do not show.
    hidden: f64,
    slope: f64,
}

impl<'a> Overlay<'a> {
    /// `None` of fewer than three edges, or without two levels.
    pub(super) fn of(edges: &'a [Laid], known: Known) -> Option<Self> {
        let two = known.end > known.start;
        if edges.len() < 3 || !two {
            return None;
        }
        let before = |laid: &Laid| laid.zero;
        let behind = |laid: &Laid| laid.volts.len() as f64 - 1.0 - laid.zero;
        let least = |of: &dyn Fn(&Laid) -> f64| edges.iter().map(of).fold(f64::INFINITY, f64::min);
        let middle = (least(&before) - 1.0).max(1.0) as usize;
        let after = (least(&behind) - 1.0).max(1.0) as usize;
        let mut sums = vec![(0.0, 0.0_f64); middle + after + 1];
        for laid in edges {
            let from = libm::round(laid.zero) as usize - middle;
            for (sum, value) in sums.iter_mut().zip(&laid.volts[from..]) {
                *sum = (sum.0 + value, sum.1 + 1.0);
            }
        }
        let mut phases: Vec<f64> = edges
            .iter()
            .map(|laid| laid.zero - libm::floor(laid.zero))
            .collect();
        phases.sort_unstable_by(f64::total_cmp);
        let around = phases
            .first()
            .zip(phases.last())
            .map_or(1.0, |(a, b)| a + 1.0 - b);
        let gap = phases
            .windows(2)
            .map(|pair| pair[1] - pair[0])
            .fold(around, f64::max);
        Some(Self {
            edges,
            known,
            profile: sums.iter().map(|(sum, n)| sum / n.max(1.0)).collect(),
            middle,
            gap,
        })
    }

    fn amplitude(&self) -> f64 {
        self.known.end - self.known.start
    }

    /// A parabola, or a line where there are too few places, through all
    /// samples within `half` of `at`.
    fn local(&self, at: f64, half: f64) -> Option<Local> {
        let points = |laid: &'a Laid| {
            let centre = laid.zero + at;
            let from = libm::ceil(centre - half).max(0.0) as usize;
            let to = (libm::floor(centre + half).max(-1.0) + 1.0) as usize;
            let to = to.min(laid.volts.len());
            (from.min(to)..to).map(move |index| {
                let x = (index as f64 - centre) / half;
                (x, laid.volts[index])
            })
        };
        let (mut s, mut t) = ([0.0; 5], [0.0; 3]);
        for (x, y) in self.edges.iter().flat_map(points) {
            let (x2, y) = (x * x, y - self.known.start);
            for (sum, part) in s.iter_mut().zip([1.0, x, x2, x2 * x, x2 * x2]) {
                *sum += part;
            }
            for (sum, part) in t.iter_mut().zip([y, x * y, x2 * y]) {
                *sum += part;
            }
        }
        if s[0] < 3.0 {
            return None;
        }
        let inverse = invert(&s)?;
        let solve = |row: usize| (0..3).map(|i| inverse[row][i] * t[i]).sum::<f64>();
        let (value, slope, bend) = (solve(0), solve(1), solve(2));
        let shares = self.edges.iter().map(|laid| {
            let of = |(x, y): (f64, f64)| {
                let left = y - self.known.start - (value + slope * x + bend * x * x);
                left * (inverse[0][0] + inverse[0][1] * x + inverse[0][2] * x * x)
            };
            points(laid).map(of).sum()
        });
        Some(Local {
            value: value + self.known.start,
            slope: slope / half,
            shares: shares.collect(),
            points: s[0],
        })
    }

    /// A width that holds enough samples, from `half` on.
    fn about(&self, at: f64, half: f64) -> Option<(Local, f64)> {
        let mut half = half.max(1e-3);
        for _ in 0..24 {
            if let Some(local) = self.local(at, half)
                && local.points >= 6.0
            {
                return Some((local, half));
            }
            half *= 1.4;
        }
        None
    }

    fn sample(&self, index: i64) -> f64 {
        let place = (self.middle as i64 + index).clamp(0, self.profile.len() as i64 - 1);
        self.profile[place as usize]
    }

    /// Where the profile first, going out from zero, is at `level`; `None`
    /// where it never is.
    fn outward(&self, level: f64, up: bool) -> Option<f64> {
        let ends = if up {
            (self.profile.len() - self.middle) as i64
        } else {
            self.middle as i64 + 1
        };
        let at = |step: i64| self.sample(if up { step } else { -step });
        let beyond = |step: i64| {
            if up {
                at(step) >= level
            } else {
                at(step) <= level
            }
        };
        let step = (0..ends).find(|&step| beyond(step))?;
        let place = if step == 0 || beyond(0) {
            0.0
        } else {
            let (near, far) = (at(step - 1), at(step));
            step as f64 - 1.0 + (level - near) / (far - near)
        };
        Some(if up { place } else { -place })
    }

    /// When the edges are at `level`, near `guess`, by fits of `half` samples.
    fn instant(&self, level: f64, guess: f64, half: f64) -> Option<Instant> {
        let mut at = guess;
        let mut found = None;
        for _ in 0..6 {
            let (local, wide) = self.about(at, half)?;
            if local.slope <= 0.0 {
                return None;
            }
            let moved = ((level - local.value) / local.slope).clamp(-wide, wide);
            at += moved;
            let near = moved.abs() < 1e-4 * wide;
            found = Some((local, wide));
            if near {
                break;
            }
        }
        let (local, _) = found?;
        let slope = local.slope;
        // Codes that repeat on the same phases are no noise.
        let repeated = if self.gap > 0.1 {
            let count = (local.points / self.edges.len() as f64).max(1.0) / self.gap;
            quantised(self.known.quantum, self.known.noise) / slope / libm::sqrt(count.max(1.0))
        } else {
            0.0
        };
        // What bends between places that no sample comes near.
        let centre = libm::round(at) as i64;
        let second = self.sample(centre - 1) + self.sample(centre + 1) - 2.0 * self.sample(centre);
        let gap = self.gap.min(1.0);
        let missed = (second.abs() - 4.0 * self.known.noise / libm::sqrt(self.edges.len() as f64))
            .max(0.0)
            * gap
            * gap
            / (8.0 * slope)
            * 4.0;
        Some(Instant {
            at,
            shares: local.shares.iter().map(|share| share / slope).collect(),
            hidden: combined([repeated, rectangular(missed.min(0.5))]),
            slope,
        })
    }

    /// From one level to another: samples, their own standard uncertainty, and
    /// the slopes at both ends.
    fn span(&self, (from, to): (f64, f64), share: f64, laid: f64) -> Option<(f64, f64, [f64; 2])> {
        let guess = (self.outward(from, false)?, self.outward(to, true)?);
        let half = (share * (guess.1 - guess.0)).max(0.2);
        let (low, high) = (
            self.instant(from, guess.0, half)?,
            self.instant(to, guess.1, half)?,
        );
        let n = self.edges.len() as f64;
        let pairs = low.shares.iter().zip(&high.shares);
        let squares: f64 = pairs.map(|(a, b)| (b - a) * (b - a)).sum();
        let own = scatter(squares, n);
        // Noise that laid the edges over each other bends what was laid.
        let relative = self.known.noise / (low.slope.min(high.slope)).max(f64::MIN_POSITIVE);
        let noisy = 0.25 * (relative * relative).min(0.25);
        // And so does laying edges of few samples over each other.
        let apparent = self.known.apparent.max(1.0);
        let lain = combined([noisy, laid / (apparent * libm::sqrt(apparent))]);
        let u = combined([own, low.hidden, high.hidden, lain]);
        Some((high.at - low.at, u, [low.slope, high.slope]))
    }

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
        let own = self.own_slopes();
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
            Some((span, own_u, _)) if span >= FEWEST && 4.0 * own_u < span => {
                let slew = swing / (span * period);
                let relative = combined([own_u / span, scale_u]);
                figures.slew = Some(Estimate::new(slew, slew * relative));
                let (slowest, longest) = self.extremes(&own);
                figures.slowest = slowest.map(|share| {
                    let u = combined([share.u / share.value, relative]);
                    Estimate::new(slew * share.value, slew * share.value * u)
                });
                figures.longest = duration.zip(longest).map(|(mean, share)| {
                    let u = combined([share.u / share.value, mean.u / mean.value]);
                    let value = mean.value / share.value;
                    Estimate::new(value, value * u)
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
            figures.overshoot = self.aberration(to, to + wide, true);
            figures.preshoot = self.aberration(from - wide, from, false);
        }
        self.distortions(&mut figures);
        figures
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
            .map(|step| self.about(place(step), half).map(|(local, _)| local.value))
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
        let own = combined([
            self.known.noise * self.known.colour,
            quantised(self.known.quantum, self.known.noise),
        ]);
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
            let apart = (first..=last).map(|index| {
                let left = laid.volts[index] - common(index as f64 - laid.zero);
                (index as f64 - middle) * left
            });
            let apart = apart.sum::<f64>() / moment;
            let relative = own / libm::sqrt(moment) / mean_slope;
            Some((1.0 + apart / mean_slope, relative))
        };
        self.edges.iter().filter_map(slope).collect()
    }

    /// The least slope and the least again for the longest, as shares of the
    /// mean; 1 where single edges cannot be told apart.
    fn extremes(&self, own: &[(f64, f64)]) -> (Option<Estimate>, Option<Estimate>) {
        if own.len() < 3 {
            let same = Some(Estimate::new(1.0, 0.0));
            return (same, same);
        }
        let n = own.len() as f64;
        let noise = libm::sqrt(own.iter().map(|(_, u)| u * u).sum::<f64>() / n);
        let shares: Vec<f64> = own.iter().map(|(share, _)| *share).collect();
        let Extreme { value, u, .. } = extreme_of(&shares, noise, false);
        let least = Some(Estimate::new(value.max(1e-3), u));
        (least, least)
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

    /// The largest excursion past the level from `from` to `to`, as a share of
    /// the amplitude: of the overlay, and of the worst single edge.
    fn aberration(&self, from: f64, to: f64, after: bool) -> Option<(Estimate, Estimate)> {
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
        // Means reach as far beyond as the widest and those beside it do.
        let room = 3.0 * ((to - from) / 4.0).min(64.0) + 1.0;
        let places = Places::of(self.edges, from - room, to + room, level, sign);
        let mut half = NARROWEST;
        while half <= ((to - from) / 4.0).min(64.0) {
            if let Some(peak) = self.peak(&places, from, to, half) {
                let room = 1.5 * peak.sigma;
                low = low.max(peak.height - room);
                high = high.min(peak.height + room);
                if low > high {
                    break;
                }
                best = Some(peak);
            }
            half *= 1.5;
        }
        let peak = best?;
        let quantum = quantised(self.known.quantum, self.known.noise);
        let repeated = if self.gap > 0.1 { quantum } else { 0.0 };
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
        let each = (2.0 * peak.half).max(1.0);
        let colour = self.known.colour.min(libm::sqrt(each));
        let noise = combined([self.known.noise * colour / libm::sqrt(each), quantum]);
        let worst = if singles.len() >= 3 && self.known.apparent > 4.0 {
            let Extreme { value, u: own, .. } = extreme_of(&singles, noise, true);
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
        // Where many places are as high as noise lets them differ, the highest
        // overstates; places lie four to a width.
        let alike = heights.iter().filter(|h| height - **h < 3.0 * u).count();
        let alike = (alike / 2).max(1) as u64;
        Some(Peak {
            at,
            half,
            height: height + drop / 12.0 - bias_of_maximum(alike) * u,
            sigma: combined([u, 0.3 * drop / 12.0]),
            u: combined([u * deviation_of_maximum(alike).max(0.5), 0.3 * drop / 12.0]),
        })
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

/// Standard uncertainty of a sum of `n` independent shares by the sum of their
/// squares; that of few is itself uncertain, which Student's law makes wider by
/// the root of `(n - 1) / (n - 3)`.
fn scatter(squares: f64, n: f64) -> f64 {
    libm::sqrt(squares * n / (n - 3.0).max(0.5))
}

/// The inverse of the moments of a parabola, of a line where the places are too
/// few for one, of a mean where they are one.
fn invert(s: &[f64; 5]) -> Option<[[f64; 3]; 3]> {
    let n = s[0];
    let m = s.map(|sum| sum / n);
    let line = m[2] - m[1] * m[1];
    if line < 0.03 {
        return None;
    }
    let a = m[2] * m[4] - m[3] * m[3];
    let b = m[2] * m[3] - m[1] * m[4];
    let c = m[1] * m[3] - m[2] * m[2];
    let whole = a + m[1] * b + m[2] * c;
    if whole > 0.02 * line {
        let d = m[4] - m[2] * m[2];
        let e = m[1] * m[2] - m[3];
        let scale = 1.0 / (whole * n);
        return Some([
            [a * scale, b * scale, c * scale],
            [b * scale, d * scale, e * scale],
            [c * scale, e * scale, line * scale],
        ]);
    }
    let scale = 1.0 / (line * n);
    Some([
        [m[2] * scale, -m[1] * scale, 0.0],
        [-m[1] * scale, scale, 0.0],
        [0.0; 3],
    ])
}
