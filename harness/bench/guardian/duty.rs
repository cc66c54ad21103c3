//! What a guardian does to one port, and the words that it and the program it
//! watches exchange. It decides no moment at which anything is done.

use crate::instruments::Session;
use crate::template;
use rustix::fs::{Mode, OFlags};
use serde::{Deserialize, Serialize};
use std::fs::File;
use std::io::{self, Write};
use std::os::fd::OwnedFd;
use std::time::{Duration, Instant};

/// The program lives; the guardian answers with the same.
pub(super) const BEAT: u8 = b'b';
/// All is well: the guardian is dismissed.
pub(super) const DONE: u8 = b'd';
/// The guardian acted, since no beat came.
pub(super) const STALLED: u8 = b's';
/// The guardian acted, since it was told to end.
pub(super) const TERMINATED: u8 = b't';

/// How often each side says that it lives.
pub(super) const EVERY: Duration = Duration::from_millis(100);
/// So long a silence is a stall. With the time that the lines take, a stalled
/// program's bench is safe within a second.
pub(super) const SILENCE: Duration = Duration::from_millis(600);

/// A port that takes no bytes, as one whose cable is pulled, is given up then.
const MOST_WAITING: Duration = Duration::from_millis(300);
/// A busy port is tried so often, so long apart.
const MOST_TRIES: u32 = 100;
const BETWEEN_TRIES: Duration = Duration::from_millis(20);

/// What is done to one port: the bytes that end a half-sent line, then each
/// make-safe line twice.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Duty {
    pub(super) path: String,
    pub(super) abandon: Vec<u8>,
    pub(super) lines: Vec<Vec<u8>>,
    /// The time that the instrument needs between two lines.
    pub(super) gap: Duration,
    /// Whether each write is a message, so that a line needs one of its own.
    pub(super) by_messages: bool,
    /// Whether a handle to the port is handed over with the orders.
    pub(super) inherited: bool,
}

/// The port of each of `sessions` that has a make-safe line, and the handles to those
/// whose duty says that it is inherited, in the same order.
pub(super) fn duties<'a>(
    sessions: impl IntoIterator<Item = &'a Session>,
) -> (Vec<Duty>, Vec<OwnedFd>) {
    let mut handles = Vec::new();
    let mut duties = Vec::new();
    for session in sessions {
        let profile = session.profile();
        let path = session.port().settings().name.clone();
        let spare = session.port().spare();
        if profile.safety.make_safe.is_empty() || (spare.is_none() && !path.starts_with('/')) {
            continue;
        }
        let lines = profile.safety.make_safe.iter();
        duties.push(Duty {
            path,
            abandon: template::bytes(&profile.safety.abandon),
            lines: lines.map(|line| profile.bytes_of(line)).collect(),
            gap: session.port().settings().habits.gap,
            by_messages: session.port().is_by_messages(),
            inherited: spare.is_some(),
        });
        handles.extend(spare);
    }
    (duties, handles)
}

impl Duty {
    /// Does it, through `port` where there is one.
    pub(super) fn act(&self, port: Option<&File>) -> io::Result<()> {
        let opened;
        let port = if let Some(port) = port {
            port
        } else {
            opened = self.open_when_free()?;
            &opened
        };
        let twice = self.lines.iter().flat_map(|line| [line, line]);
        if self.gap.is_zero() && !self.by_messages {
            let mut bytes = self.abandon.clone();
            bytes.extend(twice.flatten());
            return write_bounded(port, &bytes);
        }
        write_bounded(port, &self.abandon)?;
        for line in twice {
            std::thread::sleep(self.gap);
            write_bounded(port, line)?;
        }
        Ok(())
    }

    /// The port without becoming its controlling process, never blocking on it.
    pub(super) fn open(&self) -> io::Result<File> {
        let flags = OFlags::WRONLY | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let port = rustix::fs::open(self.path.as_str(), flags, Mode::empty())?;
        Ok(port.into())
    }

    /// A port that was still held exclusively when it was tried first: to all
    /// but the system's own user the dying program's port is busy until the
    /// system has closed it. Bounded, since a port that was unplugged never
    /// comes free.
    fn open_when_free(&self) -> io::Result<File> {
        let mut tries = 0;
        loop {
            match self.open() {
                Err(error) if error.kind() == io::ErrorKind::ResourceBusy && tries < MOST_TRIES => {
                    tries += 1;
                    std::thread::sleep(BETWEEN_TRIES);
                }
                result => return result,
            }
        }
    }
}

/// All of `bytes` to a port that never blocks.
fn write_bounded(mut port: &File, mut bytes: &[u8]) -> io::Result<()> {
    let begun = Instant::now();
    while !bytes.is_empty() {
        match port.write(bytes) {
            Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
            Ok(count) => bytes = &bytes[count..],
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => {
                if begun.elapsed() > MOST_WAITING {
                    return Err(error);
                }
                std::thread::sleep(Duration::from_millis(2));
            }
            Err(error) => return Err(error),
        }
    }
    Ok(())
}
