//! Bytes as they trickle in, cut into whole replies: lines, definite-length
//! blocks and bytes by number. It waits for nothing and drops nothing by itself; after a fault the
//! link discards until the line is quiet and calls [`Framer::reset`].

/// So many bytes of what came are shown in a message.
const SHOWN: usize = 40;

/// What the host is waiting for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Expect {
    /// A line up to its ending.
    Line,
    /// So many lines, as a table has them.
    Lines(usize),
    /// A definite-length block and then the ending.
    Block,
    /// So many bytes, whatever they are, and nothing behind them.
    Bytes(usize),
}

/// A whole reply, its ending and a block's head taken off.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reply {
    /// A line.
    Line(Vec<u8>),
    /// Lines with what ends them, but for the last one's ending.
    Lines(Vec<u8>),
    /// A block's data.
    Block(Vec<u8>),
    /// Bytes by number.
    Bytes(Vec<u8>),
}

impl Reply {
    /// The bytes of any.
    pub fn into_bytes(self) -> Vec<u8> {
        match self {
            Self::Line(bytes) | Self::Lines(bytes) | Self::Block(bytes) | Self::Bytes(bytes) => {
                bytes
            }
        }
    }
}

/// Why the bytes that came are no reply. The line is out of step then: only a
/// [`Framer::reset`] helps.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FrameFault {
    /// More bytes than a reply may have.
    #[error("the reply is longer than {limit} bytes")]
    TooLong {
        /// The most a reply may have.
        limit: usize,
    },
    /// A block was due and something else came.
    #[error("expected a block, the instrument answered '{shown}'")]
    NotABlock {
        /// What came, escaped and cut.
        shown: String,
    },
    /// A block without the line's ending behind it.
    #[error("the block is not followed by the line's ending")]
    NoEnding,
    /// A line was due from an instrument that ends none.
    #[error("nothing ends a line here, so no line can come")]
    Endless,
}

/// Cuts a stream of bytes into replies.
///
/// ```
/// use bufferstop::protocol::{Expect, Framer, Reply};
/// let mut framer = Framer::new(b"\n", 1000);
/// framer.expect(Expect::Block);
/// framer.push(b"#15HEL").unwrap();
/// assert_eq!(framer.poll(), Ok(None));
/// framer.push(b"LO\n").unwrap();
/// assert_eq!(framer.poll(), Ok(Some(Reply::Block(b"HELLO".to_vec()))));
/// ```
#[derive(Clone, Debug)]
pub struct Framer {
    ending: Vec<u8>,
    limit: usize,
    expect: Expect,
    buffer: Vec<u8>,
    /// Bytes of the buffer whose endings are counted, and how many there are.
    searched: usize,
    found: usize,
    /// Bytes that stand between a block and the ending, a checksum say.
    tail: usize,
    fault: Option<FrameFault>,
}

impl Framer {
    /// A framer for lines that end in `ending`, replies of `limit` bytes at
    /// most, head and ending included. Without an ending there are no lines.
    pub fn new(ending: &[u8], limit: usize) -> Self {
        Self {
            ending: ending.to_vec(),
            limit: limit.max(ending.len() + 1),
            expect: Expect::Line,
            buffer: Vec::new(),
            searched: 0,
            found: 0,
            tail: 0,
            fault: None,
        }
    }

    /// The same where `tail` bytes stand behind each block; they are handed over with
    /// its data.
    #[must_use]
    pub fn with_tail(self, tail: usize) -> Self {
        Self { tail, ..self }
    }

    /// Says what the next reply is.
    pub fn expect(&mut self, expect: Expect) {
        self.expect = expect;
        self.begin_search();
    }

    /// Takes in bytes.
    ///
    /// # Errors
    /// When they would exceed the limit, and after any earlier fault; the
    /// bytes are dropped then.
    pub fn push(&mut self, bytes: &[u8]) -> Result<(), FrameFault> {
        if let Some(fault) = &self.fault {
            return Err(fault.clone());
        }
        if self.buffer.len() + bytes.len() > self.limit {
            return Err(self.fail(FrameFault::TooLong { limit: self.limit }));
        }
        self.buffer.extend_from_slice(bytes);
        Ok(())
    }

    /// The next whole reply, or `None` until more bytes came.
    ///
    /// # Errors
    /// When what came cannot become a reply; the same again until the reset.
    pub fn poll(&mut self) -> Result<Option<Reply>, FrameFault> {
        if let Some(fault) = &self.fault {
            return Err(fault.clone());
        }
        match self.expect {
            Expect::Line | Expect::Lines(_) if self.ending.is_empty() => {
                Err(self.fail(FrameFault::Endless))
            }
            Expect::Line => Ok(self.poll_lines(1).map(Reply::Line)),
            Expect::Lines(count) => Ok(self.poll_lines(count).map(Reply::Lines)),
            Expect::Bytes(count) => self.poll_bytes(count).map_err(|fault| self.fail(fault)),
            Expect::Block => self.poll_block().map_err(|fault| self.fail(fault)),
        }
    }

    /// Forgets all bytes and faults; what is expected stays.
    pub fn reset(&mut self) {
        self.buffer.clear();
        self.begin_search();
        self.fault = None;
    }

    /// How many bytes wait for the rest of their reply.
    pub fn pending(&self) -> usize {
        self.buffer.len()
    }

    fn fail(&mut self, fault: FrameFault) -> FrameFault {
        self.buffer.clear();
        self.begin_search();
        self.fault = Some(fault.clone());
        fault
    }

    /// `count` lines as they came, without the last one's ending.
    fn poll_lines(&mut self, count: usize) -> Option<Vec<u8>> {
        let ending = self.ending.as_slice();
        let mut end = 0;
        while self.found < count.max(1) {
            let found = self.buffer[self.searched..]
                .windows(ending.len())
                .position(|window| window == ending);
            let Some(at) = found.map(|at| self.searched + at) else {
                // The ending may have begun in the last bytes.
                let begun = (self.buffer.len() + 1).saturating_sub(ending.len());
                self.searched = self.searched.max(begun);
                return None;
            };
            end = at;
            self.searched = at + ending.len();
            self.found += 1;
        }
        let lines = self.buffer[..end].to_vec();
        self.buffer.drain(..end + ending.len());
        self.begin_search();
        Some(lines)
    }

    fn begin_search(&mut self) {
        self.searched = 0;
        self.found = 0;
    }

    fn poll_bytes(&mut self, count: usize) -> Result<Option<Reply>, FrameFault> {
        if count > self.limit {
            return Err(FrameFault::TooLong { limit: self.limit });
        }
        if self.buffer.len() < count {
            return Ok(None);
        }
        self.begin_search();
        Ok(Some(Reply::Bytes(self.buffer.drain(..count).collect())))
    }

    /// The first bytes that wait, for a message.
    pub fn shown(&self) -> String {
        let shown = &self.buffer[..self.buffer.len().min(SHOWN)];
        shown.escape_ascii().to_string()
    }

    fn poll_block(&mut self) -> Result<Option<Reply>, FrameFault> {
        let Some((start, length)) = self.block_head()? else {
            return Ok(None);
        };
        let end = start.saturating_add(length).saturating_add(self.tail);
        let whole = end.saturating_add(self.ending.len());
        if whole > self.limit {
            return Err(FrameFault::TooLong { limit: self.limit });
        }
        if self.buffer.len() < whole {
            return Ok(None);
        }
        if self.buffer[end..whole] != self.ending {
            return Err(FrameFault::NoEnding);
        }
        let data = self.buffer[start..end].to_vec();
        self.buffer.drain(..whole);
        Ok(Some(Reply::Block(data)))
    }

    /// Start and length of the data, once the whole head is there.
    fn block_head(&self) -> Result<Option<(usize, usize)>, FrameFault> {
        let wrong = || {
            Err(FrameFault::NotABlock {
                shown: self.shown(),
            })
        };
        let digits = match self.buffer.as_slice() {
            [] | [b'#'] => return Ok(None),
            [b'#', digit @ b'1'..=b'9', ..] => usize::from(digit - b'0'),
            _ => return wrong(),
        };
        let head = &self.buffer[2..self.buffer.len().min(2 + digits)];
        if !head.iter().all(u8::is_ascii_digit) {
            return wrong();
        }
        if head.len() < digits {
            return Ok(None);
        }
        let length = head.iter().fold(0, |n, b| n * 10 + usize::from(b - b'0'));
        Ok(Some((2 + digits, length)))
    }
}
