//! How a port is used: its speed, its endings, the bounds on every exchange and
//! what a line does. It opens nothing.

use crate::checksum::LineCheck;
use crate::profile;
use crate::protocol::{self, Expect};
use crate::template;
use regex_lite::Regex;
use std::fmt;
use std::sync::Arc;
use std::time::Duration;

/// The most bytes one answer may have, block head and ending included.
pub const LONGEST_REPLY: usize = 1 << 24;

/// Whether sending a line twice does something twice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effect {
    /// It changes the instrument or the board.
    Acts,
    /// It only asks.
    Asks,
}

/// Wall-time bounds on every exchange.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Deadlines {
    /// For the port to take a line.
    pub write: Duration,
    /// For a complete answer, beside what a block's bytes take on the line.
    pub reply: Duration,
    /// No byte for so long means that nothing more comes.
    pub quiet: Duration,
}

impl Deadlines {
    /// For instruments on real ports.
    pub const REAL: Self = Self {
        write: Duration::from_secs(2),
        reply: Duration::from_secs(3),
        quiet: Duration::from_millis(50),
    };

    /// For a person, who walks to what is to be done and reads what is asked for.
    pub const PERSON: Self = Self {
        write: Duration::from_secs(2),
        reply: Duration::from_secs(120),
        quiet: Duration::from_millis(2),
    };

    /// For model instruments, which think before they answer and whose
    /// silence would be a bug: generous.
    pub const MODEL: Self = Self {
        write: Duration::from_secs(20),
        reply: Duration::from_secs(120),
        quiet: Duration::from_millis(2),
    };
}

/// What an instrument does on its line beside answering.
#[derive(Clone, Debug, Default)]
pub struct Habits {
    /// It says each line back before it answers.
    pub echo: bool,
    /// What it sends when it is ready for the next line; empty for nothing.
    pub prompt: Vec<u8>,
    /// The checksum behind each line, both ways.
    pub check: Option<LineCheck>,
    /// The least time between the end of one exchange and the next line.
    pub gap: Duration,
}

/// Which way bytes went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// To the instrument.
    Sent,
    /// From the instrument.
    Received,
}

impl Way {
    /// The word for it in a trace.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Sent => "sent",
            Self::Received => "received",
        }
    }
}

type Hear = dyn Fn(Way, &[u8]) + Send + Sync;

/// Somebody who hears what passes over a wire.
#[derive(Clone)]
pub struct Listener(Arc<Hear>);

impl Listener {
    /// Calls `hear` with all that passes.
    pub fn new(hear: impl Fn(Way, &[u8]) + Send + Sync + 'static) -> Self {
        Self(Arc::new(hear))
    }

    pub(super) fn hear(&self, way: Way, bytes: &[u8]) {
        (self.0)(way, bytes);
    }
}

impl fmt::Debug for Listener {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Listener")
    }
}

/// Whose traffic passes, and who hears it beside log and trace.
#[derive(Clone, Debug, Default)]
pub struct Traffic {
    /// What the instrument is on the bench.
    pub role: String,
    /// Who hears it.
    pub listener: Option<Listener>,
}

/// How a port is used.
#[derive(Clone, Debug)]
pub struct PortSettings {
    /// Its name in messages, usually the path.
    pub name: String,
    /// Bits a second.
    pub speed: u32,
    /// The most bytes that are read at once where whole messages come.
    pub message_size: usize,
    /// Bytes that stand between a block and what ends it, such as its checksum.
    pub block_tail: usize,
    /// What ends a line, both ways; nothing where every answer's length is known.
    pub ending: String,
    /// What the instrument does beside answering.
    pub habits: Habits,
    /// Whose traffic it is.
    pub traffic: Traffic,
    /// What the data-terminal-ready line should be.
    pub dtr: bool,
    /// Bounds on every exchange.
    pub deadlines: Deadlines,
    /// Bytes that make the instrument drop a half-received line.
    pub abandon: String,
    /// The question that shows, after trouble, that both ends are in step;
    /// without one nothing but silence does.
    pub probe: Option<Probe>,
}

/// A question whose answer cannot be taken for that to another question.
#[derive(Clone, Debug)]
pub enum Probe {
    /// The error queue: a number and a quoted text.
    ErrorQueue {
        /// The line that asks for it.
        line: String,
    },
    /// Who the instrument is.
    Identity {
        /// The line that asks for it.
        line: String,
        /// What the answer matches.
        pattern: Regex,
        /// The form in which it comes.
        expect: Expect,
    },
}

impl PortSettings {
    /// The bytes of `line` as they go out: with its checksum and its ending.
    pub fn bytes_of(&self, line: &str) -> Vec<u8> {
        profile::line_bytes(line, self.habits.check.as_ref(), &self.ending)
    }
}

impl Probe {
    /// The line that asks.
    pub fn line(&self) -> &str {
        match self {
            Self::ErrorQueue { line } | Self::Identity { line, .. } => line,
        }
    }

    /// The form in which its answer comes.
    pub fn expect(&self) -> Expect {
        match self {
            Self::ErrorQueue { .. } => Expect::Line,
            Self::Identity { expect, .. } => *expect,
        }
    }

    /// Whether `answer` is one to this question.
    pub fn answered_by(&self, answer: &[u8]) -> bool {
        match self {
            Self::ErrorQueue { .. } => protocol::error_entry(answer).is_ok(),
            Self::Identity {
                pattern,
                expect: Expect::Bytes(_),
                ..
            } => pattern.is_match(&template::line_of(answer)),
            Self::Identity { pattern, .. } => {
                std::str::from_utf8(answer).is_ok_and(|text| pattern.is_match(text))
            }
        }
    }
}
