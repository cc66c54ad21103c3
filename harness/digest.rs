//! Content hashes (SHA-256). A digest names bytes; it says nothing of where
//! they are kept.

use sha2::{Digest as _, Sha256};
use std::fmt;
use std::str::FromStr;

/// The SHA-256 of some bytes, shown as 64 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Digest([u8; 32]);

impl Digest {
    /// The digest of `bytes`.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// The digest of several parts, each preceded by its length, so that no two
    /// different lists share one.
    pub fn of_parts<'a>(parts: impl IntoIterator<Item = &'a [u8]>) -> Self {
        let mut hasher = Sha256::new();
        for part in parts {
            hasher.update((part.len() as u64).to_le_bytes());
            hasher.update(part);
        }
        Self(hasher.finalize().into())
    }

    /// The first twelve digits, enough to tell files apart on a screen.
    pub fn short(&self) -> String {
        self.to_string()[..12].to_owned()
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // By hand: every line of a store is linked by such texts.
        const DIGITS: &[u8; 16] = b"0123456789abcdef";
        let mut text = [0; 64];
        for (pair, byte) in text.chunks_exact_mut(2).zip(self.0) {
            pair[0] = DIGITS[usize::from(byte >> 4)];
            pair[1] = DIGITS[usize::from(byte & 15)];
        }
        f.write_str(std::str::from_utf8(&text).map_err(|_| fmt::Error)?)
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Digest({self})")
    }
}

/// Bytes with their digest, which is computed once and cannot be another's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hashed {
    digest: Digest,
    bytes: Vec<u8>,
}

impl Hashed {
    /// `bytes` with their digest.
    pub fn of(bytes: Vec<u8>) -> Self {
        let digest = Digest::of(&bytes);
        Self { digest, bytes }
    }

    /// The digest.
    pub fn digest(&self) -> Digest {
        self.digest
    }

    /// The bytes.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }
}

/// A text that is not 64 hexadecimal digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a digest is 64 hexadecimal digits")]
pub struct NotADigest;

impl FromStr for Digest {
    type Err = NotADigest;
    fn from_str(text: &str) -> Result<Self, NotADigest> {
        let mut bytes = [0; 32];
        if text.len() != 64 || !text.is_ascii() {
            return Err(NotADigest);
        }
        for (byte, pair) in bytes.iter_mut().zip(text.as_bytes().chunks_exact(2)) {
            let pair = std::str::from_utf8(pair).map_err(|_| NotADigest)?;
            *byte = u8::from_str_radix(pair, 16).map_err(|_| NotADigest)?;
        }
        Ok(Self(bytes))
    }
}

impl serde::Serialize for Digest {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> serde::Deserialize<'de> for Digest {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4 example "abc".
    #[test]
    fn matches_the_standards_example() {
        let text = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(Digest::of(b"abc").to_string(), text);
        assert_eq!(text.parse(), Ok(Digest::of(b"abc")));
    }

    #[test]
    fn parts_do_not_run_together() {
        assert_ne!(
            Digest::of_parts([&b"ab"[..], b"c"]),
            Digest::of_parts([&b"a"[..], b"bc"])
        );
    }
}
