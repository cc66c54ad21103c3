//! Where a noisy current passes a level, found on means that noise cannot move
//! and then read off the samples by a local fit. It counts no faults.

use super::Noise;
use crate::measurement::{Estimate, rectangular};
use crate::waveform::{Trace, between_samples};

/// How many standard deviations of a mean noise is given to be the level: of
/// ten million means none departs so far by chance.
const SURE: f64 = 6.0;
/// What is wanted of the off level, so that bumps beside it can be told too.
const WANTED: f64 = 9.0;
/// Standard deviations that a mean near a level may be off.
const NEAR: f64 = 3.5;

/// A trace with the means that tell flow from noise.
pub(super) struct Flow<'a> {
    pub(super) trace: &'a Trace,
    pub(super) noise: Noise,
    /// Sums up to each sample.
    sums: Vec<f64>,
    /// Samples of a mean.
    pub(super) width: usize,
    /// Standard deviation of a mean.
    scatter: f64,
    /// Samples of a fit, at most.
    pub(super) longest: usize,
}

impl<'a> Flow<'a> {
    /// The means of `trace` by which `level` is told from noise, each over an
    /// eighth of the shortest half-bit at most.
    pub(super) fn new(trace: &'a Trace, noise: Noise, level: f64) -> Self {
        /// The shortest half-bit that a receiver must take, NMRA S-9.1:2020
        /// table 1, halves of ones.
        const HALF: f64 = 52e-6;
        let most = libm::floor(HALF / 8.0 / trace.period()).max(1.0) as usize;
        // Steps of the converter that come and go are noise here.
        let seen = Noise {
            sd: noise.of_one(),
            ..noise
        };
        let enough = |width: &usize| seen.of_mean(*width) * WANTED <= level;
        let width = (1..most).find(enough).unwrap_or(most);
        let mut sums = Vec::with_capacity(trace.len() + 1);
        let mut sum = 0.0;
        sums.push(sum);
        sums.extend(trace.values().iter().map(|value| {
            sum += value;
            sum
        }));
        Self {
            trace,
            noise,
            sums,
            width,
            scatter: seen.of_mean(width),
            longest: (2 * most).max(4),
        }
    }

    pub(super) fn len(&self) -> usize {
        self.trace.len()
    }

    /// Magnitude of the mean about sample `index`, shorter at the ends.
    pub(super) fn mean(&self, index: usize) -> f64 {
        if self.width == 1 {
            return self.trace.values()[index].abs();
        }
        let from = index.saturating_sub((self.width - 1) / 2);
        let to = (index + self.width / 2 + 1).min(self.len());
        (self.sums[to] - self.sums[from]).abs() / (to - from) as f64
    }

    /// Whether a current of `level` or more flows at `index`.
    fn flows(&self, index: usize, level: f64) -> bool {
        self.mean(index) >= level && (level >= SURE * self.scatter || self.has_energy(index))
    }

    /// Whether three neighbours have more energy than noise has in 1e-9 of all
    /// cases: 45 variances (chi-squared, three degrees of freedom).
    fn has_energy(&self, index: usize) -> bool {
        const BEYOND: f64 = 45.0;
        let values = self.trace.values();
        let from = index.saturating_sub(1);
        let near = &values[from..(index + 2).min(values.len())];
        let energy: f64 = near.iter().map(|value| value * value).sum();
        energy >= BEYOND * self.noise.sd * self.noise.sd
    }

    /// The first instant from sample `start` on at which `level` is reached,
    /// and a sample on the far side of it.
    pub(super) fn reaches(&self, level: f64, start: usize) -> Option<(Estimate, usize)> {
        let index = (start..self.len()).find(|&index| self.flows(index, level))?;
        if let Some((at, after)) = self.doubtful_reach(level, index, start) {
            return Some((at, after));
        }
        let under = index.checked_sub(1).filter(|&at| self.mean(at) < level);
        let Some(before) = under else {
            let at = self.trace.time(index);
            let u = crate::measurement::resolution(self.trace.period());
            return Some((Estimate::new(at, u), index));
        };
        Some((self.read(before, level, true), index))
    }

    /// The last instant before the magnitude stays under `level` for longer
    /// than `quiet`, searched from sample `start`, and a sample after it.
    /// `None` where the samples end before that is proven.
    ///
    /// A bump so near to the level that noise decides whether it counts leaves
    /// two instants possible: their middle is given, with a rectangle over both
    /// (GUM 4.3.7).
    pub(super) fn ends(&self, level: f64, quiet: f64, start: usize) -> Option<(Estimate, usize)> {
        let period = self.trace.period();
        let mut over = start;
        for index in start..self.len() {
            if self.flows(index, level) {
                over = index;
            } else if (index - over) as f64 * period > quiet {
                let at = self.doubtful(level, over, index, start);
                return Some((
                    at.unwrap_or_else(|| self.read(over, level, false)),
                    over + 1,
                ));
            }
        }
        None
    }

    /// By how much a mean near `level` at `index` may be off: its scatter, and
    /// what it flattens of a bump.
    fn play(&self, level: f64, index: usize) -> f64 {
        let sure = (level / self.scatter - SURE).clamp(0.0, NEAR);
        let play = sure * self.scatter;
        if !play.is_finite() {
            return 0.0;
        }
        let beside = (index + self.width).min(self.len() - 1);
        let before = index.saturating_sub(self.width);
        let slope = (self.mean(beside) - self.mean(before)).abs() / 2.0;
        play + (slope / 4.0).min(level / 4.0)
    }

    /// The magnitude that a sharp bump at `index` may have had between samples:
    /// half a period farther on the slope that leads to it.
    fn may_reach(&self, index: usize) -> f64 {
        let here = self.mean(index);
        let before = index
            .checked_sub(1)
            .filter(|&at| self.sense(at) == self.sense(index));
        let rise = before.map_or(0.0, |at| here - self.mean(at));
        if rise > 4.0 * self.scatter {
            here + rise / 2.0
        } else {
            here
        }
    }

    /// Where a current that flows at `first` and at `last` is gone in between,
    /// as it is where its polarity changes.
    fn parted(&self, first: usize, last: usize, level: f64) -> Option<usize> {
        let sense = self.sense(first);
        let gone = |at: &usize| self.mean(*at) < level / 4.0 || self.sense(*at) != sense;
        (first..=last).find(gone)
    }

    /// The middle of two possible beginnings, where a bump near the level
    /// decides, and the later sample.
    fn doubtful_reach(&self, level: f64, index: usize, start: usize) -> Option<(Estimate, usize)> {
        /// Samples looked through, at most: a few half-bits.
        const AHEAD: usize = 64;
        let play = self.play(level, index);
        if play <= 0.0 {
            return None;
        }
        let least = (level - play).max(SURE * self.scatter);
        let reach = AHEAD * self.longest;
        let back = start.max(index.saturating_sub(reach));
        let maybe = (back..=index).find(|&at| self.may_reach(at) >= least)?;
        let mut ahead = index..(index + reach).min(self.len());
        let surely = ahead.find(|&at| self.mean(at) >= level + play)?;
        let fallen = self.parted(maybe, surely, level)?;
        let later = (fallen..surely)
            .rfind(|&at| self.mean(at) < level)
            .unwrap_or(surely);
        let (from, to) = (self.trace.time(maybe), self.trace.time(later));
        let half = (to - from) / 2.0;
        Some((Estimate::new(from + half, rectangular(half)), surely))
    }

    /// The middle of two possible ends, where a bump near the level decides.
    fn doubtful(&self, level: f64, over: usize, last: usize, start: usize) -> Option<Estimate> {
        let play = self.play(level, over);
        if play <= 0.0 {
            return None;
        }
        let least = (level - play).max(SURE * self.scatter);
        let back = start.max(over.saturating_sub(2 * (last - over)));
        let surely = (back..=over).rfind(|&at| self.mean(at) >= level + play)?;
        let maybe = (over..last).rfind(|&at| self.may_reach(at) >= least)?;
        let fallen = self.parted(surely, maybe, level)?;
        // The instant of the earlier end lies before the current is gone.
        let under = (surely..=fallen).find(|&at| self.mean(at) < level);
        let from = self.trace.time(under.unwrap_or(fallen));
        let to = self.trace.time(maybe);
        let half = (to - from) / 2.0;
        Some(Estimate::new(from + half, rectangular(half)))
    }

    pub(super) fn sense(&self, index: usize) -> f64 {
        let from = index.saturating_sub((self.width - 1) / 2);
        let to = (index + self.width / 2 + 1).min(self.len());
        (self.sums[to] - self.sums[from]).signum()
    }
}

/// Where, between `from` and `to` in seconds, an alternating voltage comes to
/// the side of `sense` (1 or -1) to stay there until `to`; `half` is its
/// shortest half-bit. `None` where it is on the other side at the end, or on
/// this one from the beginning.
///
/// Noise about zero is no change of side: the voltage must go beyond five
/// standard deviations, and the passing of zero that leads there is read off.
pub fn turn(trace: &Trace, half: f64, (from, to): (f64, f64), sense: f64) -> Option<Estimate> {
    /// Standard deviations that noise does not reach.
    const BEYOND: f64 = 5.0;
    let noise = Noise::alternating(trace, half);
    let values = trace.values();
    let (start, end) = (trace.index_from(from), trace.index_from(to));
    let along = |at: usize, level: f64| sense * values[at] > level;
    let band = BEYOND * noise.of_one();
    let last = end.checked_sub(1).filter(|&last| last >= start)?;
    let before = (start..=last).rev().find(|&at| !along(at, band))?;
    if before == last {
        return None;
    }
    let flow = Flow::new(trace, noise, band);
    if let Some(found) = flow.fitted(before, 0.0, sense, true) {
        return Some(found);
    }
    let under = (start..=before).rev().find(|&at| !along(at, 0.0));
    let place = under.unwrap_or(before);
    Some(between_samples(trace, place, 0.0, sense, noise.of_one()))
}
