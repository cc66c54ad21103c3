//! Quantities as text: `"4.7 mV"` to 0.0047 V and back. It knows units, not
//! the files they stand in.

use super::{Dimension, Quantity};

/// Why a text is not the quantity that was wanted. Offsets are bytes into the
/// text.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UnitFault {
    /// No number at the start.
    #[error("it does not start with a number")]
    NoNumber,
    /// A number too large to hold.
    #[error("the number is too large")]
    TooLarge,
    /// A number alone, where a unit is needed.
    #[error("the unit is missing")]
    NoUnit,
    /// A unit nobody knows.
    #[error("'{unit}' is not a unit known here")]
    UnknownUnit {
        /// The unit as written.
        unit: String,
    },
    /// A unit of another dimension.
    #[error("'{unit}' is {found}, not {wanted}")]
    WrongDimension {
        /// The unit as written.
        unit: String,
        /// What it measures.
        found: &'static str,
        /// What was wanted.
        wanted: &'static str,
    },
}

/// Base units by spelling, with the power of ten they stand for and whether
/// prefixes may precede them.
const UNITS: &[(&str, Dimension, i32, bool)] = &[
    ("A2s", Dimension::LetThrough, 0, true),
    ("A²s", Dimension::LetThrough, 0, true),
    ("A^2s", Dimension::LetThrough, 0, true),
    ("A^2 s", Dimension::LetThrough, 0, true),
    ("A²·s", Dimension::LetThrough, 0, true),
    ("A/count", Dimension::CountScale, 0, true),
    ("V/us", Dimension::VoltageSlew, 6, true),
    ("V/µs", Dimension::VoltageSlew, 6, true),
    ("V/ms", Dimension::VoltageSlew, 3, true),
    ("V/s", Dimension::VoltageSlew, 0, true),
    ("A/us", Dimension::CurrentSlew, 6, true),
    ("A/µs", Dimension::CurrentSlew, 6, true),
    ("A/ms", Dimension::CurrentSlew, 3, true),
    ("A/s", Dimension::CurrentSlew, 0, true),
    ("ohm", Dimension::Resistance, 0, true),
    ("Ohm", Dimension::Resistance, 0, true),
    ("Ω", Dimension::Resistance, 0, true),
    ("Hz", Dimension::Frequency, 0, true),
    ("degC", Dimension::Temperature, 0, false),
    ("°C", Dimension::Temperature, 0, false),
    ("A", Dimension::Current, 0, true),
    ("V", Dimension::Voltage, 0, true),
    ("s", Dimension::Time, 0, true),
    ("H", Dimension::Inductance, 0, true),
    ("F", Dimension::Capacitance, 0, true),
    ("C", Dimension::Charge, 0, true),
    ("A s", Dimension::Charge, 0, true),
    ("W", Dimension::Power, 0, true),
    ("J", Dimension::Energy, 0, true),
    ("K", Dimension::TemperatureDifference, 0, true),
    ("%", Dimension::Ratio, -2, false),
    ("ppm", Dimension::Ratio, -6, false),
];

/// Prefixes with their powers of ten; both code points of micro.
const PREFIXES: &[(&str, i32)] = &[
    ("p", -12),
    ("n", -9),
    ("u", -6),
    ("µ", -6),
    ("μ", -6),
    ("m", -3),
    ("k", 3),
    ("M", 6),
    ("G", 9),
];

/// Units that people write and that are not powers of ten of a second.
const TIMES: &[(&str, f64)] = &[("min", 60.0), ("h", 3600.0), ("d", 86_400.0)];

/// Parses `text` as a `Q`.
///
/// # Errors
/// A [`UnitFault`] saying what is wrong.
///
/// ```
/// use bufferstop::units::{Amperes, Quantity, VoltsPerSecond, parse};
/// assert_eq!(parse::<Amperes>("5 A"), Ok(Amperes::new(5.0)));
/// assert_eq!(parse::<VoltsPerSecond>("2.5 V/us").map(Quantity::si), Ok(2.5e6));
/// assert!(parse::<Amperes>("5 V").is_err());
/// ```
pub fn parse<Q: Quantity>(text: &str) -> Result<Q, UnitFault> {
    let si = parse_si(text, Q::DIMENSION)?;
    Q::from_si(si).ok_or(UnitFault::TooLarge)
}

/// Parses `text` as a number of SI units of `wanted`. The power of ten is
/// written into the digits before they are read, so the result rounds once.
///
/// # Errors
/// A [`UnitFault`] saying what is wrong.
pub fn parse_si(text: &str, wanted: Dimension) -> Result<f64, UnitFault> {
    let text = text.trim();
    let (number, unit) = split_number(text)?;
    let unit = unit.trim();
    if unit.is_empty() {
        if matches!(wanted, Dimension::Ratio | Dimension::Count) {
            return finite(number, 0);
        }
        return Err(UnitFault::NoUnit);
    }
    if wanted == Dimension::Time
        && let Some(&(_, factor)) = TIMES.iter().find(|(name, _)| *name == unit)
    {
        return finite(number, 0).map(|count| count * factor);
    }
    let (dimension, power) = known_unit(unit, wanted).ok_or_else(|| UnitFault::UnknownUnit {
        unit: unit.to_owned(),
    })?;
    if dimension != wanted {
        return Err(UnitFault::WrongDimension {
            unit: unit.to_owned(),
            found: dimension.noun(),
            wanted: wanted.noun(),
        });
    }
    finite(number, power)
}

/// Splits the longest leading number from what follows.
fn split_number(text: &str) -> Result<(&str, &str), UnitFault> {
    let bytes = text.as_bytes();
    let digits = |mut at: usize| {
        while bytes.get(at).is_some_and(u8::is_ascii_digit) {
            at += 1;
        }
        at
    };
    let start = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let whole = digits(start);
    let mut end = whole;
    let mut count = whole - start;
    if bytes.get(whole) == Some(&b'.') {
        end = digits(whole + 1);
        count += end - whole - 1;
    }
    if count == 0 {
        return Err(UnitFault::NoNumber);
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let sign = end + 1 + usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        let exponent = digits(sign);
        if exponent > sign {
            end = exponent;
        }
    }
    Ok(text.split_at(end))
}

fn finite(number: &str, power: i32) -> Result<f64, UnitFault> {
    let (mantissa, exponent) = match number.find(['e', 'E']) {
        Some(at) => (
            &number[..at],
            number[at + 1..]
                .parse::<i32>()
                .map_err(|_| UnitFault::TooLarge)?,
        ),
        None => (number, 0),
    };
    let exponent = exponent.checked_add(power).ok_or(UnitFault::TooLarge)?;
    let value: f64 = format!("{mantissa}e{exponent}")
        .parse()
        .map_err(|_| UnitFault::NoNumber)?;
    if value.is_finite() {
        Ok(value)
    } else {
        Err(UnitFault::TooLarge)
    }
}

/// Dimension and power of ten of a unit with or without prefix; where a
/// spelling could be two things, the wanted one wins.
fn known_unit(unit: &str, wanted: Dimension) -> Option<(Dimension, i32)> {
    let plain = UNITS.iter().filter(|u| u.0 == unit).map(|u| (u.1, u.2));
    let prefixed = PREFIXES.iter().flat_map(|(prefix, power)| {
        let rest = unit.strip_prefix(prefix);
        UNITS
            .iter()
            .filter(move |u| u.3 && Some(u.0) == rest)
            .map(move |u| (u.1, u.2 + power))
    });
    let mut readings = plain.chain(prefixed);
    let first = readings.next()?;
    if first.0 == wanted {
        return Some(first);
    }
    Some(
        readings
            .find(|reading| reading.0 == wanted)
            .unwrap_or(first),
    )
}

/// Engineering steps used for printing, largest first.
const STEPS: &[(f64, &str)] = &[
    (1e9, "G"),
    (1e6, "M"),
    (1e3, "k"),
    (1.0, ""),
    (1e-3, "m"),
    (1e-6, "u"),
    (1e-9, "n"),
    (1e-12, "p"),
];

/// The step in which `si` reads best.
fn step(si: f64, dimension: Dimension) -> (f64, &'static str, &'static str) {
    match dimension {
        Dimension::Ratio => (1e-2, "", "%"),
        Dimension::Count => (1.0, "", ""),
        Dimension::Temperature | Dimension::TemperatureDifference => (1.0, "", dimension.unit()),
        Dimension::VoltageSlew => (1e6, "", "V/us"),
        _ => {
            let size = si.abs();
            let chosen = STEPS
                .iter()
                .find(|(factor, _)| size >= *factor * 0.999_999_5);
            // Nothing fits zero, which is shown in the plain unit, nor the very
            // small, which is shown in the smallest.
            let smallest = STEPS.last().filter(|_| size > 0.0);
            let chosen = chosen.or(smallest).copied();
            let (factor, prefix) = chosen.unwrap_or((1.0, ""));
            (factor, prefix, dimension.unit())
        }
    }
}

/// The factor and the unit in which a number of that size reads well, for
/// scales and tables that share one: `(1e-3, "ms")`. The unit of a pure number
/// is empty.
pub fn unit_for(si: f64, dimension: Dimension) -> (f64, String) {
    let (factor, prefix, unit) = step(si, dimension);
    (factor, format!("{prefix}{unit}"))
}

/// `si` with four significant digits and a fitting prefix: `"12.35 ms"`.
pub fn show(si: f64, dimension: Dimension) -> String {
    let (factor, prefix, unit) = step(si, dimension);
    let scaled = si / factor;
    let digits = if dimension == Dimension::Count && scaled.fract() == 0.0 {
        0
    } else {
        decimals(scaled, 4)
    };
    join(format!("{scaled:.digits$}"), prefix, unit)
}

/// `si` with two significant digits, as an expanded uncertainty is stated (GUM
/// 7.2.6): `"0.41 ms"`.
pub fn show_two(si: f64, dimension: Dimension) -> String {
    let (factor, prefix, unit) = step(si, dimension);
    let scaled = si / factor;
    let digits = decimals(scaled, 2).min(9);
    join(format!("{scaled:.digits$}"), prefix, unit)
}

/// `si` and its expanded uncertainty in one unit, the uncertainty with two
/// significant digits and the value to the same place (GUM 7.2.6).
pub fn show_with_uncertainty(si: f64, expanded: f64, dimension: Dimension) -> String {
    let (factor, prefix, unit) = step(if si.abs() > expanded { si } else { expanded }, dimension);
    let (scaled, spread) = (si / factor, expanded / factor);
    let digits = decimals(spread, 2).min(9);
    join(
        format!("{scaled:.digits$} +/- {spread:.digits$}"),
        prefix,
        unit,
    )
}

/// Decimal places that leave `significant` digits of `value`.
fn decimals(value: f64, significant: i32) -> usize {
    if value == 0.0 || !value.is_finite() {
        return usize::try_from(significant - 1).unwrap_or(0);
    }
    let magnitude = libm::floor(libm::log10(value.abs())) as i32;
    // What rounds up to the next power of ten has one digit more before the
    // point: 0.0996 to two digits is 0.10.
    let last = libm::pow(10.0, f64::from(magnitude - significant + 1));
    let carried = libm::round(value.abs() / last) >= libm::pow(10.0, f64::from(significant));
    let magnitude = magnitude + i32::from(carried);
    usize::try_from(significant - 1 - magnitude).unwrap_or(0)
}

fn join(number: String, prefix: &str, unit: &str) -> String {
    if prefix.is_empty() && unit.is_empty() {
        number
    } else {
        format!("{number} {prefix}{unit}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spellings_people_use() {
        for (text, dimension, si) in [
            ("5 A", Dimension::Current, 5.0),
            ("250us", Dimension::Time, 250e-6),
            ("250 µs", Dimension::Time, 250e-6),
            ("250 μs", Dimension::Time, 250e-6),
            ("2.5 V/us", Dimension::VoltageSlew, 2.5e6),
            ("40 mohm", Dimension::Resistance, 0.04),
            ("1 kΩ", Dimension::Resistance, 1e3),
            ("4.7 mV", Dimension::Voltage, 4.7e-3),
            ("1e3 Hz", Dimension::Frequency, 1e3),
            ("2 %", Dimension::Ratio, 0.02),
            ("1.5", Dimension::Ratio, 1.5),
            ("3 min", Dimension::Time, 180.0),
            ("3.2 mA/count", Dimension::CountScale, 3.2e-3),
            ("-40 °C", Dimension::Temperature, -40.0),
            ("20 A2s", Dimension::LetThrough, 20.0),
            ("1 F", Dimension::Capacitance, 1.0),
            (".5 s", Dimension::Time, 0.5),
        ] {
            assert_eq!(parse_si(text, dimension), Ok(si), "{text}");
        }
    }

    #[test]
    fn faults_say_what_is_wrong() {
        for (text, fault) in [
            ("", UnitFault::NoNumber),
            ("A", UnitFault::NoNumber),
            (". A", UnitFault::NoNumber),
            ("5", UnitFault::NoUnit),
            ("1e999 A", UnitFault::TooLarge),
            ("1e99999999999 A", UnitFault::TooLarge),
            (
                "5 furlong",
                UnitFault::UnknownUnit {
                    unit: "furlong".into(),
                },
            ),
            ("nan A", UnitFault::NoNumber),
            (
                "5 V",
                UnitFault::WrongDimension {
                    unit: "V".into(),
                    found: "a voltage",
                    wanted: "a current",
                },
            ),
        ] {
            assert_eq!(parse_si(text, Dimension::Current), Err(fault), "{text}");
        }
    }

    #[test]
    fn prints_what_people_read() {
        for (si, dimension, text) in [
            (0.01235, Dimension::Time, "12.35 ms"),
            (0.0, Dimension::Current, "0.000 A"),
            (4.0, Dimension::Current, "4.000 A"),
            (3.0, Dimension::Count, "3"),
            (0.05, Dimension::Ratio, "5.000 %"),
            (2.5e6, Dimension::VoltageSlew, "2.500 V/us"),
            (0.999_999_9, Dimension::Voltage, "1.000 V"),
        ] {
            assert_eq!(show(si, dimension), text);
        }
        assert_eq!(
            show_with_uncertainty(0.012345, 0.000012, Dimension::Time),
            "12.345 +/- 0.012 ms"
        );
    }

    proptest::proptest! {
        #[test]
        fn no_text_panics(text: String) {
            let _ = parse_si(&text, Dimension::Time);
        }

        #[test]
        fn a_number_with_a_prefix_rounds_once(digits in 1_u32..10_000_000) {
            let text = format!("{digits} us");
            let exact: f64 = format!("{digits}e-6").parse().expect("a decimal number");
            proptest::prop_assert_eq!(parse_si(&text, Dimension::Time), Ok(exact));
        }
    }
}
