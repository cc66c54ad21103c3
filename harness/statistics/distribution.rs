//! The normal, t, chi-square and F distributions: both tails and critical
//! values. It has no densities and draws no random numbers.
//!
//! Both tails are always given, since the small one cannot be had from one less
//! the large one. Degrees of freedom may be any positive number.

use super::root;
use super::special::{Parts, incomplete_beta, incomplete_gamma};

/// Probability on either side of a value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tails {
    /// Probability of a smaller value.
    pub lower: f64,
    /// Probability of a greater value.
    pub upper: f64,
}

impl Tails {
    /// Probability of a value at least as far out on either side, for a
    /// continuous distribution: twice the smaller tail; not a number where the
    /// tails are none.
    pub fn two_sided(self) -> f64 {
        if self.lower.is_nan() || self.upper.is_nan() {
            return f64::NAN;
        }
        (2.0 * self.lower.min(self.upper)).min(1.0)
    }

    /// Where an argument is not a number neither is a tail: no comparison with it
    /// holds, so nothing is ever claimed by it.
    pub(super) const UNKNOWN: Self = Self {
        lower: f64::NAN,
        upper: f64::NAN,
    };

    fn swapped(self) -> Self {
        Self {
            lower: self.upper,
            upper: self.lower,
        }
    }
}

impl From<Parts> for Tails {
    fn from(parts: Parts) -> Self {
        Self {
            lower: parts.lower,
            upper: parts.upper,
        }
    }
}

/// Tails of the standard normal distribution at `z`.
pub fn normal(z: f64) -> Tails {
    let scaled = z * std::f64::consts::FRAC_1_SQRT_2;
    Tails {
        lower: 0.5 * libm::erfc(-scaled),
        upper: 0.5 * libm::erfc(scaled),
    }
}

/// Tails of Student's t distribution at `t` (DLMF 8.17, with I of
/// nu / (nu + t^2)).
pub fn student_t(t: f64, dof: f64) -> Tails {
    if t.is_nan() || dof.is_nan() {
        return Tails::UNKNOWN;
    }
    if t < 0.0 {
        return student_t(-t, dof).swapped();
    }
    // Beyond this the square would overflow and the tail is below 1e-150.
    let t = t.min(1e150);
    let sum = dof + t * t;
    let upper = 0.5 * incomplete_beta(dof / 2.0, 0.5, dof / sum, t / sum * t).lower;
    Tails {
        lower: 1.0 - upper,
        upper,
    }
}

/// Tails of the chi-square distribution at `x`.
pub fn chi_square(x: f64, dof: f64) -> Tails {
    if x.is_nan() || dof.is_nan() {
        return Tails::UNKNOWN;
    }
    incomplete_gamma(dof / 2.0, x / 2.0).into()
}

/// Tails of the F distribution at `f`, with the degrees of freedom of its
/// numerator and of its denominator.
pub fn fisher_f(f: f64, numerator: f64, denominator: f64) -> Tails {
    if f.is_nan() || numerator.is_nan() || denominator.is_nan() {
        return Tails::UNKNOWN;
    }
    let scaled = (numerator * f).clamp(0.0, f64::MAX / 4.0);
    let sum = denominator + scaled;
    let parts = incomplete_beta(
        numerator / 2.0,
        denominator / 2.0,
        scaled / sum,
        denominator / sum,
    );
    parts.into()
}

/// The normal deviate that is exceeded with probability `upper`.
///
/// Newton's second-order step from the estimate of Abramowitz and Stegun
/// 26.2.23, whose error is below 4.5e-4.
pub fn normal_critical(upper: f64) -> f64 {
    if upper > 0.5 {
        return -normal_critical(1.0 - upper);
    }
    let root = (-2.0 * libm::log(upper)).sqrt();
    let top = 2.515_517 + root * (0.802_853 + root * 0.010_328);
    let bottom = 1.0 + root * (1.432_788 + root * (0.189_269 + root * 0.001_308));
    let mut z = root - top / bottom;
    for _ in 0..3 {
        let density = libm::exp(-z * z / 2.0) / std::f64::consts::TAU.sqrt();
        let error = (normal(z).upper - upper) / density;
        z += error / (1.0 - z * error / 2.0);
    }
    z
}

/// The value of t that is exceeded with probability `upper`.
pub fn student_t_critical(upper: f64, dof: f64) -> f64 {
    if upper > 0.5 {
        return -student_t_critical(1.0 - upper, dof);
    }
    if upper == 0.5 {
        return 0.0;
    }
    let start = libm::log(normal_critical(upper).max(1e-16));
    libm::exp(root::outward(
        |ln_t| libm::log(upper) - ln_or_least(student_t(libm::exp(ln_t), dof).upper),
        start,
        0.1,
    ))
}

/// The value of chi-square that is exceeded with probability `upper`.
pub fn chi_square_critical(upper: f64, dof: f64) -> f64 {
    // Wilson and Hilferty (1931) is a good start but for few degrees of freedom.
    let part = 2.0 / (9.0 * dof);
    let cube_root = 1.0 - part + normal_critical(upper) * part.sqrt();
    let start = if cube_root > 0.1 {
        dof * cube_root * cube_root * cube_root
    } else {
        0.01 * dof
    };
    positive_critical(upper, start, |x| chi_square(x, dof))
}

/// The value of F that is exceeded with probability `upper`.
pub fn fisher_f_critical(upper: f64, numerator: f64, denominator: f64) -> f64 {
    positive_critical(upper, 1.0, |f| fisher_f(f, numerator, denominator))
}

/// Solves in logarithms, where tails are close to straight lines, and on the
/// smaller tail, which has the digits.
fn positive_critical(upper: f64, start: f64, tails: impl Fn(f64) -> Tails) -> f64 {
    let ln_upper = libm::log(upper);
    let ln_lower = libm::log1p(-upper);
    let excess = |ln_x: f64| {
        let at = tails(libm::exp(ln_x));
        if upper < 0.5 {
            ln_upper - ln_or_least(at.upper)
        } else {
            ln_or_least(at.lower) - ln_lower
        }
    };
    libm::exp(root::outward(excess, libm::log(start), 0.1))
}

/// A logarithm that stays finite where a tail has underflowed.
fn ln_or_least(x: f64) -> f64 {
    if x > 0.0 { libm::log(x) } else { -800.0 }
}
