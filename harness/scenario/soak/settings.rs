//! The settings of a soak scenario and how they are read. How its numbers must
//! fit together is checked in `check`.

use crate::document::{Demand, Table};
use crate::scenario::demands::{Demands, seconds};
use crate::scenario::requirements::Requirements;
use crate::scenario::room::{Levels, ReadContext, not_empty, time};
use crate::scenario::terms::Polarity;
use crate::units::{Amperes, Quantity, Seconds};
use serde::{Deserialize, Serialize};

/// Looks at a board that is warming up, at least: three are the exponential's
/// own, and the rest must show whether it fits.
const FEWEST: f64 = 8.0;
/// The most; each costs bench time and memory.
const MOST: f64 = 2000.0;
/// Settings of a soak scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// The current that is held.
    pub current: Amperes,
    /// How long the board is watched without power before.
    pub rest: Seconds,
    /// How long the current is held.
    pub length: Seconds,
    /// Time between two looks.
    pub interval: Seconds,
    /// The states of the output in which it is held.
    pub polarities: Vec<Polarity>,
}

impl Settings {
    /// Reads the settings.
    pub(in crate::scenario) fn read(table: &Table<'_>, plan: &ReadContext<'_>) -> Self {
        let ratings = plan.ratings;
        let polarities = table.words("polarities", Polarity::WORDS);
        Self {
            current: table.quantity_or("current", Demand::Positive, ratings.rated_current),
            rest: time(table, "rest", 60.0),
            length: time(table, "length", 300.0),
            interval: time(table, "interval", 10.0),
            polarities: not_empty(table, "polarities", polarities)
                .unwrap_or_else(|| vec![Polarity::Alternating]),
        }
    }

    /// How the numbers fit together and with the limits.
    pub(in crate::scenario) fn check(&self, demands: &mut Demands<'_>) {
        let rated = demands.ratings.rated_current;
        // A thousandth more is rounding, not intent.
        if self.current > rated * 1.001 {
            demands.fault(
                "current",
                "this is above the rated current, which alone the board carries for ever"
                    .to_owned(),
                format!("{rated} or less"),
            );
        }
        let (length, interval) = (self.length.si(), self.interval.si());
        if interval <= 0.0 || length / interval < FEWEST {
            demands.fault(
                "interval",
                "so few looks show no steady temperature".to_owned(),
                format!("more than zero and {} at most", seconds(length / FEWEST)),
            );
        } else if length / interval > MOST {
            demands.fault(
                "interval",
                "so many looks say no more than fewer would".to_owned(),
                format!("{} or more", seconds(length / MOST)),
            );
        }
        demands.held(&self.polarities, self.length, "length");
        if let Some(upper) = demands.upper("thermal_time_constant")
            && length < 2.0 * upper
        {
            demands.fault(
                "length",
                "this is less than two of the longest time constants allowed, so nothing could \
                 be extrapolated"
                    .to_owned(),
                format!("{} or more", seconds(2.0 * upper)),
            );
        }
    }

    /// What the bench must have for them beside what the drive asks for.
    pub(in crate::scenario) fn require(&self, _: &mut Requirements<'_>) {}

    /// None of its own.
    pub(in crate::scenario) fn levels(&self) -> Levels {
        Levels::default()
    }
}
