//! A connection whose other end must take what it is sent within a time: one that
//! takes nothing is dropped, so that no page can keep memory or a place. It knows
//! nothing of what is sent.

use std::future::Future as _;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep, sleep};

/// A stream that fails once it took nothing for so long.
pub(super) struct Patient<S> {
    stream: S,
    patience: Duration,
    /// When it is over, while something waits to be taken.
    over: Pin<Box<Sleep>>,
    waits: bool,
}

impl<S> Patient<S> {
    pub(super) fn new(stream: S, patience: Duration) -> Self {
        Self {
            stream,
            patience,
            over: Box::pin(sleep(patience)),
            waits: false,
        }
    }

    /// What comes of an attempt to write.
    fn judged<T>(
        &mut self,
        context: &mut Context<'_>,
        tried: Poll<io::Result<T>>,
    ) -> Poll<io::Result<T>> {
        if tried.is_ready() {
            self.waits = false;
            return tried;
        }
        if !self.waits {
            self.waits = true;
            let over = Instant::now() + self.patience;
            self.over.as_mut().reset(over);
        }
        match self.over.as_mut().poll(context) {
            Poll::Ready(()) => Poll::Ready(Err(io::ErrorKind::TimedOut.into())),
            Poll::Pending => Poll::Pending,
        }
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Patient<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(context, into)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Patient<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let tried = Pin::new(&mut self.stream).poll_write(context, bytes);
        self.judged(context, tried)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let tried = Pin::new(&mut self.stream).poll_flush(context);
        self.judged(context, tried)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let tried = Pin::new(&mut self.stream).poll_shutdown(context);
        self.judged(context, tried)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};

    #[tokio::test(start_paused = true)]
    async fn an_end_that_takes_nothing_is_dropped_and_a_slow_one_is_not() {
        let patience = Duration::from_secs(20);
        let (near, mut far) = tokio::io::duplex(4);
        let mut near = Patient::new(near, patience);
        let slow = tokio::spawn(async move {
            let mut byte = [0; 1];
            for _ in 0..8 {
                tokio::time::sleep(patience / 2).await;
                far.read_exact(&mut byte).await.expect("a byte");
            }
            far
        });
        near.write_all(b"12345678").await.expect("it is taken");
        let _far = slow.await.expect("it read");
        let fault = near.write_all(b"12345678").await.expect_err("nobody reads");
        assert_eq!(fault.kind(), io::ErrorKind::TimedOut);
    }
}
