//! How far edges overshoot: the highest place of the overlay, and what noise
//! makes of the highest of many. It knows no standard's levels.

use super::extremes::{Extreme, bias_of_maximum, deviation_of_maximum};
use super::noise::quantised;
use super::overlay::{Known, Overlay, REPEATS, SHOWN, scatter};
use super::places::{Laid, Places};
use crate::measurement::{Estimate, combined, rectangular};

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
/// What the correction for the top of a parabola is uncertain by, relative, and how
/// many times lower than on the other side the mean is where an edge falls off (our own
/// allowances, no source).
const TOP_KNOWN: f64 = 0.3;
const FALLS_OFF: f64 = 6.0;
/// What of the way down beside a corner is missing, and how well that is known (our own
/// allowance between a corner and a rounded one, no source).
const CORNER: f64 = 0.4;
const CORNER_U: f64 = 0.12;
/// The highest of many means lies over those beside it by so many standard uncertainties
/// by chance (our own allowance, no source).
const CHANCE: f64 = 4.0;
/// What edges that take fewer samples than [`SHOWN`] may be laid apart by, samples (our
/// own allowance, no source).
const JUMPS_APART: f64 = 0.125;
/// A mean is of all edges where it holds this part of the samples that it would if their
/// phases were spread evenly (our own allowance, no source).
const OF_ALL: f64 = 0.1;
/// Fewest samples of one edge about the peak that are compared with all edges (our own
/// choice, no source).
const FEWEST_OF_ONE: f64 = 2.0;

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
        // (Lepski 1990, from memory): wide means average noise, and peaks too. Of those
        // the one known best counts, and where what lies beside them is not sampled,
        // the narrowest.
        let mut best: Option<Peak> = None;
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        let widest = ((to - from) / 4.0).min(WIDEST);
        let heights = Heights::of(&self.places, level, sign);
        let mut half = NARROWEST;
        while half <= widest {
            if let Some(peak) = self.peak(&heights, from, to, half) {
                let room = AGREES * peak.sigma;
                low = low.max(peak.height - room);
                high = high.min(peak.height + room);
                if low > high {
                    break;
                }
                let better = |best: &Peak| match (best.beside, peak.beside) {
                    (had, has) if had != has => has,
                    (has, _) => has && peak.sigma < best.sigma,
                };
                if best.as_ref().is_none_or(better) {
                    best = Some(peak);
                }
            }
            half *= WIDENING;
        }
        let peak = best?;
        let quantum = quantised(self.known.quantum, self.known.noise);
        let repeated = if self.gap > REPEATS { quantum } else { 0.0 };
        // What edges are laid apart by shifts samples along the slope beside the peak.
        let jumps = self.known.apparent < SHOWN;
        let apart = if jumps { rectangular(JUMPS_APART) } else { 0.0 };
        let laid = self.known.laid_u.max(apart) * peak.slope;
        // Between samples of all edges together the top may be as much higher as the
        // way down beside it goes on.
        let unseen = rectangular(self.gap.min(1.0) / 2.0) * peak.slope;
        let u = combined([peak.u, level_u, repeated, laid, unseen]);
        let amplitude = self.amplitude();
        let mean = Estimate::new(peak.height.max(0.0) / amplitude, u / amplitude);
        let shown = self.known.apparent > SHOWN;
        let beyond = shown
            .then(|| self.farthest(&heights, &peak, after))
            .flatten();
        let worst = beyond.map_or(mean, |Extreme { value, u: own, .. }| {
            let height = (peak.height + value.max(0.0)).max(0.0);
            Estimate::new(height / amplitude, combined([own, u]) / amplitude)
        });
        Some((mean, worst))
    }

    /// By how much the farthest edge lies beyond all of them together at their peak: as
    /// many samples of each from it on, as seen from the edge, so that none is passed
    /// over and noise is alike.
    fn farthest(&self, heights: &Heights<'_>, peak: &Peak, after: bool) -> Option<Extreme> {
        let count = libm::round(2.0 * peak.half).max(FEWEST_OF_ONE);
        // As far before it as the mean that is the peak reaches, and a narrow one not.
        let early = (peak.half - 2.0 * NARROWEST).clamp(0.0, count / 2.0);
        let away = if after { 1.0 } else { -1.0 };
        let from = peak.at - away * early;
        let ends = (from, from + away * (count + 1.0));
        // Of many edges at a few places, between which there are lines.
        let few = self.edges.len() as f64 * NARROWEST <= 1.0;
        let between = (!few).then(|| self.common((ends.0.min(ends.1), ends.0.max(ends.1))));
        let common = |at| match &between {
            Some(common) => common.at(at),
            None => self.narrow(at),
        };
        let beyond = |laid: &Laid| {
            let at = laid.zero + peak.at;
            let first = if after {
                libm::ceil(at - early)
            } else {
                libm::floor(at + early) - count + 1.0
            };
            let first = first.max(0.0);
            let samples = laid.volts.get(first as usize..)?.get(..count as usize)?;
            let mut sum = 0.0;
            for (index, volts) in samples.iter().enumerate() {
                let at = first + index as f64 - laid.zero;
                sum += heights.sign * (volts - common(at));
            }
            Some(sum / count).filter(|mean| mean.is_finite())
        };
        let mut singles: Vec<f64> = self.edges.iter().filter_map(beyond).collect();
        // What smoothing does to all alike is no edge's own.
        let middle = singles.iter().sum::<f64>() / singles.len().max(1) as f64;
        singles.iter_mut().for_each(|single| *single -= middle);
        let weights = vec![count.recip(); count as usize];
        let quantum = quantised(self.known.quantum, self.known.noise);
        // An edge that is laid elsewhere is as much higher as all are steep there.
        let steep = [0.0, 1.0].map(|by| {
            let from = from + away * by;
            (common(from) - common(from + away * count)).abs() / count
        });
        // Where nothing is read there, the maximum passes over it.
        let laid = self.known.laid_u * steep.into_iter().fold(0.0, f64::max);
        let noise = combined([self.noise.through(&weights), quantum, laid]);
        (singles.len() >= 3).then_some(())?;
        farthest_of(&singles, noise)
    }

    /// All edges together at a place, V, by a narrow fit, which neither slope nor bend
    /// leads astray; not a number where too few have samples.
    fn narrow(&self, at: f64) -> f64 {
        let local = self.about(at, 2.0 * NARROWEST);
        local.map_or(f64::NAN, |local| local.value)
    }

    /// The same between two places.
    fn common(&self, (from, to): (f64, f64)) -> Common {
        let steps = libm::ceil((to - from) / NARROWEST).max(1.0);
        let stride = (to - from) / steps;
        let place = |step: u32| from + f64::from(step) * stride;
        Common {
            from,
            stride,
            volts: (0..=steps as u32).map(|n| self.narrow(place(n))).collect(),
        }
    }

    /// Standard uncertainty of the mean of all samples within `half` of `at`, by
    /// what single edges contribute.
    fn mean_u(&self, at: f64, half: f64) -> Option<f64> {
        let about = self.places.about(at, half);
        if about.len() < 3 {
            return None;
        }
        let count = about.len() as f64;
        let mean = about.iter().map(|place| place.volts).sum::<f64>() / count;
        let shares = self.places.by_edge(about, |place| place.volts - mean);
        let squares: f64 = shares.iter().map(|share| share * share).sum();
        Some(scatter(squares, self.edges.len() as f64) / count)
    }

    /// The highest of means `half` wide either side.
    fn peak(&self, heights: &Heights<'_>, from: f64, to: f64, half: f64) -> Option<Peak> {
        let steps = libm::ceil((to - from) / (half / 2.0)).clamp(1.0, MOST_PLACES) as usize;
        let place = |step: usize| from + (to - from) * step as f64 / steps as f64;
        let mut found = Vec::with_capacity(steps + 1);
        let mut highest = (f64::NEG_INFINITY, 0.0);
        for step in 0..=steps {
            if let Some(height) = heights.mean(place(step), half) {
                found.push(height);
                if height > highest.0 {
                    highest = (height, place(step));
                }
            }
        }
        if found.is_empty() || found.len() * 2 < steps {
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
        // A few samples may be alike by chance.
        let alone = self.known.noise / libm::sqrt(self.places.within(at, half).len().max(1) as f64);
        let u = u.max(alone);
        let lower = |by: f64| {
            let mean = heights.mean(at + by * half, half)?;
            Some((height - mean).max(0.0))
        };
        let beside = lower(-2.0).zip(lower(2.0));
        let (missed, missed_u) = beside.map_or((0.0, 0.0), |beside| missed(beside, u));
        // A whole sample beside it every edge has one.
        let next = [-1.0, 1.0].map(|by| lower(by / half).unwrap_or(0.0));
        // Where many places are as high as noise lets them differ, three standard
        // uncertainties, the highest overstates; places lie four to a width, and
        // two of them count for one (our own allowance, no source).
        let alike = found.iter().filter(|h| height - **h < 3.0 * u).count();
        let alike = (alike / 2).max(1) as u64;
        Some(Peak {
            at,
            half,
            height: height + missed - bias_of_maximum(alike) * u,
            sigma: combined([u, missed_u]),
            u: combined([u * deviation_of_maximum(alike).max(0.5), missed_u]),
            beside: beside.is_some(),
            slope: next[0].min(next[1]),
        })
    }
}

/// What a mean `half` wide either side lies under the top, and the standard
/// uncertainty of that, by how much lower the means `2 half` before and behind lie.
///
/// Over the top of a parabola it lies a twelfth of that lower, over a bent one a
/// twelfth of both means' mean. Where one side falls off, the mean may begin at a
/// corner, and half of the way down on the other side is missing (by integration), or
/// less where the corner is rounded.
fn missed((before, behind): (f64, f64), u: f64) -> (f64, f64) {
    let (least, most) = (before.min(behind), before.max(behind));
    if most > FALLS_OFF * least + 6.0 * u {
        return (CORNER * least, CORNER_U * least);
    }
    let drop = f64::midpoint(before, behind);
    if drop < CHANCE * u {
        return (0.0, rectangular(drop / 12.0));
    }
    (drop / 12.0, TOP_KNOWN * drop / 12.0)
}

/// The farthest of readings, less what `noise` overstates it by: the expected maximum
/// of as many of one true value as noise may have brought to the top, those within two
/// deviations of it. How many those are chance says too; half of what is taken off is
/// uncertain for it (both our own choice: of a few edges that stand apart, a crowd, and
/// normally and exponentially distributed ones errors are then 0.7 to 1.4 of what is
/// stated, by simulation; of one edge alone at three to five deviations, up to 2).
fn farthest_of(readings: &[f64], noise: f64) -> Option<Extreme> {
    let most = readings.iter().copied().reduce(f64::max)?;
    let alike = readings.iter().filter(|r| most - **r <= 2.0 * noise);
    let alike = alike.count().max(1) as u64;
    let bias = bias_of_maximum(alike) * noise;
    Some(Extreme {
        value: most - bias,
        u: combined([deviation_of_maximum(alike) * noise, 0.5 * bias]),
        bias,
    })
}

/// What all edges together are at evenly spaced places, V.
struct Common {
    from: f64,
    stride: f64,
    volts: Vec<f64>,
}

impl Common {
    /// By the line between the two places beside `at`.
    fn at(&self, at: f64) -> f64 {
        let last = self.volts.len() - 1;
        let step = ((at - self.from) / self.stride).clamp(0.0, last as f64);
        let index = (step as usize).min(last - 1);
        let (a, b) = (self.volts[index], self.volts[index + 1]);
        a + (step - index as f64) * (b - a)
    }
}

/// How high past `level` samples are, those of a place and all before it together.
struct Heights<'a> {
    places: &'a Places,
    sums: Vec<f64>,
    sign: f64,
}

impl<'a> Heights<'a> {
    /// Past `level`, upwards where `sign` is 1.
    fn of(places: &'a Places, level: f64, sign: f64) -> Self {
        let mut sum = 0.0;
        let mut sums = Vec::with_capacity(places.all().len() + 1);
        sums.push(sum);
        sums.extend(places.all().iter().map(|place| {
            sum += sign * (place.volts - level);
            sum
        }));
        Self { places, sums, sign }
    }

    /// The mean within `half` of `at`; none of fewer than three, nor where a few
    /// edges alone have samples.
    fn mean(&self, at: f64, half: f64) -> Option<f64> {
        let found = self.places.within(at, half);
        let count = found.len() as f64;
        let least = (OF_ALL * 2.0 * half * self.places.edges() as f64).max(3.0);
        (count >= least).then(|| (self.sums[found.end] - self.sums[found.start]) / count)
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
    /// Whether samples show what lies beside it.
    beside: bool,
    /// How much lower it is a sample farther on the gentler side, V.
    slope: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Means by integration: of -x^2 over `-h` to `h` -h^2 / 3, twice `h` beside it 4 h^2
    /// lower; of -x over 0 to `2 h` -h, twice `h` behind it 2 h lower.
    #[test]
    fn a_mean_lies_under_a_top_by_its_closed_form() {
        for half in [0.3, 1.0, 4.0] {
            let lower = 4.0 * half * half;
            let (round, u) = missed((lower, lower), 1e-6);
            assert!((round - half * half / 3.0).abs() < 1e-9 && u < round);
            let (corner, u) = missed((100.0, 2.0 * half), 1e-6);
            assert!((corner - half).abs() <= 2.0 * u, "{corner} {u}");
            // What noise may have made is no top.
            assert_eq!(missed((1.0, 1.0), 1.0).0, 0.0);
        }
    }

    /// One of a crowd that stands far apart is its own; of two alike the higher is
    /// 1 / sqrt pi too high (order statistics of two normal deviates).
    #[test]
    fn the_farthest_is_freed_of_what_noise_adds() {
        let mut readings = vec![0.0; 40];
        readings[3] = 30.0;
        let alone = farthest_of(&readings, 1.0).expect("readings");
        assert_eq!((alone.value, alone.bias), (30.0, 0.0));
        readings[9] = 29.5;
        let two = farthest_of(&readings, 1.0).expect("readings");
        let expected = 1.0 / libm::sqrt(std::f64::consts::PI);
        assert!((two.bias / expected - 1.0).abs() < 0.05, "{two:?}");
        assert_eq!(farthest_of(&[], 1.0), None);
    }
}
