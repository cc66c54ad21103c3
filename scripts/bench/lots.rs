//! A store of two lots made up line by line, compared whole: 10,000 boards a
//! lot and 60 metrics, or as many boards as `BUFFERSTOP_BOARDS` says. And the
//! records of one lot judged again, on all cores.

use super::command::measured;
use super::median;
use bufferstop::clock::{BenchInstant, SystemClock};
use bufferstop::digest::Digest;
use bufferstop::event::{Entry, Event, FileFacts, RunStarted};
use bufferstop::judgement::{DecisionRule, Limit, Verdict, decide};
use bufferstop::measurement::{Estimate, Finding, Metric};
use bufferstop::plan::demo;
use bufferstop::profile;
use bufferstop::seed::Seed;
use bufferstop::store::{Durability, Store};
use bufferstop::units::{Dimension, Seconds};
use std::time::Instant;

const METRICS: usize = 60;

pub(crate) fn run() {
    let boards = std::env::var("BUFFERSTOP_BOARDS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(10_000);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().to_str().expect("a plain path");
    let begun = Instant::now();
    {
        let store = Store::for_run(folder.path(), false, Durability::AtEnd, &SystemClock)
            .expect("a fresh store");
        for (lot, shift) in [("A", 0.0), ("B", 0.5)] {
            for index in 1..=boards {
                board(&store, lot, index, shift);
            }
        }
    }
    let size = folder.path().join("records.sqlite");
    let size = size.metadata().map_or(0, |file| file.len());
    println!(
        "{boards} boards a lot, {METRICS} metrics; store of {:.0} MB made in {:.0} s",
        size as f64 / 1e6,
        begun.elapsed().as_secs_f64()
    );
    let timed = |words: &[&str]| {
        let runs = (0..3).map(|_| measured(words));
        let (times, peaks): (Vec<f64>, Vec<u64>) = runs.unzip();
        let peak = peaks.into_iter().max().unwrap_or(0);
        (median(times), peak as f64 / 1e6)
    };
    let words = [
        "compare",
        "--baseline",
        "A",
        "--candidate",
        "B",
        "--out",
        out,
    ];
    let (wall, peak) = timed(&words);
    println!("compare, median of 3: {wall:.2} s, peak memory {peak:.0} MB");
    let (wall, peak) = timed(&["records", "lot", "A", "--out", out]);
    println!("records lot, median of 3: {wall:.2} s, peak memory {peak:.0} MB");
    let (wall, peak) = timed(&["rejudge", "--lot", "A", "--out", out]);
    println!("rejudge of {boards} records, median of 3: {wall:.2} s, peak memory {peak:.0} MB");
}

/// A whole run of one board: metrics at levels of their own with a spread of
/// one hundredth, `shift` of it added to the first.
fn board(store: &Store, lot: &str, index: usize, shift: f64) {
    let serial = format!("{lot}-{index:05}");
    let seed = Seed(u64::from(lot.as_bytes()[0]));
    let mut stream = seed.stream(&[index as u64]);
    let mut sequence = 0;
    let mut entry = |event: Event| {
        sequence += 1;
        Entry {
            sequence,
            at: jiff::Timestamp::UNIX_EPOCH,
            bench: BenchInstant::ZERO,
            event,
        }
    };
    let mut run = store
        .begin(&entry(Event::RunStarted(Box::new(started(lot, &serial)))))
        .expect("a run begins");
    let mut append = |event: Event| run.append(&entry(event), false).expect("room on the disk");
    append(Event::ScenarioStarted {
        scenario: "short".into(),
        kind: "short".into(),
    });
    for place in 0..METRICS {
        let level = 1.0 + place as f64;
        let added = if place == 0 { shift } else { 0.0 };
        let value = level * (1.0 + 0.01 * (stream.normal() + added));
        let metric = Metric {
            evidence: None,
            scenario: "short".into(),
            key: "trip_time".into(),
            at: format!("place {place}"),
            dimension: Dimension::Time,
            finding: Finding::Value(Estimate::new(value, 1e-4)),
            common: 0.0,
            notes: Vec::new(),
        };
        let limit = Limit {
            lower: Some(0.8 * level),
            upper: Some(1.2 * level),
            rule: DecisionRule::GuardedAcceptance { guard: 1.0 },
            source: "data sheet of the demo booster, section 4".into(),
        };
        let decision = Some(decide(&metric.finding, &limit));
        append(Event::Measured {
            metric,
            limit: Some(limit),
            decision,
        });
    }
    append(Event::ScenarioFinished {
        scenario: "short".into(),
        verdict: Verdict::Pass,
        took: Seconds::new(1.0),
    });
    append(Event::RunFinished {
        verdict: Verdict::Pass,
        abort: None,
        measurement: Digest::of(serial.as_bytes()),
    });
}

/// With the texts that a real record keeps.
fn started(lot: &str, serial: &str) -> RunStarted {
    let sources = [demo::plan(), demo::bench()].into_iter().chain(
        profile::shipped_names()
            .into_iter()
            .filter_map(profile::shipped_source),
    );
    let files = sources.map(|source| FileFacts {
        name: source.name.clone(),
        digest: Digest::of(source.text.as_bytes()),
        text: source.text,
    });
    RunStarted {
        run: format!("run-{serial}").parse().expect("a plain name"),
        serial: serial.parse().expect("a plain name"),
        lot: Some(lot.parse().expect("a plain name")),
        plan: "demo booster, acceptance".into(),
        family: "garden booster".into(),
        revision: "B".into(),
        scenarios: vec!["short".into()],
        files: files.collect(),
        model: false,
        seed: None,
        operator: None,
        ambient: None,
        ambient_u: None,
        retest: None,
        overdue_calibration: None,
        missing_safety: Vec::new(),
        only: None,
        without: Vec::new(),
        planted: Vec::new(),
        version: "0.1.0".into(),
    }
}
