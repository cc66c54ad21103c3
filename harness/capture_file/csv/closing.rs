//! What closes a table without being part of it: a line `END`, the mark of the end
//! of a text (Ctrl-Z), the zeros of room that was never written. It reads no row.

use super::encoding::lettered;
use super::words::key;
use crate::capture_file::LONGEST_PIECE;
use std::borrow::Cow;

/// The mark of the end of a text, Ctrl-Z.
const END_OF_TEXT: u8 = 0x1A;

/// Holds marks and zeros back until it is known whether a text goes on behind them.
#[derive(Clone, Debug, Default)]
pub(super) struct Closing {
    /// As they came, no longer than a line may be; and how many there were.
    held: Vec<u8>,
    marks: u64,
    zeros: u64,
    /// Zeros came first: whatever stood before them was cut.
    cut: bool,
}

impl Closing {
    /// The text without what may close it. What was held back goes before a text
    /// that goes on.
    pub(super) fn push<'a>(&mut self, text: Cow<'a, [u8]>) -> Cow<'a, [u8]> {
        let closes = |byte: &u8| matches!(*byte, 0 | END_OF_TEXT);
        let blank = |byte: &u8| closes(byte) || byte.is_ascii_whitespace();
        let goes_on = text.iter().rposition(|byte| !blank(byte));
        // Line ends before the first mark belong to the text.
        let from = goes_on.map_or(0, |last| last + 1);
        let open = self.held.is_empty() || goes_on.is_some();
        let first = text[from..].iter().position(closes);
        let end = match first {
            Some(first) if open => from + first,
            None if open => text.len(),
            _ => 0,
        };
        let tail = text[end..].to_vec();
        let text = match goes_on {
            Some(_) if !self.held.is_empty() => {
                let mut whole = std::mem::take(self).held;
                whole.extend_from_slice(&text[..end]);
                Cow::Owned(whole)
            }
            _ => cut_off(text, end),
        };
        self.hold(&tail);
        text
    }

    fn hold(&mut self, tail: &[u8]) {
        if self.held.is_empty() {
            self.cut = tail.first() == Some(&0);
        }
        let count = |wanted: u8| tail.iter().filter(|byte| **byte == wanted).count() as u64;
        self.marks += count(END_OF_TEXT);
        self.zeros += count(0);
        let room = (LONGEST_PIECE + 1).saturating_sub(self.held.len());
        self.held.extend_from_slice(&tail[..tail.len().min(room)]);
    }

    /// Whether the text was cut where zeros begin, if it ends within a row.
    pub(super) const fn cuts(&self) -> bool {
        self.cut
    }

    /// What should be said of it.
    pub(super) fn note(&self) -> Option<String> {
        let bytes = |count: u64| match count {
            1 => "a zero byte".to_owned(),
            many => format!("{many} zero bytes"),
        };
        match (self.marks, self.zeros) {
            (0, 0) => None,
            (0, zeros) => Some(format!(
                "{} behind the table, as of a file that was not written to its end: passed over",
                bytes(zeros)
            )),
            (_, 0) => Some("the mark of the end of a text (Ctrl-Z) closes the table".to_owned()),
            (_, zeros) => Some(format!(
                "the mark of the end of a text (Ctrl-Z) and {} close the table",
                bytes(zeros)
            )),
        }
    }
}

fn cut_off(text: Cow<'_, [u8]>, end: usize) -> Cow<'_, [u8]> {
    match text {
        Cow::Borrowed(text) => Cow::Borrowed(&text[..end]),
        Cow::Owned(mut text) => {
            text.truncate(end);
            Cow::Owned(text)
        }
    }
}

/// Whether a line says that the table ends with it.
pub(super) fn says_end(line: &[u8]) -> bool {
    /// Longer lines say more than that.
    const LONGEST: usize = 64;
    let letter = line.iter().find(|byte| byte.is_ascii_alphanumeric());
    if line.len() > LONGEST || !matches!(letter, Some(b'e' | b'E')) {
        return false;
    }
    let words = ["end", "eof", "endoffile", "endofdata", "enddata"];
    words.contains(&key(&lettered(line)).as_str())
}
