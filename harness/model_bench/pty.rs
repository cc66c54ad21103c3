//! Pseudo-terminals to model instruments, all served by one thread that waits
//! in poll(2). Ties are served in port order; nothing here sleeps.

use super::lines::Lines;
use super::pace::{Pace, Shared};
use crate::ident::Role;
use rustix::event::{EventfdFlags, PollFd, PollFlags, eventfd, poll};
use rustix::fd::{AsFd as _, OwnedFd};
use rustix::fs::{Mode, OFlags, fcntl_getfl, fcntl_setfl, open};
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, ioctl_tiocnxcl, tcgetattr, tcsetattr};
use std::io;
use std::sync::Arc;
use std::thread::JoinHandle;

/// Bytes read at once; the kernel keeps at most 4 KiB for a reader.
const ROOM: usize = 16_384;

/// The thread and the paths it serves.
pub(super) struct Server {
    paths: Vec<(Role, String)>,
    stop: Arc<OwnedFd>,
    thread: Option<JoinHandle<()>>,
}

impl Server {
    /// Makes a pseudo-terminal for each of `roles` and serves them.
    pub(super) fn start(shared: Shared, roles: &[Role]) -> io::Result<Self> {
        let mut paths = Vec::with_capacity(roles.len());
        let mut ports = Vec::with_capacity(roles.len());
        for &role in roles {
            let (port, path) = Port::make(role)?;
            ports.push(port);
            paths.push((role, path));
        }
        let stop = Arc::new(eventfd(0, EventfdFlags::CLOEXEC)?);
        let stopped = Arc::clone(&stop);
        let thread = std::thread::Builder::new()
            .name("model bench".to_owned())
            .spawn(move || {
                if let Err(error) = serve(&shared, &mut ports, &stopped) {
                    tracing::error!(%error, "the model bench stopped");
                }
            })?;
        Ok(Self {
            paths,
            stop,
            thread: Some(thread),
        })
    }

    /// Role and device path, in port order.
    pub(super) fn paths(&self) -> &[(Role, String)] {
        &self.paths
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // The counter takes any write; a thread that panicked has said so.
        let _ = rustix::io::write(&*self.stop, &1_u64.to_ne_bytes());
        if let Some(thread) = self.thread.take() {
            drop(thread.join());
        }
    }
}

/// One pseudo-terminal.
struct Port {
    role: Role,
    master: OwnedFd,
    /// Kept open, so that the master never sees its last slave close: it would
    /// report the hang-up for ever.
    slave: OwnedFd,
    lines: Lines,
    outgoing: Vec<u8>,
    sent: usize,
}

impl Port {
    fn make(role: Role) -> io::Result<(Self, String)> {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = openpt(flags)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        let path = ptsname(&master, Vec::new())?;
        let path = path.into_string().map_err(io::Error::other)?;
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let slave = open(path.as_str(), flags, Mode::empty())?;
        let mut attributes = tcgetattr(&slave)?;
        attributes.make_raw();
        tcsetattr(&slave, OptionalActions::Now, &attributes)?;
        fcntl_setfl(&master, fcntl_getfl(&master)? | OFlags::NONBLOCK)?;
        let port = Self {
            role,
            master,
            slave,
            lines: Lines::default(),
            outgoing: Vec::new(),
            sent: 0,
        };
        Ok((port, path))
    }

    /// An answer is under way: the port takes no further line until it is out,
    /// so what waits here is one answer at most.
    fn is_sending(&self) -> bool {
        self.sent < self.outgoing.len()
    }

    fn wants(&self) -> PollFlags {
        if self.is_sending() {
            PollFlags::OUT
        } else {
            PollFlags::IN
        }
    }

    fn read(&mut self, room: &mut [u8]) -> io::Result<()> {
        match rustix::io::read(&self.master, &mut *room) {
            Ok(count) => self.lines.push(&room[..count]),
            Err(Errno::AGAIN | Errno::INTR) => {}
            Err(error) => return Err(error.into()),
        }
        Ok(())
    }

    /// Answers the lines that are whole and sends what the kernel takes.
    fn answer(&mut self, shared: &Shared) -> io::Result<()> {
        loop {
            self.send()?;
            if self.is_sending() {
                return Ok(());
            }
            let Some(line) = self.lines.next() else {
                return Ok(());
            };
            self.outgoing = shared.exchange(self.role, line);
            self.sent = 0;
            if shared.pace == Pace::Wall {
                // An outside client's exclusive mark would outlive it, since
                // the slave here stays open.
                let _ = ioctl_tiocnxcl(&self.slave);
            }
        }
    }

    fn send(&mut self) -> io::Result<()> {
        while self.is_sending() {
            match rustix::io::write(&self.master, &self.outgoing[self.sent..]) {
                Ok(count) => self.sent += count,
                Err(Errno::INTR) => {}
                Err(Errno::AGAIN) => return Ok(()),
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }
}

/// Serves until `stop` becomes readable.
fn serve(shared: &Shared, ports: &mut [Port], stop: &OwnedFd) -> io::Result<()> {
    let mut room = vec![0; ROOM];
    let mut ready = vec![false; ports.len()];
    loop {
        {
            let mut waiting: Vec<PollFd<'_>> = Vec::with_capacity(ports.len() + 1);
            waiting.push(PollFd::from_borrowed_fd(stop.as_fd(), PollFlags::IN));
            let masters = ports.iter();
            waiting.extend(
                masters.map(|port| PollFd::from_borrowed_fd(port.master.as_fd(), port.wants())),
            );
            match poll(&mut waiting, None) {
                Ok(_) => {}
                Err(Errno::INTR) => continue,
                Err(error) => return Err(error.into()),
            }
            if !waiting[0].revents().is_empty() {
                return Ok(());
            }
            for (ready, polled) in ready.iter_mut().zip(&waiting[1..]) {
                *ready = !polled.revents().is_empty();
            }
        }
        for (port, _) in ports.iter_mut().zip(&ready).filter(|(_, ready)| **ready) {
            if !port.is_sending() {
                port.read(&mut room)?;
            }
            port.answer(shared)?;
        }
    }
}
