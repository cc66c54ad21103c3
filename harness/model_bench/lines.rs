//! Bytes from a client cut into lines. A line that is too long is dropped to
//! its end, as an instrument with a small buffer would.

/// The longest line an instrument takes.
const LONGEST_LINE: usize = 65_536;

/// What has come and is not yet a line.
#[derive(Debug, Default)]
pub(super) struct Lines {
    bytes: Vec<u8>,
    start: usize,
    overlong: bool,
}

impl Lines {
    /// Takes in bytes.
    pub(super) fn push(&mut self, bytes: &[u8]) {
        if self.start > 0 {
            self.bytes.drain(..self.start);
            self.start = 0;
        }
        self.bytes.extend_from_slice(bytes);
    }

    /// The next whole line, without its ending. A carriage return before the
    /// new line is white space (IEEE 488.2 clause 7.4.1).
    pub(super) fn next(&mut self) -> Option<&[u8]> {
        loop {
            let rest = &self.bytes[self.start..];
            let Some(length) = rest.iter().position(|&byte| byte == b'\n') else {
                if rest.len() > LONGEST_LINE {
                    self.start = self.bytes.len();
                    self.overlong = true;
                }
                return None;
            };
            let from = self.start;
            self.start += length + 1;
            let overlong = std::mem::take(&mut self.overlong) || length > LONGEST_LINE;
            if !overlong {
                let line = &self.bytes[from..from + length];
                return Some(line.strip_suffix(b"\r").unwrap_or(line));
            }
        }
    }
}
