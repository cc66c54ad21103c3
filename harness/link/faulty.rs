//! A wire that spoils some answers of another wire, by a list or by a seed,
//! so that every kind of trouble can be had on order. It spoils no request.

use super::Wire;
use crate::seed::{Seed, Stream};
use std::collections::VecDeque;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::Sleep;

/// What happens to one answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mishap {
    /// It never arrives.
    Drop,
    /// One of its bits arrives flipped.
    Garble,
    /// Only its first half arrives.
    Cut,
    /// It arrives so much later.
    Stall(Duration),
    /// The port is gone instead.
    HangUp,
}

/// Which answers are spoiled.
#[derive(Clone, Debug)]
pub enum Mishaps {
    /// The first answer by the first entry, and so on; none after the list.
    Listed(VecDeque<Option<Mishap>>),
    /// Each answer with the given probability, by an even choice of drop,
    /// garble and cut.
    Seeded {
        /// Where chance comes from.
        chance: Stream,
        /// Between 0 and 1.
        probability: f64,
    },
}

impl Mishaps {
    /// Spoils the answers in the order of `list`.
    pub fn listed(list: impl IntoIterator<Item = Option<Mishap>>) -> Self {
        Self::Listed(list.into_iter().collect())
    }

    /// Spoils answers by chance.
    pub fn seeded(seed: Seed, probability: f64) -> Self {
        let chance = seed.stream(&[0x6c69_6e6b]);
        Self::Seeded {
            chance,
            probability,
        }
    }

    fn next(&mut self) -> Option<Mishap> {
        match self {
            Self::Listed(list) => list.pop_front().flatten(),
            Self::Seeded {
                chance,
                probability,
            } => {
                let kinds = [Mishap::Drop, Mishap::Garble, Mishap::Cut];
                let spoiled = chance.uniform() < *probability;
                let kind = kinds[(chance.next_u64() % 3) as usize];
                spoiled.then_some(kind)
            }
        }
    }
}

/// A wire with trouble.
#[derive(Debug)]
pub struct Faulty<W> {
    wire: W,
    mishaps: Mishaps,
    state: State,
}

#[derive(Debug)]
enum State {
    /// Nothing of the answer to the last request has come.
    Fresh,
    /// The answer passes.
    Passing,
    /// The rest of the answer is thrown away.
    Swallowing,
    /// Bytes held back until the time is over.
    Holding(Vec<u8>, Pin<Box<Sleep>>),
    /// The port is gone.
    HungUp,
}

impl<W: Wire> Faulty<W> {
    /// Spoils answers of `wire`.
    pub fn new(wire: W, mishaps: Mishaps) -> Self {
        Self {
            wire,
            mishaps,
            state: State::Fresh,
        }
    }

    fn spoil(&mut self, mut bytes: Vec<u8>, buf: &mut ReadBuf<'_>) {
        match self.mishaps.next() {
            None => self.state = State::Passing,
            Some(Mishap::Garble) => {
                bytes[0] ^= 0x80;
                self.state = State::Passing;
            }
            Some(Mishap::Drop) => {
                bytes.clear();
                self.state = State::Swallowing;
            }
            Some(Mishap::Cut) => {
                bytes.truncate(bytes.len() / 2);
                self.state = State::Swallowing;
            }
            Some(Mishap::Stall(time)) => {
                let sleep = Box::pin(tokio::time::sleep(time));
                self.state = State::Holding(std::mem::take(&mut bytes), sleep);
            }
            Some(Mishap::HangUp) => {
                bytes.clear();
                self.state = State::HungUp;
            }
        }
        buf.put_slice(&bytes);
    }
}

impl<W: Wire> AsyncRead for Faulty<W> {
    fn poll_read(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let this = self.get_mut();
        loop {
            match &mut this.state {
                State::HungUp => return Poll::Ready(Ok(())),
                State::Passing => return Pin::new(&mut this.wire).poll_read(cx, buf),
                State::Holding(bytes, sleep) => {
                    ready!(sleep.as_mut().poll(cx));
                    buf.put_slice(bytes);
                    this.state = State::Passing;
                    return Poll::Ready(Ok(()));
                }
                State::Fresh | State::Swallowing => {}
            }
            let before = buf.filled().len();
            ready!(Pin::new(&mut this.wire).poll_read(cx, buf))?;
            let bytes = buf.filled()[before..].to_vec();
            if bytes.is_empty() {
                return Poll::Ready(Ok(()));
            }
            buf.set_filled(before);
            if matches!(this.state, State::Fresh) {
                this.spoil(bytes, buf);
                if buf.filled().len() > before {
                    return Poll::Ready(Ok(()));
                }
            }
        }
    }
}

impl<W: Wire> AsyncWrite for Faulty<W> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        // A new request; an answer still held back stays held back.
        if matches!(self.state, State::Passing | State::Swallowing) {
            self.state = State::Fresh;
        }
        Pin::new(&mut self.wire).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.wire).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.wire).poll_shutdown(cx)
    }
}
