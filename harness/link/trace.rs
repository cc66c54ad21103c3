//! A trace of what passed over the wires: lines of JSON, each with its time, role,
//! way and bytes; and an instrument that answers again as a trace says. It opens no
//! file.

use super::settings::Way;
use super::tap::told;
use crate::template;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, Waker};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

/// One line of a trace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Passed {
    /// Seconds since the trace was begun.
    pub at: f64,
    /// What the instrument is on the bench.
    pub role: String,
    /// Its port.
    pub port: String,
    /// `sent` or `received`.
    pub way: String,
    /// The bytes; what is no printable ASCII as `\x0A`.
    pub bytes: String,
}

impl Passed {
    /// A line for bytes that passed.
    pub fn new(at: f64, role: &str, port: &str, way: Way, bytes: &[u8]) -> Self {
        Self {
            at,
            role: role.to_owned(),
            port: port.to_owned(),
            way: way.word().to_owned(),
            bytes: told(bytes),
        }
    }
}

/// What is wrong with a trace.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line} is no line of a trace: {why}")]
pub struct TraceFault {
    /// The line, from one.
    pub line: usize,
    /// What is wrong.
    pub why: String,
}

/// What one instrument heard and said, in its order.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace(Vec<Passed>);

impl Trace {
    /// Reads a trace.
    ///
    /// # Errors
    /// The first line that is none.
    pub fn parse(text: &str) -> Result<Self, TraceFault> {
        let lines = text.lines().enumerate();
        let read = lines.map(|(index, line)| {
            let fault = |why: String| TraceFault {
                line: index + 1,
                why,
            };
            let passed: Passed =
                serde_json::from_str(line).map_err(|error| fault(error.to_string()))?;
            match passed.way.as_str() {
                "sent" | "received" => Ok(passed),
                other => Err(fault(format!("`{other}` is neither `sent` nor `received`"))),
            }
        });
        read.collect::<Result<_, _>>().map(Self)
    }

    /// The roles in it, each once.
    pub fn roles(&self) -> Vec<&str> {
        let mut roles: Vec<&str> = self.0.iter().map(|passed| passed.role.as_str()).collect();
        roles.sort_unstable();
        roles.dedup();
        roles
    }

    /// An instrument that says again what the one in `role` said.
    pub fn replay(&self, role: &str) -> Replay {
        let mut turns: VecDeque<Turn> = VecDeque::new();
        for passed in self.0.iter().filter(|passed| passed.role == role) {
            let bytes = template::bytes(&template::unescaped(&passed.bytes));
            let answers = passed.way == "received";
            let begins = match turns.back() {
                None => true,
                Some(turn) => !answers && !turn.said.is_empty(),
            };
            if begins {
                turns.push_back(Turn::default());
            }
            if let Some(turn) = turns.back_mut() {
                let own = if answers {
                    &mut turn.said
                } else {
                    &mut turn.heard
                };
                own.extend(bytes);
            }
        }
        Replay {
            turns,
            saying: VecDeque::new(),
            reader: None,
        }
    }
}

/// What is heard, and what is said then.
#[derive(Clone, Debug, Default)]
struct Turn {
    heard: VecDeque<u8>,
    said: VecDeque<u8>,
}

/// A wire to an instrument that answers as a trace says; what it does not hear as
/// the trace has it is an error of the wire.
#[derive(Debug)]
pub struct Replay {
    turns: VecDeque<Turn>,
    saying: VecDeque<u8>,
    reader: Option<Waker>,
}

impl Replay {
    fn hear(&mut self, byte: u8) -> io::Result<()> {
        let turn = self.turns.front_mut();
        let expected = turn.and_then(|turn| turn.heard.pop_front());
        if expected != Some(byte) {
            let expected = expected.map_or("nothing more".to_owned(), |byte| told(&[byte]));
            let why = format!("the trace has {expected} where '{}' came", told(&[byte]));
            return Err(io::Error::new(io::ErrorKind::InvalidData, why));
        }
        while self.turns.front().is_some_and(|turn| turn.heard.is_empty()) {
            if let Some(turn) = self.turns.pop_front() {
                self.saying.extend(turn.said);
            }
        }
        Ok(())
    }
}

impl AsyncRead for Replay {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        if self.saying.is_empty() {
            self.reader = Some(cx.waker().clone());
            return Poll::Pending;
        }
        let count = self.saying.len().min(buf.remaining());
        let bytes: Vec<u8> = self.saying.drain(..count).collect();
        buf.put_slice(&bytes);
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for Replay {
    fn poll_write(
        mut self: Pin<&mut Self>,
        _: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        for byte in bytes {
            self.hear(*byte)?;
        }
        if let (false, Some(reader)) = (self.saying.is_empty(), self.reader.take()) {
            reader.wake();
        }
        Poll::Ready(Ok(bytes.len()))
    }

    fn poll_flush(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    fn poll_shutdown(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
}
