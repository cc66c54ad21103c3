//! A bench that was left on, seen from outside: three programs after one another on
//! instruments that do not call themselves models, one of which does not switch off.

use super::guardian::{Running, bench_on, fixture, serve};
use super::python::{interpreter, script};
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

/// The profile of `role` for an instrument of that other name.
fn profile(role: &str) -> String {
    let shipped = bufferstop::profile::shipped_source(role).expect("it comes with the program");
    shipped.text.replace("BUFFERSTOP MODEL", "WORKSHOP OWN ONE")
}

/// The bench file of those `ports`, with its profiles beside it.
fn bench(folder: &Path, ports: &Value) -> std::path::PathBuf {
    let mut text = bench_on(ports);
    for port in ports["ports"].as_array().expect("a list") {
        let role = port["role"].as_str().expect("a word");
        std::fs::write(folder.join(format!("{role}.toml")), profile(role)).expect("room");
        let (shipped, own) = (
            format!("profile = \"{role}\""),
            format!("profile = \"{role}.toml\""),
        );
        text = text.replacen(&shipped, &own, 1);
    }
    let path = folder.join("bench.toml");
    std::fs::write(&path, text).expect("room");
    path
}

fn said(folder: &Path, words: &[&str]) -> (Option<i32>, String) {
    let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .env_remove("BUFFERSTOP_BENCH")
        .current_dir(folder)
        .args(words)
        .output()
        .expect("the command runs");
    let both = [done.stdout, done.stderr].concat();
    (
        done.status.code(),
        String::from_utf8_lossy(&both).into_owned(),
    )
}

#[test]
fn the_next_program_energises_nothing_until_somebody_has_looked() {
    let Some(python) = interpreter() else { return };
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let started = Command::new(python)
        .arg(script("renamed_bench.py"))
        .arg(folder.path())
        .arg(ports.to_string())
        .stdout(Stdio::piped())
        .spawn();
    let mut other = Running(started.expect("Python starts"));
    let mut line = String::new();
    BufReader::new(other.0.stdout.take().expect("a pipe"))
        .read_line(&mut line)
        .expect("it says where it is");
    let ports: Value = serde_json::from_str(&line).expect("JSON");
    let bench = bench(folder.path(), &ports);
    let (plan, bench) = (fixture("plan.toml"), bench.display().to_string());
    let plan = plan.to_str().expect("a plain path");
    let accept = |serial: &str| {
        let words = ["accept", plan, "--serial", serial, "--only", "idle"];
        let more = ["--ready", "--bench", &bench];
        said(folder.path(), &[&words[..], &more].concat())
    };

    std::fs::write(folder.path().join("welded"), "").expect("room");
    let (status, left) = accept("L1");
    assert_eq!(status, Some(69), "{left}");
    assert!(left.contains("NOT PROVEN SAFE"), "{left}");
    std::fs::remove_file(folder.path().join("welded")).expect("it was there");

    let (status, refused) = accept("L2");
    assert_eq!(status, Some(69), "{refused}");
    assert!(refused.contains("nothing is energised"), "{refused}");
    assert!(!refused.contains("idle  1 of 1"), "{refused}");

    let note = ["records", "note", "L1", "switched off by hand"];
    let by = ["--author", "J. Doe", "--bench-is-off"];
    let (status, noted) = said(folder.path(), &[&note[..], &by].concat());
    assert_eq!(status, Some(0), "{noted}");
    let (status, again) = accept("L3");
    // A diagnosis that passes ends with 2.
    assert_eq!(status, Some(2), "{again}");
    assert!(again.contains("DIAGNOSIS PASS"), "{again}");
}
