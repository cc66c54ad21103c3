//! Answers read as the profile says that they are worded. It asks nothing.

use crate::profile::{Binary, Profile, Reply, VALUE, measured};
use crate::protocol::{self, Reading, ReplyFault};
use crate::template;
use crate::units::{Dimension, parse_si};

/// The number in `answer` to `command`, in SI units where it measures something.
///
/// # Errors
/// When there is none.
pub(super) fn number(
    profile: &Profile,
    command: &str,
    answer: &str,
) -> Result<Reading, ReplyFault> {
    let bare = Reply::default();
    let reply = profile.replies.get(command).unwrap_or(&bare);
    number_by(reply, answer, measured(command))
}

/// The truth value in `answer` to `command` for `channel`: a number that is one or
/// nought where the profile says how it is worded, or the channel's bit of it.
///
/// # Errors
/// When it is neither.
pub(super) fn truth(
    profile: &Profile,
    command: &str,
    answer: &str,
    channel: u32,
) -> Result<bool, ReplyFault> {
    let Some(reply) = profile.replies.get(command) else {
        return protocol::boolean(answer.as_bytes());
    };
    if let Some(lowest) = reply.lowest_channel {
        let bits = number_by(reply, answer, None)?.value();
        let bit = channel.checked_sub(lowest).filter(|bit| *bit < 32);
        return match (bits, bit) {
            (Some(bits), Some(bit)) if bits >= 0.0 && bits.fract() == 0.0 => {
                // 32 bits are exact in a double.
                Ok((bits as u64 >> bit) & 1 == 1)
            }
            _ => Err(unfit("a bit for each channel", answer)),
        };
    }
    match number_by(reply, answer, None)?.value() {
        Some(0.0) => Ok(false),
        Some(1.0) => Ok(true),
        _ => Err(unfit("0 or 1", answer)),
    }
}

fn number_by(
    reply: &Reply,
    answer: &str,
    dimension: Option<Dimension>,
) -> Result<Reading, ReplyFault> {
    if let (Some(order), Some(count)) = (reply.binary, reply.bytes) {
        let mut bytes = template::bytes(answer);
        if bytes.len() != count {
            return Err(unfit("so many bytes as the profile says", answer));
        }
        if order == Binary::LowFirst {
            bytes.reverse();
        }
        let number = bytes
            .iter()
            .fold(0_u32, |n, byte| (n << 8) | u32::from(*byte));
        return Ok(Reading::Number(f64::from(number)));
    }
    let part = part(reply, answer)?;
    let mut words = reply.words.iter();
    if let Some((_, value)) = words.find(|(word, _)| word.eq_ignore_ascii_case(part)) {
        return Ok(Reading::Number(*value));
    }
    match protocol::number(part.as_bytes()) {
        Ok(Reading::Number(value)) => Ok(Reading::Number(value * reply.factor.unwrap_or(1.0))),
        Ok(other) => Ok(other),
        Err(fault) => match dimension.map(|dimension| parse_si(part, dimension)) {
            Some(Ok(value)) => Ok(Reading::Number(value)),
            _ => Err(fault),
        },
    }
}

/// The part of `answer` that counts.
fn part<'a>(reply: &Reply, answer: &'a str) -> Result<&'a str, ReplyFault> {
    let mut part = answer.trim();
    if let Some(pattern) = &reply.pattern {
        let found = pattern.captures(part);
        let found = found.and_then(|found| found.name(VALUE).or_else(|| found.get(0)));
        part = found
            .ok_or_else(|| unfit("an answer of the profile's pattern", answer))?
            .as_str();
    }
    if let Some(field) = reply.field {
        part = part
            .split(',')
            .nth(field - 1)
            .ok_or_else(|| unfit("a list with the profile's field", answer))?;
    }
    Ok(part.trim())
}

fn unfit(expected: &'static str, answer: &str) -> ReplyFault {
    let cut: String = answer.chars().take(40).collect();
    ReplyFault::Unexpected {
        expected,
        shown: format!("'{}'", template::shown(&cut)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use regex_lite::Regex;

    fn reads(reply: &Reply, answer: &str) -> Option<f64> {
        let read = number_by(reply, answer, Some(Dimension::Current));
        read.ok().and_then(Reading::value)
    }

    #[test]
    fn a_number_may_name_its_unit() {
        let plain = Reply::default();
        assert_eq!(reads(&plain, "4.498"), Some(4.498));
        assert_eq!(reads(&plain, "4.498A"), Some(4.498));
        assert_eq!(reads(&plain, " 4498 mA "), Some(4.498));
        assert_eq!(reads(&plain, "4.498 V"), None);
        assert_eq!(reads(&plain, "4,498"), None);
        assert_eq!(reads(&plain, ""), None);
    }

    #[test]
    fn a_field_of_a_list_and_a_part_of_a_line_are_found() {
        let listed = Reply {
            field: Some(2),
            factor: Some(1e-3),
            ..Reply::default()
        };
        assert_eq!(reads(&listed, "17980, 4498 ,80.9"), Some(4.498));
        assert_eq!(reads(&listed, "17980"), None);
        let worded = Reply {
            pattern: Some(Regex::new(r"^I=(?<value>[^;]*);").expect("a pattern")),
            ..Reply::default()
        };
        assert_eq!(reads(&worded, "I=4.498A;U=17.98V"), Some(4.498));
        assert_eq!(reads(&worded, "U=17.98V"), None);
    }

    #[test]
    fn bytes_are_a_number_or_a_bit_for_each_channel() {
        let word = Reply {
            bytes: Some(2),
            binary: Some(Binary::HighFirst),
            ..Reply::default()
        };
        assert_eq!(reads(&word, "\u{1}\u{2c}"), Some(300.0));
        assert_eq!(reads(&word, "\u{1}"), None);
        let low = Reply {
            binary: Some(Binary::LowFirst),
            ..word
        };
        assert_eq!(reads(&low, "\u{2c}\u{1}"), Some(300.0));
        let mut card = crate::profile::shipped("switch").expect("it comes with the program");
        let states = Reply {
            bytes: Some(1),
            binary: Some(Binary::HighFirst),
            lowest_channel: Some(1),
            ..Reply::default()
        };
        card.replies.insert("closed".to_owned(), states);
        let closed = |channel| truth(&card, "closed", "\u{85}", channel).ok();
        let all: Vec<Option<bool>> = (0..=9).map(closed).collect();
        let bits = [true, false, true, false, false, false, false, true, false];
        assert_eq!(all[0], None);
        assert_eq!(all[1..], bits.map(Some));
    }

    #[test]
    fn fixed_words_stand_for_numbers() {
        let states = Reply {
            words: vec![("BUSY".to_owned(), 8.0), ("READY".to_owned(), 0.0)],
            ..Reply::default()
        };
        assert_eq!(reads(&states, "busy"), Some(8.0));
        assert_eq!(reads(&states, "READY"), Some(0.0));
        assert_eq!(reads(&states, "TEA"), None);
    }
}
