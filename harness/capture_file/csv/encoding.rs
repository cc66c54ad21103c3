//! Bytes of a text file to UTF-8: a byte order mark is taken off, UTF-16 of
//! either order is turned into UTF-8, with or without a mark. Other bytes go
//! through as they are: only names and units have letters beyond ASCII.

use std::borrow::Cow;

/// How the bytes of a file stand for letters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Encoding {
    /// UTF-8, Latin-1 or ASCII.
    Bytes,
    Utf16 {
        big_endian: bool,
    },
}

/// Turns pieces of any length into UTF-8.
#[derive(Clone, Debug, Default)]
pub(super) struct Transcoder {
    encoding: Option<Encoding>,
    /// The first bytes, until they tell the encoding; then half a unit.
    carry: Vec<u8>,
    /// The first half of a pair of units.
    surrogate: Option<u16>,
}

/// So many bytes tell the encoding.
const TELLING: usize = 4;

impl Transcoder {
    /// The text of the next bytes.
    pub(super) fn push<'a>(&mut self, bytes: &'a [u8]) -> Cow<'a, [u8]> {
        match self.encoding {
            Some(Encoding::Bytes) => Cow::Borrowed(bytes),
            Some(Encoding::Utf16 { big_endian }) => Cow::Owned(self.utf16(bytes, big_endian)),
            None => {
                self.carry.extend_from_slice(bytes);
                if self.carry.len() < TELLING {
                    return Cow::Borrowed(&[]);
                }
                Cow::Owned(self.begin())
            }
        }
    }

    /// What is left at the end of the file.
    pub(super) fn finish(&mut self) -> Vec<u8> {
        if self.encoding.is_none() {
            return self.begin();
        }
        let half = !self.carry.is_empty() || self.surrogate.is_some();
        if half { "\u{fffd}".into() } else { Vec::new() }
    }

    fn begin(&mut self) -> Vec<u8> {
        let bytes = std::mem::take(&mut self.carry);
        let (encoding, mark) = told(&bytes);
        self.encoding = Some(encoding);
        match encoding {
            Encoding::Bytes => bytes[mark..].to_vec(),
            Encoding::Utf16 { big_endian } => self.utf16(&bytes[mark..], big_endian),
        }
    }

    fn utf16(&mut self, bytes: &[u8], big_endian: bool) -> Vec<u8> {
        let mut text = Vec::with_capacity(bytes.len() / 2 + 4);
        let mut letter = [0; 4];
        for &byte in bytes {
            self.carry.push(byte);
            let [first, second] = self.carry[..] else {
                continue;
            };
            self.carry.clear();
            let unit = if big_endian {
                u16::from_be_bytes([first, second])
            } else {
                u16::from_le_bytes([first, second])
            };
            let units = self.surrogate.take().into_iter().chain([unit]);
            for decoded in char::decode_utf16(units) {
                match decoded {
                    Ok(c) => text.extend_from_slice(c.encode_utf8(&mut letter).as_bytes()),
                    Err(lone) if lone.unpaired_surrogate() == unit && first_half(unit) => {
                        self.surrogate = Some(unit);
                    }
                    Err(_) => text.extend_from_slice("\u{fffd}".as_bytes()),
                }
            }
        }
        text
    }
}

const fn first_half(unit: u16) -> bool {
    unit & 0xFC00 == 0xD800
}

/// The encoding and the length of its mark.
fn told(bytes: &[u8]) -> (Encoding, usize) {
    let utf16 = |big_endian| Encoding::Utf16 { big_endian };
    match *bytes {
        [0xEF, 0xBB, 0xBF, ..] => (Encoding::Bytes, 3),
        [0xFF, 0xFE, ..] => (utf16(false), 2),
        [0xFE, 0xFF, ..] => (utf16(true), 2),
        // A text begins with letters of ASCII.
        [a, 0, b, 0, ..] if a > 0 && b > 0 => (utf16(false), 0),
        [0, a, 0, b, ..] if a > 0 && b > 0 => (utf16(true), 0),
        _ => (Encoding::Bytes, 0),
    }
}

/// A name or unit as text: UTF-8 where it is that, else Latin-1 (ISO/IEC
/// 8859-1), whose bytes are the first code points.
pub(super) fn lettered(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|&byte| char::from(byte)).collect(),
    }
}
