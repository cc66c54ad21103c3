//! How a command's values are written where not as the shortest decimal: scaled,
//! in steps, with so many digits, as words or as bytes. It sends none.

use crate::template::{Argument, FillFault};

/// How a number is spelt.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Spelling {
    /// As a decimal.
    #[default]
    Decimal,
    /// With an exponent, as 4.5E-3.
    Exponent,
    /// As a whole number in hexadecimal digits.
    Hexadecimal,
    /// As a whole number in bytes, the high one first.
    HighFirst,
    /// As a whole number in bytes, the low one first.
    LowFirst,
}

impl Spelling {
    /// The words for them in a profile.
    pub const WORDS: &[(&str, Self)] = &[
        ("decimal", Self::Decimal),
        ("exponent", Self::Exponent),
        ("hexadecimal", Self::Hexadecimal),
        ("high first", Self::HighFirst),
        ("low first", Self::LowFirst),
    ];
}

/// How one value of a command is written.
#[derive(Clone, Debug, PartialEq)]
pub struct Form {
    /// What is sent for one SI unit: 1000 for milliamperes.
    pub scale: f64,
    /// What is added to it then.
    pub add: f64,
    /// Digits behind the point; as many as it needs where `None`.
    pub decimals: Option<usize>,
    /// The least number of characters, filled up with noughts; of bytes, how many.
    pub width: usize,
    /// The only values there are, rising: the least one that is enough is sent.
    pub steps: Vec<f64>,
    /// How a number is spelt.
    pub spelling: Spelling,
    /// What is sent instead of a finished text.
    pub words: Vec<(String, String)>,
}

impl Default for Form {
    fn default() -> Self {
        Self {
            scale: 1.0,
            add: 0.0,
            decimals: None,
            width: 0,
            steps: Vec::new(),
            spelling: Spelling::Decimal,
            words: Vec::new(),
        }
    }
}

impl Form {
    /// What is sent for `value`, the value of the gap `name`; a character a byte.
    ///
    /// # Errors
    /// [`FillFault::NotFinite`], or [`FillFault::Beyond`] where the form has no
    /// room for it.
    pub fn write(&self, name: &str, value: Argument<'_>) -> Result<String, FillFault> {
        let number = match value {
            Argument::Number(value) => value,
            // Counts and channel numbers are small: exact.
            Argument::Integer(value) => value as f64,
            Argument::Text(text) | Argument::Bytes(text) => return Ok(self.word(text.to_owned())),
        };
        if !number.is_finite() {
            let name = name.to_owned();
            return Err(FillFault::NotFinite { name });
        }
        let beyond = || FillFault::Beyond {
            name: name.to_owned(),
            value: number.to_string(),
        };
        let sent = self.stepped(number).ok_or_else(beyond)?;
        let text = self.spelt(sent).ok_or_else(beyond)?;
        Ok(self.word(text))
    }

    /// The value that is really set where `value` is asked for, in SI units; `None`
    /// where no step is enough.
    pub fn set_for(&self, value: f64) -> Option<f64> {
        Some((self.stepped(value)? - self.add) / self.scale)
    }

    /// Half of the smallest difference that can be sent beside `value`, in SI units.
    pub fn half_step(&self, value: f64) -> f64 {
        let sent = (value * self.scale + self.add).abs();
        let step = match (self.spelling, self.decimals) {
            (Spelling::Decimal | Spelling::Exponent, None) => 0.0,
            (Spelling::Decimal, Some(digits)) => 0.1_f64.powi(digits as i32),
            // Digits behind the first one.
            (Spelling::Exponent, Some(digits)) if sent > 0.0 => {
                let first = libm::floor(libm::log10(sent)) as i32;
                10.0_f64.powi(first - digits as i32)
            }
            (Spelling::Exponent, Some(_)) => 0.0,
            _ => 1.0,
        };
        (0.5 * step / self.scale).abs()
    }

    fn stepped(&self, value: f64) -> Option<f64> {
        let sent = value * self.scale + self.add;
        if self.steps.is_empty() {
            return Some(sent);
        }
        // A step that is enough but for the last bit of the arithmetic is enough.
        let least = sent - sent.abs() * 1e-9;
        self.steps.iter().copied().find(|step| *step >= least)
    }

    fn spelt(&self, sent: f64) -> Option<String> {
        let width = self.width;
        let whole = || {
            let rounded = libm::round(sent);
            // Below 2^53 every whole number is exact.
            (0.0..=4_294_967_295.0)
                .contains(&rounded)
                .then_some(rounded as u32)
        };
        match self.spelling {
            Spelling::Decimal => Some(match self.decimals {
                Some(digits) => plus_nought(format!("{sent:0width$.digits$}"), width),
                None => format!("{sent:0width$}"),
            }),
            Spelling::Exponent => Some(match self.decimals {
                Some(digits) => format!("{sent:0width$.digits$E}"),
                None => format!("{sent:0width$E}"),
            }),
            Spelling::Hexadecimal => {
                let text = format!("{:0width$X}", whole()?);
                (width == 0 || text.len() == width).then_some(text)
            }
            Spelling::HighFirst | Spelling::LowFirst => {
                let count = width.clamp(1, 4);
                let bytes = whole()?.to_be_bytes();
                let (over, own) = bytes.split_at(4 - count);
                if over.iter().any(|byte| *byte != 0) {
                    return None;
                }
                let mut own: Vec<char> = own.iter().map(|&byte| char::from(byte)).collect();
                if self.spelling == Spelling::LowFirst {
                    own.reverse();
                }
                Some(own.into_iter().collect())
            }
        }
    }

    fn word(&self, text: String) -> String {
        let found = self.words.iter().find(|(from, _)| *from == text);
        found.map_or(text, |(_, to)| to.clone())
    }
}

/// A negative nought is no number that an instrument knows: another nought, as far as
/// `width` asks for it, in the place of its sign.
fn plus_nought(text: String, width: usize) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|byte| matches!(byte, b'0' | b'.')) => {
            format!("{rest:0>width$}")
        }
        _ => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(form: &Form, value: f64) -> Option<String> {
        form.write("volts", Argument::Number(value)).ok()
    }

    #[test]
    fn numbers_have_digits_scale_and_width() {
        let fixed = Form {
            decimals: Some(3),
            width: 6,
            ..Form::default()
        };
        assert_eq!(written(&fixed, 4.5).as_deref(), Some("04.500"));
        assert_eq!(written(&fixed, 0.1 + 0.2).as_deref(), Some("00.300"));
        assert_eq!(written(&fixed, -0.0001).as_deref(), Some("00.000"));
        assert_eq!(written(&fixed, f64::NAN), None);
        let milli = Form {
            scale: 1000.0,
            decimals: Some(0),
            ..Form::default()
        };
        assert_eq!(written(&milli, 0.0456).as_deref(), Some("46"));
        assert_eq!(milli.half_step(0.0456), 0.0005);
        let exponent = Form {
            spelling: Spelling::Exponent,
            decimals: Some(2),
            ..Form::default()
        };
        assert_eq!(written(&exponent, 0.01234).as_deref(), Some("1.23E-2"));
        // By hand: half of 0.01E-2.
        assert!((exponent.half_step(0.01234) - 5e-5).abs() < 1e-12);
    }

    #[test]
    fn the_least_step_that_is_enough_is_sent() {
        let ranges = Form {
            steps: vec![0.5, 1.0, 2.0, 5.0],
            words: vec![("5".to_owned(), "MAX".to_owned())],
            ..Form::default()
        };
        assert_eq!(written(&ranges, 0.5).as_deref(), Some("0.5"));
        assert_eq!(written(&ranges, 0.51).as_deref(), Some("1"));
        assert_eq!(written(&ranges, 3.0).as_deref(), Some("MAX"));
        assert_eq!(written(&ranges, 5.1), None);
        assert_eq!(ranges.set_for(1.2), Some(2.0));
        // 30 V through a tenth, which is a hair above 3 V in binary.
        let tenth = Form {
            steps: vec![3.0],
            ..Form::default()
        };
        assert_eq!(written(&tenth, 30.0 * 0.1).as_deref(), Some("3"));
    }

    #[test]
    fn whole_numbers_may_be_bytes_or_hexadecimal() {
        let word = Form {
            scale: 1000.0,
            width: 2,
            spelling: Spelling::HighFirst,
            ..Form::default()
        };
        assert_eq!(written(&word, 0.3).as_deref(), Some("\u{1}\u{2c}"));
        assert_eq!(written(&word, 66.0), None);
        assert_eq!(written(&word, -1.0), None);
        let low = Form {
            spelling: Spelling::LowFirst,
            ..word
        };
        assert_eq!(written(&low, 0.3).as_deref(), Some("\u{2c}\u{1}"));
        let channel = Form {
            add: 100.0,
            spelling: Spelling::HighFirst,
            ..Form::default()
        };
        let sent = channel.write("channel", Argument::Integer(3));
        assert_eq!(sent.as_deref(), Ok("g"));
        let digits = Form {
            width: 4,
            spelling: Spelling::Hexadecimal,
            ..Form::default()
        };
        assert_eq!(written(&digits, 300.0).as_deref(), Some("012C"));
        assert_eq!(written(&digits, 70_000.0), None);
    }

    #[test]
    fn words_are_the_instruments_own() {
        let slope = Form {
            words: vec![("POS".to_owned(), "RISE".to_owned())],
            ..Form::default()
        };
        let write = |text| slope.write("slope", Argument::Text(text));
        assert_eq!(write("POS").as_deref(), Ok("RISE"));
        assert_eq!(write("NEG").as_deref(), Ok("NEG"));
    }
}
