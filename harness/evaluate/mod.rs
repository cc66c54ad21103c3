//! What a scenario saw, turned into metrics: one pure file a scenario, so that
//! any record can be evaluated again without an instrument. Nothing is judged
//! here, and a bad capture gives a finding that says why, never an error.

pub mod curve;
mod fault;
mod idle;
mod inrush;
mod load;
mod loss;
mod overload;
mod phase;
mod reversal;
mod sense;
mod sheet;
mod short;
mod signal;
mod soak;
mod supply;

pub use sense::{SenseLine, SensePoint, sense_line, sense_points};
pub use soak::{SoakRise, soak_rise};

use crate::measurement::Metric;
use crate::observation::Observation;
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
    fn quiet(&self, period: f64) -> f64 {
        self.half_bit.si().max(self.cutout.si()) + period
    }
}

/// The metrics of `observation`, each key of its scenario at least once, in a
/// fixed order.
pub fn evaluate(scenario: &str, context: &Context, observation: &Observation) -> Vec<Metric> {
    let mut sheet = sheet::Sheet::new(scenario, observation);
    match observation {
        Observation::Load { steps } => load::evaluate(&mut sheet, context, steps),
        Observation::Sense { last_count, steps } => {
            sense::evaluate(&mut sheet, context, *last_count, steps);
        }
        Observation::Overload { ramp, steps, hold } => {
            overload::evaluate(&mut sheet, context, ramp.as_ref(), steps, hold.as_ref());
        }
        Observation::Short { pulses } => short::evaluate(&mut sheet, context, pulses),
        Observation::Reversal {
            closings,
            upstream_trip,
            upstream_trip_u,
            short,
        } => {
            let upstream =
                crate::measurement::Estimate::new(upstream_trip.si(), upstream_trip_u.si().abs());
            reversal::evaluate(&mut sheet, context, closings, upstream, short.as_ref());
        }
        Observation::Signal { sent, takes } => {
            signal::evaluate(&mut sheet, context, sent.as_ref(), takes);
        }
        Observation::Idle { steps } => idle::evaluate(&mut sheet, context, steps),
        Observation::Loss { losses } => loss::evaluate(&mut sheet, context, losses),
        Observation::Inrush { bank, starts } => {
            inrush::evaluate(&mut sheet, context, bank, starts);
        }
        Observation::Soak { soaks } => soak::evaluate(&mut sheet, context, soaks),
        Observation::Supply { steps } => {
            supply::evaluate(&mut sheet, context, context.onset_level.si(), steps);
        }
    }
    sheet.into_metrics()
}

/// The half-bits of the output in a capture by whole microseconds, and how
/// many; empty where the output was not captured.
pub fn half_bit_histogram(capture: &crate::waveform::Capture) -> Vec<(u32, u64)> {
    signal::histogram(capture)
}

#[cfg(test)]
mod tests;
