//! Checksums that instruments put behind a line, and how they are written there.
//! It sends and receives nothing, and repairs no line.

/// How a checksum is computed over a line's bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Checksum {
    /// The low eight bits of the bytes' sum.
    Sum,
    /// All bytes by exclusive or, as IEC 61162-1 sentences have it.
    Xor,
    /// Sixteen bits by the polynomial 0x1021 of ITU-T V.41, most significant bit
    /// first, begun with 0xFFFF.
    Crc1021,
    /// Sixteen bits by the polynomial 0x8005, least significant bit first, begun
    /// with 0xFFFF, as on many serial field buses.
    Crc8005,
}

impl Checksum {
    /// The words for them in a profile.
    pub const WORDS: &[(&str, Self)] = &[
        ("sum", Self::Sum),
        ("xor", Self::Xor),
        ("crc-16-1021", Self::Crc1021),
        ("crc-16-8005", Self::Crc8005),
    ];

    /// The checksum of `bytes`.
    ///
    /// ```
    /// use bufferstop::checksum::Checksum;
    /// // The check values of the published catalogues of such codes.
    /// assert_eq!(Checksum::Crc1021.of(b"123456789"), 0x29B1);
    /// assert_eq!(Checksum::Crc8005.of(b"123456789"), 0x4B37);
    /// ```
    pub fn of(self, bytes: &[u8]) -> u16 {
        match self {
            Self::Sum => bytes
                .iter()
                .fold(0, |sum: u16, byte| (sum + u16::from(*byte)) & 0xFF),
            Self::Xor => bytes.iter().fold(0, |sum, byte| sum ^ u16::from(*byte)),
            Self::Crc1021 => bytes.iter().fold(0xFFFF, |crc, byte| {
                let mut crc = crc ^ (u16::from(*byte) << 8);
                for _ in 0..8 {
                    let carry = crc & 0x8000 != 0;
                    crc = (crc << 1) ^ if carry { 0x1021 } else { 0 };
                }
                crc
            }),
            Self::Crc8005 => bytes.iter().fold(0xFFFF, |crc, byte| {
                let mut crc = crc ^ u16::from(*byte);
                for _ in 0..8 {
                    let carry = crc & 1 != 0;
                    // 0x8005 with its bits turned round.
                    crc = (crc >> 1) ^ if carry { 0xA001 } else { 0 };
                }
                crc
            }),
        }
    }

    /// Bytes that it has.
    const fn width(self) -> usize {
        match self {
            Self::Sum | Self::Xor => 1,
            Self::Crc1021 | Self::Crc8005 => 2,
        }
    }
}

/// How a checksum is written behind a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Written {
    /// As hexadecimal digits, two for each byte.
    Hexadecimal,
    /// As bytes, the high one first.
    HighFirst,
    /// As bytes, the low one first.
    LowFirst,
}

impl Written {
    /// The words for them in a profile.
    pub const WORDS: &[(&str, Self)] = &[
        ("hexadecimal", Self::Hexadecimal),
        ("high first", Self::HighFirst),
        ("low first", Self::LowFirst),
    ];
}

/// What stands behind each line, both ways, before the line's ending.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineCheck {
    /// How it is computed.
    pub checksum: Checksum,
    /// How it is written.
    pub written: Written,
    /// What stands between the line and its checksum; it is not counted.
    pub mark: String,
    /// So many of the line's first bytes are not counted.
    pub skip: usize,
}

impl LineCheck {
    /// Puts the checksum of `line` behind it.
    pub fn append(&self, line: &mut Vec<u8>) {
        let digits = self.digits(line);
        line.extend_from_slice(self.mark.as_bytes());
        line.extend_from_slice(&digits);
    }

    /// The line without its checksum, or `None` where that is missing or wrong.
    pub fn strip(&self, mut line: Vec<u8>) -> Option<Vec<u8>> {
        let behind = self.mark.len() + self.length();
        let own = line.len().checked_sub(behind)?;
        let mut expected = line[..own].to_vec();
        self.append(&mut expected);
        // Hexadecimal digits in either case.
        let same = match self.written {
            Written::Hexadecimal => expected.eq_ignore_ascii_case(&line),
            Written::HighFirst | Written::LowFirst => expected == line,
        };
        line.truncate(own);
        same.then_some(line)
    }

    /// How many bytes it is written in.
    pub fn length(&self) -> usize {
        match self.written {
            Written::Hexadecimal => 2 * self.checksum.width(),
            Written::HighFirst | Written::LowFirst => self.checksum.width(),
        }
    }

    fn digits(&self, line: &[u8]) -> Vec<u8> {
        let sum = self.checksum.of(line.get(self.skip..).unwrap_or(&[]));
        let bytes = sum.to_be_bytes();
        let bytes = &bytes[2 - self.checksum.width()..];
        match self.written {
            Written::Hexadecimal => {
                let digits: String = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
                digits.into_bytes()
            }
            Written::HighFirst => bytes.to_vec(),
            Written::LowFirst => bytes.iter().rev().copied().collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// By hand: 49 + 50 + ... + 57 = 477 = 0x1DD, and 0x31 ^ ... ^ 0x39 = 0x31. The
    /// check values of the two codes over "123456789" are those of the published
    /// catalogues of cyclic codes: 0x29B1 and 0x4B37.
    #[test]
    fn each_checksum_has_its_published_check_value() {
        for (checksum, value) in [
            (Checksum::Sum, 0xDD),
            (Checksum::Xor, 0x31),
            (Checksum::Crc1021, 0x29B1),
            (Checksum::Crc8005, 0x4B37),
        ] {
            assert_eq!(checksum.of(b"123456789"), value, "{checksum:?}");
        }
        // 255 is -1 modulo 256, and 1000 is 4 x 256 - 24.
        assert_eq!(Checksum::Sum.of(&[0xFF; 1000]), 24);
    }

    /// A position sentence as textbooks print it (IEC 61162-1: exclusive or of what
    /// stands between `$` and `*`; from memory).
    #[test]
    fn a_sentence_is_checked_between_its_marks() {
        let check = LineCheck {
            checksum: Checksum::Xor,
            written: Written::Hexadecimal,
            mark: "*".to_owned(),
            skip: 1,
        };
        let whole = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47";
        let line = whole.strip_suffix("*47").expect("its checksum");
        let mut sent = line.as_bytes().to_vec();
        check.append(&mut sent);
        assert_eq!(sent, whole.as_bytes());
        assert_eq!(check.strip(sent), Some(line.as_bytes().to_vec()));
        assert_eq!(check.strip(b"$GPGGA*47".to_vec()), None);
        assert_eq!(check.strip(b"*4".to_vec()), None);
        assert_eq!(check.strip(Vec::new()), None);
    }

    proptest! {
        #[test]
        fn what_was_appended_is_stripped_and_a_flipped_bit_is_found(
            line: Vec<u8>,
            which in 0_usize..4,
            how in 0_usize..3,
            at: proptest::sample::Index,
            bit in 0_u32..8,
        ) {
            let check = LineCheck {
                checksum: Checksum::WORDS[which].1,
                written: Written::WORDS[how].1,
                mark: String::new(),
                skip: 0,
            };
            let mut sent = line.clone();
            check.append(&mut sent);
            prop_assert_eq!(check.strip(sent.clone()), Some(line.clone()));
            let at = at.index(sent.len());
            // Of a hexadecimal digit this bit is its case.
            if at < line.len() || bit != 5 {
                sent[at] ^= 1 << bit;
                prop_assert_eq!(check.strip(sent), None);
            }
        }
    }
}
