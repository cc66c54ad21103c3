//! Program mnemonics: long and short forms, and the numeric suffix (SCPI-1999
//! volume 1, clause 6.2). It knows single words, not paths.

/// A word that may be written in exactly two ways, declared in the standard's
/// own notation: capitals are the short form, `VOLTage`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mnemonic {
    long: String,
    short_length: usize,
}

impl Mnemonic {
    /// Reads the notation.
    ///
    /// # Panics
    /// When the capitals are not the short form the standard prescribes: a
    /// command table is part of the program.
    pub fn declare(notation: &str) -> Self {
        let capitals = notation.chars().take_while(|c| !c.is_ascii_lowercase());
        let short_length = capitals.count();
        let long = notation.to_ascii_uppercase();
        assert!(
            notation.is_ascii() && short_form(&long) == &long[..short_length],
            "'{notation}' does not declare its short form"
        );
        Self { long, short_length }
    }

    /// Whether `word` is the long or the short form, in either case.
    pub fn matches(&self, word: &str) -> bool {
        word.eq_ignore_ascii_case(&self.long)
            || word.eq_ignore_ascii_case(&self.long[..self.short_length])
    }

    /// The short form, in capitals.
    pub fn short(&self) -> &str {
        &self.long[..self.short_length]
    }
}

/// The short form of `long`: the word itself up to four letters; else its
/// first four, or three when the fourth is a vowel.
pub fn short_form(long: &str) -> &str {
    if long.len() <= 4 || !long.is_ascii() {
        return long;
    }
    let vowel = matches!(
        long.as_bytes()[3].to_ascii_uppercase(),
        b'A' | b'E' | b'I' | b'O' | b'U'
    );
    &long[..if vowel { 3 } else { 4 }]
}

/// Splits trailing digits off a word; `None` for the number when there are
/// none, and when they do not fit.
pub(super) fn split_suffix(word: &str) -> (&str, Option<u32>) {
    let stem = word.trim_end_matches(|c: char| c.is_ascii_digit());
    let digits = &word[stem.len()..];
    if digits.is_empty() {
        return (word, None);
    }
    // Longer than any instance number: keep it a number nobody has.
    (stem, Some(digits.parse().unwrap_or(u32::MAX)))
}
