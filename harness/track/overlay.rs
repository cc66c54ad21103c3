//! Edges of one direction laid over each other by their passing of zero: samples
//! of many edges at many phases are samples of one, read by local fits. It knows
//! no standard's levels.

use super::noise::{quantised, stairs};
use super::places::{Laid, Place, Places};
use super::residues::Noise;
use crate::measurement::{combined, rectangular};

/// A fit is of so many samples at least, and widened by so much, so often, until
/// it is (our own choice, no source).
const LEAST_POINTS: usize = 6;
const WIDENING: f64 = 1.4;
const WIDENINGS: usize = 24;
/// Phases of the sampling that leave more than this part of a sample free repeat
/// the same codes (our own allowance, no source).
pub(super) const REPEATS: f64 = 0.1;

/// Edges that take fewer samples than this from level to level do not show how
/// far they overshoot (our own allowance, no source).
pub(super) const SHOWN: f64 = 4.0;

/// Overshoot is looked for within so many durations of the edge (IEEE Std
/// 181-2011's post-transition aberration region, from memory).
pub(super) const AFTER: f64 = 3.0;
/// Samples at hand beyond what is looked at (our own choice, no source).
const LOOKS_BEYOND: f64 = 8.0;

/// What is known of one direction before its shape.
#[derive(Clone, Copy, Debug)]
pub(super) struct Known {
    /// Levels before and after, V, as if the edge rose.
    pub(super) start: f64,
    pub(super) end: f64,
    /// Standard uncertainty of a level, but for gain and zero, V.
    pub(super) level_u: f64,
    /// Standard deviation of a sample, V.
    pub(super) noise: f64,
    /// Samples that an edge takes at its slope about zero, 1 for a jump.
    pub(super) apparent: f64,
    /// The converter's step, V.
    pub(super) quantum: f64,
    /// Relative, of the gain and of what the offset does.
    pub(super) scale_u: f64,
    /// Time between samples, s.
    pub(super) period: f64,
    /// Standard uncertainty of the place at which an edge is laid, samples.
    pub(super) laid_u: f64,
    /// Where noise of a sample ends and a reversal begins, V.
    pub(super) reversal: f64,
}

/// Edges of one direction laid over each other; times in samples after zero.
pub(super) struct Overlay<'a> {
    pub(super) edges: &'a [Laid],
    pub(super) known: Known,
    /// What noise does to sums of samples, V.
    pub(super) noise: &'a Noise,
    /// Means over a sample each, from `-middle` on.
    pub(super) profile: Vec<f64>,
    pub(super) middle: usize,
    /// How far apart neighbouring samples of all edges together lie at most.
    pub(super) gap: f64,
    /// Samples about the edges, by their places.
    pub(super) places: Places,
}

/// A parabola through all samples within `half` of `at`.
pub(super) struct Local {
    at: f64,
    half: f64,
    /// At that place, V.
    pub(super) value: f64,
    /// V per sample.
    slope: f64,
    /// V per square of `half` samples.
    bend: f64,
    /// Of the moments of the places.
    inverse: [[f64; 3]; 3],
    /// How many samples those are.
    points: usize,
}

impl Local {
    /// What a sample contributes to the error of the value.
    fn share(&self, place: &Place) -> f64 {
        let x = (place.at - self.at) / self.half;
        let left = place.volts - (self.value + (self.slope * self.half + self.bend * x) * x);
        let [value, slope, bend] = self.inverse[0];
        left * (value + (slope + bend * x) * x)
    }
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
    pub(super) fn of(edges: &'a [Laid], known: Known, noise: &'a Noise) -> Option<Self> {
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
        let mut overlay = Self {
            edges,
            known,
            noise,
            profile: sums.iter().map(|(sum, n)| sum / n.max(1.0)).collect(),
            middle,
            gap,
            places: Places::of(&[], (0.0, 0.0)),
        };
        overlay.places = Places::of(edges, overlay.reach());
        Some(overlay)
    }

    pub(super) fn amplitude(&self) -> f64 {
        self.known.end - self.known.start
    }

    /// A parabola, or a line where there are too few places, through all
    /// samples within `half` of `at`.
    fn local(&self, at: f64, half: f64) -> Option<Local> {
        let about = self.places.about(at, half);
        let (mut s, mut t) = ([about.len() as f64, 0.0, 0.0, 0.0, 0.0], [0.0; 3]);
        for place in about {
            let x = (place.at - at) / half;
            let (x2, y) = (x * x, place.volts - self.known.start);
            s[1] += x;
            s[2] += x2;
            s[3] += x2 * x;
            s[4] += x2 * x2;
            t[0] += y;
            t[1] += x * y;
            t[2] += x2 * y;
        }
        if about.len() < 3 {
            return None;
        }
        let inverse = invert(&s)?;
        let solve = |row: usize| (0..3).map(|i| inverse[row][i] * t[i]).sum::<f64>();
        Some(Local {
            at,
            half,
            value: solve(0) + self.known.start,
            slope: solve(1) / half,
            bend: solve(2),
            inverse,
            points: about.len(),
        })
    }

    /// The same as wide as it takes to hold enough samples, from `half` on.
    pub(super) fn about(&self, at: f64, half: f64) -> Option<Local> {
        let mut half = half.max(1e-3);
        for _ in 0..WIDENINGS {
            if let Some(local) = self.local(at, half)
                && local.points >= LEAST_POINTS
            {
                return Some(local);
            }
            half *= WIDENING;
        }
        None
    }

    /// How far from zero anybody looks: twice as far as aberrations are looked for,
    /// since means reach beyond. Where the levels are not reached, everywhere.
    fn reach(&self) -> (f64, f64) {
        let level = |share: f64| self.known.start + share * self.amplitude();
        let ends = self
            .outward(level(0.1), false)
            .zip(self.outward(level(0.9), true));
        ends.map_or((f64::NEG_INFINITY, f64::INFINITY), |(from, to)| {
            let wide = 2.0 * AFTER * (to - from).max(1.0) + LOOKS_BEYOND;
            (from - wide, to + wide)
        })
    }

    fn sample(&self, index: i64) -> f64 {
        let place = (self.middle as i64 + index).clamp(0, self.profile.len() as i64 - 1);
        self.profile[place as usize]
    }

    /// Where the profile first, going out from zero, is at `level`; `None`
    /// where it never is.
    pub(super) fn outward(&self, level: f64, up: bool) -> Option<f64> {
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
            let local = self.about(at, half)?;
            if local.slope <= 0.0 {
                return None;
            }
            let wide = local.half;
            let moved = ((level - local.value) / local.slope).clamp(-wide, wide);
            at += moved;
            let near = moved.abs() < 1e-4 * wide;
            found = Some(local);
            if near {
                break;
            }
        }
        let local = found?;
        let (slope, wide) = (local.slope, local.half);
        // Steps that noise does not blur err alike at the same volts: over many
        // of them most of it averages out.
        let Known { quantum, noise, .. } = self.known;
        let over = (quantum / (4.0 * wide * slope)).min(1.0);
        let alike = stairs(quantum, noise) * over / slope;
        // Codes that repeat on the same phases are no noise.
        let repeated = if self.gap > REPEATS {
            let each = local.points as f64 / self.edges.len() as f64;
            let count = each.max(1.0) / self.gap;
            quantised(self.known.quantum, self.known.noise) / slope / libm::sqrt(count.max(1.0))
        } else {
            0.0
        };
        // What bends between places that no sample comes near: an eighth of the
        // second difference times the gap squared (error of linear interpolation),
        // and four times that, four deviations of noise less: our own allowance,
        // no source.
        let centre = libm::round(at) as i64;
        let second = self.sample(centre - 1) + self.sample(centre + 1) - 2.0 * self.sample(centre);
        let gap = self.gap.min(1.0);
        let missed = (second.abs() - 4.0 * self.known.noise / libm::sqrt(self.edges.len() as f64))
            .max(0.0)
            * gap
            * gap
            / (8.0 * slope)
            * 4.0;
        let near = self.places.about(local.at, wide);
        let share = |place: &Place| local.share(place) / slope;
        Some(Instant {
            at,
            shares: self.places.by_edge(near, share),
            hidden: combined([repeated, alike, rectangular(missed.min(0.5))]),
            slope,
        })
    }

    /// From one level to another: samples, their own standard uncertainty, and
    /// the slopes at both ends.
    pub(super) fn span(
        &self,
        (from, to): (f64, f64),
        share: f64,
        laid: f64,
    ) -> Option<(f64, f64, [f64; 2])> {
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
        // Noise that laid the edges over each other bends what was laid (a quarter
        // of its share in a sample, squared: our own allowance, no source).
        let relative = self.known.noise / (low.slope.min(high.slope)).max(f64::MIN_POSITIVE);
        let noisy = 0.25 * (relative * relative).min(0.25);
        // And so does laying edges of few samples over each other.
        let apparent = self.known.apparent.max(1.0);
        let lain = combined([noisy, laid / (apparent * libm::sqrt(apparent))]);
        let u = combined([own, low.hidden, high.hidden, lain]);
        Some((high.at - low.at, u, [low.slope, high.slope]))
    }
}

/// Standard uncertainty of a sum of `n` independent shares by the sum of their
/// squares; that of few is itself uncertain, which Student's law makes wider by
/// the root of `(n - 1) / (n - 3)`.
pub(super) fn scatter(squares: f64, n: f64) -> f64 {
    libm::sqrt(squares * n / (n - 3.0).max(0.5))
}

/// The inverse of the moments of a parabola, or of a line where the places are
/// too few for one; none where they are one. Evenly filled, places have a variance
/// of 1/3 and a parabola 0.089 of that left (by integration): where less than a
/// tenth and a quarter of that is there, places are too few (our own allowance, no
/// source).
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
