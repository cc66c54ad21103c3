//! The extreme of many noisy readings: a bounded list of the outermost of them,
//! by how much those overstate the extreme of the true values, and what noise
//! leaves uncertain of that. It knows no unit and judges nothing.

use crate::measurement::combined;
use crate::statistics::distribution::normal_critical;

/// The expected maximum of `count` independent standard normal deviates:
/// Blom's approximation (Statistical Estimates and Transformed Beta-Variables,
/// 1958), Phi^-1((n - 3/8) / (n + 1/4)); from memory.
pub(super) fn bias_of_maximum(count: u64) -> f64 {
    if count < 2 {
        return 0.0;
    }
    let n = count as f64;
    normal_critical(0.625 / (n + 0.25))
}

/// The standard deviation of the maximum of `count` independent standard normal
/// deviates: our own fit to its integral, within 5 % up to 500 thousand and 10 %
/// up to 100 million of them.
pub(super) fn deviation_of_maximum(count: u64) -> f64 {
    let n = libm::log(count.max(1) as f64);
    1.0 / libm::sqrt(1.0 + 0.83 * n + 0.03 * n * n)
}

/// An extreme of readings, less what noise alone overstates it by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Extreme {
    pub(super) value: f64,
    /// Standard uncertainty by noise.
    pub(super) u: f64,
    /// What was taken off, positive.
    pub(super) bias: f64,
}

/// The outermost of many readings with what belongs to each; bounded.
#[derive(Clone, Debug)]
pub(super) struct Outermost<V, P> {
    highest: bool,
    most: usize,
    /// The most extreme first.
    kept: Vec<(V, P)>,
    /// The last of them, once there are as many as are kept.
    last: Option<V>,
}

impl<V: PartialOrd + Copy, P: Copy> Outermost<V, P> {
    /// The highest or the lowest, at most so many.
    pub(super) const fn new(highest: bool, most: usize) -> Self {
        Self {
            highest,
            most,
            kept: Vec::new(),
            last: None,
        }
    }

    /// Takes a reading; of equals the first stands first.
    pub(super) fn push(&mut self, value: V, belongs: P) {
        self.keeps(value, belongs);
    }

    /// Takes a reading and tells whether it is kept.
    #[inline]
    pub(super) fn keeps(&mut self, value: V, belongs: P) -> bool {
        let kept = self.last.is_none_or(|last| self.before(value, last));
        if kept {
            self.keep(value, belongs);
        }
        kept
    }

    #[cold]
    fn keep(&mut self, value: V, belongs: P) {
        let place = self
            .kept
            .partition_point(|other| !self.before(value, other.0));
        self.kept.insert(place, (value, belongs));
        self.kept.truncate(self.most);
        if self.kept.len() == self.most {
            self.last = self.kept.last().map(|(value, _)| *value);
        }
    }

    /// Takes what another list of the same kind keeps.
    pub(super) fn merge(&mut self, other: &Self) {
        for &(value, belongs) in &other.kept {
            self.push(value, belongs);
        }
    }

    pub(super) fn first(&self) -> Option<(V, P)> {
        self.kept.first().copied()
    }

    /// The most extreme first.
    pub(super) fn values(&self) -> impl Iterator<Item = V> {
        self.kept.iter().map(|(value, _)| *value)
    }

    #[inline]
    fn before(&self, value: V, other: V) -> bool {
        if self.highest {
            value > other
        } else {
            value < other
        }
    }
}

/// All the readings of which some are the outermost.
#[derive(Clone, Copy, Debug)]
pub(super) struct Among {
    pub(super) count: u64,
    pub(super) mean: f64,
    /// Their standard deviation.
    pub(super) deviation: f64,
}

/// The extreme of readings with `noise` of their own, less what that overstates
/// it by: of all of them where the outermost are no few that stand apart, else
/// of those alone that could be as extreme but for noise, which are within three
/// deviations. `outermost` are all readings, or as many as are kept, in any
/// order; `among` is none where the extreme is not one of the readings that are
/// known together. The noise is known to `known` of itself.
pub(super) fn extreme_of(
    outermost: &[f64],
    highest: bool,
    among: Option<Among>,
    (noise, known): (f64, f64),
) -> Option<Extreme> {
    let sign = if highest { 1.0 } else { -1.0 };
    let most = outermost.iter().map(|v| sign * v).reduce(f64::max)?;
    let near = |v: &&f64| most - sign * **v <= 3.0 * noise;
    let alike = outermost.iter().filter(near).count();
    let no_few = |all: &Among| alike == outermost.len() || 4 * alike as u64 >= all.count;
    let (bias, u) = match among.filter(no_few) {
        Some(all) => bias_among_all(all.count, all.deviation, noise),
        None => bias_among_near(alike, noise),
    };
    // Nothing overstates by more than it lies beyond their mean.
    let farthest = among.map_or(f64::INFINITY, |all| (most - sign * all.mean).max(0.0));
    let bias = bias.min(farthest);
    Some(Extreme {
        value: sign * (most - bias),
        u: combined([u, known * bias]),
        bias,
    })
}

/// The same of readings that are all at hand, of which the noise is known less
/// well.
pub(super) fn extreme_of_all(values: &[f64], highest: bool, noise: f64) -> Option<Extreme> {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    let among = Among {
        count: values.len() as u64,
        mean,
        deviation: libm::sqrt(squares / (n - 1.0).max(1.0)),
    };
    extreme_of(values, highest, Some(among), (noise, NOISE_OF_FEW))
}

/// How well the noise of few readings is known, relative: few samples show it
/// (our own estimate).
pub(super) const NOISE_OF_FEW: f64 = 0.2;

/// By how much the extreme of `count` readings overstates that of the true
/// values, if those are normally distributed too, and what noise leaves
/// uncertain: of readings that deviate by `deviation` in all, `noise` of it by
/// noise, the true values deviate by the root of what is left.
///
/// The deviation of few readings may by chance be larger than the noise, and so
/// may noise that is known to a tenth: between nothing being left then and what
/// the plain root leaves, the middle is taken and half of it is uncertain.
fn bias_among_all(count: u64, deviation: f64, noise: f64) -> (f64, f64) {
    let chance = 1.2 * (1.0 + 2.0 * libm::sqrt(2.0 / count.max(2) as f64));
    let left = |share: f64| {
        let squares = deviation * deviation - share * noise * noise;
        libm::sqrt(squares.max(0.0))
    };
    let expected = bias_of_maximum(count);
    let (least, most) = (deviation - left(1.0), deviation - left(chance));
    let bias = expected * (least + most) / 2.0;
    let own = noise * deviation_of_maximum(count);
    (bias, combined([own, expected * (most - least) / 2.0]))
}

/// The same of an extreme that only `alike` readings are near. One that stands
/// alone is taken as it reads.
fn bias_among_near(alike: usize, noise: f64) -> (f64, f64) {
    let alike = alike.max(1) as u64;
    (
        bias_of_maximum(alike) * noise,
        noise * deviation_of_maximum(alike),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::seed::Seed;

    /// The expected maximum of n standard normal deviates, from tables of order
    /// statistics (Harter 1961, from memory) and from d2 / 2 of the control chart
    /// constants, since the range is twice the maximum on average.
    #[test]
    fn the_bias_of_a_maximum_is_that_of_the_tables() {
        for (count, expected) in [
            (1, 0.0),
            (2, 1.128 / 2.0),
            (5, 2.326 / 2.0),
            (10, 1.538_75),
            (25, 3.931 / 2.0),
            (100, 2.507_59),
            (1000, 3.241_44),
        ] {
            let bias = bias_of_maximum(count);
            assert!(
                (bias - expected).abs() <= 0.05 * expected,
                "{count}: {bias}"
            );
        }
    }

    /// Closed forms for 2, sqrt(1 - 1 / pi), and 3, 1 + sqrt(3) / 2 pi - 9 / 4 pi
    /// as its square; tables of order statistics up to 1000 (Tippett 1925,
    /// Teichroew 1956; from memory, and the same by SciPy's quadrature of the
    /// density n phi Phi^(n - 1)); beyond by that quadrature alone.
    #[test]
    fn the_deviation_of_a_maximum_is_that_of_the_tables() {
        let pi = std::f64::consts::PI;
        let third = 1.0 + (libm::sqrt(3.0) / 2.0 - 9.0 / 4.0) / pi;
        for (count, expected, within) in [
            (1, 1.0, 1e-12),
            (2, libm::sqrt(1.0 - 1.0 / pi), 0.05),
            (3, libm::sqrt(third), 0.05),
            (4, 0.701_22, 0.05),
            (5, 0.668_98, 0.05),
            (10, 0.586_81, 0.05),
            (20, 0.525_07, 0.05),
            (60, 0.454_48, 0.05),
            (100, 0.429_42, 0.05),
            (200, 0.400_91, 0.05),
            (500, 0.370_41, 0.05),
            (1000, 0.351_36, 0.05),
            (100_000, 0.271_86, 0.05),
            (1_000_000, 0.248_01, 0.10),
            (100_000_000, 0.214_50, 0.10),
        ] {
            let found = deviation_of_maximum(count);
            let off = (found / expected - 1.0).abs();
            assert!(off <= within, "{count}: {found} for {expected}");
        }
    }

    /// Readings of one true value, noise of one: the kept ones say what all say,
    /// as long as these are four times as many at most, and both that value.
    #[test]
    fn what_is_kept_says_what_all_would() {
        let mut stream = Seed(20_260).stream(&[3]);
        for count in [17, 24, 40, 64] {
            for highest in [true, false] {
                let mut outermost = Outermost::new(highest, 16);
                let values: Vec<f64> = (0..count).map(|_| stream.normal()).collect();
                values.iter().for_each(|&value| outermost.push(value, ()));
                let kept: Vec<f64> = outermost.values().collect();
                let mut sorted = values.clone();
                sorted.sort_by(f64::total_cmp);
                if highest {
                    sorted.reverse();
                }
                assert_eq!(kept, sorted[..16]);
                let n = f64::from(count);
                let mean = values.iter().sum::<f64>() / n;
                let squares = values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>();
                let among = Among {
                    count: count as u64,
                    mean,
                    deviation: libm::sqrt(squares / (n - 1.0)),
                };
                let kept = extreme_of(&kept, highest, Some(among), (1.0, NOISE_OF_FEW));
                let all = extreme_of_all(&values, highest, 1.0);
                assert_eq!(kept, all, "{count}");
                let found = all.expect("readings");
                assert!(found.value.abs() < 3.0 * found.u, "{count}: {found:?}");
            }
        }
    }

    /// One that stands apart from a crowd is taken as it reads, and so is one
    /// that is none of those known together.
    #[test]
    fn what_stands_alone_is_taken_as_it_reads() {
        let mut values = vec![0.0; 40];
        values[7] = 10.0;
        let found = extreme_of_all(&values, true, 1.0).expect("readings");
        assert_eq!((found.value, found.u, found.bias), (10.0, 1.0, 0.0));
        let found = extreme_of(&[10.0, 3.0], true, None, (1.0, 0.0)).expect("readings");
        assert_eq!((found.value, found.u), (10.0, 1.0));
        assert_eq!(extreme_of_all(&[], true, 1.0), None);
    }
}
