//! Replies as a host reads them: numbers, strings, blocks and error entries
//! (IEEE 488.2 clause 8, accepted forgivingly). It asks for nothing.

use super::number::parse_nrf;
use super::parameter::block_extent;

/// The most elements of one reply.
const MOST_ELEMENTS: usize = 65_536;

/// Which way a reading overflowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sign {
    /// Beyond the top of the range.
    Positive,
    /// Beyond the bottom.
    Negative,
}

/// What an instrument said when asked for a number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading {
    /// A number.
    Number(f64),
    /// 9.9E37 or beyond: more than the range.
    Overflow(Sign),
    /// 9.91E37: no number at all.
    NotANumber,
}

impl Reading {
    /// The number, where it is one.
    pub const fn value(self) -> Option<f64> {
        match self {
            Self::Number(value) => Some(value),
            Self::Overflow(_) | Self::NotANumber => None,
        }
    }
}

/// Why a reply is not what was asked for: the instrument's fault or the
/// profile's. Asking again is safe.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReplyFault {
    /// Nothing came where something was due.
    #[error("the reply is empty")]
    Empty,
    /// Another type than was asked for.
    #[error("expected {expected}, the instrument answered {shown}")]
    Unexpected {
        /// What was asked for.
        expected: &'static str,
        /// What came, escaped and cut.
        shown: String,
    },
    /// More elements than any reply has.
    #[error("the reply has more than {MOST_ELEMENTS} elements")]
    TooMany,
}

fn unexpected(expected: &'static str, bytes: &[u8]) -> ReplyFault {
    if bytes.trim_ascii().is_empty() {
        return ReplyFault::Empty;
    }
    let shown = format!("'{}'", bytes[..bytes.len().min(40)].escape_ascii());
    ReplyFault::Unexpected { expected, shown }
}

/// Reads one number.
///
/// # Errors
/// When it is none.
pub fn number(bytes: &[u8]) -> Result<Reading, ReplyFault> {
    let fault = || unexpected("a number", bytes);
    let text = bytes.trim_ascii();
    let value = match text.to_ascii_uppercase().as_slice() {
        b"NAN" => f64::NAN,
        b"INF" | b"+INF" | b"INFINITY" => f64::INFINITY,
        b"-INF" | b"NINF" | b"NINFINITY" => f64::NEG_INFINITY,
        _ => parse_nrf(text).map_err(|_| fault())?,
    };
    Ok(if value.is_nan() || value == 9.91e37 {
        Reading::NotANumber
    } else if value >= 9.9e37 {
        Reading::Overflow(Sign::Positive)
    } else if value <= -9.9e37 {
        Reading::Overflow(Sign::Negative)
    } else {
        Reading::Number(value)
    })
}

/// Reads one boolean.
///
/// # Errors
/// When it is none.
pub fn boolean(bytes: &[u8]) -> Result<bool, ReplyFault> {
    match bytes.trim_ascii() {
        b"1" | b"+1" | b"ON" => Ok(true),
        b"0" | b"+0" | b"OFF" => Ok(false),
        other => Err(unexpected("0 or 1", other)),
    }
}

/// Reads one quoted string, undoing doubled quotes.
///
/// # Errors
/// When it is none.
pub fn quoted(bytes: &[u8]) -> Result<String, ReplyFault> {
    let fault = || unexpected("a quoted string", bytes);
    let text = bytes.trim_ascii();
    let (quote, inner) = match text {
        [quote @ (b'"' | b'\''), inner @ .., last] if quote == last => (*quote, inner),
        _ => return Err(fault()),
    };
    let mut found = Vec::with_capacity(inner.len());
    let mut rest = inner.iter();
    while let Some(&byte) = rest.next() {
        if byte == quote && rest.next() != Some(&quote) {
            return Err(fault());
        }
        found.push(byte);
    }
    Ok(String::from_utf8_lossy(&found).into_owned())
}

/// One entry of an instrument's error queue.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviceError {
    /// The standard's number, or the maker's own when positive; 0 for none.
    pub code: i32,
    /// Its text.
    pub text: String,
}

impl DeviceError {
    /// Whether the queue was empty.
    pub const fn is_none(&self) -> bool {
        self.code == 0
    }
}

/// Reads an answer to `SYSTem:ERRor?`.
///
/// # Errors
/// When it is none.
pub fn error_entry(bytes: &[u8]) -> Result<DeviceError, ReplyFault> {
    let fault = || unexpected("an error number and its text", bytes);
    let comma = bytes.iter().position(|&b| b == b',').ok_or_else(fault)?;
    let code = std::str::from_utf8(bytes[..comma].trim_ascii()).ok();
    let code = code.and_then(|text| text.parse().ok()).ok_or_else(fault)?;
    let text = quoted(&bytes[comma + 1..])?;
    Ok(DeviceError { code, text })
}

/// The data of a reply that is exactly one definite-length block.
///
/// # Errors
/// When it is none.
pub fn block_data(bytes: &[u8]) -> Result<&[u8], ReplyFault> {
    let (start, length) =
        block_extent(bytes).ok_or_else(|| unexpected("a definite-length block", bytes))?;
    match bytes.get(start..) {
        Some(data) if data.len() == length => Ok(data),
        _ => Err(unexpected("a block as long as it says", bytes)),
    }
}

/// The comma-separated elements of a reply, quotes respected.
///
/// # Errors
/// When it is empty or has too many.
pub fn text_items(bytes: &[u8]) -> Result<Vec<&[u8]>, ReplyFault> {
    if bytes.trim_ascii().is_empty() {
        return Err(ReplyFault::Empty);
    }
    let mut items = Vec::new();
    let (mut start, mut open) = (0, None);
    for (at, &byte) in bytes.iter().enumerate() {
        match (open, byte) {
            (Some(quote), _) if byte == quote => open = None,
            (None, b'"' | b'\'') => open = Some(byte),
            (None, b',') => {
                items.push(bytes[start..at].trim_ascii());
                start = at + 1;
            }
            _ => {}
        }
        if items.len() >= MOST_ELEMENTS {
            return Err(ReplyFault::TooMany);
        }
    }
    items.push(bytes[start..].trim_ascii());
    Ok(items)
}

/// A reply that is a list of numbers.
///
/// # Errors
/// When one element is none.
pub fn list(bytes: &[u8]) -> Result<Vec<Reading>, ReplyFault> {
    text_items(bytes)?.into_iter().map(number).collect()
}
