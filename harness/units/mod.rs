//! Quantities: a number with its dimension in the type, finite by construction,
//! always held in SI units. Parsing and printing live in `text`; nothing here
//! converts between dimensions silently.

mod text;
mod typeset;

pub use text::{UnitFault, parse, parse_si, show, show_two, show_with_uncertainty, unit_for};
pub use typeset::typeset;

use serde::{Deserialize, Serialize};
use std::fmt;

/// What kind of quantity a number is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Dimension {
    /// Seconds.
    Time,
    /// Amperes.
    Current,
    /// Volts.
    Voltage,
    /// Ohms.
    Resistance,
    /// Henries.
    Inductance,
    /// Farads.
    Capacitance,
    /// Coulombs.
    Charge,
    /// Watts.
    Power,
    /// Joules.
    Energy,
    /// Ampere squared seconds.
    LetThrough,
    /// Hertz.
    Frequency,
    /// Degrees Celsius.
    Temperature,
    /// Kelvins of difference.
    TemperatureDifference,
    /// Volts per second.
    VoltageSlew,
    /// Amperes per second.
    CurrentSlew,
    /// Amperes per converter count.
    CountScale,
    /// A pure number, also written in per cent.
    Ratio,
    /// A whole number of things.
    Count,
}

impl Dimension {
    /// The SI unit as printed, empty for pure numbers.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Time => "s",
            Self::Current => "A",
            Self::Voltage => "V",
            Self::Resistance => "ohm",
            Self::Inductance => "H",
            Self::Capacitance => "F",
            Self::Charge => "C",
            Self::Power => "W",
            Self::Energy => "J",
            Self::LetThrough => "A2s",
            Self::Frequency => "Hz",
            Self::Temperature => "degC",
            Self::TemperatureDifference => "K",
            Self::VoltageSlew => "V/s",
            Self::CurrentSlew => "A/s",
            Self::CountScale => "A/count",
            Self::Ratio | Self::Count => "",
        }
    }

    /// The word for it in a sentence: "a time", "a current".
    pub const fn noun(self) -> &'static str {
        match self {
            Self::Time => "a time",
            Self::Current => "a current",
            Self::Voltage => "a voltage",
            Self::Resistance => "a resistance",
            Self::Inductance => "an inductance",
            Self::Capacitance => "a capacitance",
            Self::Charge => "a charge",
            Self::Power => "a power",
            Self::Energy => "an energy",
            Self::LetThrough => "a let-through",
            Self::Frequency => "a frequency",
            Self::Temperature => "a temperature",
            Self::TemperatureDifference => "a temperature difference",
            Self::VoltageSlew => "a voltage slope",
            Self::CurrentSlew => "a current slope",
            Self::CountScale => "a current per count",
            Self::Ratio => "a ratio",
            Self::Count => "a count",
        }
    }

    /// How a user would write one, for hints.
    pub const fn example(self) -> &'static str {
        match self {
            Self::Time => "\"250 us\"",
            Self::Current => "\"5 A\"",
            Self::Voltage => "\"18 V\"",
            Self::Resistance => "\"40 mohm\"",
            Self::Inductance => "\"12 uH\"",
            Self::Capacitance => "\"1000 uF\"",
            Self::Charge => "\"40 mC\"",
            Self::Power => "\"5 W\"",
            Self::Energy => "\"2 J\"",
            Self::LetThrough => "\"4 A2s\"",
            Self::Frequency => "\"1 MHz\"",
            Self::Temperature => "\"23 degC\"",
            Self::TemperatureDifference => "\"10 K\"",
            Self::VoltageSlew => "\"2.5 V/us\"",
            Self::CurrentSlew => "\"1 A/s\"",
            Self::CountScale => "\"3.2 mA/count\"",
            Self::Ratio => "\"2 %\"",
            Self::Count => "3",
        }
    }
}

/// A finite number of known dimension, in SI units.
pub trait Quantity: Copy {
    /// Its dimension.
    const DIMENSION: Dimension;

    /// The quantity of `si` units, or `None` when that is not finite.
    fn from_si(si: f64) -> Option<Self>;

    /// The number in SI units; always finite.
    fn si(self) -> f64;
}

macro_rules! quantity {
    ($($(#[$doc:meta])* $name:ident: $dimension:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(try_from = "f64", into = "f64")]
        pub struct $name(f64);

        impl $name {
            /// Zero.
            pub const ZERO: Self = Self(0.0);

            /// `si` in the SI unit.
            ///
            /// # Panics
            /// When `si` is not finite: that is a bug in the caller, since text
            /// and instruments are read through [`Quantity::from_si`].
            #[track_caller]
            pub const fn new(si: f64) -> Self {
                assert!(si.is_finite(), "a quantity must be finite");
                Self(si)
            }

            /// The larger of two.
            pub const fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }

            /// The smaller of two.
            pub const fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }

            /// The magnitude.
            pub const fn abs(self) -> Self {
                Self(self.0.abs())
            }
        }

        impl Quantity for $name {
            const DIMENSION: Dimension = Dimension::$dimension;
            fn from_si(si: f64) -> Option<Self> {
                si.is_finite().then_some(Self(si))
            }
            fn si(self) -> f64 {
                self.0
            }
        }

        impl TryFrom<f64> for $name {
            type Error = NotFinite;
            fn try_from(si: f64) -> Result<Self, NotFinite> {
                Self::from_si(si).ok_or(NotFinite)
            }
        }

        impl From<$name> for f64 {
            fn from(quantity: $name) -> f64 {
                quantity.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&show(self.0, Dimension::$dimension))
            }
        }

        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self::new(self.0 + other.0)
            }
        }

        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self::new(self.0 - other.0)
            }
        }

        impl std::ops::Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }

        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self::new(self.0 * factor)
            }
        }

        impl std::ops::Div<f64> for $name {
            type Output = Self;
            fn div(self, divisor: f64) -> Self {
                Self::new(self.0 / divisor)
            }
        }

        impl std::ops::Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
    )*};
}

quantity! {
    /// A time in seconds.
    Seconds: Time;
    /// A current in amperes.
    Amperes: Current;
    /// A voltage in volts.
    Volts: Voltage;
    /// A resistance in ohms.
    Ohms: Resistance;
    /// An inductance in henries.
    Henries: Inductance;
    /// A capacitance in farads.
    Farads: Capacitance;
    /// A charge in coulombs.
    Coulombs: Charge;
    /// A power in watts.
    Watts: Power;
    /// An energy in joules.
    Joules: Energy;
    /// The integral of a squared current over time, in ampere squared seconds.
    AmpereSquareSeconds: LetThrough;
    /// A frequency in hertz.
    Hertz: Frequency;
    /// A temperature in degrees Celsius.
    Celsius: Temperature;
    /// A temperature difference in kelvins.
    Kelvins: TemperatureDifference;
    /// A voltage slope in volts per second.
    VoltsPerSecond: VoltageSlew;
    /// A current slope in amperes per second.
    AmperesPerSecond: CurrentSlew;
    /// The scale of a current sense, in amperes per count.
    AmperesPerCount: CountScale;
    /// A pure number.
    Ratio: Ratio;
}

/// A number that is infinite or not a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a quantity must be finite")]
pub struct NotFinite;

/// A product or quotient whose dimension is known.
macro_rules! relation {
    ($($a:ident * $b:ident = $c:ident;)*) => {$(
        impl std::ops::Mul<$b> for $a {
            type Output = $c;
            fn mul(self, other: $b) -> $c {
                $c::new(self.0 * other.0)
            }
        }
        impl std::ops::Div<$b> for $c {
            type Output = $a;
            fn div(self, other: $b) -> $a {
                $a::new(self.0 / other.0)
            }
        }
    )*};
}

relation! {
    Amperes * Ohms = Volts;
    Amperes * Volts = Watts;
    Watts * Seconds = Joules;
    VoltsPerSecond * Seconds = Volts;
    AmperesPerSecond * Seconds = Amperes;
}
