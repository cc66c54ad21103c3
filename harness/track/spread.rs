//! Mean, deviation and extremes of many spans, exact and in one pass. It keeps
//! few readings.

use super::extremes::{Among, NOISE_OF_FEW, Outermost, bias_of_maximum, extreme_of};
use super::uncertainty::EdgeUncertainty;
use crate::clock::{BenchInstant, BenchSpan};
use crate::measurement::{Estimate, combined};
use serde::{Deserialize, Serialize};

/// Running sums of spans in picoseconds. Integers, so the order of pushing
/// does not matter.
#[derive(Clone, Debug)]
pub(super) struct Spread {
    /// Subtracted from every span first, so that squares stay small.
    about: i64,
    count: u64,
    sum: i128,
    /// Of distances whose squares need no wide numbers, and of the others.
    squares: u128,
    far_squares: u128,
    least: Outermost<i64, BenchInstant>,
    maximum: Outermost<i64, BenchInstant>,
    /// Where the last span ended, and how many began where one had ended.
    end: Option<BenchInstant>,
    joined: u64,
}

/// Spans at each end that are kept.
const KEPT: usize = 16;

impl Spread {
    pub(super) const fn about(about: BenchSpan) -> Self {
        Self {
            about: about.picoseconds(),
            count: 0,
            sum: 0,
            squares: 0,
            far_squares: 0,
            least: Outermost::new(false, KEPT),
            maximum: Outermost::new(true, KEPT),
            end: None,
            joined: 0,
        }
    }

    /// Takes the span from one instant to another; it shares an edge with the
    /// one before where that ended there. Tells whether it is among the outermost.
    #[inline]
    pub(super) fn push_from(&mut self, from: BenchInstant, to: BenchInstant) -> bool {
        self.join(from, to);
        self.push(to - from, from)
    }

    /// Takes a span that was read from `from` up to `to`.
    #[inline]
    pub(super) fn push_joined(&mut self, span: BenchSpan, from: BenchInstant, to: BenchInstant) {
        self.join(from, to);
        self.push(span, from);
    }

    /// Whether the last span ended there.
    #[inline]
    pub(super) fn ends_at(&self, at: BenchInstant) -> bool {
        self.end == Some(at)
    }

    #[inline]
    fn join(&mut self, from: BenchInstant, to: BenchInstant) {
        self.joined += u64::from(self.end == Some(from));
        self.end = Some(to);
    }

    #[inline]
    pub(super) fn push(&mut self, span: BenchSpan, at: BenchInstant) -> bool {
        let picoseconds = span.picoseconds();
        self.count += 1;
        // As many additions as a count of 64 bits allows overflow neither sum.
        let distance = picoseconds.saturating_sub(self.about);
        let away = distance.unsigned_abs();
        // Most are shorter than 4 ms.
        if away <= u64::from(u32::MAX) {
            self.sum += i128::from(distance);
            self.squares += u128::from(away * away);
        } else {
            self.push_far(picoseconds);
        }
        self.push_outermost(picoseconds, at)
    }

    #[cold]
    fn push_far(&mut self, picoseconds: i64) {
        let distance = i128::from(picoseconds) - i128::from(self.about);
        self.sum = self.sum.saturating_add(distance);
        let away = distance.unsigned_abs();
        let square = away.saturating_mul(away);
        self.far_squares = self.far_squares.saturating_add(square);
    }

    #[inline]
    fn push_outermost(&mut self, picoseconds: i64, at: BenchInstant) -> bool {
        let least = self.least.keeps(picoseconds, at);
        self.maximum.keeps(picoseconds, at) || least
    }

    /// Takes a span of which [`Spread::with_sums_of`] adds the sums later. It is
    /// not among the outermost of all unless it is among those of its part.
    #[inline]
    pub(super) fn push_unsummed(&mut self, from: BenchInstant, to: BenchInstant, outermost: bool) {
        self.join(from, to);
        if outermost {
            self.push_outermost((to - from).picoseconds(), from);
        }
    }

    /// The spread of all spans of `parts`, which it has taken unsummed.
    pub(super) fn with_sums_of(&self, parts: &[Self]) -> Self {
        let mut all = self.clone();
        parts.iter().for_each(|part| all.add_sums(part));
        all
    }

    fn add_sums(&mut self, other: &Self) {
        debug_assert_eq!(self.about, other.about);
        self.count += other.count;
        self.sum = self.sum.saturating_add(other.sum);
        self.squares = self.squares.saturating_add(other.squares);
        self.far_squares = self.far_squares.saturating_add(other.far_squares);
    }

    /// Adds another spread about the same value.
    pub(super) fn merge(&mut self, other: &Self) {
        self.add_sums(other);
        self.joined += other.joined;
        self.least.merge(&other.least);
        self.maximum.merge(&other.maximum);
    }

    pub(super) const fn count(&self) -> u64 {
        self.count
    }

    pub(super) fn maximum(&self) -> i64 {
        self.maximum.first().map_or(i64::MIN, |(span, _)| span)
    }

    /// The figures in seconds.
    pub(super) fn figures(&self, budget: Budget) -> Option<Figures> {
        if self.count == 0 {
            return None;
        }
        let seconds = |picoseconds: f64| picoseconds * 1e-12;
        let n = self.count as f64;
        let about = self.about as f64;
        let mean = seconds(about + self.sum as f64 / n);
        let deviation = if self.count > 1 {
            let offset = self.sum as f64;
            let squares = self.squares.saturating_add(self.far_squares);
            let variance = (squares as f64 - offset * offset / n) / (n - 1.0);
            seconds(libm::sqrt(variance.max(0.0)))
        } else {
            0.0
        };
        let Budget {
            edge,
            weights,
            joined,
            mixed,
            upwards,
            biased,
            shared,
            left,
        } = budget;
        let noise = edge.noise_u() * libm::sqrt(weights);
        let unseen = if biased { edge.unseen_u } else { 0.0 };
        let grid = edge.grid_u * libm::sqrt(weights);
        let u_each = combined([noise, grid]);
        // Edges that two spans share weigh in the sum by what both make of them.
        let sum = (weights * n + joined * self.joined as f64).max(weights);
        let averaged = libm::sqrt(sum) / n;
        // Sampling errs alike on like phases, so that not all of a shared edge
        // cancels in effect (a tenth: our own allowance).
        let shared_less = weights * n
            + 0.9 * (joined * self.joined as f64).min(0.0)
            + (joined * self.joined as f64).max(0.0);
        // Those that are not shared may be of the direction that is known better, or not.
        let shared_less = shared_less + sum * edge.uneven * upwards;
        let sampled = libm::sqrt(shared_less.max(weights)) / n;
        // What sampling does is the same again on the same phase: as much of it
        // averages out as shows in the scatter (GUM 4.3.7, F.2.2.1).
        let varied = if mixed || grid == 0.0 {
            1.0
        } else {
            ((deviation * deviation - noise * noise) / (grid * grid)).clamp(0.0, 1.0)
        };
        let left_over = if mixed { edge.worse_u } else { 0.0 };
        let u_mean = combined([
            edge.noise_u().max(left_over) * averaged,
            edge.grid_u * sampled * libm::sqrt(varied),
            grid * libm::sqrt(1.0 - varied),
            unseen,
            left,
            mean * edge.time_base_u,
        ]);
        let among = Among {
            count: self.count,
            mean,
            deviation,
        };
        // The extreme is likely to be one with an edge that pauses, which is known
        // less well than the others; of three edges the heaviest weighs more.
        let paused = edge.paused_u * libm::sqrt(weights / 3.0).max(1.0);
        let few = self.count <= KEPT as u64;
        let known = if few { NOISE_OF_FEW } else { 0.0 };
        let extreme = |list: &Outermost<i64, BenchInstant>, maximum: bool| {
            let (first, at) = list.first()?;
            let first = seconds(first as f64);
            let values: Vec<f64> = list.values().map(|span| seconds(span as f64)).collect();
            let found = extreme_of(&values, maximum, Some(among), (u_each, known))?;
            // Sampling errs by a period at each edge at most, however many.
            let farthest =
                libm::sqrt(3.0) * edge.grid_u * budget.most() + bias_of_maximum(self.count) * noise;
            let bias = found.bias.min(farthest).min((first - mean).abs());
            let value = if maximum { first - bias } else { first + bias };
            let own = found.u * noise / u_each.max(f64::MIN_POSITIVE);
            let parts = [own, grid, paused, shared, value * edge.time_base_u];
            Some(Worst {
                estimate: Estimate::new(value, combined(parts)),
                at,
                of: self.count,
                bias,
            })
        };
        Some(Figures {
            count: self.count,
            mean: Estimate::new(mean, u_mean),
            deviation,
            least: extreme(&self.least, false)?,
            maximum: extreme(&self.maximum, true)?,
        })
    }
}

impl Budget {
    /// The magnitudes of the weights of the edges in one reading, summed.
    fn most(&self) -> f64 {
        // Two edges of weight 1; four of 1 or one of 2 and two of 1.
        if self.weights > 2.0 { 4.0 } else { 2.0 }
    }
}

/// What every reading of a kind is uncertain by. Times in seconds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Budget {
    /// What an edge is.
    pub(super) edge: EdgeUncertainty,
    /// Squares of the weights of the edges in one reading, summed.
    pub(super) weights: f64,
    /// What an edge that two readings share adds to those of both.
    pub(super) joined: f64,
    /// Readings of both polarities, in which edges of the same phase cancel.
    pub(super) mixed: bool,
    /// How many more of the edges that no two of them share go upwards than
    /// downwards, as a share of these.
    pub(super) upwards: f64,
    /// Edges of one kind against edges of another: what samples do not show of
    /// their shape does not cancel.
    pub(super) biased: bool,
    /// What all share, up to the sign, in each reading.
    pub(super) shared: f64,
    /// What is left of it in their mean.
    pub(super) left: f64,
}

/// Statistics of many spans, in seconds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Figures {
    /// How many.
    pub count: u64,
    /// Their mean with its standard uncertainty.
    pub mean: Estimate,
    /// Their standard deviation.
    pub deviation: f64,
    /// The least.
    pub least: Worst,
    /// The maximum.
    pub maximum: Worst,
}

impl Figures {
    /// The extreme farther from zero, without its sign.
    pub(super) fn farthest(&self) -> Worst {
        let (least, maximum) = (&self.least, &self.maximum);
        let mut worst = if -least.estimate.value > maximum.estimate.value {
            least.clone()
        } else {
            maximum.clone()
        };
        worst.estimate.value = worst.estimate.value.abs();
        worst
    }

    /// The same with the extremes of its two parts, each of which is freed from
    /// what noise made of it.
    pub(super) fn with_extremes(mut self, one: &Option<Self>, other: &Option<Self>) -> Self {
        let parts = || [one, other].into_iter().flatten();
        let by = |a: &&Worst, b: &&Worst| a.estimate.value.total_cmp(&b.estimate.value);
        if let Some(least) = parts().map(|part| &part.least).min_by(by) {
            self.least = least.clone();
        }
        if let Some(maximum) = parts().map(|part| &part.maximum).max_by(by) {
            self.maximum = maximum.clone();
        }
        self
    }
}

/// An extreme of many readings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Worst {
    /// The reading less `bias`, with its standard uncertainty.
    pub estimate: Estimate,
    /// When it occurred.
    pub at: BenchInstant,
    /// The number of readings of which it is the extreme.
    pub of: u64,
    /// By how much (s) measurement noise alone carried the extreme of that many
    /// readings beyond the true extreme, by their own scatter; taken off.
    pub bias: f64,
}

/// Counts of spans in bins of a microsecond.
#[derive(Clone, Debug)]
pub(super) struct Microseconds {
    counts: Vec<u64>,
    beyond: u64,
}

/// Spans from here on (us) share one bin.
const LONGEST_BIN: usize = 512;

impl Microseconds {
    pub(super) fn new() -> Self {
        Self {
            counts: vec![0; LONGEST_BIN],
            beyond: 0,
        }
    }

    pub(super) fn push(&mut self, span: BenchSpan) {
        let rounded = span.picoseconds().saturating_add(500_000) / 1_000_000;
        let bin = usize::try_from(rounded).unwrap_or(0);
        match self.counts.get_mut(bin) {
            Some(count) => *count += 1,
            None => self.beyond += 1,
        }
    }

    /// Full bins: the span in whole microseconds, and how many.
    pub(super) fn bins(&self) -> Vec<(u32, u64)> {
        let full = self.counts.iter().enumerate().filter(|&(_, &n)| n > 0);
        full.map(|(bin, &n)| (bin as u32, n)).collect()
    }

    pub(super) const fn beyond(&self) -> u64 {
        self.beyond
    }
}
