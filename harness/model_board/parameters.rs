//! What a model board is made of, as numbers. Plain values: reading them from
//! text and drawing their spread happens beside this file, solving them in
//! `physics`.

use crate::units::{Amperes, Celsius, Farads, Henries, Kelvins, Ohms, Ratio, Seconds, Volts};
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
pub enum OnSignalLoss {
    /// The output goes dead.
    Off,
    /// The output stays as the lines left it.
    Hold,
    /// The board alternates by itself.
    OwnSignal,
}

impl OnSignalLoss {
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
    /// What a high-side switch that blocks no longer is between the rail and one
    /// output terminal; `None` where it blocks.
    pub leakage_resistance: Option<Ohms>,
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
    pub on_signal_loss: OnSignalLoss,
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
    /// Noise of its readings, root mean square, in counts.
    pub converter_noise: Ratio,
    /// Sensed current at which the board counts an overload.
    pub trip_current: Amperes,
    /// How long it must last.
    pub trip_debounce: Seconds,
    /// How often the board's converter looks for an overload; zero where a
    /// comparator watches all the time. A polled board trips when every look
    /// through the debounce time has found one.
    pub trip_polled_period: Seconds,
    /// Off time before the board tries again.
    pub retry_interval: Seconds,
    /// By how much that grows with each further try without success.
    pub retry_backoff: Ratio,
    /// How often it tries before it stays off; `None` means for ever.
    pub retry_limit: Option<u32>,
    /// Reversing logic, where the board has it.
    pub reversing: Option<Reversing>,
    /// Rail voltage below which the bridge is switched off.
    pub under_voltage: Volts,
    /// Case to ambient thermal resistance, kelvins per watt, as a rise.
    pub thermal_rise_per_watt: Kelvins,
    /// Time constant of that: the case's heat capacity times this resistance.
    pub thermal_time_constant: Seconds,
    /// Junction to case thermal resistance, kelvins per watt, as a rise.
    pub junction_rise_per_watt: Kelvins,
    /// Time constant of that, the case held.
    pub junction_time_constant: Seconds,
    /// Junction temperature at which the board switches its output off.
    pub over_temperature: Celsius,
    /// Junction temperature below which it switches on again.
    pub over_temperature_restart: Celsius,
}

impl Default for BoardParameters {
    /// The invented garden-railway booster of the demo: 3 A rated, 4 A trip.
    fn default() -> Self {
        Self {
            bulk_capacitance: Farads::new(1000e-6),
            bulk_resistance: Ohms::new(0.030),
            switch_resistance: Ohms::new(0.045),
            positive_path_excess: Ohms::new(0.0),
            leakage_resistance: None,
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
            on_signal_loss: OnSignalLoss::Off,
            brake_wired: true,
            output_resistance: Ohms::new(0.020),
            output_inductance: Henries::new(1.0e-6),
            quiescent_current: Amperes::new(0.040),
            sense_leg: SenseLeg::Both,
            sense_gain: Ohms::new(0.25),
            sense_offset: Volts::new(0.0),
            sense_filter: Seconds::new(50e-6),
            converter_reference: Volts::new(3.3),
            converter_bits: 12,
            converter_noise: Ratio::new(0.0),
            trip_current: Amperes::new(4.0),
            trip_debounce: Seconds::new(8e-3),
            trip_polled_period: Seconds::new(0.0),
            retry_interval: Seconds::new(0.5),
            retry_backoff: Ratio::new(1.0),
            retry_limit: None,
            reversing: None,
            under_voltage: Volts::new(7.0),
            thermal_rise_per_watt: Kelvins::new(12.0),
            thermal_time_constant: Seconds::new(60.0),
            junction_rise_per_watt: Kelvins::new(2.0),
            junction_time_constant: Seconds::new(0.5),
            over_temperature: Celsius::new(150.0),
            over_temperature_restart: Celsius::new(130.0),
        }
    }
}
