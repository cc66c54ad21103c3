//! Benches on which a person works what has no instrument, and on which a signal
//! source always sends. The bench is a model bench behind ports; the person is this
//! test, which reads what it is asked on a terminal and does it at the model's port.

use super::by_hand::terminal;
use super::guardian::{Running, bench_on, fixture, serve};
use serde_json::Value;
use std::fs::{File, OpenOptions};
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The ports of a model bench, and its bench file with others for these roles.
pub(crate) fn bench(folder: &Path, ports: &Value, others: &[(&str, &str)]) -> PathBuf {
    let mut text = bench_on(ports);
    for (role, other) in others {
        let path = format!("path = \"{}\"", port_of(role, ports));
        let profile = format!("profile = \"{role}\"\n");
        assert!(text.contains(&path) && text.contains(&profile), "{text}");
        text = text.replacen(&profile, "", 1).replacen(&path, other, 1);
    }
    let file = folder.join("bench.toml");
    std::fs::write(&file, text).expect("a bench file");
    file
}

pub(crate) fn port_of<'a>(role: &str, ports: &'a Value) -> &'a str {
    let list = ports["ports"].as_array().expect("a list");
    let found = list.iter().find(|port| port["role"] == role);
    found.expect("the role")["path"].as_str().expect("a path")
}

/// An instrument that somebody works at its own keys.
pub(crate) struct Keys(File);

impl Keys {
    pub(crate) fn of(path: &str) -> Self {
        let port = OpenOptions::new().read(true).write(true).open(path);
        Self(port.expect("the port is there"))
    }

    pub(crate) fn press(&mut self, line: &str) {
        let confirmed = self.read(&format!("{line};*OPC?"));
        assert_eq!(confirmed, "1", "{line}");
    }

    pub(crate) fn read(&mut self, line: &str) -> String {
        self.0
            .write_all(format!("{line}\n").as_bytes())
            .expect("it listens");
        let mut answer = String::new();
        let mut byte = [0];
        while !answer.ends_with('\n') {
            self.0.read_exact(&mut byte).expect("it answers");
            answer.push(char::from(byte[0]));
        }
        answer.trim().to_owned()
    }
}

fn accept(bench: &Path, only: &str) -> Command {
    let mut command = crate::guardian::accept(&fixture("plan.toml"), "W1", bench);
    command.args(["--only", only]);
    command
}

#[test]
fn a_source_that_always_sends_needs_no_port() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut station = Keys::of(port_of("drive", &ports));
    for line in ["SIGN:PATT ONES", "CONT:ENAB 1", "SIGN ON"] {
        station.press(line);
    }
    let bench = bench(folder.path(), &ports, &[("drive", "external = \"ones\"")]);
    let done = accept(&bench, "short")
        .arg("--json")
        .output()
        .expect("it runs");
    let said = String::from_utf8_lossy(&done.stderr);
    let events = String::from_utf8_lossy(&done.stdout);
    // A diagnosis that passes ends with 2.
    assert_eq!(done.status.code(), Some(2), "{said}\n{events}");
    assert!(events.contains("\"verdict\":\"pass\""), "{events}\n{said}");
    assert!(
        events.contains("an external source that always sends ones"),
        "{events}"
    );

    // What needs the signal stopped is refused at its line, before anything is on.
    let done = accept(&bench, "loss").output().expect("it runs");
    let said = String::from_utf8_lossy(&done.stderr);
    assert_eq!(done.status.code(), Some(65), "{said}");
    assert!(said.contains("the signal is to stop"), "{said}");
}

/// What a person at the supply's keys does when asked for `what`, and types.
pub(crate) fn does(keys: &mut Keys, what: &str) -> String {
    let number = |text: &str| text.split(' ').nth(1).expect("a number").to_owned();
    if let Some(set) = what.strip_prefix("Supply voltage: ") {
        keys.press(&format!("VOLT {}", number(set)));
    } else if let Some(set) = what.strip_prefix("Supply current limit: ") {
        keys.press(&format!("CURR {}", number(set)));
    } else if what == "Supply output: switch it on" {
        keys.press("OUTP ON");
    } else if what == "Supply output: switch it off" {
        keys.press("OUTP OFF");
    } else if what.starts_with("Which voltage") {
        return format!("{} V", keys.read("MEAS:VOLT?"));
    } else if what.starts_with("Which current") {
        return format!("{} A", keys.read("MEAS:CURR?"));
    } else {
        panic!("nobody knows how to do this: {what}");
    }
    String::new()
}

#[test]
fn a_supply_without_an_interface_is_set_and_read_by_a_person() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = bench(folder.path(), &ports, &[("supply", "person = true")]);
    let mut keys = Keys::of(port_of("supply", &ports));

    // Without a terminal nobody can be asked, and no reading is assumed.
    for more in [None, Some("--assume-operator")] {
        let mut command = accept(&bench, "load");
        let done = command.args(more).stdin(Stdio::null()).output();
        let done = done.expect("it runs");
        let said = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(64), "{said}");
        assert!(said.contains("--assume-operator"), "{said}");
    }

    let (mut near, far) = terminal();
    let mut run = Running(
        accept(&bench, "load")
            .stdin(Stdio::from(far))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts"),
    );
    let out = BufReader::new(run.0.stdout.take().expect("a pipe"));
    let mut said = String::new();
    let mut asked = Vec::new();
    for line in out.lines().map_while(Result::ok) {
        if let Some((_, what)) = line.split_once(">> ") {
            asked.push(what.to_owned());
            let typed = does(&mut keys, what);
            near.write_all(format!("{typed}\n").as_bytes())
                .expect("typed");
        }
        said.push_str(&line);
        said.push('\n');
    }
    let mut errors = String::new();
    let mut out = run.0.stderr.take().expect("a pipe");
    out.read_to_string(&mut errors).expect("text");
    let status = run.0.wait().expect("it ends").code();
    assert_eq!(status, Some(2), "{said}\n{errors}");
    assert!(said.contains("PASS"), "{said}\n{errors}");
    assert_eq!(keys.read("OUTP?"), "0", "{said}");
    // Set once while it is so, read each time.
    let times = |what: &str| asked.iter().filter(|one| one.starts_with(what)).count();
    assert_eq!(times("Supply voltage"), 1, "{asked:#?}");
    assert!(times("Which voltage") >= 3, "{asked:#?}");

    // The record keeps what was asked, done and typed.
    let folder = bench.with_file_name("reports").join("model");
    let shown = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .args(["records", "show", "W1", "--model", "--json", "--out"])
        .arg(bench.with_file_name("reports"))
        .output()
        .expect("it runs");
    let record = String::from_utf8_lossy(&shown.stdout);
    let why = String::from_utf8_lossy(&shown.stderr);
    for kept in [
        "the person at the bench",
        "Supply output: switch it on - done",
        "Which current does the supply show, in A? - ",
    ] {
        assert!(
            record.contains(kept),
            "{kept} in {folder:?}: {record}\n{why}"
        );
    }
}
