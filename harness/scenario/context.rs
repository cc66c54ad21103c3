//! What an evaluation must know beyond what was seen: ratings from the plan and
//! facts of the bench. It holds no limit.

use super::board::Ratings;
use super::room::Levels;
use crate::bench_file::Bench;
use crate::measurement::rectangular;
use crate::units::{Amperes, Ohms, Quantity, Seconds, Volts};
use serde::{Deserialize, Serialize};

/// What an evaluation must know beyond the observation: ratings from the plan
/// and facts of the bench.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Context {
    /// The current that the board carries for ever.
    pub rated_current: Amperes,
    /// The magnitude of current whose crossing starts a trip time: a fixed
    /// number, never the measured trip current.
    pub onset_level: Amperes,
    /// The magnitude under which the current counts as interrupted; 5 % of the
    /// rated current where `None`. Noise can raise it.
    pub off_level: Option<Amperes>,
    /// Nominal voltage of the board's supply.
    pub supply_voltage: Volts,
    /// The supply rail's least voltage: below it the board need not work, and
    /// an interruption is not counted as its own.
    pub lowest_supply: Volts,
    /// The longest half-bit that the drive sends.
    pub half_bit: Seconds,
    /// The longest cutout in the signal; zero without cutouts.
    pub cutout: Seconds,
    /// How long the shorting contact may bounce.
    pub bounce: Seconds,
    /// Edge spikes of the gap current up to this long are not counted: the
    /// delay difference and three time constants of the loop.
    pub gap_spike: Seconds,
    /// How much either side of a crossing of the output is left out of levels
    /// and ripple: one dead time and one slew.
    pub crossing: Seconds,
    /// Resistance of the leads between the board's output and the node.
    pub lead_resistance: Ohms,
    /// Standard uncertainty of that resistance.
    pub lead_resistance_u: Ohms,
    /// The bleeder across the node, where it is known.
    #[serde(default)]
    pub bleeder: Option<Ohms>,
}

impl Context {
    /// A board of these ratings on a plain all-ones signal (halves of 58 us,
    /// NMRA S-9.1:2020 table 1), no leads, and common practice elsewhere:
    /// contact bounce up to 2 ms, spikes up to 12 us, crossings of 4 us
    /// (common practice, no source).
    pub fn new(rated_current: Amperes, trip_current: Amperes, supply_voltage: Volts) -> Self {
        Self {
            rated_current,
            onset_level: trip_current,
            off_level: None,
            supply_voltage,
            lowest_supply: Volts::new(supply_voltage.si() * 0.5),
            half_bit: Seconds::new(58e-6),
            cutout: Seconds::ZERO,
            bounce: Seconds::new(2e-3),
            gap_spike: Seconds::new(12e-6),
            crossing: Seconds::new(4e-6),
            lead_resistance: Ohms::ZERO,
            lead_resistance_u: Ohms::ZERO,
            bleeder: None,
        }
    }

    /// The span in seconds for which a current must stay off to count as
    /// interrupted: the longest half-bit and any cutout, and one sample.
    pub(super) fn quiet(&self, period: f64) -> f64 {
        self.half_bit.si().max(self.cutout.si()) + period
    }

    /// The context of a scenario with `levels` for a board of `ratings` on `bench`: the one
    /// place where settings, wiring and ratings are brought together.
    pub(super) fn of(ratings: &Ratings, levels: Levels, bench: &Bench) -> Self {
        let ordinary = Self::new(
            ratings.rated_current,
            ratings.trip_current,
            ratings.supply_voltage,
        );
        let bounce = bench
            .branches
            .iter()
            .map(|branch| branch.bounce)
            .fold(Seconds::ZERO, Seconds::max);
        Self {
            onset_level: levels.onset.unwrap_or(ordinary.onset_level),
            off_level: levels.off,
            lowest_supply: ratings.lowest_supply,
            bounce,
            gap_spike: bench
                .edge_spike(ratings.supply_voltage)
                .unwrap_or(ordinary.gap_spike),
            lead_resistance: bench.wiring.lead_resistance,
            // A measured lead is good to a tenth; taken as a rectangle.
            lead_resistance_u: Ohms::new(rectangular(bench.wiring.lead_resistance.si() / 10.0)),
            bleeder: Some(bench.wiring.bleeder),
            ..ordinary
        }
    }
}
