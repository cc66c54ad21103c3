//! Ports that are there and are not what the bench file says: silent, busy, or
//! with another instrument behind them. Each ends with one clear message and
//! status 69, and energises nothing.

use super::by_hand::attended;
use super::guardian::{Running, bench_on, fixture, output_is_on, serve};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use serde_json::Value;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{ChildStdin, ChildStdout, Command, Stdio};

/// Runs a board on `ports`; the status and what was said.
fn accept(folder: &Path, ports: &Value, more: &[&str]) -> (Option<i32>, String) {
    let bench = folder.join("bench.toml");
    std::fs::write(&bench, bench_on(ports)).expect("a bench file");
    let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .env_remove("BUFFERSTOP_BENCH")
        .arg("accept")
        .arg(fixture("plan.toml"))
        .args(["--serial", "P1", "--ready", "--bench"])
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
    // The instruments say of themselves that they are models.
    assert_eq!(document["record"]["started"]["model"], true);
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

/// Two benches of one workshop at work at once: each has ports of its own, and both
/// keep their runs in one store, in one chain.
#[test]
fn two_benches_run_at_once_and_share_a_store() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let reports = folder.path().join("reports");
    let served: Vec<_> = (0..2).map(|_| serve()).collect();
    let runs: Vec<_> = served
        .iter()
        .enumerate()
        .map(|(number, (_, ports))| {
            let bench = folder.path().join(format!("bench{number}.toml"));
            std::fs::write(&bench, bench_on(ports)).expect("a bench file");
            Command::new(env!("CARGO_BIN_EXE_bufferstop"))
                .env_remove("BUFFERSTOP_BENCH")
                .arg("accept")
                .arg(fixture("plan.toml"))
                .args(["--serial", &format!("W{number}"), "--ready"])
                .args(["--only", "sense", "--bench"])
                .arg(&bench)
                .arg("--out")
                .arg(&reports)
                .stderr(Stdio::piped())
                .stdout(Stdio::null())
                .spawn()
                .expect("the command runs")
        })
        .collect();
    for run in runs {
        let done = run.wait_with_output().expect("it ends");
        let said = String::from_utf8_lossy(&done.stderr);
        // A diagnosis never accepts, so a board that passes it ends with 2.
        assert_eq!(done.status.code(), Some(2), "{said}");
    }
    let verified = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .args(["records", "verify", "--model", "--json", "--out"])
        .arg(&reports)
        .output()
        .expect("the command runs");
    let verified: Value = serde_json::from_slice(&verified.stdout).expect("JSON");
    assert_eq!(
        (&verified["intact"], &verified["runs"]),
        (&true.into(), &2.into())
    );
}

/// A lot on ports that stay open, the boards changed in between: every port is
/// the same program's from the first board to the last. The instruments say that
/// they are models, so nothing enters the store of real boards.
#[test]
fn a_lot_runs_on_ports_that_stay_open() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("served.toml");
    let mut served = Talking::start(
        Command::new(env!("CARGO_BIN_EXE_bufferstop"))
            .args(["model-bench", "--json", "--write"])
            .arg(&bench),
    );
    assert!(served.hears().contains("ports"));
    let mut lot = Talking::start(
        Command::new(env!("CARGO_BIN_EXE_bufferstop"))
            .arg("accept")
            .arg(fixture("plan.toml"))
            .args(["--serial", "-", "--json", "--only", "sense", "--ready"])
            .arg("--bench")
            .arg(&bench)
            .arg("--out")
            .arg(folder.path().join("reports")),
    );
    let mut scales = Vec::new();
    for board in 1..=5 {
        served.says(&format!("L-{board:02}"));
        assert!(served.hears().contains(&format!("{board}")));
        lot.says(&format!("L-{board:02}"));
        let mut finished = String::new();
        while !finished.contains("\"event\":\"run_finished\"") {
            finished = lot.hears();
            assert!(!finished.is_empty(), "the lot ended at board {board}");
            let event: Value = serde_json::from_str(&finished).expect("JSON");
            let metric = &event["event"]["metric"];
            if metric["key"] == "scale_factor" {
                scales.push(metric["finding"].to_string());
            }
        }
        assert!(finished.contains("pass"), "{finished}");
    }
    drop(lot.input.take());
    let status = lot.program.0.wait().expect("it ends");
    // A diagnosis never accepts.
    assert_eq!(status.code(), Some(2));
    assert!(folder.path().join("reports/model.sqlite").exists());
    assert!(!folder.path().join("reports/records.sqlite").exists());
    scales.sort();
    scales.dedup();
    assert_eq!(scales.len(), 5, "the same board: {scales:#?}");
}

/// A program that is spoken with over its standard input and output.
struct Talking {
    program: Running,
    input: Option<ChildStdin>,
    output: BufReader<ChildStdout>,
}

impl Talking {
    fn start(command: &mut Command) -> Self {
        let started = command
            .env_remove("BUFFERSTOP_BENCH")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn();
        let mut program = Running(started.expect("it starts"));
        Self {
            input: program.0.stdin.take(),
            output: BufReader::new(program.0.stdout.take().expect("a pipe")),
            program,
        }
    }

    fn says(&mut self, line: &str) {
        let input = self.input.as_mut().expect("it is open");
        writeln!(input, "{line}").expect("it listens");
    }

    fn hears(&mut self) -> String {
        let mut line = String::new();
        self.output.read_line(&mut line).expect("text");
        line
    }
}

/// What nobody could sign is not measured, and what is due soon is said.
#[test]
fn an_overdue_calibration_energises_nothing_unless_the_plan_says_why() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("bench.toml");
    let text = bench_on(&ports);
    let overdue = text.replacen("due = 2027-03-02", "due = 2026-03-04", 1);
    assert_ne!(text, overdue);
    std::fs::write(&bench, overdue).expect("a bench file");
    let plan = std::fs::read_to_string(fixture("plan.toml")).expect("the demo's plan");
    let allows = "[plan]\noverdue_calibration = \"a diagnosis, no certificate is wanted\"";
    let accept = |serial: &str, plan: &str| {
        let path = folder.path().join("plan.toml");
        std::fs::write(&path, plan).expect("a plan");
        let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
            .args(["accept", "--only", "sense", "--serial", serial, "--ready"])
            .arg("--bench")
            .arg(&bench)
            .arg("--out")
            .arg(folder.path().join("reports"))
            .arg(path)
            .output()
            .expect("the command runs");
        let text = [done.stdout, done.stderr].concat();
        (
            done.status.code(),
            String::from_utf8_lossy(&text).into_owned(),
        )
    };
    let (status, said) = accept("C1", &plan);
    assert_eq!(status, Some(2), "{said}");
    assert!(
        said.contains("the supply's calibration is overdue for"),
        "{said}"
    );
    assert!(said.contains("nothing was energised"), "{said}");
    assert!(!said.contains("scale factor"), "{said}");
    let (status, said) = accept("C2", &plan.replacen("[plan]", allows, 1));
    assert_eq!(status, Some(2), "{said}");
    assert!(said.contains("MODEL DIAGNOSIS PASS"), "{said}");
}

/// The same of `sense` on one board of a bench.
fn attended_on(bench: &Path, serial: &str, typed: &str) -> (Option<i32>, String) {
    let reports = bench.with_file_name("reports");
    let [bench, reports] = [bench, &reports].map(|path| path.to_str().expect("a plain path"));
    let options = ["--only", "sense", "--serial", serial];
    let places = ["--bench", bench, "--out", reports];
    attended(&[&options[..], &places].concat(), typed)
}

/// The cautions stand before everything else, and nothing is opened before a
/// person has confirmed them: here, nothing is behind the ports at all.
#[test]
fn nothing_is_opened_before_the_cautions_are_confirmed() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("bench.toml");
    let (served, mut ports) = serve();
    drop(served);
    for role in ["supply", "load"] {
        replace(&mut ports, role, &format!("/dev/there-is-no-{role}"));
    }
    std::fs::write(&bench, bench_on(&ports)).expect("a bench file");
    // A script that does not say so, and a person who goes away.
    let run = |more: &[&str]| {
        let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
            .args(["accept", "--serial", "R1", "--bench"])
            .arg(&bench)
            .arg(fixture("plan.toml"))
            .args(more)
            .stdin(Stdio::null())
            .current_dir(folder.path())
            .output()
            .expect("the command runs");
        let text = [done.stdout, done.stderr].concat();
        (
            done.status.code(),
            String::from_utf8_lossy(&text).into_owned(),
        )
    };
    let (status, said) = run(&[]);
    assert_eq!(status, Some(64), "{said}");
    assert!(said.starts_with("  CAUTION  "), "{said}");
    assert!(said.contains("--ready"), "{said}");
    assert!(!said.contains("there-is-no"), "{said}");
    let (status, said) = attended_on(&bench, "R1", "");
    assert_eq!(status, Some(2), "{said}");
    assert!(!said.contains("there-is-no"), "{said}");
    assert!(!folder.path().join("reports").exists());
    // Confirmed either way, the ports are what is wrong.
    for (status, said) in [run(&["--ready"]), attended_on(&bench, "R1", "\n")] {
        assert_eq!(status, Some(69), "{said}");
        let (caution, port) = (said.find("CAUTION"), said.find("there-is-no"));
        assert!(caution.is_some() && caution < port, "{said}");
    }
}

/// Each board of a lot is confirmed again; what is left out is not run.
#[test]
fn each_board_of_a_lot_is_confirmed() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("bench.toml");
    std::fs::write(&bench, bench_on(&ports)).expect("a bench file");
    let (status, said) = attended_on(&bench, "-", "\nR1\n\nR2\ns\n");
    assert_eq!(status, Some(2), "{said}");
    assert_eq!(said.matches("all hands out?").count(), 2, "{said}");
    assert!(folder.path().join("reports/R1").is_dir(), "{said}");
    assert!(!folder.path().join("reports/R2").exists(), "{said}");
}

/// What a bench does without is in the record and in what is handed out.
#[test]
fn a_missing_emergency_stop_is_an_error_or_recorded() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let without: String = bench_on(&ports)
        .lines()
        .filter(|line| !line.starts_with("emergency_stop = "))
        .map(|line| format!("{line}\n"))
        .collect();
    let bench = folder.path().join("bench.toml");
    let accept = |text: &str| {
        std::fs::write(&bench, text).expect("a bench file");
        let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
            .args(["accept", "--ready", "--only", "sense", "--serial", "W1"])
            .arg("--bench")
            .arg(&bench)
            .arg(fixture("plan.toml"))
            .current_dir(folder.path())
            .output()
            .expect("the command runs");
        let text = [done.stdout, done.stderr].concat();
        (
            done.status.code(),
            String::from_utf8_lossy(&text).into_owned(),
        )
    };
    let (status, said) = accept(&without);
    assert_eq!(status, Some(65), "{said}");
    assert!(
        said.contains("no emergency stop is named on a real bench"),
        "{said}"
    );
    assert!(said.contains("bench.toml:"), "{said}");
    let reason = "[safety]\nno_emergency_stop_because = \"5 V and 50 mA at most\"";
    let (status, said) = accept(&without.replacen("[safety]", reason, 1));
    assert_eq!(status, Some(2), "{said}");
    let runs = std::fs::read_dir(folder.path().join("reports/W1")).expect("a run");
    let run = runs.flatten().next().expect("a run").path();
    for name in ["record.json", "summary.txt", "certificate.html"] {
        let text = std::fs::read_to_string(run.join(name)).expect("a report");
        assert!(
            text.contains("no emergency stop: 5 V and 50 mA at most"),
            "{name}"
        );
    }
}
