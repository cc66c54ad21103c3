//! What a model board and the fixture around it are made of, as numbers.
//! Plain values: reading them from text and drawing their spread happens
//! beside this file, solving them in `physics`.

use crate::units::{
    Amperes, AmperesPerSecond, Farads, Henries, Kelvins, Ohms, Ratio, Seconds, Volts,
};
use serde::{Deserialize, Serialize};

/// Where the board's own current sensor sits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SenseLeg {
    /// One half-bridge's low side: it sees the current in one polarity only.
    One,
    /// The common leg of both half-bridges: it sees both polarities.
    Both,
}

/// What a board does when its signal stops.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SignalLoss {
    /// The output goes dead.
    Off,
    /// The output stays as the lines left it.
    Hold,
    /// The board alternates by itself.
    OwnSignal,
}

impl SignalLoss {
    /// Each variant with the word it is written as.
    pub const WORDS: &'static [(&'static str, Self)] = &[
        ("off", Self::Off),
        ("hold", Self::Hold),
        ("own signal", Self::OwnSignal),
    ];
}

/// The board's reversing logic.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reversing {
    /// Sensed current at which the output is reversed.
    pub current: Amperes,
    /// How long the sensed current must stay above it.
    pub debounce: Seconds,
    /// After a reversal the trip logic waits this long before it may count
    /// again, and the board reverses no second time within it.
    pub hold_off: Seconds,
}

/// One board, every parameter at its present value.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BoardParameters {
    /// Bulk capacitance on the board's supply rail.
    pub bulk_capacitance: Farads,
    /// Its series resistance.
    pub bulk_resistance: Ohms,
    /// On-resistance of one bridge switch at 25 degC; two carry the current.
    pub switch_resistance: Ohms,
    /// Relative rise of that resistance per kelvin.
    pub switch_temperature_coefficient: Ratio,
    /// What one damaged switch adds in the path of the positive polarity alone.
    pub positive_path_excess: Ohms,
    /// Forward drop of one body diode.
    pub diode_drop: Volts,
    /// Slope resistance of one body diode.
    pub diode_resistance: Ohms,
    /// Both switches of a half-bridge are off this long at each edge.
    pub dead_time: Seconds,
    /// Whether each half-bridge follows a line of its own. With one line the
    /// second half-bridge is the inverse of the first, and no cutout passes.
    pub two_lines: bool,
    /// Edge of line A to edge of the first half-bridge, going high.
    pub delay_rising: Seconds,
    /// The same, going low. With one line both hold for both half-bridges.
    pub delay_falling: Seconds,
    /// Edge of line B to edge of the second half-bridge, going high.
    pub delay_rising_b: Seconds,
    /// The same, going low.
    pub delay_falling_b: Seconds,
    /// A line that has been quiet for this long counts as lost.
    pub signal_loss_time: Seconds,
    /// What the board does then.
    pub on_signal_loss: SignalLoss,
    /// Whether the brake input reaches the bridge driver.
    pub brake_wired: bool,
    /// Resistance from the bridge to the output terminals (joints, tracks).
    pub output_resistance: Ohms,
    /// Inductance from the bridge to the output terminals.
    pub output_inductance: Henries,
    /// What the board's logic draws from its rail.
    pub quiescent_current: Amperes,
    /// Where the sensor sits.
    pub sense_leg: SenseLeg,
    /// Sensor output per ampere, in ohms (volts per ampere).
    pub sense_gain: Ohms,
    /// Sensor output at no current.
    pub sense_offset: Volts,
    /// Time constant of the first-order filter behind the sensor.
    pub sense_filter: Seconds,
    /// Reference voltage of the board's converter.
    pub converter_reference: Volts,
    /// Bits of the board's converter.
    pub converter_bits: u8,
    /// Sensed current at which the board counts an overload.
    pub trip_current: Amperes,
    /// How long it must last.
    pub trip_debounce: Seconds,
    /// Off time before the board tries again.
    pub retry_interval: Seconds,
    /// How often it tries before it stays off; `None` means for ever.
    pub retry_limit: Option<u32>,
    /// Reversing logic, where the board has it.
    pub reversing: Option<Reversing>,
    /// Rail voltage below which the bridge is switched off.
    pub under_voltage: Volts,
    /// Junction to ambient thermal resistance, kelvins per watt, as a rise.
    pub thermal_rise_per_watt: Kelvins,
    /// Thermal time constant.
    pub thermal_time_constant: Seconds,
}

impl Default for BoardParameters {
    /// The invented garden-railway booster of the demo: 3 A rated, 4 A trip.
    fn default() -> Self {
        Self {
            bulk_capacitance: Farads::new(1000e-6),
            bulk_resistance: Ohms::new(0.030),
            switch_resistance: Ohms::new(0.045),
            positive_path_excess: Ohms::new(0.0),
            switch_temperature_coefficient: Ratio::new(0.004),
            diode_drop: Volts::new(0.75),
            diode_resistance: Ohms::new(0.020),
            dead_time: Seconds::new(0.4e-6),
            delay_rising: Seconds::new(0.9e-6),
            delay_falling: Seconds::new(1.1e-6),
            two_lines: false,
            delay_rising_b: Seconds::new(0.9e-6),
            delay_falling_b: Seconds::new(1.1e-6),
            signal_loss_time: Seconds::new(2e-3),
            on_signal_loss: SignalLoss::Off,
            brake_wired: true,
            output_resistance: Ohms::new(0.020),
            output_inductance: Henries::new(1.0e-6),
            quiescent_current: Amperes::new(0.040),
            sense_leg: SenseLeg::Both,
            sense_gain: Ohms::new(0.4),
            sense_offset: Volts::new(0.0),
            sense_filter: Seconds::new(50e-6),
            converter_reference: Volts::new(5.0),
            converter_bits: 10,
            trip_current: Amperes::new(4.0),
            trip_debounce: Seconds::new(8e-3),
            retry_interval: Seconds::new(0.5),
            retry_limit: None,
            reversing: None,
            under_voltage: Volts::new(7.0),
            thermal_rise_per_watt: Kelvins::new(12.0),
            thermal_time_constant: Seconds::new(60.0),
        }
    }
}

/// A branch that a switch channel connects across the node.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Branch {
    /// Loop resistance.
    pub resistance: Ohms,
    /// Loop inductance.
    pub inductance: Henries,
}

/// The second booster behind the section gaps.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Upstream {
    /// Its output voltage, following the same signal.
    pub voltage: Volts,
    /// Its output resistance and the gap's together, and the loop inductance.
    pub branch: Branch,
    /// Current at which it trips.
    pub trip_current: Amperes,
    /// How long the current must last.
    pub trip_time: Seconds,
}

/// How the model short misbehaves, where a defect is planted in the fixture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ContactDefect {
    /// The contact stays closed after a pulse until the supply is off.
    Welded,
    /// The fuse is blown: the marker closes, the circuit does not.
    FuseBlown,
}

/// Everything between the supply's terminals and the board, and everything on
/// the node.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FixtureParameters {
    /// Supply source and lead resistance.
    pub supply_resistance: Ohms,
    /// Resistance between the board's output and the node (leads and shunt).
    pub lead_resistance: Ohms,
    /// Inductance of those leads.
    pub lead_inductance: Henries,
    /// The known bleeder on the node.
    pub bleeder: Ohms,
    /// Damping network on the node: its resistance ...
    pub snubber_resistance: Ohms,
    /// ... and its capacitance.
    pub snubber_capacitance: Farads,
    /// Forward drop of the whole rectifier in front of the load.
    pub rectifier_drop: Volts,
    /// Least resistance of the load with its rectifier.
    pub load_saturation: Ohms,
    /// How fast the load's current follows a new setting.
    pub load_slew: AmperesPerSecond,
    /// The hard short near the board.
    pub near: Branch,
    /// The short at the far end of the bus.
    pub far: Branch,
    /// The second booster.
    pub upstream: Upstream,
    /// Contact bounce: the closed contact opens once at `bounce_at` after it
    /// closed, for `bounce_for`. Zero means no bounce.
    pub bounce_at: Seconds,
    /// See `bounce_at`.
    pub bounce_for: Seconds,
    /// A defect of the shorting contact.
    pub contact_defect: Option<ContactDefect>,
    /// How much of its stated accuracy each model instrument errs by at most:
    /// one as specified, zero not at all.
    pub instrument_errors: Ratio,
    /// Noise of the model instruments' readings, one as usual, zero none.
    pub instrument_noise: Ratio,
}

impl Default for FixtureParameters {
    fn default() -> Self {
        Self {
            supply_resistance: Ohms::new(0.050),
            lead_resistance: Ohms::new(0.020),
            lead_inductance: Henries::new(1.0e-6),
            bleeder: Ohms::new(1000.0),
            snubber_resistance: Ohms::new(100.0),
            snubber_capacitance: Farads::new(10e-9),
            rectifier_drop: Volts::new(1.6),
            load_saturation: Ohms::new(0.10),
            load_slew: AmperesPerSecond::new(1.0e6),
            near: Branch {
                resistance: Ohms::new(0.040),
                inductance: Henries::new(0.5e-6),
            },
            far: Branch {
                resistance: Ohms::new(0.330),
                inductance: Henries::new(12e-6),
            },
            upstream: Upstream {
                voltage: Volts::new(17.0),
                branch: Branch {
                    resistance: Ohms::new(0.400),
                    inductance: Henries::new(4e-6),
                },
                trip_current: Amperes::new(8.0),
                trip_time: Seconds::new(0.060),
            },
            bounce_at: Seconds::new(40e-6),
            bounce_for: Seconds::new(25e-6),
            contact_defect: None,
            instrument_errors: Ratio::new(1.0),
            instrument_noise: Ratio::new(1.0),
        }
    }
}
