//! What a figure marks is what its metric was read at: over several seeds, for
//! the capture that decided the metric, and for records that were written
//! before metrics had marks.

use crate::records::{Shelf, fixture};
use bufferstop::digest::Digest;
use bufferstop::units::{Dimension, show};
use regex_lite::Regex;
use serde_json::Value;

fn accept(shelf: &Shelf, plan: &str, serial: &str, only: &str, seed: u32) {
    let seed = seed.to_string();
    let words = ["accept", plan, "--serial", serial, "--only", only];
    let words: Vec<&str> = words.into_iter().chain(["--seed", &seed]).collect();
    let (status, said) = shelf.says(&words);
    assert!([1, 2].contains(&status), "a diagnosis: {status}\n{said}");
}

/// The words of every figure of the board's certificate.
fn figures(shelf: &Shelf, serial: &str) -> Vec<String> {
    let file = format!("{serial}.html");
    let words = ["records", "certificate", serial, "--model"];
    let words: Vec<&str> = words.into_iter().chain(["--out-file", &file]).collect();
    let (status, said) = shelf.says(&words);
    assert_eq!(status, 0, "{said}");
    let page = std::fs::read_to_string(shelf.path(&file)).expect("a page");
    let label = Regex::new(r#"aria-label="([^"]*)""#).expect("a sound pattern");
    let labels = label.captures_iter(&page);
    labels.map(|found| found[1].to_owned()).collect()
}

/// The metrics of the board's run.
fn metrics(shelf: &Shelf, serial: &str) -> Vec<Value> {
    let (_, shown) = shelf.json(&["records", "show", serial, "--model"]);
    let scenarios = shown["record"]["scenarios"].as_array().expect("scenarios");
    let metrics = scenarios.iter().flat_map(|s| s["metrics"].as_array());
    metrics.flatten().map(|m| m["metric"].clone()).collect()
}

fn mark(metric: &Value, what: &str) -> f64 {
    let marks = metric["evidence"]["marks"].as_array().expect("marks");
    let found = marks.iter().find(|mark| mark["what"] == what);
    let at = found.and_then(|mark| mark["at"]["value"].as_f64());
    at.unwrap_or_else(|| panic!("no {what}: {metric}"))
}

/// Each figure of a fault states its metric's own instants, and the table
/// states the same number.
#[test]
fn figures_show_what_their_metrics_were_read_at() {
    let shelf = Shelf::new();
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain path");
    let mut decided = Vec::new();
    for seed in 1..=4 {
        for (only, key, figure, instants) in [
            ("short", "trip_time", "Short, AT", ["onset", "interruption"]),
            (
                "reversal",
                "trip_time",
                "Reversal: true short",
                ["onset", "interruption"],
            ),
            (
                "reversal",
                "reversal_time",
                "Reversal: gap closed, AT",
                ["closing", "reversal"],
            ),
        ] {
            let serial = format!("{only}-{seed}");
            if key == "trip_time" {
                accept(&shelf, plan, &serial, only, seed);
            }
            let figures = figures(&shelf, &serial);
            let found = metrics(&shelf, &serial);
            let found = found.iter().filter(|metric| metric["key"] == key);
            for metric in found.filter(|metric| metric["at"] != "back") {
                let at = metric["at"].as_str().expect("a place");
                let figure = figure.replace("AT", at);
                let mut drawn = figures.iter().filter(|words| words.starts_with(&figure));
                let drawn = drawn
                    .next()
                    .unwrap_or_else(|| panic!("{figure}: {figures:?}"));
                let [from, to] = instants.map(|what| mark(metric, what));
                let span = metric["finding"]["value"].as_f64().expect("a value");
                assert!((to - from - span).abs() < 1e-12, "{metric}");
                let [first, second] = instants;
                let wanted = format!(
                    "; marked: {first}, {second} {} after {first}",
                    show(to - from, Dimension::Time)
                );
                assert!(drawn.contains(&wanted), "{drawn}, not{wanted}");
                decided.push(drawn.clone());
            }
        }
    }
    // Of two repeats now the one is the worse, now the other.
    for which in ["(1 of 2)", "(2 of 2)"] {
        assert!(
            decided.iter().any(|words| words.contains(which)),
            "{decided:?}"
        );
    }
}

/// A record as it was written before metrics had marks, under a plan that
/// extends four others: its certificate has the figures that it would have with
/// them, and its chain holds.
#[test]
fn a_record_without_marks_is_evaluated_again() {
    let shelf = Shelf::new();
    let text = std::fs::read_to_string(fixture("plan.toml")).expect("the demo's plan");
    std::fs::write(shelf.path("plan-0.toml"), text).expect("room");
    for depth in 1..=4 {
        let text = format!("format = 1\nextends = \"plan-{}.toml\"\n", depth - 1);
        std::fs::write(shelf.path(&format!("plan-{depth}.toml")), text).expect("room");
    }
    accept(&shelf, "plan-4.toml", "A1", "short", 1);
    let words = ["records", "backup", "copy.sqlite", "--model"];
    assert_eq!(shelf.says(&words).0, 0);
    let with_marks = figures(&shelf, "A1");
    for ending in ["-wal", "-shm"] {
        let _ = std::fs::remove_file(shelf.path(&format!("reports/model.sqlite{ending}")));
    }
    std::fs::copy(
        shelf.path("copy.sqlite"),
        shelf.path("reports/model.sqlite"),
    )
    .expect("room");
    assert!(without_marks(&shelf) > 3);
    let bare = metrics(&shelf, "A1");
    assert!(bare.iter().all(|metric| metric.get("evidence").is_none()));
    let (status, said) = shelf.says(&["records", "verify", "--model"]);
    assert_eq!(status, 0, "{said}");
    let again = figures(&shelf, "A1");
    assert!(
        again.iter().any(|words| words.contains("interruption")),
        "{again:?}"
    );
    assert_eq!(again, with_marks);
}

/// Takes the marks out of every line of the store and links the lines again;
/// says how many had some.
fn without_marks(shelf: &Shelf) -> usize {
    let marks = Regex::new(r#","evidence":\{[^\[]*\[[^\]]*\]\}"#).expect("a sound pattern");
    let store = rusqlite::Connection::open(shelf.path("reports/model.sqlite")).expect("the store");
    let mut lines = store.prepare("SELECT position, text FROM lines ORDER BY position");
    let lines = lines.as_mut().expect("a table");
    let lines = lines.query_map([], |row| Ok((row.get(0)?, row.get(1)?)));
    let lines: Result<Vec<(i64, String)>, _> = lines.expect("rows").collect();
    let mut link = "0".repeat(64);
    let mut taken = 0;
    for (position, text) in lines.expect("lines") {
        let bare = marks.replace_all(&text, "");
        taken += usize::from(bare != text);
        link = Digest::of(format!("{link}\n{bare}").as_bytes()).to_string();
        let update = "UPDATE lines SET text = ?2, link = ?3 WHERE position = ?1";
        let done = store.execute(update, rusqlite::params![position, bare.as_ref(), link]);
        assert_eq!(done, Ok(1));
    }
    taken
}
