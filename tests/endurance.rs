//! Starts into capacitors, long loads, weak supplies and a common negative on
//! the model bench: the defect or the bench that is planted decides what must
//! fail, not the code that judged.

use crate::lots::Workshop;
use assert_cmd::cargo::cargo_bin_cmd;
use bufferstop::ident::Role;
use bufferstop::judgement::Verdict;
use bufferstop::measurement::Blame;
use bufferstop::scenario::ScenarioKind;
use bufferstop::seed::Seed;
use bufferstop::units::Seconds;
use serde_json::Value;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

fn demo(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    std::fs::read_to_string(path.join(name)).expect("a file of the demo")
}

/// A folder with the demo's plan, bench and board, each with a replacement.
struct Files {
    folder: TempDir,
}

impl Files {
    fn new(plan: (&str, &str), bench: (&str, &str), board: (&str, &str)) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        for (name, (old, new)) in [
            ("plan.toml", plan),
            ("bench.toml", bench),
            ("board.toml", board),
        ] {
            let text = demo(name);
            assert!(text.contains(old), "{name}: {old}");
            std::fs::write(folder.path().join(name), text.replacen(old, new, 1))
                .expect("a written file");
        }
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Exit status and record of one board, all scenarios or one alone.
    fn accept(&self, only: Option<&str>) -> (i32, Value) {
        let mut command = cargo_bin_cmd!("bufferstop");
        command
            .args(["accept"])
            .arg(self.path("plan.toml"))
            .arg("--bench")
            .arg(self.path("bench.toml"))
            .args(["--serial", "E1", "--seed", "5", "--json", "--out"])
            .arg(self.path("out"));
        if let Some(only) = only {
            command.args(["--only", only]);
        }
        let done = command.output().expect("the command runs");
        let said = String::from_utf8_lossy(&done.stderr);
        assert!(!said.contains("panicked"), "{said}");
        let status = done.status.code().expect("an exit status");
        let board = self.path("out").join("E1");
        let runs = std::fs::read_dir(&board).map(|runs| {
            let mut runs: Vec<PathBuf> = runs.flatten().map(|run| run.path()).collect();
            runs.sort();
            runs
        });
        let Some(run) = runs.ok().and_then(|mut runs| runs.pop()) else {
            return (status, Value::String(said.into_owned()));
        };
        let text = std::fs::read_to_string(run.join("record.json")).expect("a record");
        let document: Value = serde_json::from_str(&text).expect("JSON");
        (status, document["record"].clone())
    }
}

const SAME: (&str, &str) = ("format = ", "format = ");

/// The demo's board with one defect more in every board of its lot.
fn with_defect(kind: &str) -> Files {
    let more = format!("[[defect]]\nkind = \"{kind}\"\n\n[[defect]]\nkind = \"slow trip\"");
    Files::new(SAME, SAME, ("[[defect]]\nkind = \"slow trip\"", &more))
}

/// `scenario key` of every metric with that verdict.
fn judged(record: &Value, verdict: &str) -> Vec<String> {
    let mut found = Vec::new();
    for scenario in record["scenarios"].as_array().expect("scenarios") {
        for judged in scenario["metrics"].as_array().expect("metrics") {
            if judged["decision"]["verdict"] == verdict {
                let key = judged["metric"]["key"].as_str().expect("a key");
                let name = scenario["name"].as_str().expect("a name");
                found.push(format!("{name} {key}"));
            }
        }
    }
    found.dedup();
    found
}

/// The finding of one metric of the only scenario.
fn finding<'a>(record: &'a Value, key: &str) -> &'a Value {
    let metrics = record["scenarios"][0]["metrics"].as_array();
    let judged = metrics
        .expect("metrics")
        .iter()
        .find(|judged| judged["metric"]["key"] == key);
    &judged.unwrap_or_else(|| panic!("{key} in {record:#}"))["metric"]["finding"]
}

/// A trip filter that is too short answers every other test in time; only the
/// inrush shows it, tripping on a load that is no fault.
#[test]
fn only_the_inrush_catches_a_hasty_trip() {
    let (status, record) = with_defect("hasty trip").accept(None);
    assert_eq!(status, 1, "{record:#}");
    let failed = judged(&record, "fail");
    assert!(
        failed.contains(&"inrush nuisance_trips".to_owned()),
        "{failed:?}"
    );
    assert!(
        failed.iter().all(|f| f.starts_with("inrush ")),
        "{failed:?}"
    );
}

/// A switch that lets a milliampere through shows only where the output is off
/// and unloaded: every other scenario passes.
#[test]
fn only_idle_catches_a_leaking_switch() {
    let (status, record) = with_defect("leaking switch").accept(None);
    assert_eq!(status, 1, "{record:#}");
    let failed = judged(&record, "fail");
    for key in ["idle off_voltage", "idle off_leakage"] {
        assert!(failed.contains(&key.to_owned()), "{failed:?}");
    }
    assert_eq!(failed.len(), 2, "{failed:?}");
    assert_eq!(judged(&record, "inconclusive"), Vec::<String>::new());
}

/// A board that bears a second's load but gets far too warm in minutes.
#[test]
fn only_the_soak_catches_a_bad_heat_path() {
    let (status, record) = with_defect("bad heat path").accept(None);
    assert_eq!(status, 1, "{record:#}");
    let failed = judged(&record, "fail");
    assert!(
        failed.contains(&"soak temperature_rise".to_owned()),
        "{failed:?}"
    );
    assert!(failed.iter().all(|f| f.starts_with("soak ")), "{failed:?}");
}

/// A bank so large that the board trips on it over and over: it starts late or
/// never, and every retry is counted.
#[test]
fn a_start_into_too_much_is_counted_retry_by_retry() {
    let bank = ("capacitance = \"9400 uF\"", "capacitance = \"80 mF\"");
    let bleeder = "capacitance = \"80 mF\"";
    let files = Files::new(SAME, (bank.0, bleeder), SAME);
    let (status, record) = files.accept(Some("inrush"));
    assert_eq!(status, 1, "{record:#}");
    let trips = finding(&record, "nuisance_trips");
    assert!(trips["value"].as_f64().expect("a number") >= 1.0, "{trips}");
    let time = finding(&record, "time_to_start");
    // Retries come half a second apart.
    assert!(time["value"].as_f64().expect("a number") > 0.45, "{time}");
}

/// Each weak supply by its kind: what it delivers lies between two steps, and
/// the trip current is out of reach; only the resting one hiccups.
#[test]
fn a_weak_supply_never_lets_the_board_trip() {
    for (kind, hiccup) in [
        ("constant current", 0.0),
        ("foldback", 0.0),
        ("hiccup", 1.0),
    ] {
        let fixture = format!(
            "[model]\nboard = \"board.toml\"\n\n[model.fixture]\nsupply_kind = \"{kind}\"\n\
             supply_own_limit = \"3.3 A\"\n"
        );
        let old = "[model]\nboard = \"board.toml\"\n";
        let files = Files::new(SAME, (old, &fixture), SAME);
        let (status, record) = files.accept(Some("supply"));
        assert_eq!(status, 1, "{kind}: {record:#}");
        let number = |key: &str| {
            let found = finding(&record, key);
            assert_eq!(found["is"], "value", "{kind} {key}: {found}");
            found["value"].as_f64().expect("a number")
        };
        // Steps of 3.0 A and 3.6 A lie beside its 3.3 A.
        assert!((number("delivered_current") - 3.0).abs() < 0.05, "{kind}");
        assert_eq!(number("trip_reachable"), 0.0, "{kind}");
        assert_eq!(number("hiccup"), hiccup, "{kind}");
    }
}

/// Where the supply gives out between the steps beside the trip current,
/// nothing is decided: inconclusive, never a guess.
#[test]
fn a_supply_that_just_about_reaches_it_decides_nothing() {
    let old = "[model]\nboard = \"board.toml\"\n";
    let new = "[model]\nboard = \"board.toml\"\n\n[model.fixture]\nsupply_own_limit = \"4.05 A\"\n";
    let (_, record) = Files::new(SAME, (old, new), SAME).accept(Some("supply"));
    let found = finding(&record, "trip_reachable");
    assert_eq!(found["is"], "unknown", "{found}");
}

/// A record of one time constant is not extrapolated: the rise is a bound, and
/// a bound below its limit is inconclusive.
#[test]
fn a_short_soak_is_inconclusive() {
    let plan = ("length = \"4 min\"", "length = \"80 s\"");
    let files = Files::new(plan, SAME, SAME);
    let text = std::fs::read_to_string(files.path("plan.toml")).expect("a plan");
    let text = text.replacen(
        "thermal_time_constant = { min = \"30 s\", max = \"2 min\", source = \"house limit\" }\n",
        "",
        1,
    );
    std::fs::write(files.path("plan.toml"), text).expect("written");
    let (status, record) = files.accept(Some("soak"));
    assert_eq!(status, 2, "{record:#}");
    let found = finding(&record, "temperature_rise");
    assert_eq!(found["is"], "above", "{found}");
}

/// The coin test on the circuit: through a loop that lets a little more than
/// the trip current flow the board trips, through one a little thinner the plan
/// is refused before anything is energised.
#[test]
fn a_loop_near_the_trip_current_trips_or_is_refused() {
    let near = |ohms: &str| {
        let plan = ("places = [\"near\", \"far\"]", "places = [\"near\"]");
        let new = format!("closes = \"near short\"\nresistance = \"{ohms}\"");
        let old = "closes = \"near short\"\nresistance = \"300 mohm\"";
        Files::new(plan, (old, &new), SAME).accept(Some("short"))
    };
    let (_, record) = near("3.8 ohm");
    let found = finding(&record, "trip_time");
    assert_eq!(found["is"], "value", "{found}");
    let (status, said) = near("4 ohm");
    assert_eq!(status, 65, "{said}");
    let said = said.as_str().expect("no run");
    assert!(said.contains("so no board need trip"), "{said}");
}

/// A soak alone on the demo's bench as `change` leaves it.
fn soaked(change: impl FnOnce(&mut Workshop)) -> bufferstop::record::Record {
    let mut workshop = Workshop::new();
    workshop
        .plan
        .scenarios
        .retain(|s| s.kind == ScenarioKind::Soak);
    change(&mut workshop);
    let board = workshop.board.nominal;
    workshop.accept(&board, Seed(1))
}

/// Whatever a check of the plan said, the interlock lets no current flow for
/// longer than the envelope: not begun where the hold is too long as it is
/// meant, ended where slow lines make it so, and the board left without power
/// (which every run here asserts).
#[test]
fn no_soak_outlasts_the_envelope() {
    let seconds = |workshop: &mut Workshop, most| {
        workshop.bench.envelope.seconds = Seconds::new(most);
    };
    // Each look takes some 200 s: the second would end beyond 300 s.
    let slow = |workshop: &mut Workshop| {
        let capture = workshop.profiles.get_mut(&Role::Capture).expect("one");
        capture.line.speed = 300;
    };
    let refused = soaked(|workshop| seconds(workshop, 239.0));
    let ended = soaked(slow);
    for (record, words) in [(&refused, "held for 240.0 s"), (&ended, "s more: ")] {
        assert_eq!(record.verdict(), Verdict::Inconclusive);
        let [trouble] = &record.scenarios[0].troubles[..] else {
            panic!("{:#?}", record.scenarios[0].troubles);
        };
        assert_eq!(trouble.blame, Blame::Plan, "{trouble:?}");
        assert!(trouble.what.contains(words), "{trouble:?}");
        assert!(trouble.what.contains("the envelope allows"), "{trouble:?}");
    }
    // What is as long as it may be passes.
    let passed = soaked(|workshop| seconds(workshop, 241.0));
    assert_eq!(passed.verdict(), Verdict::Pass);
}

/// With a common negative the gap's current leaves by one half-bridge and goes
/// round the legs while that is high: they see it in every other half-bit, and
/// a board reverses whose filter is slower than those. What flows until then is
/// V / (Rhigh + Rlow + Rgap): 18 V over a switch, half of the output and its
/// leads, the upstream source and the gap, of which the supply's limit takes
/// some before the board reverses.
#[test]
fn a_board_reverses_where_one_gap_meets_a_common_negative() {
    let isolation = ("\"isolated, both gaps\"", "\"common negative, one gap\"");
    let slow = ("[nominal]", "[nominal]\nsense_filter = \"1 ms\"");
    let (_, record) = Files::new(SAME, isolation, slow).accept(Some("reversal"));
    let found = |key: &str, at: &str| {
        let metrics = record["scenarios"][0]["metrics"].as_array();
        let judged = metrics
            .expect("metrics")
            .iter()
            .find(|judged| judged["metric"]["key"] == key && judged["metric"]["at"] == at);
        let judged = judged.unwrap_or_else(|| panic!("{key} {at} in {record:#}"));
        assert_eq!(judged["metric"]["finding"]["is"], "value", "{judged:#}");
        judged["metric"]["finding"]["value"]
            .as_f64()
            .expect("a number")
    };
    for at in ["forward", "back"] {
        assert_eq!(found("reversals", at), 1.0);
        // The rail holds between the upstream's 17 V and its own 18 V.
        let resistance = 0.045 + 0.5 * (0.020 + 0.020) + 0.300 + 0.500;
        let peak = found("peak_current", at);
        assert!(
            (17.0 / resistance..18.0 / resistance).contains(&peak),
            "{peak}"
        );
        // The filter shows half of the current: 3.5 A of about 10 A after
        // 1 ms ln(10 / 6.5), then the debounce of 2 ms.
        let time = found("reversal_time", at);
        assert!((2.3e-3..2.6e-3).contains(&time), "{time}");
    }
}
