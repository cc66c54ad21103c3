//! The numeric parameters of a board by name, so that text, spread and defects
//! reach them as data. It reads no text.

use super::parameters::{BoardParameters, OnSignalLoss, Reversing, SenseLeg};
use crate::document::Demand;
use crate::units::{Amperes, Dimension, Ohms, Quantity, Seconds};

/// A numeric parameter of `T`, in SI units.
pub struct Parameter<T: 'static> {
    /// Its name in files.
    pub name: &'static str,
    /// Its dimension.
    pub dimension: Dimension,
    /// What it must be.
    pub demand: Demand,
    /// Its present value.
    pub get: fn(&T) -> f64,
    /// Sets it; the value must meet the demand.
    pub set: fn(&mut T, f64),
}

impl<T> Parameter<T> {
    /// Sets it to the nearest value that it can have.
    pub fn put(&self, to: &mut T, si: f64) {
        let si = match self.demand {
            Demand::Any => si,
            Demand::Positive => si.max(f64::MIN_POSITIVE),
            Demand::NotNegative => si.max(0.0),
            Demand::Within(low, high) => si.clamp(low, high),
        };
        if si.is_finite() {
            (self.set)(to, si);
        }
    }
}

impl<T> std::fmt::Debug for Parameter<T> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name)
    }
}

/// A parameter that is a plain field, perhaps of a part.
macro_rules! field {
    ($name:literal, $dimension:ident, $demand:expr, $($path:ident).+) => {
        Parameter {
            name: $name,
            dimension: Dimension::$dimension,
            demand: $demand,
            get: |of| of.$($path).+.si(),
            set: |of, si| {
                if let Some(value) = Quantity::from_si(si) {
                    of.$($path).+ = value;
                }
            },
        }
    };
}

/// A parameter that is one of a type's three words, as its place among them.
macro_rules! word {
    ($name:literal, $words:ident, $($path:ident).+) => {
        Parameter {
            name: $name,
            dimension: Dimension::Count,
            demand: Demand::Within(0.0, 2.0),
            get: |of| {
                let mut places = $words::WORDS.iter().zip([0.0, 1.0, 2.0]);
                let found = places.find(|((_, word), _)| *word == of.$($path).+);
                found.map_or(0.0, |(_, place)| place)
            },
            set: |of, place| {
                let index = libm::round(place.clamp(0.0, 2.0)) as usize;
                of.$($path).+ = $words::WORDS[index].1;
            },
        }
    };
}

pub(super) use {field, word};

use Demand::{Any, NotNegative, Positive};

/// The parameters of a board.
pub static BOARD: &[Parameter<BoardParameters>] = &[
    field!("bulk_capacitance", Capacitance, Positive, bulk_capacitance),
    field!("bulk_resistance", Resistance, Positive, bulk_resistance),
    field!("switch_resistance", Resistance, Positive, switch_resistance),
    field!(
        "positive_path_excess",
        Resistance,
        NotNegative,
        positive_path_excess
    ),
    field!(
        "switch_temperature_coefficient",
        Ratio,
        NotNegative,
        switch_temperature_coefficient
    ),
    Parameter {
        // A hundred gigaohms and more stand for "it blocks".
        name: "leakage_resistance",
        dimension: Dimension::Resistance,
        demand: Positive,
        get: |board| board.leakage_resistance.map_or(BLOCKS, Ohms::si),
        set: |board, si| {
            board.leakage_resistance = Ohms::from_si(si).filter(|_| si < 0.1 * BLOCKS);
        },
    },
    field!("diode_drop", Voltage, Positive, diode_drop),
    field!(
        "diode_resistance",
        Resistance,
        NotNegative,
        diode_resistance
    ),
    field!("dead_time", Time, NotNegative, dead_time),
    field!("delay_rising", Time, NotNegative, delay_rising),
    field!("delay_falling", Time, NotNegative, delay_falling),
    Parameter {
        name: "signal_lines",
        dimension: Dimension::Count,
        demand: Demand::Within(1.0, 2.0),
        get: |board| if board.two_lines { 2.0 } else { 1.0 },
        set: |board, lines| board.two_lines = lines > 1.5,
    },
    field!("delay_rising_b", Time, NotNegative, delay_rising_b),
    field!("delay_falling_b", Time, NotNegative, delay_falling_b),
    field!("signal_loss_time", Time, Positive, signal_loss_time),
    word!("on_signal_loss", OnSignalLoss, on_signal_loss),
    Parameter {
        name: "brake_wired",
        dimension: Dimension::Count,
        demand: Demand::Within(0.0, 1.0),
        get: |board| f64::from(u8::from(board.brake_wired)),
        set: |board, yes| board.brake_wired = yes >= 0.5,
    },
    field!(
        "output_resistance",
        Resistance,
        NotNegative,
        output_resistance
    ),
    field!("output_inductance", Inductance, Positive, output_inductance),
    field!("quiescent_current", Current, NotNegative, quiescent_current),
    Parameter {
        name: "sensed_legs",
        dimension: Dimension::Count,
        demand: Demand::Within(1.0, 2.0),
        get: |board| match board.sense_leg {
            SenseLeg::One => 1.0,
            SenseLeg::Both => 2.0,
        },
        set: |board, legs| {
            board.sense_leg = if legs < 1.5 {
                SenseLeg::One
            } else {
                SenseLeg::Both
            };
        },
    },
    field!("sense_gain", Resistance, Positive, sense_gain),
    field!("sense_offset", Voltage, Any, sense_offset),
    field!("sense_filter", Time, NotNegative, sense_filter),
    field!(
        "converter_reference",
        Voltage,
        Positive,
        converter_reference
    ),
    Parameter {
        name: "converter_bits",
        dimension: Dimension::Count,
        demand: Demand::Within(6.0, 24.0),
        get: |board| f64::from(board.converter_bits),
        // The demand keeps it within eight bits; `as` saturates besides.
        set: |board, bits| board.converter_bits = libm::round(bits) as u8,
    },
    field!(
        "converter_noise",
        Ratio,
        Demand::Within(0.0, 100.0),
        converter_noise
    ),
    field!("trip_current", Current, Positive, trip_current),
    field!("trip_debounce", Time, NotNegative, trip_debounce),
    field!("trip_polled_period", Time, NotNegative, trip_polled_period),
    field!("retry_interval", Time, Positive, retry_interval),
    field!(
        "retry_backoff",
        Ratio,
        Demand::Within(1.0, 10.0),
        retry_backoff
    ),
    Parameter {
        // Ten thousand and more stand for "for ever".
        name: "retry_limit",
        dimension: Dimension::Count,
        demand: NotNegative,
        get: |board| board.retry_limit.map_or(FOR_EVER, f64::from),
        set: |board, limit| {
            board.retry_limit = (limit < FOR_EVER).then_some(libm::round(limit) as u32);
        },
    },
    Parameter {
        name: "reversing",
        dimension: Dimension::Count,
        demand: Demand::Within(0.0, 1.0),
        get: |board| f64::from(u8::from(board.reversing.is_some())),
        set: |board, yes| {
            board.reversing = (yes >= 0.5).then(|| board.reversing.unwrap_or(REVERSING));
        },
    },
    Parameter {
        name: "reversing_current",
        dimension: Dimension::Current,
        demand: Positive,
        get: |board| board.reversing.unwrap_or(REVERSING).current.si(),
        set: |board, si| {
            if let (Some(reversing), Some(value)) = (&mut board.reversing, Amperes::from_si(si)) {
                reversing.current = value;
            }
        },
    },
    Parameter {
        name: "reversing_debounce",
        dimension: Dimension::Time,
        demand: NotNegative,
        get: |board| board.reversing.unwrap_or(REVERSING).debounce.si(),
        set: |board, si| {
            if let (Some(reversing), Some(value)) = (&mut board.reversing, Seconds::from_si(si)) {
                reversing.debounce = value;
            }
        },
    },
    Parameter {
        name: "reversing_hold_off",
        dimension: Dimension::Time,
        demand: NotNegative,
        get: |board| board.reversing.unwrap_or(REVERSING).hold_off.si(),
        set: |board, si| {
            if let (Some(reversing), Some(value)) = (&mut board.reversing, Seconds::from_si(si)) {
                reversing.hold_off = value;
            }
        },
    },
    field!("under_voltage", Voltage, NotNegative, under_voltage),
    field!(
        "thermal_rise_per_watt",
        TemperatureDifference,
        NotNegative,
        thermal_rise_per_watt
    ),
    field!(
        "thermal_time_constant",
        Time,
        Positive,
        thermal_time_constant
    ),
    field!(
        "junction_rise_per_watt",
        TemperatureDifference,
        Positive,
        junction_rise_per_watt
    ),
    field!(
        "junction_time_constant",
        Time,
        Positive,
        junction_time_constant
    ),
    field!(
        "over_temperature",
        Temperature,
        Demand::Within(-40.0, 300.0),
        over_temperature
    ),
    field!(
        "over_temperature_restart",
        Temperature,
        Demand::Within(-40.0, 300.0),
        over_temperature_restart
    ),
];

/// A leakage resistance that is none.
const BLOCKS: f64 = 1e12;

/// A retry limit that is none.
const FOR_EVER: f64 = 10_000.0;

/// What reversing logic is like where a file only says that there is one:
/// automatic reversal takes about 1 to 30 ms (common practice, no source).
const REVERSING: Reversing = Reversing {
    current: Amperes::new(3.5),
    debounce: Seconds::new(2e-3),
    hold_off: Seconds::new(5e-3),
};
