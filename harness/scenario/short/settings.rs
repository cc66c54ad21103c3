//! The settings of a short scenario: how they are read, and how its numbers must
//! fit together. What may flow, the envelope says.

use crate::document::Table;
use crate::scenario::demands::{Demands, SAMPLES_A_LIMIT, seconds};
use crate::scenario::intent::short_branch;
use crate::scenario::requirements::Requirements;
use crate::scenario::room::{Levels, ReadContext, current, period, time, whole};
use crate::scenario::terms::Place;
use crate::units::{Amperes, Quantity, Seconds};
use serde::{Deserialize, Serialize};

/// Settings of a short scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// Where the short is made.
    pub places: Vec<Place>,
    /// How long it is closed.
    pub pulse: Seconds,
    /// Time between samples of that.
    pub sampling_period: Seconds,
    /// Time between samples of the recovery pulse.
    pub coarse_period: Seconds,
    /// How long the short is held to see retries.
    pub recovery_pulse: Seconds,
    /// The magnitude whose crossing starts the trip time.
    pub onset_level: Amperes,
    /// Closings at each place.
    pub repeats: u32,
}

impl Settings {
    /// Reads the settings.
    pub(in crate::scenario) fn read(table: &Table<'_>, plan: &ReadContext<'_>) -> Self {
        let ratings = plan.ratings;
        Self {
            places: table
                .words("places", Place::WORDS)
                .unwrap_or_else(|| vec![Place::Near, Place::Far]),
            pulse: time(table, "pulse", 0.040),
            sampling_period: period(table, "sampling_period", 2e-6),
            coarse_period: period(table, "coarse_period", 20e-6),
            recovery_pulse: time(table, "recovery_pulse", 2.0),
            onset_level: current(table, "onset_level", ratings.trip_current),
            repeats: whole(table, "repeats", 1000, 5),
        }
    }

    /// How the numbers fit together and with the limits.
    pub(in crate::scenario) fn check(&self, demands: &mut Demands<'_>) {
        demands.pulse("pulse", self.pulse, "trip_time");
        demands.sampling(self.sampling_period, &["trip_time"]);
        if self.onset_level <= Amperes::ZERO {
            demands.fault(
                "onset_level",
                "an onset level of zero is crossed by noise".to_owned(),
                "more than zero".to_owned(),
            );
        }
        let interval = demands.upper("retry_interval");
        let wanted = demands.lower("retries").unwrap_or(0.0).max(1.0) + 1.0;
        if let Some(interval) = interval
            && self.recovery_pulse.si() < wanted * interval
        {
            demands.fault(
                "recovery_pulse",
                "the short is not held long enough to see the retries".to_owned(),
                format!("{} or more", seconds(wanted * interval)),
            );
        }
        let resolved = demands.lower("retry_interval").or(interval);
        if let Some(resolved) = resolved
            && self.coarse_period.si() > resolved / SAMPLES_A_LIMIT
        {
            demands.fault(
                "coarse_period",
                "this is too slow for the limit of the retry interval".to_owned(),
                format!("{} or less", seconds(resolved / SAMPLES_A_LIMIT)),
            );
        }
    }

    /// What the bench must have for them beside what the drive asks for.
    pub(in crate::scenario) fn require(&self, bench: &mut Requirements<'_>) {
        for &place in &self.places {
            bench.branch("places", short_branch(place));
            loop_trips(place, bench);
        }
    }

    /// The level that starts a trip time.
    pub(in crate::scenario) fn levels(&self) -> Levels {
        Levels {
            onset: Some(self.onset_level),
            off: None,
        }
    }
}

/// The coin test: a loop whose resistance keeps the current below the trip
/// level arcs and heats instead, on any board; the supply's leads included.
fn loop_trips(place: Place, bench: &mut Requirements<'_>) {
    let ratings = bench.ratings;
    let closed = bench.bench.closed_loop(
        short_branch(place),
        ratings.supply_voltage,
        ratings.source_resistance,
    );
    let Some(closed) = closed else { return };
    let through = closed.through(bench.bench.wiring.supply_resistance);
    let current = through.current();
    if current <= bench.trips_by {
        bench.fault(
            "places",
            format!(
                "through the {} loop flow only {current}, so no board need trip",
                place.word()
            ),
            format!(
                "a loop that lets more than {} flow: the bus is too thin or too long",
                bench.trips_by
            ),
        );
    }
}
