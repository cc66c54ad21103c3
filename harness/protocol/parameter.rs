//! Parameters by the types of IEEE 488.2 clause 7.7 and channel lists of
//! SCPI-1999 volume 1, clause 8.3.2; read as bytes, asked for as values. What
//! a command does with them is not known here.

use super::error::ErrorCode;
use super::message::{is_white, wrong_byte};
use super::mnemonic::{Mnemonic, split_suffix};
use super::number::{Decimal, LONGEST_SUFFIX, UnitOf, leading_decimal};

/// The most channels one list may name, ranges counted out.
pub const MOST_CHANNELS: usize = 256;

/// One parameter as it was written.
#[derive(Clone, Debug, PartialEq)]
pub enum Parameter {
    /// A decimal number and its unit, empty for none.
    Number(Decimal, String),
    /// `#H1F`, `#Q17` or `#B1010`.
    Whole(u64),
    /// A word, in capitals.
    Word(String),
    /// A quoted string, its quotes undone.
    Text(Vec<u8>),
    /// A block's bytes.
    Block(Vec<u8>),
    /// The channels of `(@1,3:5)`.
    Channels(Vec<u32>),
}

/// The range of a setting, for MIN, MAX and DEF too.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Its unit.
    pub unit: UnitOf,
    /// The least value.
    pub minimum: f64,
    /// The largest value.
    pub maximum: f64,
    /// The value after `*RST`.
    pub default: f64,
}

impl Bounds {
    /// A setting from `minimum` to `maximum`.
    pub const fn new(unit: UnitOf, minimum: f64, maximum: f64, default: f64) -> Self {
        Self {
            unit,
            minimum,
            maximum,
            default,
        }
    }

    /// The value a word stands for.
    fn keyword(self, word: &str) -> Result<f64, ErrorCode> {
        let is = |notation: &str| Mnemonic::declare(notation).matches(word);
        if is("MINimum") {
            Ok(self.minimum)
        } else if is("MAXimum") {
            Ok(self.maximum)
        } else if is("DEFault") {
            Ok(self.default)
        } else if is("INFinity") || is("NINFinity") || is("NAN") {
            Err(ErrorCode::OutOfRange)
        } else {
            Err(ErrorCode::InvalidCharacterData)
        }
    }
}

impl Parameter {
    /// The error for a parameter of the wrong type.
    fn misplaced(&self) -> ErrorCode {
        match self {
            Self::Number(..) | Self::Whole(_) => ErrorCode::NumericNotAllowed,
            Self::Word(_) => ErrorCode::CharacterNotAllowed,
            Self::Text(_) => ErrorCode::DataType,
            Self::Block(_) => ErrorCode::BlockNotAllowed,
            Self::Channels(_) => ErrorCode::ExpressionNotAllowed,
        }
    }

    /// A number in `bounds`, or one of its keywords.
    ///
    /// # Errors
    /// -222 outside the bounds, or what is wrong with the type or the unit.
    pub fn number(&self, bounds: Bounds) -> Result<f64, ErrorCode> {
        let value = match self {
            Self::Number(decimal, suffix) if suffix.is_empty() => decimal.value(),
            Self::Number(decimal, suffix) => decimal.scaled(bounds.unit.power_of(suffix)?),
            // Exact up to 2^53, which no setting exceeds.
            Self::Whole(value) => *value as f64,
            Self::Word(word) => bounds.keyword(word)?,
            other => return Err(other.misplaced()),
        };
        if (bounds.minimum..=bounds.maximum).contains(&value) {
            Ok(value)
        } else {
            Err(ErrorCode::OutOfRange)
        }
    }

    /// A whole number from `minimum` to `maximum`, rounded.
    ///
    /// # Errors
    /// As [`Self::number`].
    pub fn whole(&self, minimum: i64, maximum: i64) -> Result<i64, ErrorCode> {
        // Half a step more at both ends: what rounds into the range is in it.
        let (low, high) = (minimum as f64, maximum as f64);
        let bounds = Bounds::new(UnitOf::None, low - 0.5, high + 0.5, low);
        let value = libm::round(self.number(bounds)?);
        Ok(value.clamp(low, high) as i64)
    }

    /// `ON`, `OFF`, or a number that counts as on when it rounds to other
    /// than zero.
    ///
    /// # Errors
    /// -141 for another word, or what is wrong with the type.
    pub fn boolean(&self) -> Result<bool, ErrorCode> {
        match self {
            Self::Word(word) if word == "ON" => Ok(true),
            Self::Word(word) if word == "OFF" => Ok(false),
            Self::Word(_) => Err(ErrorCode::InvalidCharacterData),
            Self::Number(decimal, suffix) if suffix.is_empty() => {
                Ok(libm::round(decimal.value()) != 0.0)
            }
            Self::Number(..) => Err(ErrorCode::SuffixNotAllowed),
            Self::Whole(value) => Ok(*value != 0),
            other => Err(other.misplaced()),
        }
    }

    /// Which of `choices` the word is, and the number behind it: `CHAN2`.
    ///
    /// # Errors
    /// -141 for none of them, or what is wrong with the type.
    pub fn choice(&self, choices: &[&str]) -> Result<(usize, Option<u32>), ErrorCode> {
        let Self::Word(word) = self else {
            return Err(self.misplaced());
        };
        let (stem, suffix) = split_suffix(word);
        choices
            .iter()
            .position(|notation| Mnemonic::declare(notation).matches(stem))
            .map(|index| (index, suffix))
            .ok_or(ErrorCode::InvalidCharacterData)
    }

    /// The channels of a list.
    ///
    /// # Errors
    /// What is wrong with the type.
    pub fn channels(&self) -> Result<&[u32], ErrorCode> {
        match self {
            Self::Channels(channels) => Ok(channels),
            other => Err(other.misplaced()),
        }
    }
}

/// The parameters of one unit, asked for one after the other.
#[derive(Clone, Debug)]
pub struct Parameters<'a> {
    rest: std::slice::Iter<'a, Parameter>,
}

impl<'a> Parameters<'a> {
    /// All of them.
    pub fn new(parameters: &'a [Parameter]) -> Self {
        Self {
            rest: parameters.iter(),
        }
    }

    /// The next.
    ///
    /// # Errors
    /// -109 when there is none.
    pub fn required(&mut self) -> Result<&'a Parameter, ErrorCode> {
        self.rest.next().ok_or(ErrorCode::MissingParameter)
    }

    /// The next, where there is one.
    pub fn optional(&mut self) -> Option<&'a Parameter> {
        self.rest.next()
    }

    /// Whether none is left.
    pub fn is_empty(&self) -> bool {
        self.rest.as_slice().is_empty()
    }

    /// Says that the command takes no more.
    ///
    /// # Errors
    /// -108 when there is one more.
    pub fn end(&mut self) -> Result<(), ErrorCode> {
        match self.rest.next() {
            None => Ok(()),
            Some(_) => Err(ErrorCode::ParameterNotAllowed),
        }
    }
}

/// Reads the parameter that `bytes` starts with: it and its length.
pub(super) fn read_parameter(bytes: &[u8]) -> Result<(Parameter, usize), ErrorCode> {
    match bytes.first() {
        None | Some(b',' | b';') => Err(ErrorCode::MissingParameter),
        Some(b'+' | b'-' | b'.' | b'0'..=b'9') => read_number(bytes),
        Some(b'A'..=b'Z' | b'a'..=b'z') => read_word(bytes),
        Some(&quote @ (b'"' | b'\'')) => read_text(bytes, quote),
        Some(b'#') => read_hash(bytes),
        Some(b'(') => read_channels(bytes),
        Some(&byte) => Err(wrong_byte(byte, ErrorCode::SyntaxError)),
    }
}

fn read_number(bytes: &[u8]) -> Result<(Parameter, usize), ErrorCode> {
    let (decimal, end) = leading_decimal(bytes)?;
    let white = bytes[end..].iter().take_while(|&&b| is_white(b)).count();
    let start = end + white;
    let part = |b: &&u8| b.is_ascii_alphabetic() || matches!(**b, b'/' | b'.');
    let length = bytes[start..].iter().take_while(part).count();
    if length == 0 {
        // A digit or a sign behind a number is a broken number, not a separator.
        return match bytes.get(end) {
            Some(b'+' | b'-' | b'_') => Err(ErrorCode::InvalidCharacterInNumber),
            _ => Ok((Parameter::Number(decimal, String::new()), end)),
        };
    }
    if length > LONGEST_SUFFIX {
        return Err(ErrorCode::SuffixTooLong);
    }
    let suffix = String::from_utf8_lossy(&bytes[start..start + length]).to_ascii_uppercase();
    if suffix.starts_with('.') {
        return Err(ErrorCode::InvalidCharacterInNumber);
    }
    Ok((Parameter::Number(decimal, suffix), start + length))
}

fn read_word(bytes: &[u8]) -> Result<(Parameter, usize), ErrorCode> {
    let part = |b: &&u8| b.is_ascii_alphanumeric() || **b == b'_';
    let length = bytes.iter().take_while(part).count();
    // The same bound as for mnemonics (IEEE 488.2 clause 7.7.1); the standard's
    // number for it is -144, which belongs to the same class.
    if length > 12 {
        return Err(ErrorCode::InvalidCharacterData);
    }
    let word = String::from_utf8_lossy(&bytes[..length]).to_ascii_uppercase();
    Ok((Parameter::Word(word), length))
}

fn read_text(bytes: &[u8], quote: u8) -> Result<(Parameter, usize), ErrorCode> {
    let mut text = Vec::new();
    let mut at = 1;
    while let Some(&byte) = bytes.get(at) {
        if byte != quote {
            text.push(byte);
            at += 1;
        } else if bytes.get(at + 1) == Some(&quote) {
            text.push(quote);
            at += 2;
        } else {
            return Ok((Parameter::Text(text), at + 1));
        }
    }
    Err(ErrorCode::StringData)
}

fn read_hash(bytes: &[u8]) -> Result<(Parameter, usize), ErrorCode> {
    let radix = match bytes.get(1).map(u8::to_ascii_uppercase) {
        Some(b'H') => 16,
        Some(b'Q') => 8,
        Some(b'B') => 2,
        _ => {
            let (start, length) = block_extent(bytes).ok_or(ErrorCode::InvalidBlock)?;
            let data = bytes.get(start..start + length);
            let data = data.ok_or(ErrorCode::InvalidBlock)?;
            return Ok((Parameter::Block(data.to_vec()), start + length));
        }
    };
    let digits = bytes[2..].iter().take_while(|b| b.is_ascii_alphanumeric());
    let end = 2 + digits.count();
    let text = String::from_utf8_lossy(&bytes[2..end]);
    u64::from_str_radix(&text, radix)
        .map(|value| (Parameter::Whole(value), end))
        .map_err(|_| ErrorCode::InvalidCharacterInNumber)
}

/// Where the data of a definite-length block starts and how long it is; `None`
/// when the head is wrong or cut off (IEEE 488.2 clause 7.7.6).
pub(super) fn block_extent(bytes: &[u8]) -> Option<(usize, usize)> {
    let count = match bytes {
        [b'#', digit @ b'1'..=b'9', ..] => usize::from(digit - b'0'),
        _ => return None,
    };
    let digits = bytes.get(2..2 + count)?;
    digits
        .iter()
        .try_fold((2 + count, 0_usize), |(start, sum), b| {
            b.is_ascii_digit()
                .then(|| (start, sum * 10 + usize::from(b - b'0')))
        })
}

fn read_channels(bytes: &[u8]) -> Result<(Parameter, usize), ErrorCode> {
    let close = bytes.iter().position(|&b| b == b')');
    let close = close.ok_or(ErrorCode::InvalidExpression)?;
    let inner: Vec<u8> = bytes[1..close]
        .iter()
        .copied()
        .filter(|&b| !is_white(b))
        .collect();
    let list = inner
        .strip_prefix(b"@")
        .ok_or(ErrorCode::InvalidExpression)?;
    let mut channels = Vec::new();
    for item in list.split(|&b| b == b',') {
        let mut ends = item.split(|&b| b == b':');
        let first = channel(ends.next())?;
        let last = match ends.next() {
            None => first,
            end => channel(end)?,
        };
        if ends.next().is_some() {
            return Err(ErrorCode::InvalidExpression);
        }
        let count = first.abs_diff(last) as usize + 1;
        if channels.len() + count > MOST_CHANNELS {
            return Err(ErrorCode::TooMuchData);
        }
        if first <= last {
            channels.extend(first..=last);
        } else {
            channels.extend((last..=first).rev());
        }
    }
    Ok((Parameter::Channels(channels), close + 1))
}

fn channel(text: Option<&[u8]>) -> Result<u32, ErrorCode> {
    let text = text.unwrap_or_default();
    let number = std::str::from_utf8(text).ok().and_then(|t| t.parse().ok());
    match number {
        Some(number) if text.iter().all(u8::is_ascii_digit) => Ok(number),
        _ => Err(ErrorCode::InvalidExpression),
    }
}
