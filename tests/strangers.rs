//! An instrument that was never met before, with a dialect of its own, simulated
//! by a program in another language that shares no code with the model
//! instruments. It stands before the model circuit, so a run on it must give what
//! a run on the model instrument gives, within the uncertainty of both.

use super::guardian::{Running, bench_on, fixture, serve};
use super::python::{interpreter, script};
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

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
        .args(["accept", "--json", "--serial", "D1", "--only", "load"])
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

#[test]
fn a_load_behind_a_socket_needs_a_profile_and_no_code() {
    let Some(python) = interpreter() else { return };
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let direct = folder.path().join("direct.toml");
    std::fs::write(&direct, bench_on(&ports)).expect("a bench file");
    let expected = measured(&direct);

    let list = ports["ports"].as_array().expect("a list");
    let load = list.iter().find(|port| port["role"] == "load");
    let path = load.expect("a load")["path"].as_str().expect("a path");
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
    std::fs::write(folder.path().join("load.toml"), PROFILE).expect("a profile");
    let socket = format!("tcp = \"127.0.0.1:{}\"", number.trim());
    let text = bench_on(&ports).replacen(&format!("path = \"{path}\""), &socket, 1);
    let text = text.replacen("profile = \"load\"", "profile = \"load.toml\"", 1);
    let behind = folder.path().join("behind.toml");
    std::fs::write(&behind, text).expect("a bench file");
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
