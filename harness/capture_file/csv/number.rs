//! Fields of a table to numbers: decimal point or comma, digits in groups of
//! three, times of day, and the words that stand for no reading. It knows no
//! columns.

/// How numbers are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Notation {
    /// Before the decimal places.
    pub(super) decimal: u8,
    /// Between groups of three digits, where that is a point or a comma.
    pub(super) thousands: Option<u8>,
}

/// What a field holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Field {
    Number(f64),
    /// A word for the level of a logic line.
    Level(bool),
    /// Nothing, or a word for it: there is no reading.
    Missing,
    /// Beyond the range of what was measured with.
    Infinite,
    /// A time of day, ps since midnight.
    Clock(i64),
    Text,
}

/// Words for a reading that is not there.
const MISSING: [&str; 7] = ["nan", "-nan", "+nan", "n/a", "na", "null", "none"];
/// Words for a reading beyond the range.
const INFINITE: [&str; 16] = [
    "inf",
    "-inf",
    "+inf",
    "infinity",
    "-infinity",
    "+infinity",
    "\u{221e}",
    "-\u{221e}",
    "ol",
    "+ol",
    "-ol",
    "over",
    "ovld",
    "overrange",
    "overflow",
    "overload",
];
/// Words for the levels of a logic line.
const LEVELS: [(&str, bool); 4] = [("high", true), ("hi", true), ("low", false), ("lo", false)];
/// A number of more letters is none.
const LONGEST: usize = 64;
const DAY: i64 = 86_400_000_000_000_000;
const SECOND: i64 = 1_000_000_000_000;

impl Notation {
    /// What `field`, trimmed, holds.
    pub(super) fn field(self, field: &[u8]) -> Field {
        let Some(first) = field.first() else {
            return Field::Missing;
        };
        // No number begins with a letter, and a column may be full of words.
        if first.is_ascii_alphabetic() {
            let mut levels = LEVELS.iter();
            if let Some(&(_, high)) = levels.find(|(name, _)| is(name, field)) {
                return Field::Level(high);
            }
        } else if let Some(number) = self.number(field) {
            return Field::Number(number);
        }
        if field.len() > LONGEST {
            return Field::Text;
        }
        if let Some(clock) = self.clock(field) {
            return Field::Clock(clock);
        }
        let Ok(text) = std::str::from_utf8(field) else {
            return Field::Text;
        };
        // Stars stand where a number is too large for its room, dashes for none.
        let all = |marks: &[char]| text.chars().all(|c| marks.contains(&c));
        let one_of = |words: &[&str]| words.iter().any(|word| is(word, field));
        if one_of(&MISSING) || all(&['-', '\u{2013}', '\u{2014}']) {
            Field::Missing
        } else if one_of(&INFINITE) || all(&['*']) {
            Field::Infinite
        } else {
            Field::Text
        }
    }

    /// The field as a finite number, if it is one.
    pub(super) fn number(self, field: &[u8]) -> Option<f64> {
        if field.len() > LONGEST {
            return None;
        }
        // The usual case first: what Rust reads too.
        if self.decimal == b'.' && self.thousands.is_none() && plain(field) {
            let usual = finite(field);
            if usual.is_some() {
                return usual;
            }
        }
        let mut digits = [0; LONGEST];
        let mut length = 0;
        let written = self.respelled(field, &mut |byte| {
            digits[length] = byte;
            length += 1;
        });
        written?;
        let digits = &digits[..length];
        if plain(digits) { finite(digits) } else { None }
    }

    /// A plainly written number less a whole one, to the last of its digits.
    pub(super) fn since(self, field: &[u8], origin: i64) -> Option<f64> {
        let at = field.iter().position(|&b| b == self.decimal);
        let (whole, places) = field.split_at(at.unwrap_or(field.len()));
        let whole: i64 = std::str::from_utf8(whole).ok()?.parse().ok()?;
        let places = match places {
            [] => 0.0,
            [_, digits @ ..] if digits.iter().all(u8::is_ascii_digit) => {
                let digits = std::str::from_utf8(digits).ok()?;
                format!("0.{digits}").parse::<f64>().ok()?
            }
            _ => return None,
        };
        let places = if field.first() == Some(&b'-') {
            -places
        } else {
            places
        };
        Some(whole.checked_sub(origin)? as f64 + places)
    }

    /// The number with a decimal point, a plain minus and no groups.
    fn respelled(self, field: &[u8], keep: &mut impl FnMut(u8)) -> Option<()> {
        let mut rest = field;
        // The minus of mathematics, U+2212.
        if let Some(after) = rest.strip_prefix("\u{2212}".as_bytes()) {
            keep(b'-');
            rest = after;
        }
        // Digits since the last group's end; `None` before the first group.
        let mut grouped = false;
        let mut digits = 0_usize;
        let mut fraction = false;
        while let Some((&byte, after)) = rest.split_first() {
            let space = group_space(rest);
            // Fortran's exponent of double precision, where nothing else is meant.
            let signed = || matches!(after.first(), Some(b'+' | b'-'));
            let double = matches!(byte, b'd' | b'D') && (fraction || signed());
            if byte == self.decimal {
                if fraction || (grouped && digits != 3) {
                    return None;
                }
                fraction = true;
                keep(b'.');
                rest = after;
            } else if let Some(length) = space
                .filter(|_| !fraction)
                .or_else(|| (Some(byte) == self.thousands && !fraction).then_some(1))
            {
                let full = if grouped {
                    digits == 3
                } else {
                    (1..=3).contains(&digits)
                };
                if !full {
                    return None;
                }
                grouped = true;
                digits = 0;
                rest = &rest[length..];
            } else if double || matches!(byte, b'e' | b'E') {
                if grouped && !fraction && digits != 3 {
                    return None;
                }
                keep(b'e');
                after.iter().for_each(|&byte| keep(byte));
                return Some(());
            } else if byte == b'.' || byte == b',' {
                return None;
            } else {
                digits += usize::from(byte.is_ascii_digit());
                keep(byte);
                rest = after;
            }
        }
        (!grouped || fraction || digits == 3).then_some(())
    }

    /// A time of day, ps since midnight: `12:34:56.789` with any number of
    /// decimal places, a date and `T` or a blank before it.
    fn clock(self, field: &[u8]) -> Option<i64> {
        if !field.contains(&b':') {
            return None;
        }
        let text = std::str::from_utf8(field).ok()?;
        let time = text.rsplit([' ', 'T']).next()?;
        if !dated(&text[..text.len() - time.len()]) {
            return None;
        }
        let time = time.strip_suffix('Z').unwrap_or(time);
        let mut parts = time.split(':');
        let (hours, minutes, seconds) = (parts.next()?, parts.next()?, parts.next()?);
        if parts.next().is_some() {
            return None;
        }
        let whole = |text: &str, below: i64| {
            let digits = (1..=2).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
            let value: i64 = text.parse().ok().filter(|_| digits)?;
            (value < below).then_some(value)
        };
        let (hours, minutes) = (whole(hours, 24)?, whole(minutes, 60)?);
        let (seconds, decimals) = seconds
            .split_once([char::from(self.decimal), '.'])
            .unwrap_or((seconds, ""));
        let seconds = whole(seconds, 61)?;
        let digits = decimals.len() <= 18 && decimals.bytes().all(|b| b.is_ascii_digit());
        let places = decimals.bytes().take(12).filter(|_| digits);
        let picoseconds = places
            .chain(std::iter::repeat(b'0'))
            .take(12)
            .fold(0, |sum, digit| sum * 10 + i64::from(digit - b'0'));
        digits.then_some(((hours * 60 + minutes) * 60 + seconds) * SECOND + picoseconds)
    }
}

/// Whether a field is this word, in whatever letters.
fn is(word: &str, field: &[u8]) -> bool {
    field.eq_ignore_ascii_case(word.as_bytes())
}

/// Whether what stands before a time of day may be a date.
fn dated(text: &str) -> bool {
    text.len() <= 16
        && text
            .bytes()
            .all(|b| b.is_ascii_digit() || b"-/. TZ".contains(&b))
}

/// A day later, where a time of day fell by more than half a day.
pub(super) const fn unwrapped(last: i64, clock: i64) -> i64 {
    let days = last / DAY;
    let same = days * DAY + clock;
    if last - same > DAY / 2 {
        same + DAY
    } else {
        same
    }
}

/// The length of a blank that parts groups of digits where a digit follows:
/// blank, no-break, thin and narrow no-break blank.
fn group_space(rest: &[u8]) -> Option<usize> {
    let spaces: [&[u8]; 5] = [
        b" ",
        "\u{a0}".as_bytes(),
        "\u{2009}".as_bytes(),
        "\u{202f}".as_bytes(),
        // The no-break blank of Latin-1.
        b"\xa0",
    ];
    let space = spaces.iter().find(|space| rest.starts_with(space))?;
    let next = rest.get(space.len())?;
    next.is_ascii_digit().then_some(space.len())
}

/// Whether these are the letters of a plain number, so that words such as
/// `inf`, which Rust reads too, are none.
fn plain(field: &[u8]) -> bool {
    let first = field.first().copied().unwrap_or_default();
    let second = field.get(1).copied().unwrap_or_default();
    let begins = |byte: u8| byte.is_ascii_digit() || byte == b'.';
    begins(first) || (matches!(first, b'-' | b'+') && begins(second))
}

fn finite(field: &[u8]) -> Option<f64> {
    let text = std::str::from_utf8(field).ok()?;
    let value: f64 = text.parse().ok()?;
    value.is_finite().then_some(value)
}

/// Whether the exponent begins here, as far as this is a number.
pub(super) const fn exponent(byte: &u8) -> bool {
    matches!(byte, b'e' | b'E' | b'd' | b'D')
}

/// The value of the last digit of a plainly written number: 0.01 of `1.25`,
/// 1e-5 of `1.25e-3`.
pub(super) fn last_digit(field: &[u8], decimal: u8) -> f64 {
    power(last_place(field, decimal))
}

/// The value of last digits, which seldom changes from row to row.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct LastDigit(Option<(i32, f64)>);

impl LastDigit {
    /// Ten to the power of `place`.
    pub(super) fn value(&mut self, place: i32) -> f64 {
        match self.0 {
            Some((known, value)) if known == place => value,
            _ => {
                let value = power(place);
                self.0 = Some((place, value));
                value
            }
        }
    }
}

fn power(place: i32) -> f64 {
    libm::pow(10.0, f64::from(place))
}

/// Where the last digit of a plainly written number stands: -2 of `1.25`.
pub(super) fn last_place(field: &[u8], decimal: u8) -> i32 {
    let (digits, exponent) = match field.iter().position(exponent) {
        Some(at) => (&field[..at], &field[at + 1..]),
        None => (field, &b""[..]),
    };
    let exponent = std::str::from_utf8(exponent).ok();
    let exponent: i32 = exponent.and_then(|e| e.parse().ok()).unwrap_or(0);
    let point = digits.iter().position(|&b| b == decimal);
    let places = point.map_or(0, |at| digits.len() - at - 1) as i32;
    exponent.saturating_sub(places)
}
