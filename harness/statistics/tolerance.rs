//! Statistical tolerance factors: mean +/- k standard deviations hold a stated
//! share of all boards ever built this way, with a stated confidence. For
//! normal readings only.

use super::distribution::{chi_square, chi_square_critical, normal, normal_critical};
use super::noncentral::noncentral_t;
use super::quadrature::Rule;
use super::{Interval, Moments, StatisticsFault, at_least, in_range, probability, root};

/// How much, how surely, from how many.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coverage {
    count: usize,
    share: f64,
    confidence: f64,
}

impl Coverage {
    /// `share` of all boards, with `confidence`, from `count` readings.
    ///
    /// # Errors
    /// `TooFew` below two readings; `Argument`.
    pub fn new(count: usize, share: f64, confidence: f64) -> Result<Self, StatisticsFault> {
        at_least(2, count)?;
        Ok(Self {
            count,
            share: probability("the share", share)?,
            confidence: probability("the confidence", confidence)?,
        })
    }

    fn n(&self) -> f64 {
        self.count as f64
    }

    fn dof(&self) -> f64 {
        self.n() - 1.0
    }

    /// k for a limit on one side, exact: a quantile of the non-central t (M. G.
    /// Natrella, "Experimental Statistics", NBS Handbook 91 (1963), 2-5).
    ///
    /// # Errors
    /// `OutOfRange` for shares and confidences so extreme that k overflows.
    pub fn one_sided(&self) -> Result<f64, StatisticsFault> {
        let root_n = self.n().sqrt();
        let delta = normal_critical(1.0 - self.share) * root_n;
        let short = |t: f64| noncentral_t(t, self.dof(), delta).lower - self.confidence;
        in_range(root::outward(short, delta, 0.1 * root_n) / root_n)
    }

    /// k for a limit on one side by Natrella's approximation (NIST/SEMATECH
    /// e-Handbook 7.2.6.3), for comparison with tables.
    ///
    /// # Errors
    /// `OutOfRange` where the approximation has no solution.
    pub fn one_sided_approximate(&self) -> Result<f64, StatisticsFault> {
        let z_share = normal_critical(1.0 - self.share);
        let z_confidence = normal_critical(1.0 - self.confidence);
        let a = 1.0 - z_confidence * z_confidence / (2.0 * self.dof());
        let b = z_share * z_share - z_confidence * z_confidence / self.n();
        if a <= 0.0 {
            return Err(StatisticsFault::OutOfRange);
        }
        in_range((z_share + (z_share * z_share - a * b).sqrt()) / a)
    }

    /// k for limits on both sides, exact: the confidence is integrated over the
    /// place of the sample mean. K. R. Eberhardt, R. W. Mee and C. P. Reeve,
    /// "Computing factors for exact two-sided tolerance limits for a normal
    /// distribution", Communications in Statistics 18 (1989) 397-413.
    ///
    /// # Errors
    /// `OutOfRange` for shares and confidences so extreme that k overflows.
    pub fn two_sided(&self) -> Result<f64, StatisticsFault> {
        let (root_n, dof) = (self.n().sqrt(), self.dof());
        let density = |z: f64| 2.0 * libm::exp(-z * z / 2.0) / std::f64::consts::TAU.sqrt();
        let places: Vec<(f64, f64)> = Rule::new()
            .panels(0.0, 9.0, 10)
            .into_iter()
            .map(|(z, weight)| (self.half_width(z / root_n), weight * density(z)))
            .collect();
        let short = |ln_k: f64| {
            let k = libm::exp(ln_k);
            let reached: f64 = places
                .iter()
                .map(|(half, weight)| weight * chi_square(dof * half * half / (k * k), dof).upper)
                .sum();
            reached - self.confidence
        };
        let start = libm::log(self.two_sided_approximate()?);
        in_range(libm::exp(root::outward(short, start, 0.02)))
    }

    /// Half width of the interval about `offset` that holds the share of a
    /// standard normal distribution.
    fn half_width(&self, offset: f64) -> f64 {
        let outside = libm::log(1.0 - self.share);
        let excess = |half: f64| {
            // Half the width cannot be negative; there all lies outside.
            let beyond =
                normal(half.max(0.0) + offset).upper + normal(half.max(0.0) - offset).upper;
            outside - libm::log(beyond.max(f64::MIN_POSITIVE))
        };
        let start = normal_critical((1.0 - self.share) / 2.0);
        root::outward(excess, start + offset / 2.0, 0.1)
    }

    /// k for limits on both sides by W. G. Howe, JASA 64 (1969) 610-620
    /// (NIST/SEMATECH e-Handbook 7.2.6.3).
    ///
    /// # Errors
    /// `OutOfRange` where k overflows.
    pub fn two_sided_approximate(&self) -> Result<f64, StatisticsFault> {
        let chi_square = chi_square_critical(self.confidence, self.dof());
        let z = normal_critical((1.0 - self.share) / 2.0);
        in_range(z * (self.dof() * (1.0 + 1.0 / self.n()) / chi_square).sqrt())
    }
}

/// The interval that holds `share` of all boards with `confidence`, exact.
///
/// # Errors
/// As [`Coverage::new`] and [`Coverage::two_sided`].
pub fn tolerance_interval(
    moments: &Moments,
    share: f64,
    confidence: f64,
) -> Result<Interval, StatisticsFault> {
    let k = Coverage::new(moments.count(), share, confidence)?.two_sided()?;
    Ok(Interval::around(moments.mean(), k * moments.sd()))
}
