//! Instruments that take and give whole messages: one write is a message, one read
//! is one, as over the kernel's character device for USB test and measurement, or
//! over a local socket of sequenced packets. It cuts nothing into lines.
//!
//! The device asks the instrument for an answer when it is read, and waits for it in
//! the kernel, where nothing else gets through. So it is read by a thread of the
//! port's own, and only while an answer is due.

use super::fault::LinkError;
use super::settings::PortSettings;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{FileType, FlockOperation, Mode, OFlags};
use rustix::io::Errno;
use rustix::net::{AddressFamily, SocketAddrUnix, SocketFlags, SocketType};
use std::collections::VecDeque;
use std::io;
use std::os::fd::OwnedFd;
use std::path::Path;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::task::{Context, Poll, ready};
use std::time::{Duration, Instant};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::mpsc;

/// How often a thread that waits for a socket looks whether anybody still waits
/// with it.
const LOOKS_EVERY: Timespec = Timespec {
    tv_sec: 0,
    tv_nsec: 20_000_000,
};

/// Whether an answer is due: said by who asks, read by who would wait for it.
pub(super) type Due = Arc<AtomicBool>;

/// Opens what is at `path` for this program alone.
pub(super) fn open(path: &str, settings: &PortSettings) -> Result<OwnedFd, LinkError> {
    let port = settings.name.clone();
    let unusable = |why: &str| LinkError::Unusable {
        port: port.clone(),
        why: why.to_owned(),
    };
    let refused = |error: Errno| match error {
        Errno::NOENT | Errno::NXIO | Errno::NODEV | Errno::CONNREFUSED => {
            LinkError::Absent { port: port.clone() }
        }
        Errno::BUSY | Errno::WOULDBLOCK => LinkError::Busy { port: port.clone() },
        other => unusable(&io::Error::from(other).to_string()),
    };
    let kind = rustix::fs::stat(path).map_err(refused)?.st_mode;
    match FileType::from_raw_mode(kind) {
        FileType::Socket => connect(Path::new(path)).map_err(refused),
        FileType::CharacterDevice => {
            let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
            let device = rustix::fs::open(path, flags, Mode::empty()).map_err(refused)?;
            if rustix::termios::isatty(&device) {
                return Err(unusable("it is a serial line, which `path` names"));
            }
            let lock = FlockOperation::NonBlockingLockExclusive;
            rustix::fs::flock(&device, lock).map_err(refused)?;
            Ok(device)
        }
        _ => Err(unusable("it is neither a character device nor a socket")),
    }
}

fn connect(path: &Path) -> rustix::io::Result<OwnedFd> {
    let flags = SocketFlags::NONBLOCK | SocketFlags::CLOEXEC;
    let kind = SocketType::SEQPACKET;
    let socket = rustix::net::socket_with(AddressFamily::UNIX, kind, flags, None)?;
    rustix::net::connect(&socket, &SocketAddrUnix::new(path)?)?;
    Ok(socket)
}

/// What the thread does next.
enum Order {
    /// Writes one message.
    Write(Vec<u8>),
    /// Reads one message, or as much of it as is read at once.
    Read,
}

/// What came of it.
enum Outcome {
    Written(io::Result<()>),
    /// Nothing where nobody waits for it any more.
    Read(io::Result<Option<Vec<u8>>>),
}

/// What the thread was told last.
enum Doing {
    Nothing,
    Reading,
    /// This message.
    Writing(Vec<u8>),
}

/// An open device or socket as a wire.
pub(super) struct MessageWire {
    file: Arc<OwnedFd>,
    due: Due,
    orders: SyncSender<Order>,
    outcomes: mpsc::Receiver<Outcome>,
    doing: Doing,
    came: VecDeque<u8>,
    /// The end of a message ends a line, whether the instrument says so or not.
    ending: Vec<u8>,
    /// The most that is read at once.
    size: usize,
}

impl MessageWire {
    /// Takes over `file`, which must never block where it can be waited for.
    ///
    /// # Errors
    /// When no thread can be started.
    pub(super) fn over(file: OwnedFd, settings: &PortSettings) -> io::Result<(Self, Due)> {
        let file = Arc::new(file);
        let due = Due::default();
        let (orders, told) = sync_channel(1);
        let (tell, outcomes) = mpsc::channel(1);
        let size = settings.message_size;
        let thread = Thread {
            file: Arc::clone(&file),
            due: Arc::clone(&due),
            size,
            patience: settings.deadlines.write,
        };
        std::thread::Builder::new()
            .name("messages".to_owned())
            .spawn(move || thread.serve(&told, &tell))?;
        let wire = Self {
            file,
            due: Arc::clone(&due),
            orders,
            outcomes,
            doing: Doing::Nothing,
            came: VecDeque::new(),
            ending: settings.ending.as_bytes().to_vec(),
            size,
        };
        Ok((wire, due))
    }

    fn tell(&mut self, order: Order) -> io::Result<()> {
        // It has room: the thread is told nothing new before it is done.
        let told = self.orders.try_send(order);
        told.map_err(|_| io::ErrorKind::BrokenPipe.into())
    }

    /// Waits for what the thread was told, and keeps what came.
    fn poll_done(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let outcome = ready!(self.outcomes.poll_recv(cx));
        self.doing = Doing::Nothing;
        Poll::Ready(match outcome {
            None => Err(io::ErrorKind::BrokenPipe.into()),
            Some(Outcome::Written(result)) => result,
            Some(Outcome::Read(Ok(None))) => Ok(()),
            // The far end is gone.
            Some(Outcome::Read(Ok(Some(message)))) if message.is_empty() => {
                Err(io::ErrorKind::UnexpectedEof.into())
            }
            Some(Outcome::Read(Ok(Some(message)))) => {
                self.came.extend(&message);
                // As much as is read at once may be followed by more of it. Whether
                // the last byte is a block's or ends a line cannot be seen here.
                if message.len() < self.size {
                    self.came.extend(&self.ending);
                }
                Ok(())
            }
            Some(Outcome::Read(Err(error))) => Err(error),
        })
    }
}

impl AsyncRead for MessageWire {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        while self.came.is_empty() {
            if let Doing::Nothing = self.doing {
                if !self.due.load(Ordering::Acquire) {
                    // An instrument that was asked nothing would take this for an
                    // error, and nobody is woken by what does not come.
                    return Poll::Pending;
                }
                self.tell(Order::Read)?;
                self.doing = Doing::Reading;
            }
            ready!(self.poll_done(cx))?;
        }
        let count = self.came.len().min(buf.remaining());
        let bytes: Vec<u8> = self.came.drain(..count).collect();
        buf.put_slice(&bytes);
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for MessageWire {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        loop {
            match &self.doing {
                Doing::Nothing => {
                    self.tell(Order::Write(bytes.to_vec()))?;
                    self.doing = Doing::Writing(bytes.to_vec());
                }
                // The same call again.
                Doing::Writing(message) if message == bytes => {
                    ready!(self.poll_done(cx))?;
                    return Poll::Ready(Ok(bytes.len()));
                }
                // An answer or a message that somebody has given up.
                Doing::Writing(_) | Doing::Reading => ready!(self.poll_done(cx))?,
            }
        }
    }

    fn poll_flush(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    fn poll_shutdown(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
}

/// The port is free at once, also while the thread waits for an answer yet.
impl Drop for MessageWire {
    fn drop(&mut self) {
        self.due.store(false, Ordering::Release);
        // A socket has no lock, and a device that is gone none any more.
        let _ = rustix::fs::flock(&*self.file, FlockOperation::Unlock);
    }
}

/// What the thread works with.
struct Thread {
    file: Arc<OwnedFd>,
    due: Due,
    size: usize,
    /// For a message to be taken.
    patience: Duration,
}

impl Thread {
    /// One order after the other, until nobody gives any.
    fn serve(&self, orders: &Receiver<Order>, tell: &mpsc::Sender<Outcome>) {
        let mut room = vec![0; self.size];
        while let Ok(order) = orders.recv() {
            let outcome = match order {
                Order::Write(message) => Outcome::Written(self.write(&message)),
                Order::Read => Outcome::Read(self.read(&mut room)),
            };
            if tell.blocking_send(outcome).is_err() {
                return;
            }
        }
    }

    /// One message whole: the rest of one that was taken in part would be another.
    fn write(&self, message: &[u8]) -> io::Result<()> {
        let begun = Instant::now();
        loop {
            match rustix::io::write(&*self.file, message) {
                Ok(count) if count == message.len() => return Ok(()),
                Ok(_) => return Err(io::ErrorKind::WriteZero.into()),
                Err(Errno::INTR) => {}
                Err(Errno::WOULDBLOCK) if begun.elapsed() < self.patience => {
                    self.wait(PollFlags::OUT)?;
                }
                Err(error) => return Err(error.into()),
            }
        }
    }

    /// One message while it is waited for. Where the device's own patience is over
    /// it is asked again: whose answer is due says when that is enough.
    fn read(&self, room: &mut [u8]) -> io::Result<Option<Vec<u8>>> {
        while self.due.load(Ordering::Acquire) {
            match rustix::io::read(&*self.file, &mut *room) {
                Ok(count) => return Ok(Some(room[..count].to_vec())),
                Err(Errno::INTR | Errno::TIMEDOUT) => {}
                Err(Errno::WOULDBLOCK) => self.wait(PollFlags::IN)?,
                Err(error) => return Err(error.into()),
            }
        }
        Ok(None)
    }

    fn wait(&self, flags: PollFlags) -> io::Result<()> {
        match poll(&mut [PollFd::new(&*self.file, flags)], Some(&LOOKS_EVERY)) {
            Ok(_) | Err(Errno::INTR) => Ok(()),
            Err(error) => Err(error.into()),
        }
    }
}
