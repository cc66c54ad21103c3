//! Whole runs over real pseudo-terminals: the demo's lot, one board, what a
//! seed repeats, and what is left when a run is stopped. The planted defect
//! decides which verdict is expected, not the code that judged.

use assert_cmd::cargo::cargo_bin_cmd;
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use tempfile::TempDir;

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/demo")
        .join(name)
}

fn folder() -> TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

/// Runs one board and returns the exit status and the record.
fn accept(out: &Path, serial: &str, more: &[&str]) -> (i32, Value) {
    let done = cargo_bin_cmd!("bufferstop")
        .env_remove("BUFFERSTOP_BENCH")
        .args(["accept"])
        .arg(fixture("plan.toml"))
        .args(["--serial", serial, "--json", "--out"])
        .arg(out)
        .args(more)
        .output()
        .expect("the command runs");
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(!said.contains("panicked"), "{said}");
    (
        done.status.code().expect("an exit status"),
        record(out, serial),
    )
}

/// The record of the only run of `serial`.
fn record(out: &Path, serial: &str) -> Value {
    let board = out.join(serial);
    let mut runs: Vec<PathBuf> = std::fs::read_dir(&board)
        .expect("a folder for the board")
        .flatten()
        .map(|entry| entry.path())
        .collect();
    runs.sort();
    let run = runs.pop().expect("a run");
    for file in ["junit.xml", "summary.txt"] {
        assert!(
            run.join(file).metadata().is_ok_and(|m| m.len() > 100),
            "{file} is missing"
        );
    }
    let text = std::fs::read_to_string(run.join("record.json")).expect("a record");
    let document: Value = serde_json::from_str(&text).expect("a record is JSON");
    document["record"].clone()
}

/// Keys of the metrics that failed.
fn failed(record: &Value) -> Vec<String> {
    let scenarios = record["scenarios"].as_array().expect("scenarios");
    let mut keys: Vec<String> = scenarios
        .iter()
        .flat_map(|scenario| scenario["metrics"].as_array().expect("metrics"))
        .filter(|judged| judged["decision"]["verdict"] == "fail")
        .map(|judged| judged["metric"]["key"].as_str().expect("a key").to_owned())
        .collect();
    keys.sort();
    keys.dedup();
    keys
}

#[test]
fn the_demo_fails_exactly_the_two_defective_boards() {
    let out = folder();
    let done = cargo_bin_cmd!("bufferstop")
        .args(["demo", "--out"])
        .arg(out.path())
        .output()
        .expect("the demo runs");
    let said = String::from_utf8_lossy(&done.stdout);
    assert_eq!(
        done.status.code(),
        Some(0),
        "{said}\n{}",
        String::from_utf8_lossy(&done.stderr)
    );
    let mut boards = Vec::new();
    for entry in std::fs::read_dir(out.path())
        .expect("the reports")
        .flatten()
    {
        if entry.path().is_dir() {
            let serial = entry
                .file_name()
                .into_string()
                .expect("a serial number is plain");
            boards.push((serial.clone(), record(out.path(), &serial)));
        }
    }
    boards.sort_by(|a, b| a.0.cmp(&b.0));
    assert_eq!(boards.len(), 12);
    let bad: Vec<usize> = boards
        .iter()
        .enumerate()
        .filter(|(_, (_, r))| r["ended"]["verdict"] == "fail")
        .map(|b| b.0 + 1)
        .collect();
    assert_eq!(bad, [5, 9], "{said}");
    let good = boards
        .iter()
        .filter(|(_, record)| record["ended"]["verdict"] == "pass")
        .count();
    assert_eq!(good, 10, "{said}");
    // Board 5 trips slowly, board 9 has a cold joint in its output.
    assert!(
        failed(&boards[4].1).contains(&"trip_time".to_owned()),
        "{:?}",
        failed(&boards[4].1)
    );
    assert!(
        failed(&boards[8].1).contains(&"output_resistance".to_owned()),
        "{:?}",
        failed(&boards[8].1)
    );
}

#[test]
fn a_seed_and_a_serial_number_repeat_the_measurement() {
    let (first, second) = (folder(), folder());
    // The board is the one of its serial number, in any store.
    let digest = |out: &Path, serial: &str, seed: &str| {
        let (status, record) = accept(out, serial, &["--seed", seed]);
        assert_eq!(status, 0, "{record:#}");
        record["ended"]["measurement"]
            .as_str()
            .expect("a digest")
            .to_owned()
    };
    let one = digest(first.path(), "A1", "7");
    assert_eq!(one, digest(second.path(), "A1", "7"));
    assert_ne!(one, digest(second.path(), "A1", "8"));
    assert_ne!(one, digest(second.path(), "A2", "7"));
}

#[test]
fn a_model_run_never_reads_like_a_real_one() {
    let out = folder();
    let (status, record) = accept(out.path(), "A1", &[]);
    assert_eq!(status, 0);
    assert_eq!(record["started"]["model"], true);
    assert!(out.path().join("model.sqlite").exists());
    assert!(
        !out.path().join("records.sqlite").exists(),
        "a model run got into the real boards' store"
    );
}

#[test]
fn only_one_scenario_accepts_nothing() {
    let out = folder();
    let (status, record) = accept(out.path(), "A1", &["--only", "load"]);
    assert_eq!(status, 2, "{record:#}");
}

/// A person presses Ctrl-C twice: the bench is still made safe, once, and the
/// record says so.
#[test]
fn interrupted_twice_the_bench_is_still_made_safe() {
    let out = folder();
    let mut child = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .env_remove("BUFFERSTOP_BENCH")
        .args(["accept"])
        .arg(fixture("plan.toml"))
        .args(["--serial", "A1", "--json", "--out"])
        .arg(out.path())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the command starts");
    let mut lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
    let interrupt = |id: u32| {
        let done = Command::new("kill")
            .args(["-INT", &id.to_string()])
            .status()
            .expect("kill runs");
        assert!(done.success());
    };
    let energising = lines
        .by_ref()
        .map_while(Result::ok)
        .find(|line| line.contains("\"energises\":true"));
    assert!(
        energising.is_some(),
        "the run ended before it energised anything"
    );
    interrupt(child.id());
    // The second may come too late to find the process: that is no failure.
    let _ = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status();
    let rest: Vec<String> = lines.map_while(Result::ok).collect();
    let status = child.wait().expect("the command ends").code();
    let record = record(out.path(), "A1");
    // A run on the model bench may be over before the signal arrives.
    if record["ended"]["abort"].is_null() {
        assert_eq!(status, Some(0));
        return;
    }
    assert_eq!(status, Some(2));
    assert_eq!(record["ended"]["abort"], "operator");
    assert_eq!(
        rest.iter()
            .filter(|line| line.contains("\"made_safe\""))
            .count(),
        1,
        "{rest:#?}"
    );
    assert_eq!(record["safety"][0]["safe"], true, "{record:#}");
}

/// Value and U of each metric of a diagnosis of `sense` alone, on a board whose
/// model has this changed.
fn sensed(change: &str) -> Vec<(String, f64, f64)> {
    let out = folder();
    let text = std::fs::read_to_string(fixture("board.toml")).expect("the demo's board");
    let nominal = format!("[nominal]\n{change}");
    let board = out.path().join("board.toml");
    std::fs::write(&board, text.replacen("[nominal]", &nominal, 1)).expect("a board file");
    let board = board.to_string_lossy().into_owned();
    let more = ["--only", "sense", "--seed", "3", "--model-board", &board];
    let (status, record) = accept(out.path(), "A1", &more);
    assert_eq!(status, if change.is_empty() { 2 } else { 1 }, "{record:#}");
    let metrics = record["scenarios"][0]["metrics"].as_array();
    let found = metrics.expect("metrics").iter().map(|judged| {
        let metric = &judged["metric"];
        let number = |key: &str| metric["finding"][key].as_f64().expect("a value");
        let key = metric["key"].as_str().expect("a key").to_owned();
        (key, number("value"), 2.0 * number("u"))
    });
    found.collect()
}

/// Gain and offset of the model's sensor move the metrics that they must, by
/// as much as they must, and no others. With 3.3 V over 4096 counts behind
/// 0.25 V/A one count is 3.2227 mA.
#[test]
fn what_is_wrong_with_the_sensor_shows_in_its_own_metric() {
    let plain = sensed("");
    let keys: Vec<&str> = plain.iter().map(|m| m.0.as_str()).collect();
    let all = ["scale_factor", "zero_offset", "non_linearity", "full_scale"];
    assert_eq!(keys, all);
    // Parts spread by 0.8 %, and U.
    assert!((plain[0].1 - 3.2227e-3).abs() < 3.0 * 0.008 * 3.2227e-3 + plain[0].2);
    // A tenth more gain: a tenth more counts for an ampere.
    let gained = sensed("sense_gain = \"0.275 ohm\"\n");
    let ratio = |at: usize| gained[at].1 / plain[at].1;
    assert!((ratio(0) * 1.1 - 1.0).abs() < 0.005, "{gained:?}");
    assert!((ratio(3) * 1.1 - 1.0).abs() < 0.005, "{gained:?}");
    assert!((gained[1].1 - plain[1].1).abs() < 10e-3, "{gained:?}");
    assert!((gained[2].1 - plain[2].1).abs() < 10e-3, "{gained:?}");
    // 50 mV behind 0.25 V/A are 200 mA.
    let shifted = sensed("sense_offset = \"50 mV\"\n");
    let moved = shifted[1].1 - plain[1].1;
    assert!((moved - 0.2).abs() < 10e-3, "{shifted:?}");
    assert!(
        (shifted[0].1 / plain[0].1 - 1.0).abs() < 0.005,
        "{shifted:?}"
    );
    assert!((shifted[2].1 - plain[2].1).abs() < 10e-3, "{shifted:?}");
}
