//! Numbers as a host may write them: the flexible form NRf of IEEE 488.2
//! clause 7.7.2, and units with multipliers (7.7.3). It judges no range.

use super::error::ErrorCode;

/// The most mantissa digits, leading zeros aside (IEEE 488.2 clause 7.7.2).
const MOST_DIGITS: usize = 255;

/// The largest magnitude of an exponent.
const LARGEST_EXPONENT: i32 = 32_000;

/// The most characters of a unit with its multiplier (SCPI).
pub(super) const LONGEST_SUFFIX: usize = 12;

/// A decimal number kept as digits, so that a unit's power of ten is applied
/// before it is rounded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decimal {
    mantissa: String,
    exponent: i32,
}

impl Decimal {
    /// The number times `10^power`, rounded once; infinite when too large.
    pub fn scaled(&self, power: i32) -> f64 {
        let exponent = self.exponent.saturating_add(power);
        // The lexer let only digits and one point through.
        let text = format!("{}e{exponent}", self.mantissa);
        text.parse().unwrap_or(f64::NAN)
    }

    /// The number.
    pub fn value(&self) -> f64 {
        self.scaled(0)
    }
}

/// Reads the longest leading number of `bytes`: it and its length.
pub(super) fn leading_decimal(bytes: &[u8]) -> Result<(Decimal, usize), ErrorCode> {
    let run = |from: usize| {
        let digits = bytes[from..].iter().take_while(|b| b.is_ascii_digit());
        from + digits.count()
    };
    let start = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let whole = run(start);
    let mut end = whole;
    let mut digits = whole - start;
    if bytes.get(whole) == Some(&b'.') {
        end = run(whole + 1);
        digits += end - whole - 1;
    }
    if digits == 0 {
        return Err(ErrorCode::InvalidCharacterInNumber);
    }
    let significant = bytes[start..end]
        .iter()
        .filter(|b| b.is_ascii_digit())
        .skip_while(|b| **b == b'0')
        .count();
    if significant > MOST_DIGITS {
        return Err(ErrorCode::TooManyDigits);
    }
    let mantissa = String::from_utf8_lossy(&bytes[..end]).into_owned();
    let (exponent, end) = leading_exponent(bytes, end)?;
    Ok((Decimal { mantissa, exponent }, end))
}

fn leading_exponent(bytes: &[u8], at: usize) -> Result<(i32, usize), ErrorCode> {
    if !matches!(bytes.get(at), Some(b'e' | b'E')) {
        return Ok((0, at));
    }
    let signed = matches!(bytes.get(at + 1), Some(b'+' | b'-'));
    let start = at + 1 + usize::from(signed);
    let tail = bytes.get(start..).unwrap_or_default();
    let count = tail.iter().take_while(|b| b.is_ascii_digit()).count();
    if count == 0 {
        // Without digits it is a multiplier ("1 EX") or nothing: not ours.
        return Ok((0, at));
    }
    let magnitude = tail[..count].iter().fold(0_i32, |sum, b| {
        sum.saturating_mul(10).saturating_add(i32::from(b - b'0'))
    });
    if magnitude > LARGEST_EXPONENT {
        return Err(ErrorCode::ExponentTooLarge);
    }
    let negative = bytes[at + 1] == b'-';
    Ok((if negative { -magnitude } else { magnitude }, start + count))
}

/// Reads all of `bytes` as one number without a unit.
///
/// # Errors
/// -121, -123 or -124.
///
/// ```
/// use bufferstop::protocol::{ErrorCode, parse_nrf};
/// assert_eq!(parse_nrf(b"-.5E3"), Ok(-500.0));
/// assert_eq!(parse_nrf(b"--1"), Err(ErrorCode::InvalidCharacterInNumber));
/// ```
pub fn parse_nrf(bytes: &[u8]) -> Result<f64, ErrorCode> {
    let (number, length) = leading_decimal(bytes)?;
    if length == bytes.len() {
        Ok(number.value())
    } else {
        Err(ErrorCode::InvalidCharacterInNumber)
    }
}

/// The unit a parameter is wanted in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UnitOf {
    /// A pure number.
    None,
    /// Volts.
    Volt,
    /// Amperes.
    Ampere,
    /// Seconds.
    Second,
    /// Ohms.
    Ohm,
    /// Watts.
    Watt,
    /// Hertz.
    Hertz,
}

/// Multipliers and their powers of ten (IEEE 488.2 table 7-2).
const MULTIPLIERS: [(&str, i32); 12] = [
    ("EX", 18),
    ("PE", 15),
    ("T", 12),
    ("G", 9),
    ("MA", 6),
    ("K", 3),
    ("M", -3),
    ("U", -6),
    ("N", -9),
    ("P", -12),
    ("F", -15),
    ("A", -18),
];

impl UnitOf {
    const fn symbol(self) -> &'static str {
        match self {
            Self::None => "",
            Self::Volt => "V",
            Self::Ampere => "A",
            Self::Second => "S",
            Self::Ohm => "OHM",
            Self::Watt => "W",
            Self::Hertz => "HZ",
        }
    }

    /// The power of ten that `suffix` stands for when this unit is wanted.
    ///
    /// # Errors
    /// -131 for a unit that is not this one, -138 for a unit on a pure number.
    pub fn power_of(self, suffix: &str) -> Result<i32, ErrorCode> {
        let suffix = suffix.to_ascii_uppercase();
        let refused = match self {
            Self::None => ErrorCode::SuffixNotAllowed,
            _ => ErrorCode::InvalidSuffix,
        };
        let multiplier = suffix.strip_suffix(self.symbol()).ok_or(refused)?;
        match (multiplier, self) {
            ("", _) => Ok(0),
            // MOHM and MHZ mean mega: the two exceptions of the standard.
            ("M", Self::Ohm | Self::Hertz) => Ok(6),
            _ => MULTIPLIERS
                .iter()
                .find(|(name, _)| *name == multiplier)
                .map(|&(_, power)| power)
                .ok_or(refused),
        }
    }
}
