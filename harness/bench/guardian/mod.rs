//! The guardian: a small process of its own that holds the ports too and makes
//! the bench safe when this program is killed, stopped or stalled. It does
//! nothing while each hears that the other lives, and nothing once it is
//! dismissed.
//!
//! Ports, orders and beats go over one socket, which is its standard input: its
//! end, too, is a reason to act.

mod duty;
mod life;
#[cfg(test)]
mod tests;

pub use self::life::watch;

use self::duty::{BEAT, DONE, Duty, EVERY, SILENCE, STALLED, TERMINATED, duties};
use super::Bench;
use super::safe::ORDER;
use crate::instruments::Session;
use rustix::net::{SendAncillaryBuffer, SendAncillaryMessage, SendFlags, sendmsg};
use std::io::{self, BufRead, BufReader, IoSlice, Read, Write};
use std::mem::MaybeUninit;
use std::os::fd::{AsFd, OwnedFd};
use std::os::unix::net::UnixStream;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tokio::sync::watch;

/// The hidden word on the command line that starts one.
pub const WORD: &str = "guardian";

/// For it to start and to say which ports it has.
const STARTS_WITHIN: Duration = Duration::from_secs(5);
/// For it to end once it is dismissed, or to act where it is not.
const ENDS_WITHIN: Duration = Duration::from_secs(3);
/// What fails it to answer for so long is no busy machine.
const ANSWERS_WITHIN: Duration = Duration::from_secs(1);

/// A guardian that watches over this program.
#[derive(Debug)]
pub struct Guardian {
    child: Child,
    socket: UnixStream,
    /// Beats on a thread of its own, which a long computation does not hold up.
    beating: Option<JoinHandle<()>>,
    ending: Arc<AtomicBool>,
    lapse: watch::Receiver<Option<String>>,
    missing: Vec<String>,
}

impl Guardian {
    /// Starts one over every port of `bench` that has a make-safe line.
    ///
    /// # Errors
    /// When the program cannot start itself again, or the guardian does not
    /// answer.
    pub fn start(bench: &Bench, program: &Path) -> io::Result<Self> {
        Self::of(
            ORDER.into_iter().filter_map(|role| bench.session(role)),
            program,
        )
    }

    /// The same over the port of one instrument that stands alone.
    ///
    /// # Errors
    /// As for [`Guardian::start`].
    pub fn of_instrument(session: &Session, program: &Path) -> io::Result<Self> {
        Self::of([session], program)
    }

    fn of<'a>(sessions: impl IntoIterator<Item = &'a Session>, program: &Path) -> io::Result<Self> {
        let (duties, handles) = duties(sessions);
        let mut command = Command::new(program);
        command.arg(WORD);
        Self::over(command, &duties, &handles)
    }

    fn over(mut command: Command, duties: &[Duty], handles: &[OwnedFd]) -> io::Result<Self> {
        let (socket, far) = UnixStream::pair()?;
        // Out of the terminal's reach: Ctrl-C is for the program it watches.
        let mut child = command
            .stdin(Stdio::from(OwnedFd::from(far)))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .process_group(0)
            .spawn()?;
        // It would hold the far end open.
        drop(command);
        let missing = match introduce(&socket, duties, handles) {
            Ok(missing) => missing,
            Err(error) => {
                let _ = child.kill();
                let _ = child.wait();
                return Err(error);
            }
        };
        let ending = Arc::new(AtomicBool::new(false));
        let (tell, lapse) = watch::channel(None);
        let beats = socket.try_clone()?;
        let end = Arc::clone(&ending);
        let beating = std::thread::Builder::new()
            .name("guardian".to_owned())
            .spawn(move || {
                beat(&beats, &end, &mut |lapse| {
                    tell.send_if_modified(|told| {
                        let first = told.is_none();
                        if first {
                            *told = Some(lapse);
                        }
                        first
                    });
                });
            })?;
        Ok(Self {
            child,
            socket,
            beating: Some(beating),
            ending,
            lapse,
            missing,
        })
    }

    /// The ports that it could not have: what is there stays as it is where this
    /// program is killed.
    pub fn missing(&self) -> &[String] {
        &self.missing
    }

    /// Its process.
    pub fn process(&self) -> u32 {
        self.child.id()
    }

    /// What went wrong with the watching, once something did: the guardian is
    /// gone or silent, or this program stood still.
    pub fn lapse(&self) -> watch::Receiver<Option<String>> {
        self.lapse.clone()
    }

    /// Tells it that all is well, and waits until it is gone; one that does not
    /// go is ended.
    pub fn dismiss(self) {
        self.ending.store(true, Ordering::Relaxed);
        // A guardian that is gone already needs no telling.
        let _ = (&self.socket).write_all(&[DONE]);
    }
}

/// Dropped without being dismissed, the connection ends and the guardian acts:
/// that is what it is for.
impl Drop for Guardian {
    fn drop(&mut self) {
        self.ending.store(true, Ordering::Relaxed);
        let _ = self.socket.shutdown(std::net::Shutdown::Write);
        let begun = Instant::now();
        while matches!(self.child.try_wait(), Ok(None)) {
            if begun.elapsed() > ENDS_WITHIN {
                let _ = self.child.kill();
                let _ = self.child.wait();
                break;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        let _ = self.beating.take().map(JoinHandle::join);
    }
}

/// Hands over ports and orders; the guardian says which ports it lacks.
fn introduce(socket: &UnixStream, duties: &[Duty], handles: &[OwnedFd]) -> io::Result<Vec<String>> {
    socket.set_read_timeout(Some(STARTS_WITHIN))?;
    socket.set_write_timeout(Some(STARTS_WITHIN))?;
    let handles: Vec<_> = handles.iter().map(AsFd::as_fd).collect();
    let mut space = [MaybeUninit::uninit(); rustix::cmsg_space!(ScmRights(16))];
    let mut control = SendAncillaryBuffer::new(&mut space);
    if !handles.is_empty() && !control.push(SendAncillaryMessage::ScmRights(&handles)) {
        return Err(io::Error::other("more ports than a guardian takes"));
    }
    let parts = [IoSlice::new(&[BEAT])];
    sendmsg(socket, &parts, &mut control, SendFlags::NOSIGNAL)?;
    let text = serde_json::to_string(duties).map_err(io::Error::other)?;
    let mut writer = socket;
    writeln!(writer, "{text}")?;
    let mut answer = String::new();
    BufReader::new(socket)
        .take(1 << 20)
        .read_line(&mut answer)?;
    serde_json::from_str(&answer).map_err(io::Error::other)
}

/// Says again and again that this program lives, until `ending` or the end of
/// the connection, and tells what goes wrong with the watching. It goes on after
/// that: a guardian that hears nothing would speak into the making safe.
fn beat(socket: &UnixStream, ending: &AtomicBool, tell: &mut dyn FnMut(String)) {
    let mut stream = socket;
    let bounded = socket
        .set_read_timeout(Some(EVERY))
        .and_then(|()| socket.set_write_timeout(Some(EVERY)));
    if let Err(error) = bounded {
        return tell(format!("the guardian cannot be heard ({error})"));
    }
    let mut answered = Instant::now();
    let mut round = Instant::now();
    loop {
        let _ = stream.write(&[BEAT]);
        let mut words = [0; 64];
        let heard = stream.read(&mut words);
        if ending.load(Ordering::Relaxed) {
            return;
        }
        let took = round.elapsed();
        round = Instant::now();
        if took >= SILENCE {
            tell(format!(
                "this program stood still for {:.1} s",
                took.as_secs_f64()
            ));
        }
        match heard {
            Ok(count) if words[..count].contains(&TERMINATED) => {
                return tell("the guardian was told to end, and made the bench safe".to_owned());
            }
            Ok(count) if count > 0 => {
                answered = round;
                if words[..count].contains(&STALLED) {
                    tell(
                        "this program stood still, and the guardian made the bench safe".to_owned(),
                    );
                }
                std::thread::sleep(EVERY);
            }
            // A silent read has waited as long as a beat takes.
            Err(error) if life::is_silence(&error) => {}
            Ok(_) | Err(_) => return tell("the guardian ended".to_owned()),
        }
        if answered.elapsed() > ANSWERS_WITHIN {
            tell("the guardian does not answer".to_owned());
        }
    }
}
