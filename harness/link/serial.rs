//! Serial ports and pseudo-terminals as wires. It opens them and tells a port
//! that is absent from one that is held by another program.

use super::fault::LinkError;
use super::settings::PortSettings;
use rustix::fs::{Mode, OFlags};
use std::io;
use std::os::fd::OwnedFd;
use std::pin::Pin;
use std::task::{Context, Poll};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio_serial::{SerialPortBuilderExt as _, SerialStream};

/// A handle to the port at `path` that somebody else can be given. Opened
/// before [`open`] marks the port as this program's: afterwards the system
/// refuses it to all but its own user, and on a pseudo-terminal even when this
/// program is gone.
pub(super) fn spare(path: &str) -> Option<OwnedFd> {
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
    rustix::fs::open(path, flags, Mode::empty()).ok()
}

/// Opens the port at `path` for this program alone.
pub(super) fn open(path: &str, settings: &PortSettings) -> Result<SerialWire, LinkError> {
    let port = settings.name.clone();
    let opened = tokio_serial::new(path, settings.speed)
        .dtr_on_open(settings.dtr)
        .open_native_async();
    match opened {
        Ok(stream) => Ok(SerialWire(stream)),
        Err(error) => Err(match error.kind() {
            // The library calls a port "no device" when another program holds
            // it, by EBUSY or by a lock; a missing file is an I/O error there.
            tokio_serial::ErrorKind::NoDevice => LinkError::Busy { port },
            tokio_serial::ErrorKind::Io(io::ErrorKind::NotFound) => LinkError::Absent { port },
            _ => {
                let why = error.to_string();
                LinkError::Unusable { port, why }
            }
        }),
    }
}

/// An open port. Its exclusive mark is taken off when it is dropped: on a
/// pseudo-terminal the mark would outlive this program.
#[derive(Debug)]
pub(super) struct SerialWire(SerialStream);

impl Drop for SerialWire {
    fn drop(&mut self) {
        // A port that is gone has no mark any more.
        drop(self.0.set_exclusive(false));
    }
}

impl AsyncRead for SerialWire {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_read(cx, buf)
    }
}

impl AsyncWrite for SerialWire {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.0).poll_write(cx, bytes)
    }

    /// Does nothing: the library's own would block the thread until the last
    /// bit has left the port.
    fn poll_flush(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    fn poll_shutdown(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
}
