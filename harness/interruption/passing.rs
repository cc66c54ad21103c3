//! Where a noisy current passes a level, found on means that noise cannot move
//! and then read off the samples by a local fit. It counts no faults.

use super::Noise;
use crate::measurement::{Estimate, combined, rectangular};
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
    trace: &'a Trace,
    noise: Noise,
    /// Sums up to each sample.
    sums: Vec<f64>,
    /// Samples of a mean.
    width: usize,
    /// Standard deviation of a mean.
    scatter: f64,
    /// Samples of a fit, at most.
    longest: usize,
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

    fn len(&self) -> usize {
        self.trace.len()
    }

    /// Magnitude of the mean about sample `index`, shorter at the ends.
    fn mean(&self, index: usize) -> f64 {
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

    /// The passing of `level` between the means about `index` and the next.
    fn read(&self, index: usize, level: f64, rising: bool) -> Estimate {
        let far = if rising { index + 1 } else { index };
        let sense = self.sense(far);
        if let Some(found) = self.fitted(index, level, sense, rising) {
            return found;
        }
        let values = self.trace.values();
        // The samples themselves may pass a little beside their means.
        let passes = |at: usize| {
            let (here, next) = (sense * values[at], sense * values[at + 1]);
            (here < level) != (next < level) && (next > here) == rising
        };
        // From where the level is surely passed, the nearest passing of it.
        let sure = level + 2.5 * self.noise.sd;
        let (from, to) = (
            index.saturating_sub(2 * self.width),
            (index + 2 * self.width + 1).min(self.len() - 1),
        );
        let beyond = |at: &usize| sense * values[*at] >= sure;
        let place = if rising {
            let end = (from..=to).find(beyond).unwrap_or(to);
            (from..end).rfind(|&at| passes(at))
        } else {
            let begin = (from..=to).rfind(beyond).unwrap_or(from);
            (begin..to).find(|&at| passes(at))
        };
        let place = place.unwrap_or(index);
        let found = between_samples(self.trace, place, level, sense, self.noise.of_one());
        let found = self.decaying(place, level, sense).unwrap_or(found);
        let plateau = self.plateau(place) * self.trace.period();
        let u = combined([
            found.u,
            rectangular(plateau / 2.0),
            self.slowly(index, rising),
        ]);
        Estimate::new(found.value, u)
    }

    /// On a decay, steep at first, the passing lies where an exponential through
    /// both samples has it. Standard uncertainty: half of what a straight line
    /// would say otherwise, as a rectangle, and a hundredth of the period; the
    /// samples' over the slope there.
    fn decaying(&self, index: usize, level: f64, sense: f64) -> Option<Estimate> {
        let value = |at: usize| self.trace.values().get(at).map(|x| x * sense);
        let before = value(index.checked_sub(1)?)?;
        let (here, next) = (value(index)?, value(index + 1)?);
        let noise = self.noise.of_one();
        let decays = here > level && next < level && next > 3.0 * noise;
        if !decays || before - here < here - next {
            return None;
        }
        let rate = libm::log(here / next);
        let fraction = libm::log(here / level) / rate;
        let straight = (here - level) / (here - next);
        let u = combined([
            rectangular((straight - fraction) / 2.0),
            combined([1.0 - fraction, fraction]) * noise / (rate * level),
            self.trace.scale_u(level) / (rate * level),
            0.01,
        ]);
        let period = self.trace.period();
        Some(Estimate::new(
            self.trace.time(index) + fraction * period,
            u * period,
        ))
    }

    /// What the noise of one sample is worth in seconds on the slope of the
    /// means about `index`, where there are means.
    fn slowly(&self, index: usize, rising: bool) -> f64 {
        let reach = self.width;
        // On the flatter side: a fall comes to rest, a rise comes from it.
        let (from, to) = if rising {
            (index.saturating_sub(reach), index + 1)
        } else {
            (index, (index + 1 + reach).min(self.len() - 1))
        };
        let slope = (self.mean(to) - self.mean(from)).abs() / (to - from) as f64;
        let most = self.longest as f64;
        if slope > 0.0 {
            (self.noise.of_one() / slope).min(most) * self.trace.period()
        } else {
            0.0
        }
    }

    /// For how many samples an undithered waveform rests on one code beside the
    /// change of one code after `index`: there it passes a level unseen.
    fn plateau(&self, index: usize) -> f64 {
        let values = self.trace.values();
        let step = self.trace.step();
        let one = |a: f64, b: f64| (a - b).abs() <= 1.5 * step;
        if self.noise.coarse == 0.0 || !one(values[index], values[index + 1]) {
            return 0.0;
        }
        let rests = |at: usize, from: usize| (values[at] - values[from]).abs() < 0.5 * step;
        let back = (0..=index).rev().take(self.longest);
        let back = back.take_while(|&at| rests(at, index)).count();
        let on = (index + 1..values.len()).take(self.longest);
        let on = on.take_while(|&at| rests(at, index + 1)).count();
        back.min(on) as f64
    }

    fn sense(&self, index: usize) -> f64 {
        let from = index.saturating_sub((self.width - 1) / 2);
        let to = (index + self.width / 2 + 1).min(self.len());
        (self.sums[to] - self.sums[from]).signum()
    }

    /// By the parabola through the samples about the passing, over the longest
    /// stretch that it fits and that agrees with the shorter ones.
    ///
    /// Standard uncertainty (GUM 5.1.2): the fit's, lengthened by the noise's
    /// memory, and steps of the converter that the slope does not wipe out,
    /// over the slope; gain and zero of the level likewise.
    fn fitted(&self, index: usize, level: f64, sense: f64, rising: bool) -> Option<Estimate> {
        /// Standard deviations by which a longer fit may differ.
        const AGREES: f64 = 2.0;
        /// Standard deviations that make a slope.
        const SLOPE: f64 = 5.0;
        /// Of several fits the one with the least u is taken, which makes that
        /// too small by about this factor (tried with invented captures).
        const CHOSEN: f64 = 1.2;
        /// Steps of the converter that an undithered fit goes through.
        const SPAN: f64 = 3.0;
        let period = self.trace.period();
        let mut centre = index as f64 + 0.5;
        let mut best: Option<(f64, f64, f64)> = None;
        let mut reach = 2.5;
        while reach <= self.longest as f64 {
            let Some(fit) = Parabola::of(self.trace.values(), sense, centre, reach) else {
                break;
            };
            let noise = self.noise.of_one();
            let freedom = fit.count as f64 - 3.0;
            let allowed = noise * noise * (1.0 + 3.0 * libm::sqrt(2.0 / freedom));
            if fit.squares / freedom > allowed {
                break;
            }
            let Some((at, slope)) = fit.passes(level).filter(|&(_, s)| (s > 0.0) == rising) else {
                if best.is_some() {
                    break;
                }
                reach *= 1.5;
                continue;
            };
            let lengthened = noise * self.noise.lengthened(fit.count);
            // A slope that noise could have made, or over too few of the
            // converter's steps, says nothing.
            let told = slope.abs() >= SLOPE * lengthened * libm::sqrt(fit.slope_variance(at));
            let spans = slope.abs() * fit.count as f64 >= SPAN * self.trace.step();
            if !told || (self.noise.coarse > 0.0 && !spans) {
                reach *= 1.5;
                continue;
            }
            let scatter = lengthened * libm::sqrt(fit.variance(at));
            let u = CHOSEN * scatter / slope.abs();
            let place = centre + at;
            if let Some((known, known_u, _)) = best
                && (place - known).abs() > AGREES * known_u
            {
                break;
            }
            // What a longer fit moves it by, its bend may move it on by.
            let moved = best.map_or(0.0, |(known, _, _)| (place - known).abs());
            let u = combined([u, moved]);
            if best.is_none_or(|(_, known_u, _)| u < known_u) {
                best = Some((place, u, slope.abs()));
                centre = place;
            }
            reach *= 1.5;
        }
        let (place, u, slope) = best?;
        let u = combined([u, self.trace.scale_u(level) / slope]) * period;
        Some(Estimate::new(self.trace.time(0) + place * period, u))
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

/// A parabola through samples by least squares, about a centre; places in
/// samples from it.
struct Parabola {
    terms: [f64; 3],
    /// Inverse of the normal equations.
    inverse: [[f64; 3]; 3],
    reach: f64,
    squares: f64,
    count: usize,
}

impl Parabola {
    fn of(values: &[f64], sense: f64, centre: f64, reach: f64) -> Option<Self> {
        let from = libm::ceil(centre - reach).max(0.0) as usize;
        let to = libm::floor(centre + reach).max(0.0) as usize;
        if to >= values.len() || to < from + 4 {
            return None;
        }
        let place = |index: usize| (index as f64 - centre) / reach;
        let mut powers = [0.0; 5];
        let mut right = [0.0; 3];
        for index in from..=to {
            let (x, y) = (place(index), sense * values[index]);
            let mut power = 1.0;
            for (order, sum) in powers.iter_mut().enumerate() {
                *sum += power;
                if let Some(sum) = right.get_mut(order) {
                    *sum += power * y;
                }
                power *= x;
            }
        }
        let normal = [0, 1, 2].map(|row| [0, 1, 2].map(|column| powers[row + column]));
        let inverse = inverse(normal)?;
        let terms = inverse.map(|row| (0..3).map(|k| row[k] * right[k]).sum());
        let mut fit = Self {
            terms,
            inverse,
            reach,
            squares: 0.0,
            count: to - from + 1,
        };
        fit.squares = (from..=to)
            .map(|index| {
                let off = sense * values[index] - fit.at(place(index));
                off * off
            })
            .sum();
        Some(fit)
    }

    fn at(&self, x: f64) -> f64 {
        self.terms[0] + x * (self.terms[1] + x * self.terms[2])
    }

    /// Where it passes `level` nearest to the centre and within reach, and its
    /// slope a sample there.
    fn passes(&self, level: f64) -> Option<(f64, f64)> {
        let [c, b, a] = self.terms;
        let c = c - level;
        let root = libm::sqrt(b * b - 4.0 * a * c);
        // The stable form; the other root lies farther out.
        let x = -2.0 * c / (b + b.signum() * root);
        let slope = b + 2.0 * a * x;
        (x.abs() <= 1.0 && slope.is_finite() && slope != 0.0)
            .then(|| (x * self.reach, slope / self.reach))
    }

    /// Variance of its slope a sample at `at` samples from the centre, of unit
    /// noise.
    fn slope_variance(&self, at: f64) -> f64 {
        let x = at / self.reach;
        let inverse = &self.inverse;
        let sum = inverse[1][1] + 4.0 * x * inverse[1][2] + 4.0 * x * x * inverse[2][2];
        sum.max(0.0) / (self.reach * self.reach)
    }

    /// Variance of its value at `at` samples from the centre, of unit noise.
    fn variance(&self, at: f64) -> f64 {
        let x = at / self.reach;
        let powers = [1.0, x, x * x];
        let mut sum = 0.0;
        for row in 0..3 {
            for column in 0..3 {
                sum += powers[row] * self.inverse[row][column] * powers[column];
            }
        }
        sum.max(0.0)
    }
}

/// The inverse by cofactors.
fn inverse(m: [[f64; 3]; 3]) -> Option<[[f64; 3]; 3]> {
    let minor = |row: usize, column: usize| {
        let (r, s) = ((row + 1) % 3, (row + 2) % 3);
        let (c, d) = ((column + 1) % 3, (column + 2) % 3);
        m[r][c] * m[s][d] - m[r][d] * m[s][c]
    };
    let whole: f64 = (0..3).map(|column| m[0][column] * minor(0, column)).sum();
    if whole.abs() < 1e-12 {
        return None;
    }
    Some([0, 1, 2].map(|row| [0, 1, 2].map(|column| minor(column, row) / whole)))
}
