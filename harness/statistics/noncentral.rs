//! The non-central t distribution: tails, and the density of a standard
//! deviation that power calculations integrate over. Nothing else non-central.
//!
//! The series is that of R. V. Lenth, "Algorithm AS 243", Applied Statistics 38
//! (1989) 185-189, started at the mode of its Poisson weights as D. Benton and
//! K. Krishnamoorthy advise, "Computing discrete mixtures of continuous
//! distributions", Computational Statistics & Data Analysis 43 (2003) 249-267:
//! started at zero it underflows past a non-centrality of 38.

use super::distribution::{Tails, normal, student_t};
use super::special::{beta_factor, incomplete_beta, poisson};

/// Past this the series would need millions of terms and the normal
/// approximation errs by less than 1e-6 of a probability.
const SERIES_UP_TO: f64 = 1e10;

/// Tails of the non-central t distribution at `t` with `dof` degrees of freedom
/// and non-centrality `delta`. A tail far smaller than 1e-16 is exact only on
/// the side that `delta` points away from.
pub fn noncentral_t(t: f64, dof: f64, delta: f64) -> Tails {
    if t.is_nan() || dof.is_nan() || delta.is_nan() {
        return Tails::UNKNOWN;
    }
    if t < 0.0 {
        let mirrored = noncentral_t(-t, dof, -delta);
        return Tails {
            lower: mirrored.upper,
            upper: mirrored.lower,
        };
    }
    let mean = delta * delta / 2.0;
    if delta == 0.0 {
        return student_t(t, dof);
    }
    if t == 0.0 {
        return normal(-delta);
    }
    if mean > SERIES_UP_TO {
        // Abramowitz and Stegun 26.7.10.
        let z = (t * (1.0 - 1.0 / (4.0 * dof)) - delta) / (1.0 + t * t / (2.0 * dof)).sqrt();
        return normal(z);
    }
    let t = t.min(1e150);
    let sum = dof + t * t;
    let argument = Argument {
        x: t / sum * t,
        y: dof / sum,
        half_dof: dof / 2.0,
        mean,
    };
    // The whole orders carry the weights P of the paper, the half orders Q.
    let whole = argument.half_series(0.0);
    let half = argument.half_series(0.5);
    let sign = delta.signum();
    Tails {
        lower: (normal(-delta).lower + 0.5 * (whole.lower + sign * half.lower)).clamp(0.0, 1.0),
        upper: (0.5 * (whole.upper + sign * half.upper)).clamp(0.0, 1.0),
    }
}

/// What the terms of the series share.
struct Argument {
    /// t^2 / (dof + t^2).
    x: f64,
    /// 1 - x.
    y: f64,
    half_dof: f64,
    /// Mean of the Poisson weights, delta^2 / 2.
    mean: f64,
}

impl Argument {
    /// Sum over h = offset, offset + 1, ... of the Poisson weight of h times
    /// the incomplete beta function of h + 1/2 (and times its complement).
    ///
    /// Each beta function follows from its neighbour by one positive term:
    /// upwards for the complement, downwards for the function, so that neither
    /// direction subtracts (DLMF 8.17.20).
    fn half_series(&self, offset: f64) -> Tails {
        let reach = 9.0 * self.mean.sqrt() + 40.0;
        let mode = self.mean.floor();
        let first = (mode - reach).floor().max(0.0);
        let count = (mode + reach - first).ceil() as usize + 1;
        let centre = (mode - first) as usize;
        let order = |index: usize| first + offset + index as f64;

        let weights = outward(centre, count, poisson(order(centre), self.mean), |index| {
            self.mean / order(index + 1)
        });
        // The steps have a mode of their own, where their ratio passes 1; left
        // of the range or right of it, the nearer end serves.
        let peak = (self.x * self.half_dof - 1.0) / self.y - order(0) - 0.5;
        let peak = peak.clamp(0.0, (count - 1) as f64) as usize;
        let a = order(peak) + 0.5;
        let steps = outward(
            peak,
            count,
            beta_factor(a, self.half_dof, self.x, self.y) / a,
            |index| {
                let a = order(index) + 0.5;
                self.x * (a + self.half_dof) / (a + 1.0)
            },
        );

        let beta = |index| incomplete_beta(order(index) + 0.5, self.half_dof, self.x, self.y);
        let mut complement = beta(0).upper;
        let mut upper = 0.0;
        for index in 0..count {
            upper += weights[index] * complement;
            complement = (complement + steps[index]).min(1.0);
        }
        let mut function = beta(count - 1).lower;
        let mut lower = weights[count - 1] * function;
        for index in (0..count - 1).rev() {
            function = (function + steps[index]).min(1.0);
            lower += weights[index] * function;
        }
        Tails { lower, upper }
    }
}

/// A sequence of `count` terms from the term at `centre` outwards, where
/// `ratio(i)` is term i + 1 over term i.
fn outward(centre: usize, count: usize, at_centre: f64, ratio: impl Fn(usize) -> f64) -> Vec<f64> {
    let mut terms = vec![0.0; count];
    terms[centre] = at_centre;
    for index in centre + 1..count {
        terms[index] = terms[index - 1] * ratio(index - 1);
    }
    for index in (0..centre).rev() {
        terms[index] = terms[index + 1] / ratio(index);
    }
    terms
}

/// Density at `ratio` of a standard deviation with `dof` degrees of freedom
/// over its true value: chi over the root of its degrees of freedom.
pub(super) fn sd_ratio_density(ratio: f64, dof: f64) -> f64 {
    if ratio <= 0.0 {
        return 0.0;
    }
    dof * poisson(dof / 2.0, dof * ratio * ratio / 2.0) / ratio
}

/// The stretch outside of which that density is below 1e-17 of its peak.
pub(super) fn sd_ratio_reach(dof: f64) -> (f64, f64) {
    let spread = 1.0 / (2.0 * dof).sqrt();
    ((1.0 - 10.0 * spread).max(0.0), 1.0 + 12.0 * spread)
}
