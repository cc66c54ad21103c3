//! A wire that logs what passes through another wire, at trace level. It
//! changes nothing.

use super::Wire;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

/// A wire with its traffic in the log.
#[derive(Debug)]
pub struct Tap<W> {
    wire: W,
    name: String,
}

impl<W: Wire> Tap<W> {
    /// Logs the traffic of `wire` under `name`.
    pub fn new(wire: W, name: String) -> Self {
        Self { wire, name }
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
            let bytes = &buf.filled()[before..];
            tracing::trace!(port = %self.name, received = %bytes.escape_ascii());
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
            tracing::trace!(port = %self.name, sent = %bytes[..count].escape_ascii());
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
