//! Benches that can run a part of a plan: what is left out is named, with its
//! reason, in every report, and hinders nothing else.

use assert_cmd::cargo::cargo_bin_cmd;
use serde_json::Value;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

const PLAN: &str = include_str!("../fixtures/demo/plan.toml");
const BENCH: &str = include_str!("../fixtures/demo/bench.toml");

/// The demo's plan with no scenario required, and its bench without switch,
/// console and thermometer.
fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut plan = String::new();
    for line in PLAN.lines() {
        plan += line;
        plan += "\n";
        if line.starts_with("kind = ") {
            plan += "required = false\n";
        }
    }
    let gone = [
        "role = \"switch\"",
        "role = \"console\"",
        "role = \"thermometer\"",
        "[[branch]]",
        "[upstream]",
        "gap current",
        "upstream voltage",
        "carries = \"marker\"",
        "carries = \"pilot\"",
    ];
    let board = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/board.toml");
    let tables = BENCH.split("\n\n");
    let kept = tables.filter(|table| !gone.iter().any(|words| table.contains(words)));
    let bench: Vec<&str> = kept.collect();
    let bench = bench
        .join("\n\n")
        .replace("board.toml", board.to_str().expect("a plain path"));
    std::fs::write(folder.path().join("optional.toml"), plan).expect("a plan");
    std::fs::write(folder.path().join("plan.toml"), PLAN).expect("a plan");
    std::fs::write(folder.path().join("bench.toml"), bench).expect("a bench");
    folder
}

/// Runs the command in `folder`; its status and both of its outputs.
fn run(folder: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let done = cargo_bin_cmd!("bufferstop")
        .env_remove("BUFFERSTOP_BENCH")
        .current_dir(folder)
        .args(arguments)
        .output()
        .expect("the command runs");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (done.status.code(), text(&done.stdout), text(&done.stderr))
}

/// The folder of the only run of `serial`.
fn run_of(folder: &Path, serial: &str) -> PathBuf {
    let board = folder.join("reports").join(serial);
    let mut runs = std::fs::read_dir(board).expect("a folder for the board");
    runs.next().expect("a run").expect("an entry").path()
}

#[test]
fn a_bench_runs_what_it_can_and_says_what_was_not_tested() {
    let folder = folder();
    let (status, shown, said) = run(folder.path(), &["check", "optional.toml", "bench.toml"]);
    assert_eq!(status, Some(0), "{said}");
    assert_eq!(shown.matches("\n  not tested: ").count(), 6);

    let accept = ["accept", "optional.toml", "--bench", "bench.toml"];
    let serial = ["--serial", "P-1"];
    let (status, shown, said) = run(folder.path(), &[accept.as_slice(), &serial].concat());
    assert_eq!(status, Some(0), "{said}");
    assert!(
        shown.contains("MODEL PASS\n  not tested: short ("),
        "{shown}"
    );
    let run_folder = run_of(folder.path(), "P-1");
    let read = |name: &str| std::fs::read_to_string(run_folder.join(name)).expect("a report");
    assert!(read("summary.txt").contains("Not tested: inrush (the bench has no switch"));
    assert!(read("certificate.html").contains("Not tested"));
    let junit = read("junit.xml");
    assert_eq!(junit.matches("<skipped").count(), 6, "{junit}");
    assert!(junit.contains("Not tested: the bench has no console"));
    let record: Value = serde_json::from_str(&read("record.json")).expect("JSON");
    let without = &record["record"]["started"]["without"];
    assert_eq!(without.as_array().map(Vec::len), Some(6), "{without}");

    // Judged again under the same plan, it is what it was.
    let again = ["rejudge", "--all", "--model", "--json"];
    let (status, shown, said) = run(folder.path(), &again);
    assert_eq!(status, Some(0), "{shown}{said}");
}

#[test]
fn a_person_leaves_a_scenario_out_and_says_why() {
    let folder = folder();
    let accept = [
        "accept",
        "plan.toml",
        "--bench",
        "bench.toml",
        "--serial",
        "P-2",
    ];
    let without = |scenarios: &[&str]| {
        let options = scenarios.iter().map(|text| ["--without", *text]);
        let options: Vec<&str> = options.flatten().collect();
        run(folder.path(), &[accept.as_slice(), &options].concat())
    };
    let (status, _, said) = without(&["short"]);
    assert_eq!(status, Some(64), "{said}");
    assert!(said.contains("say why it is left out"), "{said}");
    let (status, _, said) = without(&["shorts=no switch"]);
    assert_eq!(status, Some(64), "{said}");
    assert!(said.contains("the plan has idle, load"), "{said}");
    // The others still need what the bench has not.
    let (status, _, said) = without(&["short=no switch yet"]);
    assert_eq!(status, Some(65), "{said}");
    let (status, shown, said) = without(&[
        "short=no switch yet",
        "reversal=no switch yet",
        "inrush=no switch yet",
        "supply=no switch yet",
        "sense=no console on this board",
        "soak=not in this lot",
    ]);
    assert_eq!(status, Some(0), "{said}");
    assert!(
        shown.contains("not tested: short (no switch yet)"),
        "{shown}"
    );
}

#[test]
fn a_diagnosis_takes_several_scenarios_and_is_not_hindered_by_the_others() {
    let folder = folder();
    let only = ["--only", "sense", "--only", "load"];
    let accept = [
        "accept",
        "plan.toml",
        "--bench",
        "bench.toml",
        "--serial",
        "P-3",
    ];
    let (status, _, said) = run(folder.path(), &[accept.as_slice(), &only].concat());
    assert_eq!(status, Some(65), "{said}");
    assert!(said.contains("no console"), "{said}");
    assert!(!said.contains("near short"), "{said}");
    let only = ["--only", "load", "--only", "idle"];
    let (status, shown, said) = run(folder.path(), &[accept.as_slice(), &only].concat());
    assert_eq!(status, Some(2), "{said}");
    assert!(shown.contains("MODEL DIAGNOSIS PASS"), "{shown}");
    assert!(shown.contains("load  2 of 2"), "{shown}");
}
