//! Base 64 of RFC 4648, section 4, with padding: bytes inside texts. It knows
//! no lines and no other alphabet.

const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

/// The text of `bytes`.
pub(crate) fn encoded(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let byte = |index: usize| u32::from(group.get(index).copied().unwrap_or(0));
        let word = byte(0) << 16 | byte(1) << 8 | byte(2);
        for place in 0..4 {
            if place <= group.len() {
                let letter = LETTERS[(word >> (18 - 6 * place) & 63) as usize];
                text.push(char::from(letter));
            } else {
                text.push('=');
            }
        }
    }
    text
}

/// The bytes of `text`; `None` where it is not the text of any.
pub(crate) fn decoded(text: &str) -> Option<Vec<u8>> {
    let mut bytes = Vec::with_capacity(text.len() / 4 * 3);
    for group in text.as_bytes().chunks(4) {
        let kept = group.iter().take_while(|letter| **letter != b'=').count();
        let mut word = 0;
        for letter in group.iter().take(kept) {
            let place = LETTERS.iter().position(|known| known == letter)?;
            word = word << 6 | place as u32;
        }
        word <<= 6 * (4 - kept);
        bytes.extend(&word.to_be_bytes()[1..kept.max(1)]);
    }
    // One text for each list of bytes: wrong padding and stray bits are none.
    (encoded(&bytes) == text).then_some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10.
    #[test]
    fn as_published() {
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(encoded(bytes.as_bytes()), text);
            assert_eq!(decoded(text).as_deref(), Some(bytes.as_bytes()));
        }
        assert_eq!(encoded(&[0xFB, 0xFF, 0xFE]), "+//+");
        for wrong in ["Z", "Zg=", "Zg", "Zh==", "Zg==Zg==", "Zm9v\n", "====", "é"] {
            assert_eq!(decoded(wrong), None, "{wrong}");
        }
    }
}
