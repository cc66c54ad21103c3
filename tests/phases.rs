//! One board shorted by seeds that close the contact at other phases of the signal:
//! what is stated of the board must hold at each of them, and the phase must move
//! what it moves, or nothing was tried. The board has no spread, so nothing else
//! differs but the instruments.

use crate::records::{Shelf, fixture};
use serde_json::Value;
use std::collections::BTreeMap;

const SEEDS: u32 = 8;

/// The demo's bench with a board that is drawn without spread.
fn bench(shelf: &Shelf) -> String {
    let board = std::fs::read_to_string(fixture("board.toml")).expect("a board");
    let (nominal, _) = board.split_once("# Relative standard").expect("its spread");
    std::fs::write(shelf.path("board.toml"), nominal).expect("written");
    let path = shelf.path("bench.toml");
    std::fs::copy(fixture("bench.toml"), &path).expect("copied");
    path.to_str().expect("a plain path").to_owned()
}

/// Values and standard uncertainties of the short's metrics, by metric and place.
fn shorted(shelf: &Shelf, bench: &str, seed: u32) -> BTreeMap<String, (f64, f64)> {
    let (serial, seed) = ("P1".to_owned(), (100 + seed).to_string());
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain path");
    let words = ["accept", plan, "--bench", bench, "--serial", &serial];
    let more = ["--only", "short", "--seed", &seed];
    let words: Vec<&str> = words.into_iter().chain(more).collect();
    let (status, said) = shelf.says(&words);
    assert_eq!(status, 2, "a diagnosis that passes: {said}");
    let (_, shown) = shelf.json(&["records", "show", &serial, "--model"]);
    let scenarios = shown["record"]["scenarios"].as_array().expect("scenarios");
    let metrics = scenarios
        .iter()
        .flat_map(|s| s["metrics"].as_array())
        .flatten();
    let value = |found: &Value| {
        let metric = &found["metric"];
        let name = format!("{} {}", metric["key"].as_str()?, metric["at"].as_str()?);
        let finding = &metric["finding"];
        Some((name, (finding["value"].as_f64()?, finding["u"].as_f64()?)))
    };
    metrics.filter_map(value).collect()
}

#[test]
fn a_board_reads_alike_at_every_phase_of_its_shorts() {
    let shelf = Shelf::new();
    let bench = bench(&shelf);
    let runs: Vec<_> = (1..=SEEDS)
        .map(|seed| shorted(&shelf, &bench, seed))
        .collect();
    assert!(runs[0].len() >= 16, "{:#?}", runs[0]);
    // When the next retry falls due after the opening is known of that opening alone.
    let names = runs[0]
        .keys()
        .filter(|name| !name.starts_with("recovery_time"));
    for name in names {
        let count = runs.len() as f64;
        let values = || runs.iter().map(|run| run[name].0);
        let mean = values().sum::<f64>() / count;
        let squares = values().map(|x| (x - mean) * (x - mean)).sum::<f64>();
        let stated = runs
            .iter()
            .map(|run| run[name].1 * run[name].1)
            .sum::<f64>()
            / count;
        // Chi-squared with 7 degrees of freedom is above 24.3 in one of a thousand
        // (tables, from memory).
        assert!(squares <= 24.3 * stated, "{name}: {squares} for {stated}");
    }
    // Tens of microseconds by the phase alone, where the current rises slowly.
    let far = runs.iter().map(|run| run["trip_time far"].0);
    let (least, most) = far.fold((f64::MAX, 0.0_f64), |(a, b), x| (a.min(x), b.max(x)));
    assert!(
        most - least > 20e-6,
        "{least} to {most}: the phase did not vary"
    );
}
