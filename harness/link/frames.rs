//! Received bytes on their way to complete answers: a line, or a
//! definite-length block of IEEE 488.2 clause 8.7.9. It reads no port.

/// The longest line an instrument may answer with.
pub(super) const LONGEST_LINE: usize = 65_536;

/// Room for one read; a pseudo-terminal hands over at most 4 KiB at once.
const ROOM: usize = 8192;

/// The form in which an answer is awaited.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    /// A line with its ending.
    Line,
    /// A definite-length block of at most so many bytes, then the ending.
    Block {
        /// The most bytes of data.
        longest: usize,
    },
}

/// How far an answer has come.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Progress {
    /// The whole answer, without ending or block header.
    Complete(Vec<u8>),
    /// More bytes are needed.
    Partial,
    /// This can never become an answer.
    Garbled,
    /// Longer than allowed.
    Overlong(usize),
}

/// Bytes received and not yet taken.
#[derive(Debug, Default)]
pub(super) struct Frames {
    bytes: Vec<u8>,
    filled: usize,
    searched: usize,
}

impl Frames {
    /// Room to read into; never empty.
    pub(super) fn room(&mut self) -> &mut [u8] {
        if self.bytes.len() - self.filled < ROOM {
            self.bytes.resize((self.filled + ROOM).next_power_of_two(), 0);
        }
        &mut self.bytes[self.filled..]
    }

    /// `count` bytes were read into the room.
    pub(super) fn received(&mut self, count: usize) {
        self.filled += count;
        assert!(self.filled <= self.bytes.len(), "read past the room");
    }

    /// What is there, for a log.
    pub(super) fn pending(&self) -> &[u8] {
        &self.bytes[..self.filled]
    }

    /// Forgets everything received.
    pub(super) fn clear(&mut self) {
        self.filled = 0;
        self.searched = 0;
    }

    /// Takes an answer in the wanted form, if it is complete.
    pub(super) fn take(&mut self, form: Form, ending: &[u8]) -> Progress {
        match form {
            Form::Line => self.take_line(ending),
            Form::Block { longest } => self.take_block(longest, ending),
        }
    }

    fn take_line(&mut self, ending: &[u8]) -> Progress {
        let from = self.searched.saturating_sub(ending.len().saturating_sub(1));
        let found = find(&self.bytes[from..self.filled], ending);
        match found {
            Some(at) => {
                let line = self.bytes[..from + at].to_vec();
                self.consume(from + at + ending.len());
                Progress::Complete(line)
            }
            None if self.filled > LONGEST_LINE => Progress::Overlong(LONGEST_LINE),
            None => {
                self.searched = self.filled;
                Progress::Partial
            }
        }
    }

    fn take_block(&mut self, longest: usize, ending: &[u8]) -> Progress {
        let bytes = &self.bytes[..self.filled];
        let digits = match bytes {
            [] | [b'#'] => return Progress::Partial,
            [b'#', digit @ b'1'..=b'9', ..] => usize::from(digit - b'0'),
            _ => return Progress::Garbled,
        };
        let Some(count) = bytes.get(2..2 + digits) else {
            return Progress::Partial;
        };
        if !count.iter().all(u8::is_ascii_digit) {
            return Progress::Garbled;
        }
        // At most nine digits: they fit.
        let length = count
            .iter()
            .fold(0_usize, |sum, digit| sum * 10 + usize::from(digit - b'0'));
        if length > longest {
            return Progress::Overlong(longest);
        }
        let start = 2 + digits;
        let end = start + length;
        if self.filled < end + ending.len() {
            self.bytes.reserve((end + ending.len()).saturating_sub(self.bytes.len()));
            return Progress::Partial;
        }
        if &self.bytes[end..end + ending.len()] != ending {
            return Progress::Garbled;
        }
        let data = self.bytes[start..end].to_vec();
        self.consume(end + ending.len());
        Progress::Complete(data)
    }

    fn consume(&mut self, count: usize) {
        self.bytes.copy_within(count..self.filled, 0);
        self.filled -= count;
        self.searched = 0;
    }
}

fn find(bytes: &[u8], wanted: &[u8]) -> Option<usize> {
    match wanted {
        [one] => bytes.iter().position(|byte| byte == one),
        _ => bytes.windows(wanted.len()).position(|w| w == wanted),
    }
}
