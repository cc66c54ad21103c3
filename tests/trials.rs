//! Trying a profile on its instrument: every exchange is shown, what does not fit is
//! named, and the trace of it answers again as the instrument did.

use super::by_hand::{on_a_terminal, said_to};
use super::guardian::{bench_on, is_on, output_is_on, serve};
use bufferstop::ident::Role;
use bufferstop::instruments::{SENT_ALONG, Session, attempt, tries};
use bufferstop::link::{Deadlines, Habits, Port, PortSettings, Trace, Traffic};
use bufferstop::profile;
use serde_json::Value;
use std::io::{Read as _, Write as _};
use std::path::Path;
use std::process::{ChildStdout, Command, Output};
use std::sync::Arc;
use std::time::{Duration, Instant};

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
        everything_was_sent(role, &rows);
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
        message_size: 1 << 16,
        block_tail: 0,
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

/// On a bench inside the program time goes by with what is said, and what takes a moment
/// is waited for there as well.
#[test]
fn every_role_of_the_bench_inside_fits() {
    for role in Role::ALL {
        let (status, said) = by_hand(&["--try", role.word(), "--ready"], "");
        assert_eq!(status, Some(0), "{role}: {said}");
    }
}

/// Each command of the shipped profile went over the wire, as far as its text is the
/// same for all values.
fn everything_was_sent(role: Role, rows: &[Value]) {
    let own = profile::shipped(role.word()).expect("it comes with the program");
    let sent = sent(rows);
    for (name, text) in &own.commands {
        let fixed = text.source().split('{').next().expect("a first part");
        let there = sent.iter().any(|line| line.contains(fixed));
        assert!(there, "{role}: {name} was never sent: {sent:#?}");
    }
}

/// Whatever a profile may have is tried, or is named as sent along with others.
#[test]
fn each_command_that_a_role_needs_is_tried_or_sent_along() {
    for role in Role::ALL {
        let needs = profile::needs(role);
        let lists = [needs.commands, needs.optional, needs.confirming];
        for need in lists.into_iter().flatten() {
            let tried = tries(role).iter().any(|one| one.command == need.name);
            let along = SENT_ALONG.iter().any(|(name, _)| *name == need.name);
            assert!(tried || along, "{role}: {} is never tried", need.name);
        }
    }
    // Nothing is named as sent along that no role has.
    for (name, _) in SENT_ALONG {
        let has = |role: Role| {
            let needs = profile::needs(role);
            let lists = [needs.commands, needs.optional, needs.confirming];
            lists.into_iter().flatten().any(|need| need.name == *name)
        };
        assert!(Role::ALL.into_iter().any(has), "{name}");
    }
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

/// A role, what is changed in its profile, the command that does not fit then, and what
/// is never sent after it: each command with its line.
type Unfit = (
    &'static str,
    &'static [(&'static str, &'static str)],
    &'static str,
    &'static [(&'static str, &'static str)],
);

/// A setting or a line that switches off which the instrument did not take: nothing
/// is switched on after it, whoever agreed.
#[test]
fn after_a_setting_that_does_not_fit_nothing_is_switched_on() {
    let (_served, ports) = serve();
    let cases: &[Unfit] = &[
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
        // Taken, as it seems; the setting reads back as another one.
        (
            "supply",
            &[("\"VOLT?\"", "\"CURRENT?\"")],
            "set_voltage",
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
            &[("pulse", "ROUT:CLOS:PULS"), ("close", "ROUT:CLOS (")],
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

/// What a person is told who types `typed` to `bench`, and the status.
fn by_hand(options: &[&str], typed: &str) -> (Option<i32>, String) {
    said_to(on_a_terminal(&[&["bench"], options].concat()), typed)
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

/// The path of the port that the model bench serves for `role`.
fn path_of(ports: &Value, role: &str) -> String {
    let mut list = ports["ports"].as_array().expect("a list").iter();
    let port = list.find(|port| port["role"] == role).expect("a port");
    port["path"].as_str().expect("a path").to_owned()
}

/// Reads what is said until it ends with `end`.
fn said_until(out: &mut ChildStdout, end: &str) -> String {
    let mut said = Vec::new();
    let mut byte = [0];
    while !said.ends_with(end.as_bytes()) {
        let count = out.read(&mut byte).expect("it speaks");
        assert_eq!(count, 1, "it ended: {}", String::from_utf8_lossy(&said));
        said.push(byte[0]);
    }
    String::from_utf8_lossy(&said).into_owned()
}

/// On a bench of ports a person confirms the cautions first, and is told which
/// branch would be closed.
#[test]
fn on_a_bench_of_ports_the_cautions_come_first_and_the_branch_is_named() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("bench.toml");
    std::fs::write(&bench, bench_on(&ports)).expect("a bench file");
    let bench = bench.to_str().expect("a plain name");
    let (status, said) = by_hand(&[bench, "--try", "switch"], "");
    assert_eq!(status, Some(2), "nobody confirmed: {said}");
    assert!(said.contains("CAUTION"), "{said}");
    assert!(!said.contains("identify"), "{said}");

    let (status, said) = by_hand(&[bench, "--try", "switch"], "\n\n\n");
    assert_eq!(status, Some(0), "{said}");
    let cautions = said.find("CAUTION").expect("the cautions");
    let question = said.find("pulse: this closes the near short for 10 ms.");
    assert!(question.is_some_and(|at| at > cautions), "{said}");
    assert!(taken(&said, "pulse"), "{said}");
}

/// No contact of a bench is closed unless its supply is known to be off: one that was
/// left on is switched off first, one that cannot be asked forbids it.
#[test]
fn no_contact_is_closed_on_a_bench_whose_supply_may_be_on() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("bench.toml");
    let bench = bench_on(&ports);
    std::fs::write(&file, &bench).expect("a bench file");
    let supply = path_of(&ports, "supply");
    std::fs::write(&supply, "VOLT 16\nOUTP ON\n").expect("it listens");
    assert!(output_is_on(&supply));
    let done = tried(&file, "switch", &["--ready"]);
    let known = rows(&done);
    assert_eq!(done.status.code(), Some(0), "{known:#?}");
    assert!(sent(&known).iter().any(|line| line.contains("CLOS:PULS")));
    assert!(!output_is_on(&supply), "the short was closed on 16 V");

    let nowhere = folder.path().join("nothing-here");
    let nowhere = nowhere.to_str().expect("a plain name");
    std::fs::write(&file, bench.replace(&supply, nowhere)).expect("a bench file");
    let unknown = rows(&tried(&file, "switch", &["--ready"]));
    assert!(!sent(&unknown).iter().any(|line| line.contains("CLOS:PULS")));
    let why = why_left_out(&unknown, "pulse");
    assert!(why.contains("supply is not known to be off"), "{why}");
}

/// Who asks to stop at a prompt finds the instrument made safe, and the trial is not
/// taken for a whole one.
#[test]
fn ctrl_c_at_a_prompt_makes_safe_and_ends_inconclusive() {
    let (mut run, _near) = on_a_terminal(&["bench", "--try", "load"]);
    let mut out = run.0.stdout.take().expect("a pipe");
    said_until(&mut out, "s leaves it out: ");
    let process = rustix::process::Pid::from_child(&run.0);
    rustix::process::kill_process(process, rustix::process::Signal::INT).expect("it is there");
    let mut said = String::new();
    out.read_to_string(&mut said).expect("text");
    assert_eq!(run.0.wait().expect("it ends").code(), Some(2), "{said}");
    assert!(taken(&said, "make_safe"), "{said}");
    for never in ["input_on", "pulse", "ramp"] {
        assert!(!taken(&said, never), "{said}");
    }
}

/// A trial that is killed at a prompt: its guardian switches the supply off, which
/// another hand has switched on meanwhile.
#[test]
fn a_killed_trial_is_made_safe_by_its_guardian() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("bench.toml");
    std::fs::write(&file, bench_on(&ports)).expect("a bench file");
    let supply = path_of(&ports, "supply");
    // Opened before the trial takes the port for itself.
    let mut hand = std::fs::OpenOptions::new()
        .write(true)
        .open(&supply)
        .expect("the port is there");
    let file = file.to_str().expect("a plain name");
    let (mut run, mut near) = on_a_terminal(&["bench", file, "--try", "supply"]);
    near.write_all(b"\n").expect("it can be typed on");
    let mut out = run.0.stdout.take().expect("a pipe");
    said_until(&mut out, "s leaves it out: ");
    hand.write_all(b"OUTP ON\n").expect("it listens");
    // So that the instrument has taken it before anything else comes.
    std::thread::sleep(Duration::from_millis(200));
    drop(hand);
    run.0.kill().expect("it can be killed");
    run.0.wait().expect("it is gone");
    let begun = Instant::now();
    std::thread::sleep(Duration::from_millis(200));
    while output_is_on(&supply) {
        let took = begun.elapsed();
        assert!(took < Duration::from_secs(10), "the supply is still on");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// A capture device that samples slowly is waited for as long as its samples take:
/// 64 of them, 50 ms apart, take 3.2 s.
#[test]
fn a_slow_capture_is_waited_for() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let source = profile::shipped_source("capture").expect("it comes with the program");
    let own = source
        .text
        .replace("period = \"50 ns\"", "period = \"50 ms\"");
    assert_ne!(own, source.text);
    let file = folder.path().join("slow.toml");
    std::fs::write(&file, own).expect("a profile");
    let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .env_remove("BUFFERSTOP_BENCH")
        .args([
            "bench",
            "--json",
            "--port",
            &path_of(&ports, "capture"),
            "--try",
        ])
        .arg(&file)
        .output()
        .expect("the command runs");
    let rows = rows(&done);
    let arm = rows.iter().find(|row| row["command"] == "arm");
    let arm = arm.expect("it was tried");
    assert!(arm["fault"].is_null(), "{arm:#}");
    assert_eq!(done.status.code(), Some(0), "{rows:#?}");
}
