//! The share of boards that pass, with its interval, from how many did.
//! It never gives 0 or 100 per cent without saying how far off that may be.

use super::distribution::{fisher_f_critical, normal_critical};
use super::{Interval, StatisticsFault, at_least, probability};
use serde::{Deserialize, Serialize};

/// A share with its interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Proportion {
    /// Successes over trials.
    pub share: f64,
    /// The interval.
    pub interval: Interval,
}

/// The score interval: E. B. Wilson, JASA 22 (1927) 209-212 (NIST/SEMATECH
/// e-Handbook 7.2.4.1).
///
/// # Errors
/// `TooFew` for no trials; `Argument` for more successes than trials or a
/// confidence that is not between 0 and 1.
pub fn wilson(
    successes: usize,
    trials: usize,
    confidence: f64,
) -> Result<Proportion, StatisticsFault> {
    let confidence = probability("the confidence", confidence)?;
    at_least(1, trials)?;
    if successes > trials {
        return Err(StatisticsFault::Argument("the number of successes"));
    }
    let (x, n) = (successes as f64, trials as f64);
    let failures = (trials - successes) as f64;
    let z = normal_critical((1.0 - confidence) / 2.0);
    let square = z * z;
    let centre = (x + square / 2.0) / (n + square);
    let half = z / (n + square) * (x * failures / n + square / 4.0).sqrt();
    Ok(Proportion {
        share: x / n,
        // The ends are exact where nothing or everything succeeded.
        interval: Interval {
            lower: if successes == 0 { 0.0 } else { centre - half },
            upper: if successes == trials {
                1.0
            } else {
                centre + half
            },
        },
    })
}

/// The exact interval: C. J. Clopper and E. S. Pearson, Biometrika 26 (1934)
/// 404-413, by the F distribution (L. M. Leemis and K. S. Trivedi, The American
/// Statistician 50 (1996) 63-68). It holds the share at least as often as the
/// confidence says, whatever the share is; for no success or nothing but
/// successes one end is exact.
///
/// # Errors
/// As [`wilson`].
pub fn clopper_pearson(
    successes: usize,
    trials: usize,
    confidence: f64,
) -> Result<Proportion, StatisticsFault> {
    let tail = (1.0 - probability("the confidence", confidence)?) / 2.0;
    at_least(1, trials)?;
    if successes > trials {
        return Err(StatisticsFault::Argument("the number of successes"));
    }
    let (x, n) = (successes as f64, trials as f64);
    let failures = n - x;
    let lower = if successes == 0 {
        0.0
    } else {
        let f = fisher_f_critical(tail, 2.0 * (failures + 1.0), 2.0 * x);
        x / (x + (failures + 1.0) * f)
    };
    let upper = if successes == trials {
        1.0
    } else {
        let f = (x + 1.0) * fisher_f_critical(tail, 2.0 * (x + 1.0), 2.0 * failures);
        f / (failures + f)
    };
    Ok(Proportion {
        share: x / n,
        interval: Interval { lower, upper },
    })
}
