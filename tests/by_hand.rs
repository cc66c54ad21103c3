//! A lot run by hand on a terminal: what is asked, what is refused, and what is
//! said at the end. The terminal is a pseudo-terminal that this test types on.

use super::guardian::{Running, fixture};
use assert_cmd::cargo::cargo_bin_cmd;
use rustix::fs::{Mode, OFlags};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use std::fs::File;
use std::io::{Read as _, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};

/// Everything but `sense`, left out for a reason.
fn without() -> Vec<String> {
    let others = [
        "idle", "load", "overload", "short", "reversal", "signal", "loss", "inrush", "soak",
        "supply",
    ];
    let options = others.map(|name| ["--without".to_owned(), format!("{name}=not here")]);
    options.concat()
}

/// A terminal: the end that is typed on, and the end for a program.
pub(crate) fn terminal() -> (File, File) {
    let near = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)
        .expect("a pseudo-terminal");
    grantpt(&near).expect("granted");
    unlockpt(&near).expect("unlocked");
    let path = ptsname(&near, Vec::new()).expect("a name");
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
    let far = rustix::fs::open(path, flags, Mode::empty()).expect("the other end");
    (near.into(), far.into())
}

/// What `accept` with these options says on both outputs while somebody types, and
/// its status.
pub(crate) fn attended(options: &[&str], typed: &str) -> (Option<i32>, String) {
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain name");
    let run = on_a_terminal(&[&["accept", plan], options].concat());
    said_to(run, typed)
}

/// The command with these arguments on a terminal, and the end that is typed on.
pub(crate) fn on_a_terminal(arguments: &[&str]) -> (Running, File) {
    let (near, far) = terminal();
    let run = Running(
        Command::new(env!("CARGO_BIN_EXE_bufferstop"))
            .env_remove("BUFFERSTOP_BENCH")
            .args(arguments)
            .stdin(Stdio::from(far))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts"),
    );
    (run, near)
}

/// What a person is told who types `typed`, and the status.
pub(crate) fn said_to((mut run, mut near): (Running, File), typed: &str) -> (Option<i32>, String) {
    // With Ctrl-D at the beginning of a line the input ends.
    let typed = format!("{typed}\x04");
    near.write_all(typed.as_bytes())
        .expect("it can be typed on");
    let mut said = String::new();
    let mut out = run.0.stdout.take().expect("a pipe");
    out.read_to_string(&mut said).expect("text");
    let mut errors = run.0.stderr.take().expect("a pipe");
    errors.read_to_string(&mut said).expect("text");
    (run.0.wait().expect("it ends").code(), said)
}

/// What a lot of `typed` serial numbers comes to.
fn lot(out: &Path, more: &[&str], typed: &str) -> (Option<i32>, String) {
    let without = without();
    let without = without.iter().map(String::as_str);
    let out = ["--out", out.to_str().expect("a plain path")];
    let options = ["--serial", "-"].into_iter().chain(without);
    let options: Vec<&str> = options.chain(more.iter().copied()).chain(out).collect();
    attended(&options, typed)
}

#[test]
fn a_lot_by_hand_is_led_from_board_to_board() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let named = ["--lot", "L-1"];
    let (status, said) = lot(folder.path(), &named, "H-1\nH-2\nH-1\n");
    // A scan that is refused is wrong usage; no board failed.
    assert_eq!(status, Some(64), "{said}");
    assert_eq!(
        said.matches("serial number (Ctrl-D ends the lot)").count(),
        4
    );
    assert!(
        said.contains("H-1 is not run: it was tested in this sitting"),
        "{said}"
    );
    assert!(said.contains("2 boards: 2 passed"), "{said}");

    let (status, said) = lot(folder.path(), &named, "H-2\n");
    assert_eq!(status, Some(64), "{said}");
    assert!(said.contains("H-2 is not run: it passed on 20"), "{said}");
    let (status, said) = lot(folder.path(), &["--lot", "L-2"], "H-2\n");
    assert_eq!(status, Some(64), "{said}");
    assert!(
        said.contains("it was tested as a board of lot L-1"),
        "{said}"
    );
    let again = ["--lot", "L-1", "--retest", "the lead was loose"];
    let (status, said) = lot(folder.path(), &again, "H-2\n");
    assert_eq!(status, Some(0), "{said}");
}

#[test]
fn a_range_of_serial_numbers_is_a_lot() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let run = |serials: &str| {
        let done = cargo_bin_cmd!("bufferstop")
            .env_remove("BUFFERSTOP_BENCH")
            .args(["accept", "--serial", serials])
            .arg(fixture("plan.toml"))
            .args(without())
            .arg("--out")
            .arg(folder.path())
            .output()
            .expect("the command runs");
        let said = [done.stdout, done.stderr].concat();
        (
            done.status.code(),
            String::from_utf8_lossy(&said).into_owned(),
        )
    };
    let (status, said) = run("R-{08..10}");
    assert_eq!(status, Some(0), "{said}");
    for serial in ["R-08", "R-09", "R-10"] {
        assert!(folder.path().join(serial).is_dir(), "{serial}");
    }
    let (status, said) = run("R-{10..08}");
    assert_eq!(status, Some(64), "{said}");
    assert!(said.contains("10 comes after 8"), "{said}");
}
