//! Trying a profile on its instrument: every exchange is shown, what does not fit is
//! named, and the trace of it answers again as the instrument did.

use super::by_hand::terminal;
use super::guardian::{Running, bench_on, is_on, serve};
use bufferstop::ident::Role;
use bufferstop::instruments::{Session, attempt, tries};
use bufferstop::link::{Deadlines, Habits, Port, PortSettings, Trace, Traffic};
use bufferstop::profile;
use serde_json::Value;
use std::io::{Read as _, Write as _};
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::sync::Arc;

fn tried(bench: &Path, role: &str, more: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .env_remove("BUFFERSTOP_BENCH")
        .arg("bench")
        .arg(bench)
        .args(["--json", "--try", role])
        .args(more)
        .output()
        .expect("the command runs")
}

fn rows(done: &Output) -> Vec<Value> {
    let text = String::from_utf8_lossy(&done.stdout).into_owned();
    let lines = text.lines().map(serde_json::from_str);
    lines.collect::<Result<_, _>>().expect("JSON lines")
}

#[test]
fn every_shipped_profile_fits_its_model_and_a_trace_answers_again() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("bench.toml");
    std::fs::write(&bench, bench_on(&ports)).expect("a bench file");
    for role in Role::ALL {
        let trace = folder.path().join(format!("{role}.jsonl"));
        let file = trace.to_str().expect("a plain name");
        let done = tried(&bench, role.word(), &["--ready", "--trace", file]);
        let said = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(0), "{role}: {said}");
        let rows = rows(&done);
        assert!(rows.iter().all(|row| row["fault"].is_null()), "{rows:#?}");
        assert_eq!(rows[0]["command"], "identify");
        assert!(rows[0]["passed"][0]["sent"].is_string(), "{:#}", rows[0]);
    }
    let list = ports["ports"].as_array().expect("a list");
    let supply = list.iter().find(|port| port["role"] == "supply");
    let supply = supply.expect("a supply")["path"].as_str().expect("a path");
    assert!(!is_on(supply, "OUTP?"), "it was left on");

    let text = std::fs::read_to_string(folder.path().join("supply.jsonl")).expect("a trace");
    let trace = Trace::parse(&text).expect("a trace");
    assert_eq!(trace.roles(), ["supply"]);
    let own = profile::shipped("supply").expect("it comes with the program");
    let settings = PortSettings {
        name: "trace".to_owned(),
        speed: own.line.speed,
        ending: own.line.ending.clone(),
        habits: Habits::default(),
        traffic: Traffic::default(),
        dtr: true,
        deadlines: Deadlines::MODEL,
        abandon: own.safety.abandon.clone(),
        probe: None,
    };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime");
    runtime.block_on(async {
        let port = Port::over(trace.replay("supply"), settings);
        let session = Session::new(port, Arc::new(own));
        session.identify().await.expect("the same as before");
        for one in tries(Role::Supply) {
            let again = attempt(&session, one).await;
            assert!(again.is_ok(), "{}: {again:?}", one.command);
        }
        // Another order than the trace has is refused.
        assert!(session.order("OUTP ON").await.is_err());
    });
}

/// Without anybody's word nothing is switched on, and what does not fit is named.
#[test]
fn nothing_is_switched_on_unasked_and_what_does_not_fit_is_named() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("bench.toml");
    let text = bench_on(&ports).replacen("profile = \"load\"", "profile = \"own.toml\"", 1);
    std::fs::write(&bench, text).expect("a bench file");
    let source = profile::shipped_source("load").expect("it comes with the program");
    let own = source.text.replace("MEAS:CURR?", "MEAS:CURENT?");
    let own = own.replace("STAT:QUES:COND?", "SYST:ERR?");
    std::fs::write(folder.path().join("own.toml"), own).expect("a profile");
    let done = tried(&bench, "load", &[]);
    assert_eq!(done.status.code(), Some(69), "two exchanges do not fit");
    let rows = rows(&done);
    let commands: Vec<&str> = rows
        .iter()
        .filter_map(|row| row["command"].as_str())
        .collect();
    for never in ["input_on", "pulse", "ramp"] {
        assert!(!commands.contains(&never), "{commands:?}");
    }
    let fault = |command: &str| {
        let row = rows.iter().find(|row| row["command"] == command);
        row.expect("it was tried")["fault"]
            .as_str()
            .unwrap_or_default()
            .to_owned()
    };
    assert_eq!(fault("set_current"), "");
    // Role, command, what came, and the line of the profile.
    let condition = fault("condition");
    for part in ["load", "condition", "No error", "of its profile: SYST:ERR?"] {
        assert!(condition.contains(part), "{condition}");
    }
    assert!(!fault("measure_current").is_empty());
    let own = folder.path().join("own.toml");
    let at_none = tried(&bench, own.to_str().expect("a plain name"), &[]);
    assert_eq!(at_none.status.code(), Some(64), "a profile needs a port");
}

/// A bench on `ports` whose `role` is driven by its shipped profile with `changes`,
/// tried with a person's word.
fn changed(ports: &Value, role: &str, changes: &[(&str, &str)]) -> Vec<Value> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("bench.toml");
    let named = format!("profile = \"{role}\"");
    let text = bench_on(ports).replacen(&named, "profile = \"own.toml\"", 1);
    std::fs::write(&bench, text).expect("a bench file");
    let source = profile::shipped_source(role).expect("it comes with the program");
    let own = changes.iter().fold(source.text.to_string(), |own, change| {
        assert!(own.contains(change.0), "{}", change.0);
        own.replace(change.0, change.1)
    });
    std::fs::write(folder.path().join("own.toml"), own).expect("a profile");
    let done = tried(&bench, role, &["--ready"]);
    let said = String::from_utf8_lossy(&done.stderr);
    assert_eq!(done.status.code(), Some(69), "{said}");
    rows(&done)
}

/// Everything that was sent, a line each.
fn sent(rows: &[Value]) -> Vec<&str> {
    let passed = rows.iter().filter_map(|row| row["passed"].as_array());
    let lines = passed.flatten().filter_map(|line| line["sent"].as_str());
    lines.collect()
}

/// What the last row says of a command that was left out.
fn why_left_out(rows: &[Value], command: &str) -> String {
    let left_out = rows.last().expect("a last row")["left_out"].as_array();
    let mut left_out = left_out.expect("a list").iter();
    let own = left_out.find(|one| one["command"] == command);
    own.map_or_else(String::new, |one| one["why"].to_string())
}

/// A setting or a line that switches off which the instrument did not take: nothing
/// is switched on after it, whoever agreed.
#[test]
fn after_a_setting_that_does_not_fit_nothing_is_switched_on() {
    let (_served, ports) = serve();
    let cases: &[(&str, &[(&str, &str)], &str, &[(&str, &str)])] = &[
        (
            "supply",
            &[("\"VOLT {volts}\"", "\"VOLTT {volts}\"")],
            "set_voltage",
            &[("output_on", "OUTP ON")],
        ),
        (
            "supply",
            &[("\"CURR {amperes}\"", "\"CURENT {amperes}\"")],
            "set_current_limit",
            &[("output_on", "OUTP ON")],
        ),
        // Taken, as it seems; the setting is another one.
        (
            "supply",
            &[("\"VOLT?\"", "\"CURRENT?\"")],
            "voltage_setting",
            &[("output_on", "OUTP ON")],
        ),
        // Taken without a word, since there is no error queue: 1 V more than was meant.
        (
            "supply",
            &[
                ("\"VOLT {volts}\"", "\"VOLT 2{volts}\""),
                ("error = \"SYST:ERR?\"\n", ""),
            ],
            "set_voltage",
            &[("output_on", "OUTP ON")],
        ),
        (
            "load",
            &[("\"FUNC:MODE CURR\"", "\"FUNC:MODE CURRY\"")],
            "constant_current",
            &[
                ("input_on", "INP ON"),
                ("pulse", ":INIT"),
                ("ramp", ":INIT:SWE"),
            ],
        ),
        (
            "load",
            &[("input_off = \"INP OFF\"", "input_off = \"INP OFFF\"")],
            "input_off",
            &[
                ("input_on", "INP ON"),
                ("pulse", ":INIT"),
                ("ramp", ":INIT:SWE"),
            ],
        ),
        (
            "switch",
            &[(
                "open_all = \"ROUT:OPEN:ALL\"",
                "open_all = \"ROUT:OPENALL\"",
            )],
            "open_all",
            &[("pulse", "ROUT:CLOS:PULS")],
        ),
    ];
    for (role, changes, unfit, never) in cases {
        let rows = changed(&ports, role, changes);
        let fault = rows.iter().find(|row| row["command"] == *unfit);
        let fault = fault.expect("it was tried")["fault"].as_str();
        assert!(fault.is_some(), "{unfit}: {rows:#?}");
        for (command, line) in *never {
            let sent = sent(&rows);
            assert!(
                !sent.iter().any(|own| own.contains(line)),
                "{unfit}: {sent:?}"
            );
            let why = why_left_out(&rows, command);
            let said = format!("since `{unfit}` did not fit");
            assert!(why.contains(&said), "{role} {unfit} {command}: {why}");
        }
    }
}

/// What a person is told who types `typed` while `role` is tried, and the status.
fn by_hand(options: &[&str], typed: &str) -> (Option<i32>, String) {
    let (mut near, far) = terminal();
    let mut run = Running(
        Command::new(env!("CARGO_BIN_EXE_bufferstop"))
            .env_remove("BUFFERSTOP_BENCH")
            .arg("bench")
            .args(options)
            .stdin(Stdio::from(far))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts"),
    );
    // With Ctrl-D at the beginning of a line the input ends.
    let typed = format!("{typed}\x04");
    near.write_all(typed.as_bytes())
        .expect("it can be typed on");
    let mut said = String::new();
    let mut out = run.0.stdout.take().expect("a pipe");
    out.read_to_string(&mut said).expect("text");
    let mut errors = run.0.stderr.take().expect("a pipe");
    errors.read_to_string(&mut said).expect("text");
    (run.0.wait().expect("it ends").code(), said)
}

/// Whether what was said has a row of `command` that the instrument took.
fn taken(said: &str, command: &str) -> bool {
    let row = format!("  {command:<20} taken");
    said.contains(&row)
}

/// Each answer belongs to its own question: what is left out is not tried, whatever
/// was typed before and after it.
#[test]
fn each_prompt_takes_its_own_line() {
    let (status, said) = by_hand(&["--try", "load"], "\ns\n\n");
    assert_eq!(status, Some(0), "{said}");
    assert!(taken(&said, "input_on"), "{said}");
    assert!(!taken(&said, "pulse"), "{said}");
    assert!(taken(&said, "ramp"), "{said}");
    assert!(said.contains("left out: pulse ("), "{said}");
}
