//! An instrument that was never met before, with a dialect of its own, simulated
//! by a program in another language that shares no code with the model
//! instruments. It stands before the model circuit, so a run on it must give what
//! a run on the model instrument gives, within the uncertainty of both.

use super::guardian::{Running, bench_on, fixture, is_on, serve};
use super::python::{interpreter, script};
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

const PROFILE: &str = r#"
format = 1

[profile]
name = "load with a dialect of its own"
role = "load"
identifies_as = '^BENCH LOAD 3,'

[line]
speed = 115200
ending = "\r\n"
processing = "1 ms"
dtr = true

[commands]
identify = "WHO"
operation = "BUSY?"
constant_current = "CC"
constant_resistance = "CR"
set_current = "AMPS {amperes}"
set_resistance = "OHMS {ohms}"
input_on = "GO"
input_off = "REST"
pulse = "PULSE {amperes}/{seconds}"
ramp = "RAMP {from_amperes}/{to_amperes}/{seconds}"
stop = "HALT"
measure_voltage = "U?"
measure_current = "I?"

[reply.measure_current]
pattern = '^I=(?<value>.*)$'

[reply.operation]
words = { READY = 0, WORKING = 8 }

[safety]
abandon = "\r\n"
make_safe = ["HALT", "REST"]

[operation]
running = 8

[range]
voltage = "60 V"
current = "30 A"
power = "300 W"
minimum_voltage = "1 V"

[accuracy.measure_voltage]
reading = "0.05 %"
fixed = "10 mV"
resolution = "1 mV"
integration = "20 ms"

[accuracy.measure_current]
reading = "0.1 %"
fixed = "10 mA"
resolution = "1 mA"
integration = "20 ms"

[accuracy.set_current]
reading = "0.1 %"
fixed = "10 mA"
resolution = "1 mA"
"#;

/// Every value that a run of `load` measured, with its expanded uncertainty.
fn measured(bench: &Path) -> BTreeMap<String, (f64, f64)> {
    let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .env_remove("BUFFERSTOP_BENCH")
        .args(["accept", "--json", "--ready", "--only", "load"])
        .args(["--serial", "D1"])
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
        event["event"]["metric"].clone()
    });
    let values = lines.filter_map(|metric| {
        let finding = &metric["finding"];
        let (value, u) = (finding["value"].as_f64()?, finding["u"].as_f64()?);
        let name = format!("{} {}", metric["key"], metric["at"]);
        Some((name, (value, 2.0 * u)))
    });
    values.collect()
}

/// The other load in front of the model one, and at `bench` the file of a bench
/// that reaches it by its socket.
fn other_load(python: &Path, ports: &Value, bench: &Path) -> Running {
    let path = load_port(ports);
    let mut other = Running(
        Command::new(python)
            .arg(script("other_load.py"))
            .arg(path)
            .stdout(Stdio::piped())
            .spawn()
            .expect("Python starts"),
    );
    let mut number = String::new();
    BufReader::new(other.0.stdout.take().expect("a pipe"))
        .read_line(&mut number)
        .expect("it names its socket");
    std::fs::write(bench.with_file_name("load.toml"), PROFILE).expect("a profile");
    // A name with addresses of two kinds, at one of which nobody listens.
    let socket = format!("tcp = \"localhost:{}\"", number.trim());
    let text = bench_on(ports).replacen(&format!("path = \"{path}\""), &socket, 1);
    let text = text.replacen("profile = \"load\"", "profile = \"load.toml\"", 1);
    std::fs::write(bench, text).expect("a bench file");
    other
}

fn load_port(ports: &Value) -> &str {
    let list = ports["ports"].as_array().expect("a list");
    let load = list.iter().find(|port| port["role"] == "load");
    load.expect("a load")["path"].as_str().expect("a path")
}

#[test]
fn a_load_behind_a_socket_needs_a_profile_and_no_code() {
    let Some(python) = interpreter() else { return };
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let direct = folder.path().join("direct.toml");
    std::fs::write(&direct, bench_on(&ports)).expect("a bench file");
    let expected = measured(&direct);

    let behind = folder.path().join("behind.toml");
    let _load = other_load(&python, &ports, &behind);
    let found = measured(&behind);

    assert!(expected.len() > 15, "{expected:#?}");
    let names = |values: &BTreeMap<String, _>| values.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&found), names(&expected));
    for (name, (value, u)) in &expected {
        // Of an alternating output it hangs on where samples fall on the edges:
        // no two captures agree.
        if name == "\"ripple\" \"alternating\"" {
            continue;
        }
        let (other, other_u) = found[name];
        assert!(
            (value - other).abs() <= u + other_u,
            "{name}: {value} +- {u} directly, {other} +- {other_u} behind the socket"
        );
    }
}

/// The guardian has the socket as well.
#[test]
fn killed_outright_a_load_behind_a_socket_is_switched_off() {
    let Some(python) = interpreter() else { return };
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("behind.toml");
    let mut load = other_load(&python, &ports, &bench);
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
    assert!(!is_on(load_port(&ports), "INP?"), "the load draws on");
}
