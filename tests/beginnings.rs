//! From an empty folder to a first board: files that `new` writes are sound, together
//! as well; a trial enters no lot; a board's history is told in one view.

use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

fn run(folder: &Path, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .env_remove("BUFFERSTOP_BENCH")
        .current_dir(folder)
        .args(words)
        .stdin(std::process::Stdio::null())
        .output()
        .expect("the command runs")
}

fn said(done: &Output) -> String {
    let (out, err) = (&done.stdout, &done.stderr);
    format!(
        "{}{}",
        String::from_utf8_lossy(out),
        String::from_utf8_lossy(err)
    )
}

#[track_caller]
fn ends(folder: &Path, words: &[&str], status: i32) -> String {
    let done = run(folder, words);
    let said = said(&done);
    assert_eq!(done.status.code(), Some(status), "{words:?}: {said}");
    said
}

/// What a small board is, as options.
const BOARD: [&str; 6] = [
    "--rated-current",
    "2 A",
    "--trip-current",
    "3 A",
    "--voltage",
    "16 V",
];

/// Its plan, as `new` writes it.
fn begin_plan(here: &Path) {
    let plan = ["new", "plan", "plan.toml"];
    ends(here, &[&plan[..], &BOARD].concat(), 0);
}

#[test]
fn from_an_empty_folder_to_a_first_board() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let here = folder.path();
    begin_plan(here);
    let safety = [
        "--emergency-stop",
        "red button, cuts the mains",
        "--supply-fuse",
        "10 A",
    ];
    ends(
        here,
        &[
            &["new", "bench", "bench.toml", "--voltage", "16 V"][..],
            &safety,
        ]
        .concat(),
        0,
    );
    // Nobody makes up an emergency stop.
    let refused = ends(here, &["new", "bench", "b.toml"], 64);
    assert!(refused.contains("emergency stop"), "{refused}");
    ends(
        here,
        &["new", "profile", "own-load.toml", "--role", "load"],
        0,
    );
    ends(
        here,
        &[&["new", "board", "board.toml"][..], &BOARD].concat(),
        0,
    );
    ends(here, &["new", "lot", "lot.toml", "--name", "L-1"], 0);
    let files = [
        "plan.toml",
        "bench.toml",
        "own-load.toml",
        "board.toml",
        "lot.toml",
    ];
    for file in files {
        let sound = ends(here, &["check", file], 0);
        assert!(sound.contains("sound"), "{file}: {sound}");
    }
    ends(here, &["check", "plan.toml", "bench.toml"], 0);
    // What is used together is of one family of boards.
    ends(here, &["check", "plan.toml", "lot.toml"], 0);
    let other = ["--name", "L-2", "--family", "another booster"];
    ends(
        here,
        &[&["new", "lot", "other.toml"][..], &other].concat(),
        0,
    );
    let refused = ends(here, &["check", "plan.toml", "other.toml"], 65);
    assert!(
        refused.contains("the lot is of \"another booster\""),
        "{refused}"
    );
    std::fs::write(
        here.join("wrong.toml"),
        "format = 1\n[board]\nname = \"b\"\nfamily = \"a third booster\"\n",
    )
    .expect("a model board");
    let refused = ends(here, &["check", "plan.toml", "wrong.toml"], 65);
    assert!(
        refused.contains("model board is of \"a third booster\""),
        "{refused}"
    );
    // Nothing is written over.
    let before = std::fs::read(here.join("plan.toml")).expect("it is there");
    let refused = ends(here, &["new", "plan", "plan.toml"], 64);
    assert!(refused.contains("exists already"), "{refused}");
    assert_eq!(
        std::fs::read(here.join("plan.toml")).expect("it is there"),
        before
    );
    let refused = ends(
        here,
        &["new", "plan", "p.toml", "--rated-current", "3 V"],
        64,
    );
    assert!(refused.contains("3 V"), "{refused}");
    assert!(!here.join("p.toml").exists());
}

/// What a new plan leaves out on the demo's bench, it says itself how to have tested.
#[test]
fn a_new_plan_says_what_it_lacks() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let here = folder.path();
    begin_plan(here);
    let left_out = |file: &str| {
        ends(here, &["check", file], 0)
            .matches("not tested: ")
            .count()
    };
    assert_eq!(left_out("plan.toml"), 2);
    let plan = std::fs::read_to_string(here.join("plan.toml")).expect("it is there");
    let stated = plan.replace("\n# lowest_supply = ", "\nlowest_supply = ");
    std::fs::write(here.join("stated.toml"), &stated).expect("room");
    assert_eq!(left_out("stated.toml"), 1);
    let allowed = stated.replace("recovery_pulse = \"2 s\"", "recovery_pulse = \"1.5 s\"");
    std::fs::write(here.join("allowed.toml"), allowed).expect("room");
    assert_eq!(left_out("allowed.toml"), 0);
}

#[test]
fn a_trial_enters_no_lot_and_a_board_has_a_history() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let here = folder.path();
    let plan = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/plan.toml");
    let text = std::fs::read_to_string(plan).expect("the demo's plan");
    // Idle alone: a whole plan in a second.
    let second = text
        .match_indices("[[scenario]]")
        .nth(1)
        .expect("more than one")
        .0;
    std::fs::write(here.join("plan.toml"), &text[..second]).expect("a plan");
    let accept = ["accept", "plan.toml", "--lot", "L-1", "--serial", "B-1"];
    ends(here, &[&accept[..], &["--trial"]].concat(), 2);
    let none = ends(here, &["records", "lot", "L-1", "--model"], 64);
    assert!(none.contains("no finished run"), "{none}");
    ends(here, &accept, 0);
    ends(here, &["records", "note", "B-1", "looked at", "--model"], 0);
    ends(
        here,
        &[&accept[..], &["--retest", "to be sure"]].concat(),
        0,
    );
    let lot = ends(here, &["records", "lot", "L-1", "--model", "--json"], 0);
    assert!(lot.contains("\"L-1\""), "{lot}");
    // A lot's whole files, one a run, each of which stands alone.
    let export = ["records", "export", "--lot", "L-1", "--model", "--folder"];
    ends(here, &[&export[..], &["handed"]].concat(), 0);
    let files = std::fs::read_dir(here.join("handed")).expect("a folder");
    let files: Vec<_> = files.map(|file| file.expect("a file").path()).collect();
    assert!(files.len() >= 2, "{files:?}");
    for file in &files {
        let file = file.to_str().expect("a plain path");
        ends(here, &["records", "verify", "--file", file], 0);
    }
    // What is there is not written over, and no rows go into many files.
    ends(here, &[&export[..], &["handed"]].concat(), 64);
    ends(here, &[&export[..], &["rows", "--csv"]].concat(), 64);
    ends(here, &[&export[..], &["records", "--record"]].concat(), 0);
    let history = run(here, &["records", "history", "B-1", "--model", "--json"]);
    let history: Value = serde_json::from_slice(&history.stdout).expect("JSON");
    let told = history["history"].as_array().expect("a list");
    let what: Vec<&str> = told.iter().filter_map(|one| one["what"].as_str()).collect();
    let of = |word: &str| what.iter().filter(|what| **what == word).count();
    assert_eq!((of("run"), of("note")), (3, 1), "{history:#}");
    assert!(told.iter().any(|one| one["retest"] == "to be sure"));
    let words = ends(here, &["records", "history", "B-1", "--model"], 0);
    assert!(
        words.contains("DIAGNOSIS") && words.contains("looked at"),
        "{words}"
    );
    ends(here, &["records", "history", "B-2", "--model"], 64);
    // A lot at once: one paper a board, signed.
    ends(here, &["records", "key", "k.key"], 0);
    let sign = [
        "records", "sign", "--lot", "L-1", "--key", "k.key", "--model",
    ];
    ends(here, &sign, 0);
    ends(
        here,
        &[
            "records",
            "certificate",
            "--lot",
            "L-1",
            "--folder",
            "papers",
            "--model",
        ],
        0,
    );
    assert!(here.join("papers/B-1.pdf").exists());
}
