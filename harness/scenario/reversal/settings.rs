//! The settings of a reversal scenario: how they are read, and how its numbers
//! must fit together. What may flow, the envelope says.

use crate::bench_file::{Carries, Closes};
use crate::document::Table;
use crate::scenario::demands::{Demands, SHORTEST_HALF_BIT, seconds};
use crate::scenario::requirements::Requirements;
use crate::scenario::room::{Levels, ReadContext, current, period, time};
use crate::units::{Amperes, Quantity, Seconds};
use serde::{Deserialize, Serialize};

/// Which way a reversal is asked for, and so which gap is closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// The crossed gap: from the phase after power-up to the other.
    Forward,
    /// The straight gap: back again.
    Back,
}

impl Direction {
    /// Each variant with the word it is written as.
    pub const WORDS: &'static [(&'static str, Self)] =
        &[("forward", Self::Forward), ("back", Self::Back)];

    /// The word used in files and on screens.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Forward => "forward",
            Self::Back => "back",
        }
    }
}

/// Settings of a reversal scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// Which ways a reversal is asked for.
    pub directions: Vec<Direction>,
    /// How long one closing is captured.
    pub pulse: Seconds,
    /// How long the gap stays closed.
    pub gap_pulse: Seconds,
    /// How long the true short is closed.
    pub short_pulse: Seconds,
    /// Time between samples.
    pub sampling_period: Seconds,
    /// The magnitude whose crossing starts the trip time of the true short.
    pub onset_level: Amperes,
}

impl Settings {
    /// Reads the settings.
    pub(in crate::scenario) fn read(table: &Table<'_>, plan: &ReadContext<'_>) -> Self {
        let ratings = plan.ratings;
        Self {
            directions: table
                .words("directions", Direction::WORDS)
                .unwrap_or_else(|| vec![Direction::Forward, Direction::Back]),
            pulse: time(table, "pulse", 0.100),
            gap_pulse: time(table, "gap_pulse", 0.060),
            short_pulse: time(table, "short_pulse", 0.100),
            sampling_period: period(table, "sampling_period", 2e-6),
            onset_level: current(table, "onset_level", ratings.trip_current),
        }
    }

    /// How the numbers fit together and with the limits.
    pub(in crate::scenario) fn check(&self, demands: &mut Demands<'_>) {
        if !demands.configuration.reversing {
            demands.fault(
                "kind",
                "this board does not reverse".to_owned(),
                "`reversing = true` in `[configuration]`".to_owned(),
            );
        }
        demands.pulse("pulse", self.pulse, "reversal_time");
        demands.pulse("short_pulse", self.short_pulse, "trip_time");
        demands.sampling(self.sampling_period, &["reversal_time", "trip_time"]);
        if self.gap_pulse >= self.pulse {
            demands.fault(
                "gap_pulse",
                "the capture ends before the gap opens again".to_owned(),
                format!("less than the pulse, {}", self.pulse),
            );
        }
        if let Some(upper) = demands.upper("reversal_time")
            && self.gap_pulse.si() < upper
        {
            demands.fault(
                "gap_pulse",
                "the gap opens before a good board has reversed".to_owned(),
                format!("{} or more", seconds(upper)),
            );
        }
    }

    /// What the bench must have for them beside what the drive asks for.
    pub(in crate::scenario) fn require(&self, bench: &mut Requirements<'_>) {
        bench.line(Carries::InputA);
        bench.branch("kind", Closes::NearShort);
        // Either gap may be the mismatch: the board's phase decides.
        for gap in [Closes::GapCrossed, Closes::GapStraight] {
            bench.branch("directions", gap);
        }
        self.require_mismatch(bench);
    }

    /// The level that starts a trip time.
    pub(in crate::scenario) fn levels(&self) -> Levels {
        Levels {
            onset: Some(self.onset_level),
            off: None,
        }
    }

    /// Something flows across the gaps that makes a board reverse, and what two
    /// boosters in phase push through them at their edges is shorter.
    fn require_mismatch(&self, bench: &mut Requirements<'_>) {
        let Some(upstream) = bench.bench.upstream else {
            bench.fault(
                "kind",
                "the bench has no upstream source".to_owned(),
                "an `[upstream]` table in the bench file".to_owned(),
            );
            return;
        };
        let upper = bench.limit("reversal_time").and_then(|limit| limit.upper);
        if let Some(limit) = upper.filter(|limit| upstream.trip_time.si() <= *limit) {
            bench.bench_fault(
                "upstream.trip_time",
                "the upstream source trips within the limit of the reversal time".to_owned(),
                format!("more than {}", seconds(limit)),
            );
        }
        // What lasts longer than a quarter half-bit could not be told from a
        // mismatch.
        let quarter = SHORTEST_HALF_BIT / 4.0;
        let spike = bench.bench.edge_spike(bench.ratings.supply_voltage);
        if let Some(spike) = spike.filter(|spike| spike.si() > quarter) {
            bench.bench_fault(
                "upstream.inductance",
                format!("edge spikes of {spike} could not be distinguished from a mismatch"),
                format!("delays and three times L/R below {}", seconds(quarter)),
            );
        }
        for gap in [Closes::GapCrossed, Closes::GapStraight] {
            if bench.bench.branch(gap).is_some() {
                mismatch_reverses(gap, bench);
            }
        }
    }
}

/// Enough flows across `gap` against the other phase to reverse on.
fn mismatch_reverses(gap: Closes, bench: &mut Requirements<'_>) {
    let ratings = bench.ratings;
    let closed = bench
        .bench
        .closed_loop(gap, ratings.supply_voltage, ratings.source_resistance);
    let Some(closed) = closed else {
        bench.bench_fault(
            "upstream.isolation",
            "with isolated supplies and one gap no current flows, so nothing reverses".to_owned(),
            "\"isolated, both gaps\" or \"common negative, one gap\"".to_owned(),
        );
        return;
    };
    if closed.current() <= ratings.trip_current {
        let current = closed.current();
        bench.fault(
            "directions",
            format!("across the gap flow only {current}, too little to reverse on"),
            format!("more than {}", ratings.trip_current),
        );
    }
}
