//! Instruments that were never met before, each with a dialect of its own, simulated
//! by programs in another language that share no code with the model instruments.
//! They stand before the model circuit, so a run on them must give what a run on the
//! model instruments gives, within the uncertainty of both.

use super::guardian::{Running, bench_on, fixture, is_on, serve};
use super::python::{interpreter, script};
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

/// The profiles of the instruments, by what their simulation calls them.
fn profile(kind: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/strangers");
    std::fs::read_to_string(folder.join(format!("{kind}.toml"))).expect("its profile")
}

/// Every value that a run of `only` measured, with its expanded uncertainty, and
/// what was decided of each limit.
fn measured(bench: &Path, only: &[&str]) -> BTreeMap<String, (f64, f64, String)> {
    let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .env_remove("BUFFERSTOP_BENCH")
        .args(["accept", "--json", "--ready", "--serial", "D1"])
        .args(only.iter().flat_map(|scenario| ["--only", scenario]))
        .arg(fixture("plan.toml"))
        .arg("--bench")
        .arg(bench)
        .arg("--out")
        .arg(bench.with_file_name("reports"))
        .output()
        .expect("the command runs");
    let said = String::from_utf8_lossy(&done.stderr);
    // A diagnosis that passes ends with 2.
    assert_eq!(done.status.code(), Some(2), "{said}");
    let events = String::from_utf8_lossy(&done.stdout).into_owned();
    assert!(events.contains("\"verdict\":\"pass\""), "{events}\n{said}");
    let lines = events.lines().map(|line| {
        let event: Value = serde_json::from_str(line).expect("JSON");
        event["event"].clone()
    });
    let values = lines.filter_map(|measured| {
        let metric = &measured["metric"];
        let finding = &metric["finding"];
        let (value, u) = (finding["value"].as_f64()?, finding["u"].as_f64()?);
        let name = format!("{} {}", metric["key"], metric["at"]);
        let decision = measured["decision"]["verdict"].to_string();
        Some((name, (value, 2.0 * u, decision)))
    });
    values.collect()
}

/// An instrument in front of the model one in `role`, and at `bench` the file of a
/// bench that reaches it at its own address instead.
fn in_front(python: &Path, kind: &str, role: &str, ports: &Value, bench: &Path) -> Running {
    let model = port_of(role, ports);
    let started = Command::new(python)
        .arg(script("other_instruments.py"))
        .args([kind, model])
        .stdout(Stdio::piped())
        .spawn();
    let mut other = Running(started.expect("Python starts"));
    let mut address = String::new();
    BufReader::new(other.0.stdout.take().expect("a pipe"))
        .read_line(&mut address)
        .expect("it says where it is");
    let address = address.trim();
    let file = format!("{kind}.toml");
    // The same instrument on another kind of port.
    let described = match kind {
        // The scope that lists volts, as its makers' next one has them.
        "table-scope" => profile("list-scope").replace(
            "data = \"volts\"",
            "data = \"table\"\nheader_lines = 2\n\
             checksum = { kind = \"crc-16-1021\", written = \"low first\" }",
        ),
        "row-scope" => profile("list-scope").replace(
            "data = \"volts\"",
            "data = \"table\"\nheader_lines = 2\nframed = \"lines\"",
        ),
        kind => profile(kind.trim_start_matches("message-")),
    };
    std::fs::write(bench.with_file_name(&file), described).expect("a profile");
    let port = if kind == "message-load" {
        format!("usbtmc = \"{address}\"")
    } else if address.starts_with('/') {
        format!("path = \"{address}\"")
    } else {
        // A name with addresses of two kinds, at one of which nobody listens.
        format!("tcp = \"localhost:{address}\"")
    };
    let text = match std::fs::read_to_string(bench) {
        Ok(text) => text,
        Err(_) => bench_on(ports),
    };
    let text = text.replacen(&format!("path = \"{model}\""), &port, 1);
    let own = format!("profile = \"{role}\"");
    assert!(text.contains(&own), "{text}");
    let text = text.replacen(&own, &format!("profile = \"{file}\""), 1);
    std::fs::write(bench, text).expect("a bench file");
    other
}

fn port_of<'a>(role: &str, ports: &'a Value) -> &'a str {
    let list = ports["ports"].as_array().expect("a list");
    let found = list.iter().find(|port| port["role"] == role);
    found.expect("the role")["path"].as_str().expect("a path")
}

/// A run of `only` on the instruments of `strangers` says what one on the model
/// instruments says; `scatter` is the part of a value by which two shots differ on one
/// bench already.
fn agree(strangers: &[(&str, &str)], only: &[&str], least: usize, scatter: f64) {
    let Some(python) = interpreter() else { return };
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let direct = folder.path().join("direct.toml");
    std::fs::write(&direct, bench_on(&ports)).expect("a bench file");
    let expected = measured(&direct, only);

    let behind = folder.path().join("behind.toml");
    let _others: Vec<Running> = strangers
        .iter()
        .map(|(kind, role)| in_front(&python, kind, role, &ports, &behind))
        .collect();
    let found = measured(&behind, only);

    assert!(expected.len() >= least, "{expected:#?}");
    let names = |values: &BTreeMap<String, _>| values.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&found), names(&expected));
    for (name, (value, u, decision)) in &expected {
        let (other, other_u, other_decision) = &found[name];
        assert_eq!(decision, other_decision, "{name} on {strangers:?}");
        assert!(
            (value - other).abs() <= u + other_u + scatter * value.abs(),
            "{name}: {value} +- {u} directly, {other} +- {other_u} on {strangers:?}"
        );
    }
}

#[test]
fn a_load_behind_a_socket_needs_a_profile_and_no_code() {
    agree(&[("load", "load")], &["load"], 15, 0.0);
}

/// It refuses a message of two lines, and ends none of its answers.
#[test]
fn a_load_that_takes_messages_needs_another_key_of_the_port_only() {
    agree(&[("message-load", "load")], &["load"], 15, 0.0);
}

#[test]
fn a_scope_that_lists_volts_needs_a_profile_and_no_code() {
    agree(&[("list-scope", "capture")], &["idle", "load"], 20, 0.0);
}

#[test]
fn a_scope_that_gives_checked_tables_needs_a_profile_and_no_code() {
    agree(&[("table-scope", "capture")], &["idle"], 5, 0.0);
}

#[test]
fn a_scope_that_gives_tables_line_by_line_needs_a_profile_and_no_code() {
    agree(&[("row-scope", "capture")], &["idle"], 5, 0.0);
}

#[test]
fn a_scope_of_eight_bits_needs_a_profile_and_no_code() {
    agree(&[("byte-scope", "capture")], &["idle"], 5, 0.0);
}

#[test]
fn a_relay_card_worked_by_bytes_needs_a_profile_and_no_code() {
    // A contact bounces otherwise each time, and the board's clock starts where it
    // does: trip times differ by tens of microseconds on one switch as well.
    agree(&[("relay-card", "switch")], &["short"], 8, 0.01);
}

#[test]
fn a_supply_that_checks_every_line_needs_a_profile_and_no_code() {
    agree(&[("strict-supply", "supply")], &["idle", "load"], 20, 0.0);
}

/// The guardian has the socket as well.
#[test]
fn killed_outright_a_load_behind_a_socket_is_switched_off() {
    killed_outright_is_switched_off("load");
}

/// And tells it each line as a message of its own.
#[test]
fn killed_outright_a_load_that_takes_messages_is_switched_off() {
    killed_outright_is_switched_off("message-load");
}

fn killed_outright_is_switched_off(kind: &str) {
    let Some(python) = interpreter() else { return };
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("behind.toml");
    let mut load = in_front(&python, kind, "load", &ports, &bench);
    let mut run = Running(
        Command::new(env!("CARGO_BIN_EXE_bufferstop"))
            .env_remove("BUFFERSTOP_BENCH")
            .args(["accept", "--json", "--ready", "--only", "load"])
            .args(["--serial", "D2"])
            .arg(fixture("plan.toml"))
            .arg("--bench")
            .arg(&bench)
            .arg("--out")
            .arg(folder.path().join("reports"))
            .stdout(Stdio::piped())
            .spawn()
            .expect("it starts"),
    );
    let events = BufReader::new(run.0.stdout.take().expect("a pipe"));
    // The step after the one that switched it on.
    let loaded = events
        .lines()
        .map_while(Result::ok)
        .find(|line| line.contains("positive at 1.500 A"));
    assert!(loaded.is_some(), "the run ended before it loaded the board");
    run.0.kill().expect("it can be killed");
    run.0.wait().expect("it is gone");
    std::thread::sleep(Duration::from_secs(1));
    // So that nobody else reads the answer.
    load.0.kill().expect("it can be killed");
    load.0.wait().expect("it is gone");
    assert!(!is_on(port_of("load", &ports), "INP?"), "the load draws on");
}

/// A whole acceptance with a load, a capture device, a switch and a supply that were
/// never met before, all at once: what is decided is what the direct run decides.
#[test]
#[ignore = "two whole runs in the wall's time: scripts/long"]
fn a_whole_acceptance_on_strangers_decides_as_the_direct_run() {
    let Some(python) = interpreter() else { return };
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let direct = folder.path().join("direct.toml");
    std::fs::write(&direct, bench_on(&ports)).expect("a bench file");
    let expected = accepted(&direct);
    let behind = folder.path().join("behind.toml");
    let _others: Vec<Running> = [
        ("load", "load"),
        ("list-scope", "capture"),
        ("relay-card", "switch"),
        ("strict-supply", "supply"),
    ]
    .into_iter()
    .map(|(kind, role)| in_front(&python, kind, role, &ports, &behind))
    .collect();
    let found = accepted(&behind);
    assert!(expected.len() >= 40, "{expected:#?}");
    assert_eq!(found, expected);
}

/// What an acceptance decides of each limit; the soak is left out, which asks nothing
/// of an instrument that other scenarios do not.
fn accepted(bench: &Path) -> BTreeMap<String, String> {
    let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .env_remove("BUFFERSTOP_BENCH")
        .args(["accept", "--json", "--ready", "--serial", "A1"])
        .args(["--without", "soak=takes minutes"])
        .arg(fixture("plan.toml"))
        .arg("--bench")
        .arg(bench)
        .arg("--out")
        .arg(bench.with_extension("reports"))
        .output()
        .expect("the command runs");
    let said = String::from_utf8_lossy(&done.stderr);
    let events = String::from_utf8_lossy(&done.stdout);
    let told = events.lines().filter(|line| line.contains("\"trouble\":{"));
    let told: Vec<&str> = told.collect();
    assert_eq!(done.status.code(), Some(0), "{said}\n{told:#?}");
    let lines = events.lines().map(|line| {
        let event: Value = serde_json::from_str(line).expect("JSON");
        event["event"].clone()
    });
    let decisions = lines.filter_map(|measured| {
        let decision = measured["decision"]["verdict"].as_str()?.to_owned();
        let metric = &measured["metric"];
        let name = format!("{} {} {}", metric["scenario"], metric["key"], metric["at"]);
        Some((name, decision))
    });
    decisions.collect()
}
