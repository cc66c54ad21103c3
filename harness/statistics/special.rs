//! Incomplete beta and gamma functions, both tails to full relative accuracy.
//! It serves the distributions alone and knows no probability theory.
//!
//! The leading factors are written with the error of Stirling's formula and a
//! deviance, after C. Loader, "Fast and Accurate Computation of Binomial
//! Probabilities" (2000), so that they keep their digits at huge arguments.

const HALF_LN_TAU: f64 = 0.918_938_533_204_672_8;
const TAU: f64 = std::f64::consts::TAU;
/// Continued fractions and series take about the square root of their larger
/// argument; this serves arguments up to 1e10.
const MOST_TERMS: usize = 400_000;

/// Two complementary parts of one whole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Parts {
    /// From the lower end up to the argument.
    pub(super) lower: f64,
    /// From the argument to the upper end.
    pub(super) upper: f64,
}

/// `ln Gamma(z + 1)` less Stirling's formula for it, z > 0 (DLMF 5.11.1).
fn stirling_error(z: f64) -> f64 {
    if z < 16.0 {
        return libm::lgamma(z + 1.0) - (z + 0.5) * libm::log(z) + z - HALF_LN_TAU;
    }
    let square = z * z;
    let mut sum = 1.0 / 156.0;
    for coefficient in [
        691.0 / 360_360.0,
        1.0 / 1188.0,
        1.0 / 1680.0,
        1.0 / 1260.0,
        1.0 / 360.0,
        1.0 / 12.0,
    ] {
        sum = coefficient - sum / square;
    }
    sum / z
}

/// `x ln(x / mean) + mean - x`, without cancellation where the two are close;
/// `difference` is x - mean.
fn deviance(x: f64, mean: f64, difference: f64) -> f64 {
    if difference.abs() >= 0.1 * (x + mean) {
        return x * libm::log(x / mean) - difference;
    }
    let ratio = difference / (x + mean);
    let mut sum = difference * ratio;
    let mut term = 2.0 * x * ratio;
    for odd in 1..200 {
        term *= ratio * ratio;
        let next = sum + term / f64::from(2 * odd + 1);
        if next == sum {
            break;
        }
        sum = next;
    }
    sum
}

/// `mean^x exp(-mean) / Gamma(x + 1)`: the Poisson probability, for any x >= 0.
pub(super) fn poisson(x: f64, mean: f64) -> f64 {
    if mean <= 0.0 {
        return if x == 0.0 { 1.0 } else { 0.0 };
    }
    if x == 0.0 {
        return libm::exp(-mean);
    }
    libm::exp(-stirling_error(x) - deviance(x, mean, x - mean)) / (TAU * x).sqrt()
}

/// `x^a y^b / B(a, b)` with y = 1 - x given apart, so that neither is rounded.
pub(super) fn beta_factor(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let sum = a + b;
    // Both equal a - sum x; the smaller of x and y is the less rounded, which
    // tells where `sum` is large.
    let excess = if y < x { sum * y - b } else { a - sum * x };
    let exponent = stirling_error(sum)
        - stirling_error(a)
        - stirling_error(b)
        - deviance(a, sum * x, excess)
        - deviance(b, sum * y, -excess);
    (a / TAU * (b / sum)).sqrt() * libm::exp(exponent)
}

/// The regularised incomplete beta function of `x` and its complement (DLMF
/// 8.17.22); `y` is 1 - x.
pub(super) fn incomplete_beta(a: f64, b: f64, x: f64, y: f64) -> Parts {
    if x <= 0.0 {
        return Parts {
            lower: 0.0,
            upper: 1.0,
        };
    }
    if y <= 0.0 {
        return Parts {
            lower: 1.0,
            upper: 0.0,
        };
    }
    let factor = beta_factor(a, b, x, y);
    if x < (a + 1.0) / (a + b + 2.0) {
        let lower = (factor * beta_fraction(a, b, x) / a).min(1.0);
        Parts {
            lower,
            upper: 1.0 - lower,
        }
    } else {
        let upper = (factor * beta_fraction(b, a, y) / b).min(1.0);
        Parts {
            lower: 1.0 - upper,
            upper,
        }
    }
}

/// The continued fraction of DLMF 8.17.22 by the modified Lentz method.
fn beta_fraction(a: f64, b: f64, x: f64) -> f64 {
    let mut upper = 1.0;
    let mut lower = 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut value = lower;
    for term in 1..MOST_TERMS {
        let m = term as f64;
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        lower = 1.0 / away_from_zero(1.0 + even * lower);
        upper = away_from_zero(1.0 + even / upper);
        value *= lower * upper;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        lower = 1.0 / away_from_zero(1.0 + odd * lower);
        upper = away_from_zero(1.0 + odd / upper);
        let change = lower * upper;
        value *= change;
        if (change - 1.0).abs() < 2.0 * f64::EPSILON {
            break;
        }
    }
    value
}

fn away_from_zero(x: f64) -> f64 {
    if x.abs() < 1e-300 { 1e-300 } else { x }
}

/// The regularised incomplete gamma functions P and Q (DLMF 8.11.4, 8.9.2).
pub(super) fn incomplete_gamma(a: f64, x: f64) -> Parts {
    if x <= 0.0 {
        return Parts {
            lower: 0.0,
            upper: 1.0,
        };
    }
    if x == f64::INFINITY {
        return Parts {
            lower: 1.0,
            upper: 0.0,
        };
    }
    let factor = poisson(a, x);
    if x < a + 1.0 {
        let (mut sum, mut term) = (1.0, 1.0);
        for index in 1..MOST_TERMS {
            term *= x / (a + index as f64);
            sum += term;
            if term < f64::EPSILON * sum / 4.0 {
                break;
            }
        }
        let lower = (factor * sum).min(1.0);
        Parts {
            lower,
            upper: 1.0 - lower,
        }
    } else {
        let upper = (factor * a * gamma_fraction(a, x)).min(1.0);
        Parts {
            lower: 1.0 - upper,
            upper,
        }
    }
}

/// The continued fraction of DLMF 8.9.2, contracted, by the modified Lentz
/// method.
fn gamma_fraction(a: f64, x: f64) -> f64 {
    let mut base = x + 1.0 - a;
    let mut upper = 1e300;
    let mut lower = 1.0 / away_from_zero(base);
    let mut value = lower;
    for term in 1..MOST_TERMS {
        let m = term as f64;
        let numerator = -m * (m - a);
        base += 2.0;
        lower = 1.0 / away_from_zero(base + numerator * lower);
        upper = away_from_zero(base + numerator / upper);
        let change = lower * upper;
        value *= change;
        if (change - 1.0).abs() < 2.0 * f64::EPSILON {
            break;
        }
    }
    value
}
