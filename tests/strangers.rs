//! Instruments that were never met before, each with a dialect of its own, simulated
//! by programs in another language that share no code with the model instruments.
//! They stand before the model circuit, so a run on them must give what a run on the
//! model instruments gives, within the uncertainty of both.

use super::guardian::{Running, bench_on, fixture, is_on, serve, serve_from};
use super::python::{interpreter, script};
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

/// The profiles of the instruments, by what their simulation calls them.
fn profile(kind: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/strangers");
    std::fs::read_to_string(folder.join(format!("{kind}.toml"))).expect("its profile")
}

/// What a run says of one metric, and what was decided of its limit.
#[derive(Debug)]
struct Told {
    finding: Value,
    limit: Value,
    verdict: String,
}

impl Told {
    /// Its value with the expanded uncertainty; nothing where it is a bound or unknown.
    fn value(&self) -> Option<(f64, f64)> {
        let number = |key: &str| self.finding[key].as_f64();
        let is_value = self.finding["is"] == "value";
        is_value.then_some((number("value")?, 2.0 * number("u")?))
    }

    /// Whether `u` more or less than `value` reaches an end of its limit.
    fn reaches(&self, value: f64, u: f64) -> bool {
        let ends = ["lower", "upper"].map(|end| self.limit[end].as_f64());
        ends.iter().flatten().any(|end| (value - end).abs() <= u)
    }
}

/// Every metric of a run with these options, by name; it passes, with this status.
fn measured(bench: &Path, plan: &Path, options: &[&str], status: i32) -> BTreeMap<String, Told> {
    let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .env_remove("BUFFERSTOP_BENCH")
        .args(["accept", "--json", "--ready", "--serial", "D1"])
        .args(options)
        .arg(plan)
        .arg("--bench")
        .arg(bench)
        .arg("--out")
        .arg(bench.with_extension("reports"))
        .output()
        .expect("the command runs");
    let said = String::from_utf8_lossy(&done.stderr);
    let events = String::from_utf8_lossy(&done.stdout).into_owned();
    let doubted = |line: &&str| {
        line.contains("\"trouble\":{")
            || (line.contains("\"measured\"") && line.contains("\"verdict\":\"inconclusive\""))
    };
    let doubted: Vec<&str> = events.lines().filter(doubted).collect();
    assert_eq!(done.status.code(), Some(status), "{said}\n{doubted:#?}");
    // What was not decided ends with 2 as well.
    let ended = events.lines().find(|line| line.contains("run_finished"));
    let passed = ended.is_some_and(|line| line.contains("\"verdict\":\"pass\""));
    assert!(passed, "{ended:?}\n{said}\n{doubted:#?}");
    let lines = events.lines().map(|line| {
        let event: Value = serde_json::from_str(line).expect("JSON");
        event["event"].clone()
    });
    let told = lines.filter_map(|measured| {
        let metric = &measured["metric"];
        let name = format!(
            "{} {} {}",
            metric["scenario"].as_str()?,
            metric["key"].as_str()?,
            metric["at"].as_str()?
        );
        let verdict = measured["decision"]["verdict"].as_str();
        let told = Told {
            finding: metric["finding"].clone(),
            limit: measured["limit"].clone(),
            verdict: verdict.unwrap_or("recorded only").to_owned(),
        };
        Some((name, told))
    });
    told.collect()
}

/// A diagnosis of these scenarios, which ends with 2 where it passes.
fn diagnosed(bench: &Path, only: &[&str]) -> BTreeMap<String, Told> {
    let only: Vec<&str> = only.iter().flat_map(|one| ["--only", one]).collect();
    measured(bench, &fixture("plan.toml"), &only, 2)
}

/// Whether two benches say the same of one board, and each metric of which the values
/// are further apart than the uncertainty of both, with how much further that is;
/// `scatter` is the part of a value by which two shots differ on one bench already.
///
/// A decision may be open on one bench alone only where a wider uncertainty there
/// reaches the limit: then it would have been open on the other with that uncertainty
/// as well.
fn alike(
    direct: &BTreeMap<String, Told>,
    other: &BTreeMap<String, Told>,
    scatter: f64,
) -> Vec<(String, f64)> {
    let mut apart = Vec::new();
    let names = |told: &BTreeMap<String, Told>| told.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(other), names(direct));
    for (name, one) in direct {
        let two = &other[name];
        assert_eq!(
            one.finding["is"], two.finding["is"],
            "{name}: {one:?} {two:?}"
        );
        let values = one.value().zip(two.value());
        if let Some(((value, u), (other, other_u))) = values {
            let most = u + other_u + scatter * value.abs();
            let difference = (value - other).abs();
            if difference > most {
                println!("{name}: {value} +- {u} directly, {other} +- {other_u} otherwise");
                apart.push((name.clone(), difference / most));
            }
        }
        if one.verdict == two.verdict {
            continue;
        }
        let open = |told: &Told| told.verdict == "inconclusive";
        let (open, decided) = match (open(one), open(two)) {
            (true, false) => (one, two),
            (false, true) => (two, one),
            _ => panic!("{name}: {one:?} directly, {two:?} otherwise"),
        };
        let explained = open.value().zip(decided.value());
        let explained = explained
            .is_some_and(|((_, wide), (value, u))| wide > u && decided.reaches(value, wide));
        assert!(explained, "{name}: {one:?} directly, {two:?} otherwise");
    }
    apart
}

/// An instrument in front of the model one in `role`, and at `bench` the file of a
/// bench that reaches it at its own address instead.
fn in_front(python: &Path, kind: &str, role: &str, ports: &Value, bench: &Path) -> Running {
    let model = port_of(role, ports);
    let started = Command::new(python)
        .arg(script("other_instruments.py"))
        .args([kind, model])
        .stdout(Stdio::piped())
        .spawn();
    let mut other = Running(started.expect("Python starts"));
    let mut address = String::new();
    BufReader::new(other.0.stdout.take().expect("a pipe"))
        .read_line(&mut address)
        .expect("it says where it is");
    let address = address.trim();
    let file = format!("{kind}.toml");
    // The same instrument on another kind of port.
    let described = match kind {
        // The scope that lists volts, as its makers' next one has them.
        "table-scope" => profile("list-scope").replace(
            "data = \"volts\"",
            "data = \"table\"\nheader_lines = 2\n\
             checksum = { kind = \"crc-16-1021\", written = \"low first\" }",
        ),
        "row-scope" => profile("list-scope").replace(
            "data = \"volts\"",
            "data = \"table\"\nheader_lines = 2\nframed = \"lines\"",
        ),
        kind => profile(kind.trim_start_matches("message-")),
    };
    std::fs::write(bench.with_file_name(&file), described).expect("a profile");
    let port = if kind == "message-load" {
        format!("usbtmc = \"{address}\"")
    } else if address.starts_with('/') {
        format!("path = \"{address}\"")
    } else {
        // A name with addresses of two kinds, at one of which nobody listens.
        format!("tcp = \"localhost:{address}\"")
    };
    let text = match std::fs::read_to_string(bench) {
        Ok(text) => text,
        Err(_) => bench_on(ports),
    };
    let text = text.replacen(&format!("path = \"{model}\""), &port, 1);
    let own = format!("profile = \"{role}\"");
    assert!(text.contains(&own), "{text}");
    let text = text.replacen(&own, &format!("profile = \"{file}\""), 1);
    std::fs::write(bench, text).expect("a bench file");
    other
}

fn port_of<'a>(role: &str, ports: &'a Value) -> &'a str {
    let list = ports["ports"].as_array().expect("a list");
    let found = list.iter().find(|port| port["role"] == role);
    found.expect("the role")["path"].as_str().expect("a path")
}

/// A run of `only` on the instruments of `strangers` says what one on the model
/// instruments says; `scatter` is the part of a value by which two shots differ on one
/// bench already.
fn agree(strangers: &[(&str, &str)], only: &[&str], least: usize, scatter: f64) {
    let Some(python) = interpreter() else { return };
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let direct = folder.path().join("direct.toml");
    std::fs::write(&direct, bench_on(&ports)).expect("a bench file");
    let expected = diagnosed(&direct, only);

    let behind = folder.path().join("behind.toml");
    let _others: Vec<Running> = strangers
        .iter()
        .map(|(kind, role)| in_front(&python, kind, role, &ports, &behind))
        .collect();
    let found = diagnosed(&behind, only);

    let values = expected.values().filter(|told| told.value().is_some());
    assert!(values.count() >= least, "{expected:#?}");
    let apart = alike(&expected, &found, scatter);
    assert!(apart.is_empty(), "{apart:?} on {strangers:?}");
}

#[test]
fn a_load_behind_a_socket_needs_a_profile_and_no_code() {
    agree(&[("load", "load")], &["load"], 15, 0.0);
}

/// It refuses a message of two lines, and ends none of its answers.
#[test]
fn a_load_that_takes_messages_needs_another_key_of_the_port_only() {
    agree(&[("message-load", "load")], &["load"], 15, 0.0);
}

#[test]
fn a_scope_that_lists_volts_needs_a_profile_and_no_code() {
    agree(&[("list-scope", "capture")], &["idle", "load"], 20, 0.0);
}

#[test]
fn a_scope_that_gives_checked_tables_needs_a_profile_and_no_code() {
    agree(&[("table-scope", "capture")], &["idle"], 5, 0.0);
}

#[test]
fn a_scope_that_gives_tables_line_by_line_needs_a_profile_and_no_code() {
    agree(&[("row-scope", "capture")], &["idle"], 5, 0.0);
}

#[test]
fn a_scope_of_eight_bits_needs_a_profile_and_no_code() {
    agree(&[("byte-scope", "capture")], &["idle"], 5, 0.0);
}

#[test]
fn a_relay_card_worked_by_bytes_needs_a_profile_and_no_code() {
    // A contact bounces otherwise each time, and the board's clock starts where it
    // does: trip times differ by tens of microseconds on one switch as well.
    agree(&[("relay-card", "switch")], &["short"], 8, 0.01);
}

#[test]
fn a_supply_that_checks_every_line_needs_a_profile_and_no_code() {
    agree(&[("strict-supply", "supply")], &["idle", "load"], 20, 0.0);
}

/// The guardian has the socket as well.
#[test]
fn killed_outright_a_load_behind_a_socket_is_switched_off() {
    killed_outright_is_switched_off("load");
}

/// And tells it each line as a message of its own.
#[test]
fn killed_outright_a_load_that_takes_messages_is_switched_off() {
    killed_outright_is_switched_off("message-load");
}

fn killed_outright_is_switched_off(kind: &str) {
    let Some(python) = interpreter() else { return };
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("behind.toml");
    let mut load = in_front(&python, kind, "load", &ports, &bench);
    let mut run = Running(
        Command::new(env!("CARGO_BIN_EXE_bufferstop"))
            .env_remove("BUFFERSTOP_BENCH")
            .args(["accept", "--json", "--ready", "--only", "load"])
            .args(["--serial", "D2"])
            .arg(fixture("plan.toml"))
            .arg("--bench")
            .arg(&bench)
            .arg("--out")
            .arg(folder.path().join("reports"))
            .stdout(Stdio::piped())
            .spawn()
            .expect("it starts"),
    );
    let events = BufReader::new(run.0.stdout.take().expect("a pipe"));
    // The step after the one that switched it on.
    let loaded = events
        .lines()
        .map_while(Result::ok)
        .find(|line| line.contains("positive at 1.500 A"));
    assert!(loaded.is_some(), "the run ended before it loaded the board");
    run.0.kill().expect("it can be killed");
    run.0.wait().expect("it is gone");
    // Within a second on a machine with nothing else to do.
    std::thread::sleep(Duration::from_secs(3));
    // So that nobody else reads the answer.
    load.0.kill().expect("it can be killed");
    load.0.wait().expect("it is gone");
    assert!(!is_on(port_of("load", &ports), "INP?"), "the load draws on");
}

/// The demo's plan with shorter holds and fewer repeats, but every scenario of it. A
/// soak asks nothing of an instrument that others do not, and takes minutes.
fn brief_plan() -> String {
    let mut plan = std::fs::read_to_string(fixture("plan.toml")).expect("the demo's plan");
    for (old, new) in [
        ("multiples = [1.5, 2, 3]", "multiples = [2]"),
        ("hold_time = \"3 s\"", "hold_time = \"300 ms\""),
        ("ramp_time = \"2 s\"", "ramp_time = \"1 s\""),
        ("places = [\"near\", \"far\"]", "places = [\"near\"]"),
        ("repeats = 2", "repeats = 1"),
        (
            "kind = \"signal\"",
            "kind = \"signal\"\nloads = [\"rated\"]",
        ),
        ("kind = \"inrush\"", "kind = \"inrush\"\nlength = \"1.3 s\""),
        (
            "kind = \"supply\"",
            "kind = \"supply\"\nhold = \"200 ms\"\nsteps = [\"3 A\", \"4.4 A\"]",
        ),
    ] {
        assert!(plan.contains(old), "{old}");
        plan = plan.replacen(old, new, 1);
    }
    plan
}

/// The demo's bench, on which nobody waits long for the bank to be empty.
fn brief(bench: &str) -> String {
    let bleeder = "bleeder = \"100 ohm\"";
    assert!(bench.contains(bleeder));
    bench.replacen(bleeder, "bleeder = \"22 ohm\"", 1)
}

/// A bench served from a file in `folder`, its ports, and the file of a bench on them,
/// both the demo's but for what `wired` changes.
fn wired_bench(folder: &Path, wired: fn(&str) -> String) -> (Running, Value, PathBuf) {
    std::fs::create_dir(folder).expect("a folder");
    let bench = std::fs::read_to_string(fixture("bench.toml")).expect("the demo's bench");
    std::fs::write(folder.join("model.toml"), wired(&bench)).expect("a bench file");
    std::fs::copy(fixture("board.toml"), folder.join("board.toml")).expect("a board");
    let (served, ports) = serve_from(Some(&folder.join("model.toml")));
    let file = folder.join("bench.toml");
    std::fs::write(&file, wired(&bench_on(&ports))).expect("a bench file");
    (served, ports, file)
}

/// An acceptance by `plan` with a load, a capture device, a switch and a supply that
/// were never met before, all at once, beside the direct run.
fn accepted_alike(plan: &str, wired: fn(&str) -> String) {
    let Some(python) = interpreter() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("plan.toml");
    std::fs::write(&file, plan).expect("a plan");
    let (_one, _, direct) = wired_bench(&folder.path().join("direct"), wired);
    let (_other, ports, behind) = wired_bench(&folder.path().join("behind"), wired);
    let _strangers: Vec<Running> = [
        ("load", "load"),
        ("list-scope", "capture"),
        ("relay-card", "switch"),
        ("strict-supply", "supply"),
    ]
    .into_iter()
    .map(|(kind, role)| in_front(&python, kind, role, &ports, &behind))
    .collect();
    let accepted = |bench| measured(bench, &file, &["--without", "soak=takes minutes"], 0);
    let (expected, found) = std::thread::scope(|scope| {
        let direct = scope.spawn(|| accepted(&direct));
        let found = accepted(&behind);
        (direct.join().expect("the direct run"), found)
    });
    assert!(expected.len() >= 60, "{expected:#?}");
    // Contacts bounce otherwise each time, as for the relay card alone. Of so many
    // values one in twenty may be apart by more than U at k = 2 (GUM 6.3.3), and none
    // by more than twice that.
    let apart = alike(&expected, &found, 0.01);
    let values = expected.values().filter(|told| told.value().is_some());
    assert!(apart.len() * 20 <= values.count(), "{apart:#?}");
    let far = apart.iter().find(|(_, times)| *times > 2.0);
    assert!(far.is_none(), "{apart:#?}");
}

#[test]
#[ignore = "a minute of the wall's time in which nothing may stand still: scripts/long"]
fn a_whole_acceptance_on_strangers_decides_as_the_direct_run() {
    accepted_alike(&brief_plan(), brief);
}

#[test]
#[ignore = "the same in minutes: scripts/long"]
fn the_demos_own_acceptance_on_strangers_decides_as_the_direct_run() {
    let plan = std::fs::read_to_string(fixture("plan.toml")).expect("the demo's plan");
    accepted_alike(&plan, str::to_owned);
}
