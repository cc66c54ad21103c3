//! Model instruments under profiles of the user's own: what a bench's files say
//! is what its model bench can do, in this process and in another; and a board
//! that says it is of another revision than the plan's.

use super::guardian::fixture;
use serde_json::Value;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use tempfile::TempDir;

fn text(name: &str) -> String {
    std::fs::read_to_string(fixture(name)).expect("the demo's file")
}

/// `text` with each pair's first words, which must be there, made the second.
fn changed(mut text: String, pairs: &[(&str, &str)]) -> String {
    for (old, new) in pairs {
        assert!(text.contains(old), "{old}");
        text = text.replace(old, new);
    }
    text
}

fn bufferstop(folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bufferstop"));
    command.env_remove("BUFFERSTOP_BENCH").current_dir(folder);
    command
}

/// A plan for boards of 36 V, and a bench whose supply and channels reach that
/// far by a profile of its own.
fn at_36_volts() -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let put = |name: &str, text: String| {
        std::fs::write(folder.path().join(name), text).expect("room");
    };
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/profiles/supply.toml");
    let supply = std::fs::read_to_string(shipped).expect("the shipped profile");
    put(
        "wide.toml",
        changed(supply, &[("voltage = \"32 V\"", "voltage = \"60 V\"")]),
    );
    put(
        "bench.toml",
        changed(
            text("bench.toml"),
            &[
                ("profile = \"supply\"", "profile = \"wide.toml\""),
                ("range = \"30 V\"", "range = \"60 V\""),
                ("voltage = \"40 V\"", "voltage = \"90 V\""),
                ("current = \"45 A\"", "current = \"200 A\""),
                ("let_through = \"2200 A2s\"", "let_through = \"90000 A2s\""),
            ],
        ),
    );
    put("board.toml", text("board.toml"));
    let plan = text("plan.toml");
    let (head, _) = plan.split_once("[[scenario]]").expect("scenarios");
    let (head, _) = head.rsplit_once("# A wrongly").expect("a remark");
    let ratings = [
        ("supply_voltage = \"18 V\"", "supply_voltage = \"36 V\""),
        ("lowest_supply = \"12 V\"", "lowest_supply = \"30 V\""),
        ("highest_supply = \"22 V\"", "highest_supply = \"40 V\""),
    ];
    let load = "[[scenario]]\nkind = \"load\"\npolarities = [\"positive\", \"alternating\"]\n\n\
                [scenario.limits]\n\
                output_voltage = { min = \"34 V\", max = \"36.6 V\", source = \"house limit\" }\n";
    put("plan.toml", changed(head.to_owned(), &ratings) + load);
    folder
}

/// The record of the only run of `serial`.
fn record(folder: &Path, serial: &str) -> Value {
    let runs = folder.join("reports").join(serial);
    let run = std::fs::read_dir(runs)
        .expect("a folder for the board")
        .flatten()
        .next();
    let text = std::fs::read_to_string(run.expect("a run").path().join("record.json"));
    serde_json::from_str(&text.expect("a record")).expect("JSON")
}

/// 36 V is more than the shipped supply gives; the profile alone says so.
#[test]
fn a_plan_of_36_volts_runs_where_the_profile_reaches_it() {
    let folder = at_36_volts();
    let done = bufferstop(folder.path())
        .args([
            "accept",
            "plan.toml",
            "--bench",
            "bench.toml",
            "--serial",
            "V36",
        ])
        .output()
        .expect("the command runs");
    let said = String::from_utf8_lossy(&done.stderr);
    assert_eq!(done.status.code(), Some(0), "{said}");
    let record = record(folder.path(), "V36");
    assert_eq!(record["verdict"], "pass", "{record:#}");
    let metrics = record["record"]["scenarios"][0]["metrics"].as_array();
    let volts = metrics.expect("metrics").iter().filter_map(|judged| {
        let metric = &judged["metric"];
        (metric["key"] == "output_voltage").then(|| metric["finding"]["value"].as_f64())?
    });
    let volts: Vec<f64> = volts.collect();
    assert!(!volts.is_empty(), "{record:#}");
    assert!(
        volts.iter().all(|volts| (34.0..36.6).contains(volts)),
        "{volts:?}"
    );
}

struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Over ports, for any client, the same profile holds.
#[test]
fn a_served_model_bench_has_the_same_profile() {
    let folder = at_36_volts();
    let served = bufferstop(folder.path())
        .args(["model-bench", "bench.toml", "--json"])
        .stdout(Stdio::piped())
        .spawn();
    let mut served = Running(served.expect("the model bench starts"));
    let mut line = String::new();
    let out = served.0.stdout.take().expect("a pipe");
    BufReader::new(out)
        .read_line(&mut line)
        .expect("it names its ports");
    let ports: Value = serde_json::from_str(&line).expect("JSON");
    let ask = |role: &str, question: &str| {
        let list = ports["ports"].as_array().expect("a list");
        let port = list
            .iter()
            .find(|port| port["role"] == role)
            .expect("that role");
        let path = port["path"].as_str().expect("a path");
        let mut port = std::fs::OpenOptions::new()
            .read(true)
            .write(true)
            .open(path)
            .expect("the port is there");
        port.write_all(question.as_bytes()).expect("it listens");
        let mut answer = Vec::new();
        while answer.last() != Some(&b'\n') {
            let mut byte = [0];
            port.read_exact(&mut byte).expect("it answers");
            answer.extend(byte);
        }
        String::from_utf8(answer).expect("text")
    };
    let most: f64 = ask("supply", "VOLT? MAX\n")
        .trim()
        .parse()
        .expect("a number");
    assert_eq!(most, 60.0);
    assert_eq!(ask("supply", "VOLT 36;:SYST:ERR?\n"), "0,\"No error\"\n");
    assert_eq!(
        ask("console", "version\n"),
        "booster GR3 rev 2 firmware 1.4\n"
    );
}

/// The plan is for revision 2. Nothing may be energised, and the person learns
/// both revisions and that the mix-up is theirs to mend.
#[test]
fn a_board_of_another_revision_is_not_judged() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let board = changed(text("board.toml"), &[("rev 2 firmware", "rev 3 firmware")]);
    std::fs::write(folder.path().join("other.toml"), board).expect("room");
    let done = bufferstop(folder.path())
        .arg("accept")
        .arg(fixture("plan.toml"))
        .args(["--serial", "C1", "--model-board", "other.toml"])
        .output()
        .expect("the command runs");
    let said =
        String::from_utf8_lossy(&done.stderr).into_owned() + &String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(2), "{said}");
    assert!(!said.contains("panicked"), "{said}");
    let document = record(folder.path(), "C1");
    assert_eq!(document["verdict"], "inconclusive", "{document:#}");
    let record = &document["record"];
    assert_eq!(record["scenarios"], Value::Array(Vec::new()), "{record:#}");
    assert_eq!(record["ended"]["abort"], Value::Null);
    let trouble = &record["troubles"][0]["trouble"];
    assert_eq!(trouble["blame"], "operator", "{record:#}");
    let what = trouble["what"].as_str().expect("a text");
    for word in ["revision 3", "revision 2", "nothing was energised"] {
        assert!(what.contains(word), "{what}");
    }
    let instruments = record["instruments"].as_array().expect("instruments");
    let console = instruments.iter().find(|found| found["role"] == "console");
    assert_eq!(
        console.expect("a console")["identity"],
        "booster GR3 rev 3 firmware 1.4"
    );
    // No step of any kind was recorded, let alone one that energises.
    assert!(!record.to_string().contains("\"energises\""), "{record:#}");
    let summary = std::fs::read_dir(folder.path().join("reports/C1")).expect("a folder");
    let summary = summary
        .flatten()
        .next()
        .expect("a run")
        .path()
        .join("summary.txt");
    let summary = std::fs::read_to_string(summary).expect("a summary");
    assert!(summary.contains("revision 3"), "{summary}");
}
