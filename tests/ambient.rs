//! A thermometer at the ambient: read before a run begins, on record and papers with
//! its uncertainty, and nothing is energised where it cannot be read.

use crate::guardian::fixture;
use crate::lots::Workshop;
use bufferstop::bench_file::Probed;
use bufferstop::clock::{BenchInstant, BenchSpan};
use bufferstop::ident::Role;
use bufferstop::judgement::Verdict;
use bufferstop::measurement::Blame;
use bufferstop::model_bench::Answering;
use bufferstop::record::Record;
use bufferstop::seed::Seed;
use bufferstop::units::{Celsius, Quantity as _};
use serde_json::Value;
use std::path::Path;

/// A bench whose thermometer stands in air of `celsius`, and which answers `instead`
/// of a reading.
fn idle_at(celsius: f64, instead: Option<&'static str>) -> Record {
    let mut workshop = Workshop::new();
    workshop.plan.leave_out(|scenario| scenario.name != "idle");
    let thermometer = workshop.bench.instruments.iter_mut();
    for instrument in thermometer.filter(|found| found.role == Role::Thermometer) {
        instrument.at = Probed::Ambient;
    }
    let model = workshop.bench.model.as_mut().expect("a model bench");
    model.fixture.ambient = Celsius::new(celsius);
    let board = workshop.board.nominal;
    workshop.accept_behind(&board, Seed(5), |world| Box::new(Says { world, instead }))
}

/// A thermometer that says something else.
struct Says {
    world: Box<dyn Answering>,
    instead: Option<&'static str>,
}

impl Answering for Says {
    fn now(&self) -> BenchInstant {
        self.world.now()
    }

    fn advance(&mut self, span: BenchSpan) {
        self.world.advance(span);
    }

    fn exchange(&mut self, role: Role, line: &[u8]) -> Vec<u8> {
        let answer = self.world.exchange(role, line);
        match self.instead {
            Some(instead) if line.starts_with(b"MEAS:TEMP?") => format!("{instead}\n").into_bytes(),
            _ => answer,
        }
    }
}

#[test]
fn the_ambient_is_read_before_the_run_with_its_uncertainty() {
    for truth in [12.5, 31.0] {
        let record = idle_at(truth, None);
        assert_eq!(record.verdict(), Verdict::Pass);
        let read = record.started.ambient.expect("it was read").si();
        let u = record.started.ambient_u.expect("with its uncertainty").si();
        // The profile states half a kelvin either side (GUM 4.3.7: over the root of
        // three) and steps of a hundredth.
        assert!((read - truth).abs() <= 0.51, "{read} of {truth}");
        assert!((u - 0.5 / 3_f64.sqrt()).abs() < 0.01, "{u}");
        // A board of eighteen volts is warm by then: this is not its heat sink.
        let words = record.started.ambient_words().expect("in words");
        assert!(words.contains("+/- 0.58 degC (k = 2)"), "{words}");
    }
}

#[test]
fn without_a_reading_nothing_is_energised() {
    // IEEE 488.2 loads say so of an overload (SCPI-1999, 7.2.1: 9.91E37 is no number).
    for (instead, says) in [
        ("9.91E37", "gave no reading"),
        ("850.00", "850.0 degC is no ambient"),
    ] {
        let record = idle_at(25.0, Some(instead));
        assert_eq!(record.verdict(), Verdict::Inconclusive, "{instead}");
        assert_eq!(record.started.ambient, None);
        let [trouble] = &record.troubles[..] else {
            panic!("{:#?}", record.troubles);
        };
        assert_eq!(trouble.trouble.blame, Blame::Bench);
        assert!(trouble.trouble.what.contains(says), "{trouble:?}");
        assert!(record.scenarios.iter().all(|one| one.steps.is_empty()));
    }
}

/// What `accept` records as the first event, the paper's text, and the status.
fn accepted(folder: &Path, more: &[&str]) -> (Option<i32>, Value, String, String) {
    let bench = std::fs::read_to_string(fixture("bench.toml")).expect("the demo's bench");
    let probe = "role = \"thermometer\"\n";
    assert!(bench.contains(probe));
    let bench = bench.replacen(probe, &format!("{probe}at = \"ambient\"\n"), 1);
    let file = folder.join("bench.toml");
    std::fs::write(&file, bench).expect("a bench file");
    std::fs::copy(fixture("board.toml"), folder.join("board.toml")).expect("a board");
    let done = crate::guardian::accept(&fixture("plan.toml"), "T1", &file)
        .arg("--json")
        .args(more)
        .output()
        .expect("the command runs");
    let events = String::from_utf8_lossy(&done.stdout);
    let first = events.lines().next().unwrap_or("null");
    let first: Value = serde_json::from_str(first).expect("JSON");
    let papers = walkdir(&folder.join("reports"));
    let errors = String::from_utf8_lossy(&done.stderr).into_owned();
    (done.status.code(), first["event"].clone(), papers, errors)
}

/// The text of every summary and page below `folder`.
fn walkdir(folder: &Path) -> String {
    let mut text = String::new();
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() {
            text.push_str(&walkdir(&path));
        } else if path
            .extension()
            .is_some_and(|end| end == "txt" || end == "html")
        {
            text.push_str(&std::fs::read_to_string(&path).expect("text"));
        }
    }
    text
}

#[test]
fn papers_say_where_the_ambient_comes_from_and_a_stated_one_goes_first() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (status, started, papers, said) = accepted(folder.path(), &["--only", "idle"]);
    // A diagnosis that passes ends with 2.
    assert_eq!(status, Some(2), "{said}");
    assert!(
        started["ambient_u"].is_string() || started["ambient_u"].is_number(),
        "{started}"
    );
    assert_eq!(papers.matches("read before the run").count(), 2, "{papers}");

    let folder = tempfile::tempdir().expect("a temporary folder");
    let stated = ["--only", "idle", "--ambient", "19 degC"];
    let (status, started, papers, said) = accepted(folder.path(), &stated);
    assert_eq!(status, Some(2), "{said}");
    assert_eq!(started["ambient_u"], Value::Null);
    assert!(papers.contains("19.00 degC"), "{papers}");
    assert!(!papers.contains("read before the run"), "{papers}");
}

#[test]
fn a_soak_needs_the_heat_sinks_thermometer() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (status, _, _, said) = accepted(folder.path(), &[]);
    assert_eq!(status, Some(65), "{said}");
    let plan = std::fs::read_to_string(fixture("plan.toml")).expect("a plan");
    let line = plan.lines().position(|line| line == "kind = \"soak\"");
    let told: Value = serde_json::from_str(said.trim()).expect("JSON");
    let [fault] = &told["faults"].as_array().expect("a list")[..] else {
        panic!("{told:#}");
    };
    assert_eq!(fault["line"], line.expect("a soak") + 1, "{fault}");
    let message = fault["message"].as_str().expect("words");
    assert!(
        message.contains("the bench's thermometer reads the ambient"),
        "{message}"
    );
    // Left out for a reason, the rest runs.
    let more = ["--without", "soak=no probe on the heat sink", "--trial"];
    let only = [
        "load", "overload", "sense", "short", "reversal", "signal", "loss", "inrush", "supply",
    ];
    let others: Vec<String> = only.iter().map(|name| format!("{name}=not here")).collect();
    let mut more = more.to_vec();
    more.extend(
        others
            .iter()
            .flat_map(|other| ["--without", other.as_str()]),
    );
    let (status, _, papers, said) = accepted(folder.path(), &more);
    assert_eq!(status, Some(2), "{said}");
    assert!(papers.contains("read before the run"), "{papers}");
}
