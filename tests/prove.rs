//! `bufferstop prove` over whole runs on model boards. What was planted decides
//! what must be found: a scenario taken out of the plan lets exactly its own
//! defects through, whatever the plan's limits say.

use assert_cmd::cargo::cargo_bin_cmd;
use serde_json::Value;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use tempfile::TempDir;

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/demo")
        .join(name)
}

fn text(name: &str) -> String {
    std::fs::read_to_string(fixture(name)).expect("the demo's file")
}

/// The demo's plan with those of its scenarios that are wanted.
fn plan_of(wanted: impl Fn(&str) -> bool) -> String {
    let plan = text("plan.toml");
    // What follows the last scenario names metrics that may be gone.
    let (plan, _) = plan
        .split_once("# What decides whether")
        .expect("a comparison");
    let mut parts = plan.split("[[scenario]]");
    let mut kept = parts.next().expect("a beginning").to_owned();
    for part in parts {
        let kind = part.split('"').nth(1).expect("a kind");
        if wanted(kind) {
            kept.push_str(&format!("[[scenario]]{part}"));
        }
    }
    kept
}

/// A folder with a plan in it, where the command runs.
fn bench_with(plan: &str) -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    std::fs::write(folder.path().join("plan.toml"), plan).expect("room");
    folder
}

/// Status, standard output, standard error.
fn prove(folder: &Path, more: &[&str]) -> (i32, String, String) {
    let done = cargo_bin_cmd!("bufferstop")
        .env_remove("BUFFERSTOP_BENCH")
        .current_dir(folder)
        .args(["prove", "plan.toml"])
        .args(more)
        .output()
        .expect("the command runs");
    let said = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(
        !said.contains("panicked") && !said.contains("a bug"),
        "{said}"
    );
    let out = String::from_utf8(done.stdout).expect("UTF-8");
    (done.status.code().expect("an exit status"), out, said)
}

fn document(folder: &Path, more: &[&str]) -> Value {
    let words: Vec<&str> = more.iter().copied().chain(["--json"]).collect();
    let (status, out, said) = prove(folder, &words);
    let found: Value = serde_json::from_str(&out).expect("one JSON document");
    assert_eq!(found["exit"], status, "{said}");
    let wanted = match found["proof"]["conclusion"].as_str() {
        Some("nothing_escapes") => 0,
        Some("escapes") => 1,
        _ => 2,
    };
    assert_eq!(status, wanted, "{found:#}");
    found
}

fn named<'a>(list: &'a Value, key: &str) -> Vec<&'a str> {
    let list = list.as_array().expect("a list").iter();
    list.map(|entry| entry[key].as_str().expect("a name"))
        .collect()
}

/// Names of defects of which a board passed.
fn escaping(found: &Value) -> Vec<&str> {
    let defects = found["proof"]["defects"].as_array().expect("defects");
    let escaping = defects.iter().filter(|d| d["escaped"] != 0);
    escaping
        .map(|d| d["name"].as_str().expect("a name"))
        .collect()
}

fn scenario<'a>(found: &'a Value, name: &str) -> &'a Value {
    let scenarios = found["proof"]["scenarios"].as_array().expect("scenarios");
    let found = scenarios.iter().find(|scenario| scenario["name"] == name);
    found.expect("a scenario of the plan")
}

/// Every known defect, in the demo's plan and in the same without its soak: a
/// missing heat pad shows nowhere else.
#[test]
fn a_scenario_taken_out_lets_exactly_its_own_defects_through() {
    let folder = bench_with(&text("plan.toml"));
    let found = document(
        folder.path(),
        &["--boards-per-defect", "1", "--boards", "2"],
    );
    let mut through = escaping(&found);
    // Behind a stiff supply the bulk capacitor is hardly missed; nothing else
    // may escape.
    let weak = ["missing bulk capacitor"];
    assert!(
        through.iter().all(|name| weak.contains(name)),
        "{through:?}"
    );
    // The demo's board holds its output without a signal when it is good.
    assert_eq!(
        named(&found["setting"]["left_out"], "defect"),
        ["holds on loss"]
    );
    assert!(named(&found["proof"]["defects"], "name").len() >= 17);
    for defect in found["proof"]["defects"].as_array().expect("defects") {
        let name = defect["name"].as_str().expect("a name");
        let detected = u64::from(!through.contains(&name));
        assert_eq!(
            (&defect["tried"], &defect["detected"]),
            (&1.into(), &detected.into()),
            "{defect:#}"
        );
    }
    let own = &scenario(&found, "soak")["without"];
    assert_eq!(named(own, "defect"), ["bad heat path"]);
    assert_eq!(found["proof"]["good"]["accepted"], 2, "{found:#}");
    assert!(!folder.path().join("reports").exists(), "a record was kept");

    let folder = bench_with(&plan_of(|kind| kind != "soak"));
    let less = document(
        folder.path(),
        &["--boards-per-defect", "1", "--boards", "2"],
    );
    through.push("bad heat path");
    let mut now = escaping(&less);
    now.sort_unstable();
    through.sort_unstable();
    assert_eq!(now, through);
    assert_eq!(less["exit"], 1);
}

/// The first screen answers, whole and in plain words; page and paper say the
/// same.
#[test]
fn an_escape_stands_on_the_first_screen_and_in_the_report() {
    let folder = bench_with(&plan_of(|kind| ["overload", "loss"].contains(&kind)));
    let out = folder.path().join("out");
    let words = ["--boards-per-defect", "1", "--boards", "6", "--out"];
    let mut words = words.to_vec();
    words.push(out.to_str().expect("a plain path"));
    for defect in ["slow trip", "cold joint", "off on loss"] {
        words.extend(["--only-defect", defect]);
    }
    let (status, said, _) = prove(folder.path(), &words);
    assert_eq!(status, 1, "{said}");
    let first: Vec<&str> = said
        .lines()
        .take_while(|line| !line.starts_with("defect "))
        .collect();
    let screen = first.join("\n");
    assert!(first.len() <= 40, "{screen}");
    let long = said.lines().find(|line| line.chars().count() > 100);
    assert_eq!(long, None);
    let row = |name: &str| {
        let line = first.iter().rfind(|line| line.starts_with(name));
        let line = line.expect("a row").split_whitespace();
        line.rev().take(3).collect::<Vec<&str>>()
    };
    assert_eq!(row("slow trip"), ["1/1", "\u{b7}", "\u{25cf}"]);
    assert_eq!(row("cold joint"), ["0/1", "\u{b7}", "\u{b7}"]);
    assert_eq!(row("off on loss"), ["1/1", "\u{25cf}", "\u{b7}"]);
    let none = "Of 6 good boards none was rejected: 0.0 % (exact 95 % interval 0.0 % to 45.9 %).";
    for wanted in [
        "embedded model bench",
        "1 DEFECT ESCAPES",
        "cold joint: passed in 1 of 1",
        none,
    ] {
        assert!(screen.contains(wanted), "{wanted:?} is not in\n{screen}");
    }
    let html = std::fs::read_to_string(out.join("proof.html")).expect("a page");
    for wanted in [
        "1 defect escapes",
        "MODEL BENCH",
        "cold joint: passed in 1 of 1",
        "<svg",
        none,
    ] {
        assert!(html.contains(wanted), "{wanted:?} is not on the page");
    }
    let paper = std::fs::read(out.join("proof.pdf")).expect("a document");
    assert!(paper.starts_with(b"%PDF-"));
    crate::blanks::no_sheet_is_blank_by_a_third(&out.join("proof.pdf"));
}

/// A real bench lends its wiring; none of its ports is there, and none is
/// missed. The same wiring gives the same numbers.
#[test]
fn a_bench_with_ports_is_modelled_and_never_opened() {
    let folder = bench_with(&plan_of(|kind| kind == "short"));
    let model = text("bench.toml");
    let (stated, _) = model.split_once("[model]").expect("a model bench");
    let mut real = String::new();
    for (number, part) in stated.split("model = true").enumerate() {
        if number > 0 {
            real.push_str(&format!("path = \"/dev/no-such-port-{number}\""));
        }
        real.push_str(part);
    }
    std::fs::write(folder.path().join("real.toml"), real).expect("room");
    std::fs::write(folder.path().join("model.toml"), stated).expect("room");
    let few = [
        "--boards-per-defect",
        "1",
        "--boards",
        "2",
        "--only-defect",
        "hasty retry",
    ];
    let on = |bench| document(folder.path(), &[&few[..], &["--bench", bench]].concat());
    let (real, model) = (on("real.toml"), on("model.toml"));
    assert_eq!(real["exit"], 0, "{real:#}");
    assert_eq!(real["proof"], model["proof"]);
    assert_eq!(
        (&real["setting"]["real"], &model["setting"]["real"]),
        (&true.into(), &false.into())
    );
    assert_eq!(real["setting"]["board_of_demo"], true);
    // The seed decides, and nothing else does.
    let other = document(folder.path(), &[&few[..], &["--seed", "2"]].concat());
    assert_ne!(other["proof"], model["proof"]);
    let again = document(
        folder.path(),
        &[&few[..], &["--bench", "model.toml"]].concat(),
    );
    assert_eq!(again, model);
}

/// A limit that was widened past the defect no longer detects it, and the
/// command says which reading moved.
#[test]
fn a_limit_that_is_too_wide_lets_its_defect_through() {
    let plan = plan_of(|kind| kind == "short");
    let wide = plan.replace(
        "min = \"400 ms\", max = \"600 ms\"",
        "min = \"10 ms\", max = \"600 ms\"",
    );
    assert_ne!(plan, wide);
    let few = [
        "--boards-per-defect",
        "1",
        "--boards",
        "5",
        "--only-defect",
        "hasty retry",
    ];
    // A tenth of the off time also gives ten times the retries.
    let wide = wide.replace(
        "retries = { min = 1, max = 3",
        "retries = { min = 1, max = 99",
    );
    let wide = wide.replace("recovery_time", "# recovery_time");
    let folder = bench_with(&wide);
    let found = document(folder.path(), &few);
    assert_eq!(escaping(&found), ["hasty retry"], "{found:#}");
    let moved = &found["proof"]["defects"][0]["escape"]["moved"];
    assert_eq!(moved["place"]["scenario"], "short", "{found:#}");
    let folder = bench_with(&plan);
    assert_eq!(document(folder.path(), &few)["exit"], 0);
}

#[test]
fn faults_are_found_before_anything_runs() {
    let folder = bench_with(&text("plan.toml").replace("rated_current", "rated_curent"));
    let (status, out, said) = prove(folder.path(), &["--json"]);
    assert_eq!((status, out.as_str()), (65, ""), "{said}");
    assert!(
        said.contains("rated_curent") && said.contains("plan.toml"),
        "{said}"
    );
    let folder = bench_with(&plan_of(|kind| kind == "loss"));
    for (words, status, wanted) in [
        (&["--boards-per-defect", "0"][..], 64, "--boards-per-defect"),
        (&["--boards", "many"][..], 64, "--boards"),
        (&["--only-defect", "gremlin"][..], 64, "cold joint"),
        (
            &["--only-defect", "holds on loss"][..],
            64,
            "when it is good",
        ),
        (&["--bench", "nowhere.toml"][..], 65, "nowhere.toml"),
        (&["--model-board", "plan.toml"][..], 65, "plan.toml"),
    ] {
        let (found, _, said) = prove(folder.path(), words);
        assert_eq!(found, status, "{words:?}: {said}");
        assert!(said.contains(wanted), "{words:?}: {said}");
    }
    // A report that cannot be written.
    let words = [
        "--boards-per-defect",
        "1",
        "--boards",
        "1",
        "--only-defect",
        "off on loss",
    ];
    let (status, _, said) = prove(
        folder.path(),
        &[&words[..], &["--out", "plan.toml"]].concat(),
    );
    assert_eq!(status, 74, "{said}");
}

/// Ctrl-C: what was tried is told, what was not is named, and nothing is
/// claimed.
#[test]
fn stopped_early_it_says_what_is_missing() {
    let folder = bench_with(&plan_of(|kind| kind == "short"));
    let mut child = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .env_remove("BUFFERSTOP_BENCH")
        .current_dir(folder.path())
        .args(["prove", "plan.toml", "--only-defect", "hasty retry"])
        .args(["--boards-per-defect", "50", "--boards", "2000"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the command starts");
    let mut lines = BufReader::new(child.stderr.take().expect("a pipe")).lines();
    let begun = lines.find(|line| line.as_ref().is_ok_and(|l| l.contains("2050 boards")));
    assert!(begun.is_some(), "it ended before it began");
    let kill = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status();
    assert!(kill.expect("kill runs").success());
    let mut said = String::new();
    let mut out = child.stdout.take().expect("a pipe");
    out.read_to_string(&mut said).expect("UTF-8");
    assert_eq!(child.wait().expect("it ends").code(), Some(2), "{said}");
    assert!(
        said.contains("NOT DECIDED") && said.contains("Ended early: "),
        "{said}"
    );
    assert!(
        said.contains("of 2000 good boards were not tried"),
        "{said}"
    );
}
