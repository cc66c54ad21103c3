//! Ports that are there and are not what the bench file says: silent, busy, or
//! with another instrument behind them. Each ends with one clear message and
//! status 69, and energises nothing.

use super::guardian::{bench_on, fixture, output_is_on, serve};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use serde_json::Value;
use std::path::Path;
use std::process::Command;

/// Runs a board on `ports`; the status and what was said.
fn accept(folder: &Path, ports: &Value, more: &[&str]) -> (Option<i32>, String) {
    let bench = folder.join("bench.toml");
    std::fs::write(&bench, bench_on(ports)).expect("a bench file");
    let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .env_remove("BUFFERSTOP_BENCH")
        .arg("accept")
        .arg(fixture("plan.toml"))
        .args(["--serial", "P1", "--bench"])
        .arg(&bench)
        .arg("--out")
        .arg(folder.join("reports"))
        .args(more)
        .output()
        .expect("the command runs");
    (
        done.status.code(),
        String::from_utf8_lossy(&done.stderr).into_owned(),
    )
}

/// A scenario over ports that are real to the program, at the wall's pace.
#[test]
fn a_scenario_runs_at_the_walls_pace() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (status, said) = accept(folder.path(), &ports, &["--only", "load"]);
    // A diagnosis never accepts, so a board that passes it ends with 2.
    assert_eq!(status, Some(2), "{said}");
    let runs = folder.path().join("reports/P1");
    let run = std::fs::read_dir(runs)
        .expect("a folder for the board")
        .flatten()
        .next();
    let record = run.expect("a run").path().join("record.json");
    let text = std::fs::read_to_string(record).expect("a record");
    let document: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(document["verdict"], "pass", "{document:#}");
    assert_eq!(document["record"]["started"]["model"], false);
}

fn path_of<'a>(ports: &'a Value, role: &str) -> &'a str {
    let list = ports["ports"].as_array().expect("a list");
    let port = list.iter().find(|port| port["role"] == role);
    port.expect("that role")["path"].as_str().expect("a path")
}

fn replace(ports: &mut Value, role: &str, path: &str) {
    let list = ports["ports"].as_array_mut().expect("a list");
    let port = list.iter_mut().find(|port| port["role"] == role);
    port.expect("that role")["path"] = path.into();
}

#[test]
fn another_instrument_than_the_profiles_is_refused() {
    let (_served, mut ports) = serve();
    let (supply, load) = (
        path_of(&ports, "supply").to_owned(),
        path_of(&ports, "load").to_owned(),
    );
    replace(&mut ports, "supply", &load);
    replace(&mut ports, "load", &supply);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (status, said) = accept(folder.path(), &ports, &[]);
    assert_eq!(status, Some(69), "{said}");
    assert!(said.contains("BUFFERSTOP MODEL,LOAD"), "{said}");
    assert!(!output_is_on(&supply), "something was energised");
}

#[test]
fn a_silent_instrument_is_named() {
    let (_served, mut ports) = serve();
    let far = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)
        .expect("a pseudo-terminal");
    grantpt(&far).expect("granted");
    unlockpt(&far).expect("unlocked");
    let path = ptsname(&far, Vec::new())
        .expect("a name")
        .into_string()
        .expect("a plain name");
    replace(&mut ports, "load", &path);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (status, said) = accept(folder.path(), &ports, &[]);
    assert_eq!(status, Some(69), "{said}");
    assert!(said.contains("load"), "{said}");
    assert!(
        !output_is_on(path_of(&ports, "supply")),
        "something was energised"
    );
}

#[test]
fn a_port_that_somebody_else_holds_is_named() {
    let (_served, ports) = serve();
    let path = path_of(&ports, "load");
    let _holder = serialport::new(path, 115_200)
        .open()
        .expect("the port opens once");
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (status, said) = accept(folder.path(), &ports, &[]);
    assert_eq!(status, Some(69), "{said}");
    assert!(said.contains(path), "{said}");
    assert!(
        !output_is_on(path_of(&ports, "supply")),
        "something was energised"
    );
}
