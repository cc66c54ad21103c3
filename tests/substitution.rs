//! A part substituted in model boards, two lots accepted and compared by the
//! command: the part decides what must be found different, and nothing else may
//! be.

use assert_cmd::cargo::cargo_bin_cmd;
use serde_json::Value;

fn json(words: &[&str], status: i32) -> Value {
    let done = cargo_bin_cmd!("bufferstop")
        .args(words)
        .assert()
        .code(status)
        .get_output()
        .clone();
    serde_json::from_slice(&done.stdout).expect("one JSON document")
}

/// The trip filter adds 4 ms to every trip, a margin being at most 2.5 ms; the
/// energy of a short near the board follows. Far away it follows too, but by
/// less than its margin.
#[test]
fn a_larger_trip_filter_moves_trips_and_nothing_else() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().to_str().expect("a plain path");
    let words = [
        "demo",
        "--substitute",
        "trip-filter",
        "--out",
        out,
        "--json",
    ];
    let found = json(&words, 0);
    let rows = found["comparison"]["rows"].as_array().expect("rows");
    assert!(rows.len() > 40);
    let mut shifted = Vec::new();
    for row in rows {
        let (metric, label) = (row["metric"].as_str(), row["label"].as_str());
        let moved = metric == Some("trip_time") || label == Some("let_through at near");
        let wanted = match (row["outcome"].as_str(), moved) {
            (None, _) => None,
            (_, true) => Some("different"),
            (_, false) => Some("equivalent"),
        };
        assert_eq!(row["outcome"].as_str(), wanted, "{row:#}");
        if wanted == Some("equivalent") && row["shift_detected"] == true {
            shifted.push(label.unwrap_or_default().to_owned());
        }
    }
    assert!(
        shifted.contains(&"let_through at far".to_owned()),
        "{shifted:?}"
    );
    assert!(shifted.len() <= 2, "{shifted:?}");
    let part = |place: &str| {
        let parts = found["comparison"]["parts"].as_array().expect("parts");
        let part = parts.iter().find(|part| part["place"] == place);
        part.map(|part| part["baseline"] == part["candidate"])
    };
    assert_eq!((part("C9"), part("U1")), (Some(false), Some(true)));
    assert_eq!(found["comparison"]["check_standard"]["serial"], "GB-REF");
    assert!(folder.path().join("comparison.html").exists());

    // The same lots by the other commands.
    let place = ["--model", "--out", out, "--json"];
    let lots = [
        "compare",
        "--baseline",
        "GB-2026-10",
        "--candidate",
        "GB-2026-13",
    ];
    let again = json(&[&lots[..], &place[..]].concat(), 1);
    assert_eq!(again["comparison"], found["comparison"]);
    // On paper and pipes a line has 100 columns.
    for words in [&lots[..], &["records", "lot", "GB-2026-13"]] {
        let done = cargo_bin_cmd!("bufferstop")
            .args(words)
            .args(&place[..3])
            .output()
            .expect("the command runs");
        let said = String::from_utf8(done.stdout).expect("UTF-8");
        let long = said.lines().find(|line| line.chars().count() > 100);
        assert_eq!(long, None, "{words:?}");
        assert!(
            said.contains("amplitude symmetry at rated current"),
            "{said}"
        );
    }
    let lot = json(
        &[&["records", "lot", "GB-2026-13"][..], &place[..]].concat(),
        0,
    );
    assert_eq!(lot["summary"]["first_pass"]["of"], 24);
    let sizes = ["compare", "--baseline", "GB-2026-10", "--plan-size"];
    let sizes = json(&[&sizes[..], &place[..]].concat(), 0);
    let boards = sizes["boards_a_lot"].as_u64().expect("a number");
    // The metrics that decide; one board's sense scale spreads by as much as the
    // share of the way to its limit, so the plan declares its margin.
    assert!((2..=24).contains(&boards), "{boards} boards");
}

/// One edge of the driver comes 1 us later, 0.7 us beyond the margin of a delay
/// that waits for that edge; of two halves one grows by it and one shrinks, so
/// asymmetry moves by 2 us, within its limit of 3 us. Both half-bridges turn
/// together as before, so neither slew nor the crossing changes.
#[test]
fn a_slower_line_driver_moves_asymmetry_and_delay_and_nothing_else() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().to_str().expect("a plain path");
    let words = [
        "demo",
        "--substitute",
        "line-driver",
        "--out",
        out,
        "--json",
    ];
    let found = json(&words, 0);
    assert_eq!(found["comparison"]["outcome"], "different");
    assert_eq!(found["comparison"]["candidate"]["boards"], 24);
    let rows = found["comparison"]["rows"].as_array().expect("rows");
    let mut different = Vec::new();
    for row in rows {
        let signal = row["scenario"] == "signal";
        let metric = row["metric"].as_str().unwrap_or_default();
        let moved = signal && ["asymmetry", "propagation_delay"].contains(&metric);
        // What does not decide but is the same edge seen otherwise.
        let follows = ["one_half", "zero_half", "delay_spread", "cutout_start"];
        if row["key"] == false && signal && follows.contains(&metric) {
            // By its own margin it may be either, but it is decided, and the
            // extremes of the halves move by the edge itself.
            let outcome = row["outcome"].as_str();
            assert!(
                outcome == Some("different") || outcome == Some("equivalent"),
                "{row:#}"
            );
            let extreme = row["label"].as_str().is_some_and(|l| l.ends_with("est"));
            if extreme && metric.ends_with("_half") {
                let seen = outcome == Some("different") || row["shift_detected"] == true;
                assert!(seen, "{row:#}");
            }
            continue;
        }
        let wanted = match (row["outcome"].as_str(), moved) {
            (None, false) => None,
            (_, true) => Some("different"),
            (_, false) => Some("equivalent"),
        };
        assert_eq!(row["outcome"].as_str(), wanted, "{row:#}");
        if moved {
            assert_eq!(row["key"], true, "{row:#}");
            different.push(metric.to_owned());
        }
    }
    // Mean and worst, without load and at the rated current.
    let count = |name: &str| different.iter().filter(|metric| *metric == name).count();
    assert_eq!((count("asymmetry"), count("propagation_delay")), (4, 4));
}
