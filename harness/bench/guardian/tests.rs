//! A guardian on a thread, over pseudo-terminals in the place of instruments, and
//! the program's side against far ends that fail. No process is started.

use super::duty::{DONE, Duty, STALLED, TERMINATED};
use super::{BEAT, beat, introduce, life};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use std::io::{Read, Write};
use std::os::fd::OwnedFd;
use std::os::unix::net::UnixStream;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// A pseudo-terminal whose master is what an instrument would hear.
struct Instrument {
    master: OwnedFd,
    path: String,
    /// Keeps what was written from being lost with the last handle.
    port: OwnedFd,
}

impl Instrument {
    fn new() -> Self {
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
        let flags = rustix::fs::OFlags::RDWR | rustix::fs::OFlags::NOCTTY;
        let port = rustix::fs::open(path.as_str(), flags, rustix::fs::Mode::empty());
        Self {
            master,
            path,
            port: port.expect("it opens"),
        }
    }

    fn duty(&self, inherited: bool) -> Duty {
        Duty {
            path: self.path.clone(),
            abandon: b"\n".to_vec(),
            lines: vec![b"OUTP OFF\n".to_vec()],
            gap: Duration::ZERO,
            by_messages: false,
            inherited,
        }
    }

    /// The handle that a program hands over.
    fn handle(&self) -> OwnedFd {
        self.port.try_clone().expect("a second handle")
    }

    fn heard(&self, expected: &[u8]) {
        let mut heard = [0; 64];
        let mut count = 0;
        while count < expected.len() {
            let more = rustix::io::read(&self.master, &mut heard[count..]).expect("bytes");
            assert!(more > 0, "it hung up");
            count += more;
        }
        assert_eq!(&heard[..count], expected);
    }

    /// Nothing came before what is put in here.
    fn heard_nothing(&self) {
        rustix::io::write(&self.port, b"X\n").expect("taken");
        self.heard(b"X\n");
    }
}

const ACTED: &[u8] = b"\nOUTP OFF\nOUTP OFF\n";

/// A guardian on a thread; what it lacks, and the connection to it.
fn guarded(
    duties: &[Duty],
    handles: Vec<OwnedFd>,
    terminated: &'static AtomicBool,
) -> (Vec<String>, UnixStream) {
    let (socket, far) = UnixStream::pair().expect("a connection");
    std::thread::spawn(move || life::serve(&far, terminated));
    let missing = introduce(&socket, duties, &handles).expect("it answers");
    (missing, socket)
}

static NEVER: AtomicBool = AtomicBool::new(false);

#[test]
fn left_alone_it_abandons_the_half_line_and_says_each_line_twice() {
    let supply = Instrument::new();
    let gone = Duty {
        path: "/dev/there-is-no-such-port".to_owned(),
        ..supply.duty(false)
    };
    let (missing, socket) = guarded(&[gone.clone(), supply.duty(false)], vec![], &NEVER);
    assert_eq!(missing, [gone.path]);
    drop(socket);
    supply.heard(ACTED);
}

/// The handle serves where the path no longer leads anywhere, as to a user who
/// may not open it.
#[test]
fn a_port_handed_over_needs_no_path() {
    let supply = Instrument::new();
    let mut duty = supply.duty(true);
    duty.path = "/dev/there-is-no-such-port".to_owned();
    let (missing, socket) = guarded(&[duty], vec![supply.handle()], &NEVER);
    assert!(missing.is_empty(), "{missing:?}");
    drop(socket);
    supply.heard(ACTED);
}

/// An instrument behind a socket may be at an answer when the program is killed: it
/// hears what ends the danger all the same.
#[test]
fn a_connection_stands_until_a_slow_instrument_has_read() {
    let (port, far) = UnixStream::pair().expect("a connection");
    let supply = Duty {
        path: "slow".to_owned(),
        abandon: b"\n".to_vec(),
        lines: vec![b"OUTP OFF\n".to_vec()],
        gap: Duration::ZERO,
        by_messages: false,
        inherited: true,
    };
    let (_, socket) = guarded(&[supply], vec![port.into()], &NEVER);
    drop(socket);
    // Long after its lines are out, and long before it leaves.
    std::thread::sleep(Duration::from_millis(60));
    (&far).write_all(b"12.0\n").expect("somebody is there");
    let mut heard = Vec::new();
    (&far).read_to_end(&mut heard).ok();
    assert_eq!(heard, ACTED);
}

#[test]
fn dismissed_it_says_nothing() {
    let supply = Instrument::new();
    let (_, mut socket) = guarded(&[supply.duty(true)], vec![supply.handle()], &NEVER);
    socket.write_all(&[BEAT, DONE]).expect("heard");
    let mut rest = Vec::new();
    socket.read_to_end(&mut rest).expect("it ends");
    supply.heard_nothing();
}

#[test]
fn beats_keep_it_quiet_and_silence_makes_it_act_within_a_second() {
    let supply = Instrument::new();
    let (_, mut socket) = guarded(&[supply.duty(true)], vec![supply.handle()], &NEVER);
    let mut answer = [0];
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_millis(1500) {
        socket.write_all(&[BEAT]).expect("heard");
        socket.read_exact(&mut answer).expect("answered");
        assert_eq!(answer, [BEAT]);
        std::thread::sleep(Duration::from_millis(50));
    }
    supply.heard_nothing();
    let silent = Instant::now();
    supply.heard(ACTED);
    assert!(
        silent.elapsed() < Duration::from_secs(1),
        "{:?}",
        silent.elapsed()
    );
    socket.read_exact(&mut answer).expect("told");
    assert_eq!(answer, [STALLED]);
    // It goes on watching: the end of the program is another reason.
    drop(socket);
    supply.heard(ACTED);
}

#[test]
fn told_to_end_it_acts_and_says_so() {
    static TOLD: AtomicBool = AtomicBool::new(false);
    let supply = Instrument::new();
    let (_, mut socket) = guarded(&[supply.duty(true)], vec![supply.handle()], &TOLD);
    TOLD.store(true, Ordering::Relaxed);
    supply.heard(ACTED);
    let mut answer = [0];
    socket.read_exact(&mut answer).expect("told");
    assert_eq!(answer, [TERMINATED]);
}

/// What the program notices of its guardian: each with a far end that behaves
/// so.
#[test]
fn the_program_notices_each_way_a_guardian_fails() {
    let noticed = |far: &dyn Fn(UnixStream) -> Option<UnixStream>| {
        let (near, other) = UnixStream::pair().expect("a connection");
        let _kept = far(other);
        let ending = AtomicBool::new(false);
        let mut first = None;
        beat(&near, &ending, &mut |lapse| {
            first.get_or_insert(lapse);
            ending.store(true, Ordering::Relaxed);
        });
        first.expect("it is noticed")
    };
    assert_eq!(noticed(&|_| None), "the guardian ended");
    let silent = noticed(&Some);
    assert_eq!(silent, "the guardian does not answer");
    let told = |word: u8| {
        noticed(&move |mut far: UnixStream| {
            far.write_all(&[word]).expect("it is told");
            Some(far)
        })
    };
    assert!(told(STALLED).contains("stood still"));
    assert!(told(TERMINATED).contains("told to end"));
}
