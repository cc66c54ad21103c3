//! The guardian: a small process of its own that holds the ports too and makes
//! the bench safe when this program is killed in a way that cannot be caught.
//! It never reads from an instrument, never waits for one, and does nothing
//! when it is told that all is well.
//!
//! It learns what to do from its standard input, one JSON line, and then waits
//! for the end of that pipe. `done` before the end dismisses it.

use super::Bench;
use crate::ident::Role;
use rustix::io::{FdFlags, fcntl_setfd};
use serde::{Deserialize, Serialize};
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, Read, Write};
use std::os::fd::AsFd;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::time::Duration;

/// The hidden word on the command line that starts one.
pub const WORD: &str = "guardian";

/// What dismisses it.
const DONE: &str = "done";

/// How often a busy port is tried, and how long in between: two seconds a port
/// at the most.
const MOST_TRIES: u32 = 100;
const BETWEEN_TRIES: Duration = Duration::from_millis(20);

/// What it does to one port: the bytes that end a half-sent line, then each
/// make-safe line twice.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Duty {
    path: String,
    abandon: String,
    lines: Vec<String>,
}

/// A guardian that watches over this program.
#[derive(Debug)]
pub struct Guardian {
    child: Child,
    pipe: Option<ChildStdin>,
}

impl Guardian {
    /// Starts one over every port of `bench` that has a make-safe line.
    ///
    /// # Errors
    /// When the program cannot start itself again.
    pub fn start(bench: &Bench, program: &Path) -> io::Result<Self> {
        let duties = duties(bench);
        let mut command = Command::new(program);
        command
            .arg(WORD)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        // Out of the terminal's reach: Ctrl-C is for the program it watches.
        std::os::unix::process::CommandExt::process_group(&mut command, 0);
        let mut child = command.spawn()?;
        let mut pipe = child.stdin.take();
        if let Some(pipe) = &mut pipe {
            let text = serde_json::to_string(&duties).map_err(io::Error::other)?;
            writeln!(pipe, "{text}")?;
        }
        Ok(Self { child, pipe })
    }

    /// Tells it that all is well, and waits until it is gone.
    pub fn dismiss(mut self) {
        self.say_done();
    }

    fn say_done(&mut self) {
        if let Some(mut pipe) = self.pipe.take() {
            // A guardian that is gone already needs no telling.
            let _ = writeln!(pipe, "{DONE}");
            drop(pipe);
            let _ = self.child.wait();
        }
    }
}

/// Dropped without being dismissed, the pipe ends and the guardian acts: that
/// is what it is for.
impl Drop for Guardian {
    fn drop(&mut self) {
        if self.pipe.take().is_some() {
            let _ = self.child.wait();
        }
    }
}

fn duties(bench: &Bench) -> Vec<Duty> {
    // The short first, then what feeds it.
    const ORDER: [Role; 5] = [
        Role::Switch,
        Role::Load,
        Role::Supply,
        Role::Drive,
        Role::Capture,
    ];
    ORDER
        .into_iter()
        .filter_map(|role| {
            let session = bench.session(role)?;
            let profile = session.profile();
            let ending = &profile.line.ending;
            let lines = profile
                .safety
                .make_safe
                .iter()
                .map(|line| format!("{line}{ending}"))
                .collect();
            let path = session.port().settings().name.clone();
            Some(Duty {
                path,
                abandon: profile.safety.abandon.clone(),
                lines,
            })
        })
        .filter(|duty| duty.path.starts_with('/'))
        .collect()
}

/// The guardian's own life: opens the ports, waits for the end of its standard
/// input, and acts unless it was dismissed.
///
/// # Errors
/// When its orders cannot be read; it then has nothing to do.
pub fn watch(orders: impl Read) -> io::Result<()> {
    let mut orders = BufReader::new(orders);
    let mut text = String::new();
    orders.by_ref().take(1 << 20).read_line(&mut text)?;
    let duties: Vec<Duty> = serde_json::from_str(&text).map_err(io::Error::other)?;
    // Opened now, while the program that it watches still holds them set up.
    let ports: Vec<(Duty, io::Result<File>)> = duties
        .into_iter()
        .map(|duty| {
            let port = open(&duty.path);
            (duty, port)
        })
        .collect();
    let mut word = String::new();
    let dismissed = orders.take(64).read_line(&mut word).is_ok() && word.trim() == DONE;
    if !dismissed {
        for (duty, port) in ports {
            // One port that fails must not keep the others from being told.
            if let Ok(port) = port.or_else(|_| open_when_free(&duty.path)) {
                let _ = act(&duty, port);
            }
        }
    }
    Ok(())
}

/// A port that was still held exclusively when it was tried first: to all but
/// the system's own user the dying program's port is busy until the system has
/// closed it, which may come after the pipe's end. Bounded, since a port that
/// was unplugged never comes free.
fn open_when_free(path: &str) -> io::Result<File> {
    let mut tries = 0;
    loop {
        match open(path) {
            Err(error) if error.kind() == io::ErrorKind::ResourceBusy && tries < MOST_TRIES => {
                tries += 1;
                std::thread::sleep(BETWEEN_TRIES);
            }
            result => return result,
        }
    }
}

/// A port without becoming its controlling process, never blocking on it.
fn open(path: &str) -> io::Result<File> {
    let flags = rustix::fs::OFlags::NOCTTY | rustix::fs::OFlags::NONBLOCK;
    let flags = i32::try_from(flags.bits()).map_err(io::Error::other)?;
    let file = OpenOptions::new()
        .write(true)
        .custom_flags(flags)
        .open(path)?;
    fcntl_setfd(file.as_fd(), FdFlags::CLOEXEC)?;
    Ok(file)
}

fn act(duty: &Duty, mut port: File) -> io::Result<()> {
    port.write_all(duty.abandon.as_bytes())?;
    for line in &duty.lines {
        for _ in 0..2 {
            port.write_all(line.as_bytes())?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

    /// A pseudo-terminal's master is what an instrument would hear.
    #[test]
    fn it_abandons_the_half_line_and_says_each_line_twice() {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = openpt(flags).expect("a pseudo-terminal");
        grantpt(&master).expect("granted");
        unlockpt(&master).expect("unlocked");
        let path = ptsname(&master, Vec::new()).expect("a path");
        let path = path.to_str().expect("an ASCII path").to_owned();
        // Raw, as every serial port is set up.
        let mut settings = rustix::termios::tcgetattr(&master).expect("settings");
        settings.make_raw();
        let now = rustix::termios::OptionalActions::Now;
        rustix::termios::tcsetattr(&master, now, &settings).expect("raw");
        let gone = Duty {
            path: "/dev/there-is-no-such-port".to_owned(),
            abandon: "\n".to_owned(),
            lines: vec!["ABOR\n".to_owned()],
        };
        let supply = Duty {
            path,
            abandon: "\n".to_owned(),
            lines: vec!["OUTP OFF\n".to_owned()],
        };
        let orders = serde_json::to_string(&[gone, supply]).expect("orders");
        // A port stays open here, so that what was written is not lost.
        let held = open(&serde_json::from_str::<Vec<Duty>>(&orders).expect("duties")[1].path);
        watch(format!("{orders}\n").as_bytes()).expect("orders are read");
        // The master hears what was written at once or in parts.
        let expected = b"\nOUTP OFF\nOUTP OFF\n";
        let mut heard = [0; 64];
        let mut count = 0;
        while count < expected.len() {
            let more = rustix::io::read(&master, &mut heard[count..]).expect("bytes");
            assert!(more > 0, "it hung up");
            count += more;
        }
        assert_eq!(&heard[..count], expected);
        // Dismissed, it says nothing: the next bytes are the ones put in here.
        watch(format!("{orders}\n{DONE}\n").as_bytes()).expect("orders are read");
        let mut held = held.expect("it opened");
        held.write_all(b"X\n").expect("taken");
        let count = rustix::io::read(&master, &mut heard).expect("bytes");
        assert_eq!(&heard[..count], b"X\n");
    }
}
