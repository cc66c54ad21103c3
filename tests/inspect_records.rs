//! Captures of our own records inspected again: out of the store, out of the
//! file that hands a run out, and as a table that any scope could have written.
//! What the run's record says of the same capture is what must come out.

use crate::inspect::inspect;
use crate::records::{Shelf, fixture};
use serde_json::Value;
use std::fmt::Write as _;

/// One scenario of the demo's plan on a sound model board.
fn accept(shelf: &Shelf, serial: &str, scenario: &str) {
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain path");
    let words = ["accept", plan, "--serial", serial, "--only", scenario];
    // A diagnosis accepts nothing.
    assert_eq!(shelf.command(&words).status.code(), Some(2));
}

/// The captures that the command lists where none is named.
fn takes(shelf: &Shelf, which: &str, more: &[&str]) -> Vec<String> {
    let words: Vec<&str> = ["inspect", which]
        .into_iter()
        .chain(more.iter().copied())
        .collect();
    let done = shelf.command(&words);
    assert_eq!(done.status.code(), Some(64));
    let said = String::from_utf8(done.stderr).expect("UTF-8");
    let lines = said.lines().filter_map(|line| {
        let (number, label) = line.trim().split_once("  ")?;
        number.parse::<usize>().ok().map(|_| label.to_owned())
    });
    lines.collect()
}

/// A metric of the record by scenario kind, key and place.
fn recorded(record: &Value, key: &str, at: &str) -> (f64, f64) {
    let scenarios = record["record"]["scenarios"].as_array().expect("scenarios");
    let metrics = scenarios
        .iter()
        .flat_map(|s| s["metrics"].as_array().expect("metrics"));
    let found = metrics
        .map(|judged| &judged["metric"])
        .find(|metric| metric["key"] == key && metric["at"] == at)
        .unwrap_or_else(|| panic!("no {key} at {at}"));
    estimate(&found["finding"])
}

/// Value and u, however deep the estimate lies.
fn estimate(value: &Value) -> (f64, f64) {
    match (value["value"].as_f64(), value["u"].as_f64()) {
        (Some(number), Some(u)) => (number, u),
        _ => {
            let inner = value
                .as_object()
                .and_then(|object| object.values().find(|v| v.is_object()));
            estimate(inner.unwrap_or_else(|| panic!("no estimate: {value}")))
        }
    }
}

#[test]
fn a_signal_of_a_run_is_inspected_out_of_store_and_file() {
    let shelf = Shelf::new();
    accept(&shelf, "S1", "signal");
    let takes = takes(&shelf, "S1", &["--model"]);
    assert!(
        takes.len() > 1 && takes.iter().any(|t| t.contains("no load")),
        "{takes:?}"
    );
    let number = takes
        .iter()
        .position(|t| t.contains("no load"))
        .expect("listed")
        + 1;
    let number = number.to_string();
    let (status, told) = shelf.json(&["inspect", "S1", "--model", "--select", &number]);
    assert!(status == 0 || status == 2, "{status} {}", told["rules"]);
    let (_, record) = shelf.json(&["records", "show", "S1", "--model"]);
    let (amplitude, u) = recorded(&record, "amplitude", "no load, mean");
    let again = &told["signal"]["levels"]["amplitude"];
    let (again, again_u) = estimate(again);
    assert!((again - amplitude).abs() < 1e-9 && (again_u - u).abs() < 1e-9);
    let (half, u) = recorded(&record, "half_bit_of_a_one", "no load, mean");
    let (again, _) = estimate(&told["signal"]["ones"]["all"]["mean"]);
    assert!((again - half).abs() <= u, "{again} {half}");

    let file = shelf.path("S1.json");
    let place = file.to_str().expect("UTF-8");
    let (status, _) = shelf.says(&["records", "export", "S1", "--model", "--file", place]);
    assert_eq!(status, 0);
    let handed = inspect(&file, &["--select", &number]);
    assert_eq!(handed.json["signal"], told["signal"], "{}", handed.said);
    // A file in which a number of the record was changed is no evidence.
    let text = std::fs::read_to_string(&file).expect("the file");
    let altered = text.replacen("S1", "S2", 1);
    assert_ne!(text, altered);
    std::fs::write(&file, altered).expect("written");
    let handed = inspect(&file, &["--select", &number]);
    assert_eq!(handed.status, 65, "{}", handed.said);
    assert_eq!(
        shelf.command(&["inspect", "S9", "--model"]).status.code(),
        Some(64)
    );
}

#[test]
fn a_short_is_inspected_as_it_was_judged_and_as_a_table() {
    let shelf = Shelf::new();
    accept(&shelf, "K1", "short");
    let takes = takes(&shelf, "K1", &["--model"]);
    let (_, record) = shelf.json(&["records", "show", "K1", "--model"]);
    let (time, u) = recorded(&record, "trip_time", "near");
    let words = |take: &'static str| {
        [
            "inspect", "K1", "--model", "--onset", "4 A", "--select", take,
        ]
    };
    // The run judges the worst of its repeats.
    let seen = (1..=takes.len()).filter_map(|number| {
        let number: &'static str = number.to_string().leak();
        let (_, told) = shelf.json(&words(number));
        let trip = &told["trip"];
        trip["trip_time"]
            .is_object()
            .then(|| estimate(&trip["trip_time"]))
    });
    let seen: Vec<(f64, f64)> = seen.collect();
    assert!(
        seen.iter()
            .any(|(again, _)| (again - time).abs() <= 2.0 * u + 1e-9),
        "{time} {u} {seen:?} {takes:?}"
    );

    // 25 A at once for 7.4 ms, half-bits of 58 us: as a scope would save it.
    let mut text = String::from("time (us),track (V),coil (A)\n");
    for index in 0..20_000 {
        let t = f64::from(index) - 2_000.0;
        let sign = if (t / 58.0).floor() % 2.0 == 0.0 {
            1.0
        } else {
            -1.0
        };
        let on = (0.0..7_400.0).contains(&t);
        let (volts, amperes) = if on { (1.0, 25.0) } else { (18.0, 0.0) };
        let _ = writeln!(text, "{t},{},{}", sign * volts, sign * amperes);
    }
    let path = shelf.path("short.csv");
    std::fs::write(&path, text).expect("written");
    let told = inspect(&path, &["--current", "coil", "--onset", "4 A"]);
    let (time, u) = estimate(&told.json["trip"]["trip_time"]);
    assert!((time - 7.4e-3).abs() <= 2.0 * u.max(0.5e-6), "{time} {u}");
    let (peak, _) = estimate(&told.json["trip"]["peak"]);
    assert!((peak - 25.0).abs() < 1e-9);
    // i2t = 25 A squared over 7.4 ms.
    let (through, _) = estimate(&told.json["trip"]["let_through"]);
    assert!((through / (625.0 * 7.4e-3) - 1.0).abs() < 1e-3, "{through}");
}
