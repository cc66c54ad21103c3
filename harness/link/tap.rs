//! A wire that tells what passes through another wire: to the log shortened, to a
//! trace whole, and to whoever listens. It changes nothing.

use super::Wire;
use super::settings::{Traffic, Way};
use crate::template;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

/// The target under which every byte is told, for a trace.
pub const TRAFFIC: &str = "bufferstop::traffic";

/// So many bytes of what passes stand in the log.
const SHOWN: usize = 80;

/// A wire whose traffic is told.
#[derive(Debug)]
pub struct Tap<W> {
    wire: W,
    name: String,
    traffic: Traffic,
}

impl<W: Wire> Tap<W> {
    /// Tells the traffic of `wire`, a port called `name`.
    pub fn new(wire: W, name: String, traffic: Traffic) -> Self {
        Self {
            wire,
            name,
            traffic,
        }
    }

    fn tell(&self, way: Way, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        if let Some(listener) = &self.traffic.listener {
            listener.hear(way, bytes);
        }
        let (role, port, way) = (&self.traffic.role, &self.name, way.word());
        if tracing::enabled!(target: TRAFFIC, tracing::Level::TRACE) {
            let whole = told(bytes);
            tracing::trace!(target: TRAFFIC, %role, %port, way, bytes = %whole);
        }
        if tracing::enabled!(tracing::Level::DEBUG) {
            tracing::debug!("{role} {port} {way}: {}", shortened(bytes));
        }
    }
}

/// Whether anybody wants to know what passes.
pub(super) fn wanted(traffic: &Traffic) -> bool {
    traffic.listener.is_some()
        || tracing::enabled!(tracing::Level::DEBUG)
        || tracing::enabled!(target: TRAFFIC, tracing::Level::TRACE)
}

/// Bytes as a text from which they can be had again by `template::unescaped`.
pub(super) fn told(bytes: &[u8]) -> String {
    let byte = |byte: &u8| match byte {
        b'\\' => "\\x5C".to_owned(),
        other => template::shown(&template::line_of(&[*other])),
    };
    bytes.iter().map(byte).collect()
}

/// Bytes for a person: the first of a block, and how many there were.
pub fn shortened(bytes: &[u8]) -> String {
    let first = &bytes[..bytes.len().min(SHOWN)];
    let shown = template::shown(&template::line_of(first));
    match bytes.len() {
        count if count > SHOWN => format!("{shown}... ({count} bytes)"),
        _ => shown,
    }
}

impl<W: Wire> AsyncRead for Tap<W> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buf.filled().len();
        let result = Pin::new(&mut self.wire).poll_read(cx, buf);
        if result.is_ready() {
            self.tell(Way::Received, &buf.filled()[before..]);
        }
        result
    }
}

impl<W: Wire> AsyncWrite for Tap<W> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let result = Pin::new(&mut self.wire).poll_write(cx, bytes);
        if let Poll::Ready(Ok(count)) = result {
            self.tell(Way::Sent, &bytes[..count]);
        }
        result
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.wire).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.wire).poll_shutdown(cx)
    }
}
