//! What a bench's uncertainty costs over a whole production: how many bad
//! boards get through, how many good ones are refused. For normal processes and
//! normal measurement errors; one board's verdict is judgement's business.

use super::distribution::normal;
use super::quadrature::Rule;
use super::{StatisticsFault, ToleranceLimits};
use serde::{Deserialize, Serialize};

/// The production and the bench.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Production {
    /// Mean of the true values.
    pub mean: f64,
    /// Standard deviation of the true values.
    pub sd: f64,
    /// Standard uncertainty of one measurement.
    pub uncertainty: f64,
}

/// Shares of all boards built.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct GlobalRisk {
    /// Bad and accepted: the consumer's risk.
    pub consumer: f64,
    /// Good and refused: the producer's risk.
    pub producer: f64,
    /// Bad, accepted or not.
    pub nonconforming: f64,
}

/// Global risks by JCGM 106:2012, 9.5.4 (from memory), accepting what measures
/// at least `guard` inside the limits; a negative guard accepts outside.
///
/// # Errors
/// `Argument` for a spread that is not positive, a negative uncertainty, a
/// guard band that leaves nothing to accept, or numbers that are not finite.
pub fn global_risk(
    production: &Production,
    limits: &ToleranceLimits,
    guard: f64,
) -> Result<GlobalRisk, StatisticsFault> {
    let Production {
        mean,
        sd,
        uncertainty,
    } = *production;
    let sound = mean.is_finite() && sd.is_finite() && sd > 0.0;
    if !(sound && uncertainty.is_finite() && uncertainty >= 0.0 && guard.is_finite()) {
        return Err(StatisticsFault::Argument("the production"));
    }
    // In standard deviations of the process from its mean.
    let scaled = |x: f64| (x - mean) / sd;
    let lower = limits.lower().map(scaled);
    let upper = limits.upper().map(scaled);
    let accept = Acceptance {
        from: lower.map_or(f64::NEG_INFINITY, |x| x + guard / sd),
        to: upper.map_or(f64::INFINITY, |x| x - guard / sd),
        uncertainty: uncertainty / sd,
    };
    // An end that overflowed is as good as infinitely far away.
    if accept.from.is_nan() || accept.to.is_nan() || accept.from >= accept.to {
        return Err(StatisticsFault::Argument("the guard band"));
    }
    let (low, high) = (
        lower.unwrap_or(f64::NEG_INFINITY),
        upper.unwrap_or(f64::INFINITY),
    );
    Ok(GlobalRisk {
        consumer: accept.weigh(-REACH, low, false) + accept.weigh(high, REACH, false),
        producer: accept.weigh(low, high, true),
        nonconforming: normal(low).lower + normal(high).upper,
    })
}

/// The probability that the true value conforms, knowing only one measured
/// value and its uncertainty: JCGM 106:2012, 7 (from memory).
///
/// # Errors
/// `Argument` unless the numbers are finite and the uncertainty is positive.
pub fn conformance_probability(
    value: f64,
    uncertainty: f64,
    limits: &ToleranceLimits,
) -> Result<f64, StatisticsFault> {
    if !(value.is_finite() && uncertainty.is_finite() && uncertainty > 0.0) {
        return Err(StatisticsFault::Argument("the measured value"));
    }
    let below = limits
        .lower()
        .map_or(0.0, |x| normal((x - value) / uncertainty).lower);
    let above = limits
        .upper()
        .map_or(0.0, |x| normal((x - value) / uncertainty).upper);
    Ok((1.0 - below - above).max(0.0))
}

/// Standard deviations beyond which nothing is built: 3e-33.
const REACH: f64 = 12.0;

/// What is accepted, in standard deviations of the process.
struct Acceptance {
    from: f64,
    to: f64,
    uncertainty: f64,
}

impl Acceptance {
    /// Share of boards with a true value from `low` to `high` that are accepted,
    /// or that are refused.
    fn weigh(&self, low: f64, high: f64, refused: bool) -> f64 {
        let (low, high) = (low.clamp(-REACH, REACH), high.clamp(-REACH, REACH));
        if low >= high {
            return 0.0;
        }
        // The integrand bends on two scales: that of the process, and that of
        // the measurement about either end of the acceptance.
        let mut cuts = vec![low, high];
        for step in -12..=12 {
            let step = f64::from(step);
            cuts.push(step);
            cuts.push(self.from + step * self.uncertainty);
            cuts.push(self.to + step * self.uncertainty);
        }
        cuts.retain(|x| (low..=high).contains(x));
        cuts.sort_by(f64::total_cmp);
        let rule = Rule::new();
        cuts.windows(2)
            .flat_map(|pair| rule.points(pair[0], pair[1]).collect::<Vec<_>>())
            .map(|(x, weight)| {
                let density = libm::exp(-x * x / 2.0) / std::f64::consts::TAU.sqrt();
                weight * density * self.probability(x, refused)
            })
            .sum()
    }

    /// Probability that a board with true value `x` is accepted, or refused.
    fn probability(&self, x: f64, refused: bool) -> f64 {
        let (below, above) = if self.uncertainty == 0.0 {
            (f64::from(x < self.from), f64::from(x > self.to))
        } else {
            (
                normal((self.from - x) / self.uncertainty).lower,
                normal((self.to - x) / self.uncertainty).upper,
            )
        };
        if refused {
            return below + above;
        }
        // On the near side of the acceptance this keeps the digits of a small
        // probability.
        if self.uncertainty == 0.0 {
            1.0 - below - above
        } else if x <= self.from {
            normal((self.from - x) / self.uncertainty).upper - above
        } else {
            normal((self.to - x) / self.uncertainty).lower - below
        }
    }
}
