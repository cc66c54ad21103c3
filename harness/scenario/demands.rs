//! How a scenario's numbers must fit together and with the limits on them,
//! whatever the bench: the rules that several scenarios share. Each room states
//! its own in `Settings::check`; nothing here knows a scenario.

use super::board::{Configuration, OnSignalLoss, Ratings};
use super::terms::{Entry, Polarity};
use crate::document::{Fault, Places};
use crate::judgement::Limit;
use crate::units::{Amperes, Quantity, Seconds};

/// Samples within a time limit, at least: the period's part of the
/// uncertainty then stays small beside any guard band.
pub(super) const SAMPLES_A_LIMIT: f64 = 200.0;

/// The shortest half-bit that the bench sends, in seconds: half of a one,
/// nominal (NMRA S-9.1:2020 table 1).
pub(crate) const SHORTEST_HALF_BIT: f64 = 58e-6;

/// The slowest sampling that still shows every crossing, in seconds.
pub(super) const SLOWEST_SAMPLING: f64 = SHORTEST_HALF_BIT / 20.0;

/// A limit and the metric it is for.
#[derive(Clone, Debug, PartialEq)]
pub struct MetricLimit {
    /// The metric's key.
    pub metric: &'static str,
    /// The limit.
    pub limit: Limit,
}

/// One scenario of a plan, to be checked.
pub struct Demands<'a> {
    /// What the board is rated for.
    pub ratings: &'a Ratings,
    /// How the board is connected and set.
    pub configuration: &'a Configuration,
    /// The limits on its metrics.
    pub limits: &'a [MetricLimit],
    /// Where each part of the plan was written.
    pub places: &'a Places,
    /// The path under which this scenario's places are noted.
    pub path: String,
    /// What may be set, and what holds otherwise.
    pub entry: &'static Entry,
    /// What was found.
    pub faults: &'a mut Vec<Fault>,
}

impl Demands<'_> {
    /// The limit on `metric`.
    pub(super) fn limit(&self, metric: &str) -> Option<&Limit> {
        let found = self.limits.iter().find(|l| l.metric == metric);
        found.map(|l| &l.limit)
    }

    pub(super) fn upper(&self, metric: &str) -> Option<f64> {
        self.limit(metric)?.upper
    }

    pub(super) fn lower(&self, metric: &str) -> Option<f64> {
        self.limit(metric)?.lower
    }

    /// Notes a fault at `key` of the scenario's table.
    pub(super) fn fault(&mut self, key: &str, message: String, expected: String) {
        let path = format!("{}.{key}", self.path);
        if let Some(place) = self.places.find(&path) {
            let unstated = self.entry.unstated(self.places, &path, key);
            self.faults.push(
                Fault::error(place, message)
                    .expected(expected)
                    .maybe_hint(unstated),
            );
        }
    }

    /// Steps of current rise and end at the rated current.
    pub(super) fn rising_steps(&mut self, steps: &[Amperes]) {
        let rated = self.ratings.rated_current;
        self.rising("steps", steps);
        // A thousandth more is rounding, not intent.
        if steps.iter().any(|step| *step > rated * 1.001) {
            self.fault(
                "steps",
                "a step is above the rated current".to_owned(),
                format!("{rated} at most; `overload` goes beyond"),
            );
        }
    }

    /// Steps of current rise.
    pub(super) fn rising(&mut self, key: &str, steps: &[Amperes]) {
        if steps.windows(2).any(|pair| pair[0] >= pair[1]) {
            self.fault(
                key,
                "the steps do not rise".to_owned(),
                "currents in rising order, none twice".to_owned(),
            );
        }
    }

    /// A board that goes dead without a signal cannot be held in a polarity,
    /// and a bootstrapped high side holds for a while only.
    pub(super) fn held(&mut self, polarities: &[Polarity], step: Seconds, key: &str) {
        if polarities.iter().all(|p| *p == Polarity::Alternating) {
            return;
        }
        if self.configuration.on_signal_loss == OnSignalLoss::Off {
            self.fault(
                "polarities",
                "this board goes dead without a signal and cannot be held in a polarity".to_owned(),
                "`polarities = [\"alternating\"]`".to_owned(),
            );
        }
        if let Some(longest) = self.configuration.longest_hold
            && step > longest
        {
            self.fault(
                key,
                "a step holds the output longer than the board can".to_owned(),
                if key == "hold" {
                    format!("settle and hold together {longest} at most")
                } else {
                    format!("{longest} at most, or `polarities = [\"alternating\"]`")
                },
            );
        }
    }

    /// What trips within the limit is seen with as much again after it.
    pub(super) fn pulse(&mut self, key: &str, pulse: Seconds, metric: &str) {
        let least = self.upper(metric).map_or(0.0, |upper| 2.0 * upper);
        if pulse <= Seconds::ZERO || pulse.si() < least {
            self.fault(
                key,
                format!("this is less than twice the limit of `{metric}`"),
                if least > 0.0 {
                    format!("{} or more", seconds(least))
                } else {
                    "more than zero".to_owned()
                },
            );
        }
    }

    /// The sampling period resolves the limits of `metrics`.
    pub(super) fn sampling(&mut self, period: Seconds, metrics: &[&str]) {
        let limits = metrics.iter().filter_map(|metric| self.upper(metric));
        let slowest = limits
            .map(|upper| upper / SAMPLES_A_LIMIT)
            .fold(SLOWEST_SAMPLING, f64::min);
        if period.si() > slowest {
            let reason = if slowest < SLOWEST_SAMPLING {
                "this is too slow for the time limit that it must resolve"
            } else {
                "this is too slow to see every crossing of the signal"
            };
            self.fault(
                "sampling_period",
                reason.to_owned(),
                format!("{} or less", seconds(slowest)),
            );
        }
    }
}

/// A limit as a quantity; limits are finite because they were parsed.
pub(crate) fn amperes(si: f64) -> Amperes {
    Amperes::from_si(si).unwrap_or(Amperes::ZERO)
}

/// A time as a quantity.
pub(crate) fn seconds(si: f64) -> Seconds {
    Seconds::from_si(si).unwrap_or(Seconds::ZERO)
}
