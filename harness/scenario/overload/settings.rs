//! The settings of an overload scenario: how they are read, and how its numbers
//! must fit together. What may flow, the envelope says.

use crate::document::{Demand, Table};
use crate::scenario::demands::{Demands, amperes};
use crate::scenario::requirements::Requirements;
use crate::scenario::room::{Levels, ReadContext, current, not_empty, period, time};
use crate::units::{Amperes, Quantity, Ratio, Seconds};
use serde::{Deserialize, Serialize};

/// Settings of an overload scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// Where the slow ramp starts.
    pub ramp_from: Amperes,
    /// Where it ends at the latest.
    pub ramp_to: Amperes,
    /// How long it takes.
    pub ramp_time: Seconds,
    /// Multiples of the nominal trip current applied as steps, rising.
    pub multiples: Vec<f64>,
    /// How long each is applied.
    pub pulse: Seconds,
    /// The current just below that must not trip.
    pub hold_current: Amperes,
    /// How long it is held.
    pub hold_time: Seconds,
    /// The magnitude whose crossing starts the trip time.
    pub onset_level: Amperes,
    /// The magnitude below which the current counts as interrupted.
    pub off_level: Amperes,
    /// Time between samples of the steps.
    pub sampling_period: Seconds,
}

impl Settings {
    /// Reads the settings.
    pub(in crate::scenario) fn read(table: &Table<'_>, plan: &ReadContext<'_>) -> Self {
        let ratings = plan.ratings;
        let trip = ratings.trip_current;
        let multiples: Option<Vec<Ratio>> =
            table.quantities("multiples", Demand::Within(1.0, 50.0));
        Self {
            ramp_from: current(table, "ramp_from", trip * 0.8),
            ramp_to: current(table, "ramp_to", trip * 1.5),
            ramp_time: time(table, "ramp_time", 2.0),
            multiples: not_empty(table, "multiples", multiples).map_or_else(
                || vec![1.5, 2.0, 3.0],
                |multiples| multiples.into_iter().map(Quantity::si).collect(),
            ),
            pulse: time(table, "pulse", 0.100),
            hold_current: current(table, "hold_current", trip * 0.9),
            hold_time: time(table, "hold_time", 5.0),
            onset_level: current(table, "onset_level", trip),
            off_level: current(table, "off_level", ratings.rated_current * 0.05),
            sampling_period: period(table, "sampling_period", 2e-6),
        }
    }

    /// How the numbers fit together and with the limits.
    pub(in crate::scenario) fn check(&self, demands: &mut Demands<'_>) {
        let trip = demands.ratings.trip_current;
        let upper = demands.upper("trip_current").map_or(trip, amperes);
        let lower = demands.lower("trip_current").map_or(trip, amperes);
        if self.multiples.windows(2).any(|pair| pair[0] >= pair[1]) {
            demands.fault(
                "multiples",
                "the multiples do not rise".to_owned(),
                "numbers in rising order, none twice".to_owned(),
            );
        }
        let least = self.multiples.first().copied().unwrap_or(1.0);
        if trip * least <= upper {
            demands.fault(
                "multiples",
                format!("a good board need not trip at {least} times the nominal trip current"),
                format!("every multiple above the upper limit, {upper}"),
            );
        }
        if self.hold_current >= lower {
            demands.fault(
                "hold_current",
                "a good board may trip at this current".to_owned(),
                format!("less than the lower limit, {lower}"),
            );
        }
        if self.ramp_from >= lower || self.ramp_to <= upper {
            demands.fault(
                if self.ramp_from >= lower {
                    "ramp_from"
                } else {
                    "ramp_to"
                },
                "the ramp does not span the limits of the trip current".to_owned(),
                format!("a ramp from below {lower} to above {upper}"),
            );
        }
        if self.ramp_time <= Seconds::ZERO {
            demands.fault(
                "ramp_time",
                "a ramp takes time".to_owned(),
                "more than zero".to_owned(),
            );
        }
        if self.onset_level <= self.off_level || self.onset_level >= trip * least {
            demands.fault(
                "onset_level",
                "the onset level lies outside what the current sweeps".to_owned(),
                format!(
                    "between the off level, {}, and {}",
                    self.off_level,
                    trip * least
                ),
            );
        }
        demands.pulse("pulse", self.pulse, "trip_time");
        demands.sampling(self.sampling_period, &["trip_time"]);
    }

    /// What the bench must have for them beside what the drive asks for.
    pub(in crate::scenario) fn require(&self, _: &mut Requirements<'_>) {}

    /// The levels between which a fault is timed.
    pub(in crate::scenario) fn levels(&self) -> Levels {
        Levels {
            onset: Some(self.onset_level),
            off: Some(self.off_level),
        }
    }
}
