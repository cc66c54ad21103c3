//! A bench without a switch, whose load shorts its own input: what `short` finds
//! there, what such a bench cannot do, and that it ends safe whatever the load does.

use crate::guardian::{Running, fixture, is_on, output_is_on};
use crate::lots::Workshop;
use crate::python::{interpreter, script};
use bufferstop::bench_file::{self, Bench};
use bufferstop::document::Source;
use bufferstop::ident::Role;
use bufferstop::judgement::Verdict;
use bufferstop::measurement::{Estimate, Finding};
use bufferstop::record::Record;
use bufferstop::scenario::Place;
use bufferstop::scenario::Settings;
use bufferstop::seed::Seed;
use bufferstop::units::{Henries, Ohms};
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// The branch of the load's short: wires and a length of resistance wire.
const BRANCH: &str = "\n[[branch]]\nclosed_by = \"load\"\ncloses = \"near short\"\n\
                      resistance = \"500 mohm\"\ninductance = \"1 uH\"\n";

/// The demo's bench without switch, upstream source, and what hangs on them.
fn bench_text() -> String {
    let text = std::fs::read_to_string(fixture("bench.toml")).expect("the demo's bench");
    let mut kept = String::new();
    for table in text.split("\n\n") {
        let gone = table.contains("role = \"switch\"")
            || table.contains("[[branch]]")
            || table.contains("[upstream]")
            || table.contains("carries = \"marker\"")
            || table.contains("carries = \"pilot\"");
        if !gone {
            kept.push_str(table);
            kept.push_str("\n\n");
        }
    }
    assert!(!kept.contains("switch\""), "{kept}");
    kept + BRANCH
}

/// The demo's plan with nothing but shorts near the board.
fn shorts_alone(workshop: &mut Workshop) {
    workshop.plan.leave_out(|scenario| scenario.name != "short");
    for scenario in &mut workshop.plan.scenarios {
        if let Settings::Short(settings) = &mut scenario.settings {
            settings.places = vec![Place::Near];
        }
    }
}

fn without_switch() -> Workshop {
    let mut workshop = Workshop::new();
    shorts_alone(&mut workshop);
    let source = Source::new("bench.toml", bench_text());
    let (bench, _): (Bench, _) = bench_file::parse(&source).expect("a sound bench");
    workshop.profiles.remove(&Role::Switch);
    workshop.bench = bench.with_profiles(&workshop.profiles);
    workshop
}

/// What a run measured near the board, by metric.
fn found(record: &Record) -> BTreeMap<String, Estimate> {
    let [scenario] = &record.scenarios[..] else {
        panic!("{:#?}", record.scenarios);
    };
    assert!(scenario.troubles.is_empty(), "{:#?}", scenario.troubles);
    let metrics = scenario.metrics.iter();
    let values = metrics.filter_map(|judged| match &judged.metric.finding {
        Finding::Value(estimate) => Some((judged.metric.key.clone(), *estimate)),
        _ => None,
    });
    values.collect()
}

#[test]
fn a_short_by_the_load_finds_what_one_by_a_contact_finds() {
    let mut workshop = without_switch();
    let board = workshop.board.nominal;
    let by_load = workshop.accept(&board, Seed(21));
    assert_eq!(by_load.verdict(), Verdict::Pass, "{by_load:#?}");
    let by_load = found(&by_load);

    // The same loop behind a contact: the rectifier takes 1.6 V of 18 V, which as much
    // more resistance does as well.
    let mut workshop = Workshop::new();
    shorts_alone(&mut workshop);
    for branch in &mut workshop.bench.branches {
        branch.resistance = Ohms::new(0.6);
        branch.inductance = Henries::new(1e-6);
    }
    let model = workshop.bench.model.as_mut().expect("a model bench");
    let own = 0.6 + 0.02 + 0.1 + 0.05;
    model.fixture.near.resistance = Ohms::new(0.6 + own * (18.0 / 16.4 - 1.0));
    let by_contact = workshop.accept(&board, Seed(21));
    assert_eq!(by_contact.verdict(), Verdict::Pass);
    let by_contact = found(&by_contact);

    for key in [
        "trip_time",
        "retries",
        "retry_interval",
        "recovery_time",
        "recovered_voltage",
    ] {
        let (one, other) = (by_load[key], by_contact[key]);
        let apart = (one.value - other.value).abs();
        // A contact bounces otherwise each time, and the board's clock starts where it
        // does: trip times differ by tens of microseconds on one switch as well.
        let scatter = if key == "trip_time" {
            0.01 * other.value
        } else {
            0.0
        };
        assert!(
            apart <= one.expanded() + other.expanded() + scatter,
            "{key}: {one:?} by the load, {other:?} by a contact"
        );
    }
    // Ohm's law: what rectifier and all resistances leave, the supply's limit apart.
    let peak = by_load["peak_current"];
    assert!((18.0..=26.0).contains(&peak.value), "{peak:?}");
}

/// That bench served by another process, and its file.
fn served(folder: &Path) -> (Running, PathBuf) {
    let plain = folder.join("plain.toml");
    std::fs::write(&plain, bench_text()).expect("a bench file");
    std::fs::copy(fixture("board.toml"), folder.join("board.toml")).expect("a board");
    let file = folder.join("served.toml");
    let mut served = Running(
        Command::new(env!("CARGO_BIN_EXE_bufferstop"))
            .env_remove("BUFFERSTOP_BENCH")
            .args(["model-bench", "--json", "--write"])
            .arg(&file)
            .arg(&plain)
            .stdout(Stdio::piped())
            .spawn()
            .expect("the model bench starts"),
    );
    let out = served.0.stdout.take().expect("a pipe");
    let mut line = String::new();
    BufReader::new(out).read_line(&mut line).expect("its ports");
    assert!(!line.contains("\"switch\""), "{line}");
    (served, file)
}

/// The port of `role` in a bench file.
fn port_of(role: &str, bench: &Path) -> String {
    let text = std::fs::read_to_string(bench).expect("a bench file");
    let own = text
        .split("[[instrument]]")
        .find(|part| part.contains(&format!("role = \"{role}\"")));
    let path = own
        .and_then(|own| own.split("path = \"").nth(1))
        .expect("a port");
    path.split('"').next().expect("its path").to_owned()
}

/// The demo's plan with near shorts alone, beside `bench`.
fn plan_beside(bench: &Path) -> PathBuf {
    let plan = std::fs::read_to_string(fixture("plan.toml")).expect("the demo's plan");
    let both = "places = [\"near\", \"far\"]";
    assert!(plan.contains(both));
    let file = bench.with_file_name("plan.toml");
    std::fs::write(&file, plan.replacen(both, "places = [\"near\"]", 1)).expect("a plan");
    file
}

fn accept(bench: &Path) -> Command {
    let mut command = crate::guardian::accept(&plan_beside(bench), "L1", bench);
    command.args(["--json", "--only", "short"]);
    command
}

#[test]
fn killed_outright_while_the_load_shorts_its_input_the_bench_is_made_safe() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (_served, bench) = served(folder.path());
    let (load, supply) = (port_of("load", &bench), port_of("supply", &bench));
    let mut run = Running(
        accept(&bench)
            .stdout(Stdio::piped())
            .spawn()
            .expect("it starts"),
    );
    let events = BufReader::new(run.0.stdout.take().expect("a pipe"));
    let mut lines = events.lines().map_while(Result::ok);
    // Of its two pulses the long one.
    let shorted = lines.find(|line| line.contains("short by the load for 1.300 s"));
    assert!(shorted.is_some(), "the run ended before its long short");
    std::thread::sleep(Duration::from_millis(200));
    run.0.kill().expect("it can be killed");
    run.0.wait().expect("it is gone");
    let begun = Instant::now();
    std::thread::sleep(Duration::from_millis(200));
    while output_is_on(&supply) || is_on(&load, "INP:SHOR?") {
        let waited = begun.elapsed();
        assert!(waited < Duration::from_secs(10), "it is still on");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// A load of a dialect of its own whose short sticks, behind ports.
#[test]
fn a_strangers_short_that_sticks_ends_with_69_and_the_supply_off() {
    let Some(python) = interpreter() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (_served, bench) = served(folder.path());
    let (load, supply) = (port_of("load", &bench), port_of("supply", &bench));
    let mut other = Running(
        Command::new(python)
            .arg(script("other_instruments.py"))
            .args(["stuck-load", &load])
            .stdout(Stdio::piped())
            .spawn()
            .expect("Python starts"),
    );
    let mut address = String::new();
    BufReader::new(other.0.stdout.take().expect("a pipe"))
        .read_line(&mut address)
        .expect("it says where it is");
    let profile = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/strangers/load.toml");
    std::fs::copy(profile, bench.with_file_name("load.toml")).expect("its profile");
    let text = std::fs::read_to_string(&bench).expect("a bench file");
    let port = format!("tcp = \"localhost:{}\"", address.trim());
    let text = text
        .replacen(&format!("path = \"{load}\""), &port, 1)
        .replacen("profile = \"load\"", "profile = \"load.toml\"", 1);
    assert!(text.contains(&port) && text.contains("load.toml"), "{text}");
    std::fs::write(&bench, text).expect("a bench file");
    let done = accept(&bench).output().expect("it runs");
    let said = String::from_utf8_lossy(&done.stderr);
    let events = String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(69), "{said}\n{events}");
    assert!(
        events.contains("the load's own short did not open"),
        "{events}"
    );
    assert!(!output_is_on(&supply));
}

/// The messages of `check` on the demo's plan, changed, and that bench, changed.
fn checked(plan: (&str, &str), bench: (&str, &str)) -> Vec<(String, u64, String)> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let text = std::fs::read_to_string(fixture("plan.toml")).expect("the demo's plan");
    let wiring = bench_text();
    assert!(
        text.contains(plan.0) && wiring.contains(bench.0),
        "{plan:?} {bench:?}"
    );
    let file = |name: &str| folder.path().join(name);
    std::fs::write(file("plan.toml"), text.replacen(plan.0, plan.1, 1)).expect("a plan");
    std::fs::write(file("bench.toml"), wiring.replacen(bench.0, bench.1, 1)).expect("a bench");
    std::fs::copy(fixture("board.toml"), file("board.toml")).expect("a board");
    let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .args(["check", "--json"])
        .args([file("plan.toml"), file("bench.toml")])
        .output()
        .expect("it runs");
    let told: Value = serde_json::from_slice(&done.stdout).expect("JSON");
    let faults = told["faults"].as_array().expect("a list").iter();
    let text = |fault: &Value, key: &str| fault[key].as_str().unwrap_or_default().to_owned();
    faults
        .map(|fault| {
            let name = text(fault, "file");
            let name = name.rsplit('/').next().unwrap_or_default().to_owned();
            let line = fault["line"].as_u64().unwrap_or_default();
            (name, line, text(fault, "message"))
        })
        .collect()
}

#[test]
fn check_says_what_the_loads_short_cannot_do() {
    const SAME: (&str, &str) = ("format = ", "format = ");
    let near = ("places = [\"near\", \"far\"]", "places = [\"near\"]");
    for (plan, bench, message) in [
        (
            SAME,
            SAME,
            "the load's own short makes no far short, and the bench has no switch",
        ),
        (near, SAME, "the load's own short makes no capacitor bank"),
        // Without a rectifier, on an alternating output.
        (
            near,
            ("rectifier_drop = \"1.6 V\"", "rectifier_drop = \"0 V\""),
            "without a rectifier the load withstands the positive polarity only",
        ),
        // 18 V through 0.1 + 0.3 ohm, 0.1 of the board and 0.02 of the leads are 34.6 A,
        // more than the 30 A of the load.
        (
            near,
            ("resistance = \"500 mohm\"", "resistance = \"300 mohm\""),
            "short by the load for 60.00 ms: that is more than the load is made for",
        ),
        (
            near,
            ("current = \"45 A\"", "current = \"20 A\""),
            "the prospective current (near short) is",
        ),
        (
            near,
            (
                "closes = \"near short\"\nresistance = \"500",
                "closes = \"far short\"\nresistance = \"500",
            ),
            "the load hangs on the node and can short nothing else",
        ),
    ] {
        let found = checked(plan, bench);
        let said = found.iter().any(|(_, _, said)| said.contains(message));
        assert!(said, "{message}: {found:#?}");
    }
    // Nothing of the short itself is at fault.
    let found = checked(near, SAME);
    let text = std::fs::read_to_string(fixture("plan.toml")).expect("the demo's plan");
    let line_of = |word: &str| {
        let at = text.lines().position(|line| line == word);
        at.expect("that line") as u64 + 1
    };
    // The line before is the head of the next scenario.
    let (from, to) = (
        line_of("kind = \"short\""),
        line_of("kind = \"reversal\"") - 1,
    );
    let of_short = found
        .iter()
        .filter(|(file, line, _)| file == "plan.toml" && (from..to).contains(line));
    let of_short: Vec<_> = of_short.collect();
    assert!(of_short.is_empty(), "{of_short:#?}");
}
