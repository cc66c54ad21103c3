//! How many boards prove two lots equivalent by the very procedure that compares
//! them: Welch's t on lots of their own sizes and standard deviations, with the
//! bench's part beside it. It plans; it judges nothing.

use super::difference::Common;
use super::distribution::{normal, student_t_critical};
use super::equivalence::Margin;
use super::noncentral::{sd_ratio_density, sd_ratio_reach};
use super::power::MOST_BOARDS;
use super::quadrature::Rule;

/// Two lots as they seem, and what is to be proven of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lots {
    /// True difference of the means.
    pub difference: f64,
    /// True standard deviation within each lot.
    pub sds: [f64; 2],
    /// The bench's part of the difference; it stays as it is.
    pub bench: Option<Common>,
    /// What readings must differ by to be told apart.
    pub resolution: f64,
    /// Differences that do not matter.
    pub margin: Margin,
    /// Probability of a false claim.
    pub alpha: f64,
}

impl Lots {
    /// Chance that lots of `counts` boards are proven equivalent; zero below two.
    ///
    /// The standard error that Welch's test finds is that of the sum of two
    /// independent chi-squares, `T`, shared out by a beta variable, `B`, which
    /// alone decides his degrees of freedom (L. Devroye, "Non-Uniform Random
    /// Variate Generation" (1986), IX.3, for the independence of sum and share).
    /// Given both, the mean difference is normal; the rest is two integrals, good
    /// to 1e-4 for two or three boards and to 1e-6 for more.
    pub fn power(&self, counts: [usize; 2]) -> f64 {
        self.power_with(counts, true)
    }

    fn power_with(&self, counts: [usize; 2], exact: bool) -> f64 {
        let [n, m] = counts.map(|count| count as f64);
        let variances = self.sds.map(|sd| sd * sd);
        let standard_error = (variances[0] / n + variances[1] / m).sqrt();
        if n < 2.0 || m < 2.0 || standard_error <= 0.0 || standard_error.is_nan() {
            return 0.0;
        }
        let bench = self.bench.map_or(0.0, |bench| {
            bench.u * student_t_critical(self.alpha, bench.dof)
        });
        let half_width = (self.margin.upper() - self.margin.lower()) / 2.0;
        if bench >= half_width || self.resolution >= half_width {
            return 0.0;
        }
        let chance = Chance {
            up: (self.margin.upper() - self.difference) / standard_error,
            down: (self.margin.lower() - self.difference) / standard_error,
            bench: bench / standard_error,
            least: self.resolution / standard_error,
            dof: n + m - 2.0,
        };
        let alone = [n, m].map(|count| student_t_critical(self.alpha, count - 1.0));
        let rule = Rule::new();
        let (mut sum, mut weights) = (0.0, 0.0);
        for (share, weight) in shares(&rule, n - 1.0, m - 1.0, exact) {
            // Squared standard error of either mean for a mean square of one.
            let freedom = n + m - 2.0;
            let one = freedom * share * variances[0] / ((n - 1.0) * n);
            let two = freedom * (1.0 - share) * variances[1] / ((m - 1.0) * m);
            let (a, b) = (one / (one + two), two / (one + two));
            let welch = 1.0 / (a * a / (n - 1.0) + b * b / (m - 1.0));
            let reach = (student_t_critical(self.alpha, welch) * (one + two).sqrt())
                .max(alone[0] * one.sqrt())
                .max(alone[1] * two.sqrt());
            sum += weight * chance.given(&rule, reach / standard_error);
            weights += weight;
        }
        (sum / weights).clamp(0.0, 1.0)
    }

    /// Least number of boards in each of two lots that reach `power`.
    pub fn boards(&self, power: f64) -> Option<usize> {
        self.least(2, MOST_BOARDS, power, |boards| [boards, boards])
    }

    /// Least number of boards to add to each of two lots that reach `power`.
    pub fn more(&self, counts: [usize; 2], power: f64) -> Option<usize> {
        self.least(1, MOST_BOARDS, power, |more| {
            counts.map(|count| count + more)
        })
    }

    /// The least number from `first` on that is enough; more are enough then too.
    /// One share stands for all in a first search, which finds the number to one
    /// or two.
    fn least(
        &self,
        first: usize,
        last: usize,
        power: f64,
        counts: impl Fn(usize) -> [usize; 2],
    ) -> Option<usize> {
        if !(self.margin.contains(self.difference) && power > 0.0 && power < 1.0) {
            return None;
        }
        let roughly = |number| self.power_with(counts(number), false) >= power;
        let exactly = |number| self.power_with(counts(number), true) >= power;
        let guess = first_enough(first, first, last, roughly).unwrap_or(last);
        first_enough(guess, first, last, exactly)
    }
}

/// The first number of a run up to `last` that is enough, looked for from `guess`
/// with steps that double, and then by halving.
fn first_enough(
    guess: usize,
    first: usize,
    last: usize,
    enough: impl Fn(usize) -> bool,
) -> Option<usize> {
    let mut step = 1;
    let (mut low, mut high);
    if enough(guess) {
        high = guess;
        loop {
            if high == first {
                return Some(first);
            }
            low = high.saturating_sub(step).max(first);
            if !enough(low) {
                break;
            }
            high = low;
            step *= 2;
        }
    } else {
        low = guess;
        loop {
            if low == last {
                return None;
            }
            high = (low + step).min(last);
            if enough(high) {
                break;
            }
            low = high;
            step *= 2;
        }
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(high)
}

/// Shares of the first lot in the sum of squares, with their weights: the beta
/// distribution in the angle whose squared sine is the share, where it has no
/// poles. Without `exact` only its mean.
fn shares(rule: &Rule, one: f64, two: f64, exact: bool) -> Vec<(f64, f64)> {
    let mean = one / (one + two);
    if !exact {
        return vec![(mean, 1.0)];
    }
    let centre = libm::asin(mean.sqrt());
    let deviation = 0.5 / ((one + two) / 2.0 + 1.0).sqrt();
    let low = (centre - 6.0 * deviation).max(0.0);
    let high = (centre + 6.0 * deviation).min(std::f64::consts::FRAC_PI_2);
    // Few boards bend the reach where one mean alone decides.
    let panels = if one.min(two) < 8.0 { 4 } else { 1 };
    let peak = one * libm::log(libm::sin(centre)) + two * libm::log(libm::cos(centre));
    let weight = |angle: f64| {
        let (sine, cosine) = (libm::sin(angle), libm::cos(angle));
        let ln = (one - 1.0) * libm::log(sine) + (two - 1.0) * libm::log(cosine);
        libm::exp(ln - peak)
    };
    let points = rule.panels(low, high, panels).into_iter();
    points
        .map(|(angle, width)| {
            let sine = libm::sin(angle);
            (sine * sine, width * weight(angle))
        })
        .collect()
}

/// Everything in units of the true standard error.
struct Chance {
    up: f64,
    down: f64,
    bench: f64,
    least: f64,
    dof: f64,
}

impl Chance {
    /// The chance where the boards' part reaches `reach` times the ratio of the
    /// standard deviation found to the true one.
    fn given(&self, rule: &Rule, reach: f64) -> f64 {
        let (from, to) = sd_ratio_reach(self.dof);
        let half = (self.up - self.down) / 2.0;
        // A greater standard deviation leaves no room between the two tests.
        let room = (half * half - self.bench * self.bench).max(0.0).sqrt();
        let to = to.min(room / reach);
        if to <= from {
            return 0.0;
        }
        let panels = if self.dof < 20.0 { 4 } else { 2 };
        let points = rule.panels(from, to, panels).into_iter();
        points
            .map(|(ratio, weight)| {
                let half = libm::hypot(ratio * reach, self.bench).max(self.least);
                let inside = normal(self.up - half).lower - normal(self.down + half).lower;
                weight * sd_ratio_density(ratio, self.dof) * inside.max(0.0)
            })
            .sum()
    }
}
