//! Whole numbers at the beginning of a text, eight digits at a time. It knows no
//! sign and no decimal places.

/// Numbers of more digits are not read here; those of as many do not overflow.
const MOST: usize = 18;
/// Digits looked at together.
const TOGETHER: usize = 8;
const POWERS: [u64; TOGETHER + 1] = [
    1,
    10,
    100,
    1_000,
    10_000,
    100_000,
    1_000_000,
    10_000_000,
    100_000_000,
];

/// The number that `text` begins with, and how many digits it has: one to
/// eighteen, and something that is no digit behind them. `None` of others, and
/// near the end of `text`.
#[inline]
pub(super) fn leading(text: &[u8]) -> Option<(u64, usize)> {
    let (mut number, mut count) = (0_u64, 0);
    while count <= MOST {
        let (more, digits) = eight(*text.get(count..)?.first_chunk()?);
        number = number.wrapping_mul(POWERS[digits]).wrapping_add(more);
        count += digits;
        if digits < TOGETHER {
            return (1..=MOST).contains(&count).then_some((number, count));
        }
    }
    None
}

/// The digits that eight characters begin with: their number and how many.
///
/// A byte less '0' is a digit if it stays below ten; the first that is not ends
/// the number. The digits are then moved behind leading zeros and added up in
/// pairs, fours and eights.
#[inline]
fn eight(text: [u8; TOGETHER]) -> (u64, usize) {
    const ZEROS: u64 = 0x3030_3030_3030_3030;
    const TEN_TO_SIGN: u64 = 0x7676_7676_7676_7676;
    const SIGNS: u64 = 0x8080_8080_8080_8080;
    // A carry goes to later bytes only.
    let values = u64::from_le_bytes(text) ^ ZEROS;
    let others = (values.wrapping_add(TEN_TO_SIGN) | values) & SIGNS;
    let digits = (others.trailing_zeros() / 8) as usize;
    if digits == 0 {
        return (0, 0);
    }
    let aligned = values << (8 * (TOGETHER - digits));
    let pairs = (aligned.wrapping_mul(10 * 256 + 1) >> 8) & 0x00FF_00FF_00FF_00FF;
    let fours = (pairs.wrapping_mul(100 * 65_536 + 1) >> 16) & 0x0000_FFFF_0000_FFFF;
    let all = fours.wrapping_mul(10_000 * 4_294_967_296 + 1) >> 32;
    (all, digits)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The same as reading it digit by digit, whatever stands behind the digits.
    #[test]
    fn numbers_of_every_length_are_read() {
        let ends: Vec<u8> = (0..=255)
            .filter(|byte: &u8| !byte.is_ascii_digit())
            .collect();
        for count in 0..=24 {
            for first in 0..10_u8 {
                let digits: Vec<u8> = (0..count)
                    .map(|place| b'0' + (first + 7 * place) % 10)
                    .collect();
                let number = std::str::from_utf8(&digits).ok();
                let number = number.and_then(|text| text.parse::<u64>().ok());
                let expected = number.filter(|_| (1..=18).contains(&count));
                let expected = expected.map(|number| (number, usize::from(count)));
                for &end in &ends {
                    let mut text = digits.clone();
                    text.push(end);
                    text.extend(b"99999999");
                    assert_eq!(leading(&text), expected, "{count} {end}");
                }
            }
        }
    }

    /// Without eight characters to look at it says nothing, rather than wrong.
    #[test]
    fn the_end_of_a_text_is_left_to_others() {
        for length in 0..8 {
            assert_eq!(leading(&b"1234567"[..length.min(7)]), None);
        }
        assert_eq!(leading(b"12345678"), None);
        assert_eq!(leading(b"1234567\n"), Some((1_234_567, 7)));
    }
}
