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
        // The shortest half-bit of a capture is an extreme of noisy edges and
        // can stand out by chance; whether it may is not decided yet.
        if row["scenario"] == "signal" {
            continue;
        }
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
    let lot = json(
        &[&["records", "lot", "GB-2026-13"][..], &place[..]].concat(),
        0,
    );
    assert_eq!(lot["summary"]["first_pass"]["of"], 24);
    let sizes = ["compare", "--baseline", "GB-2026-10", "--plan-size"];
    let sizes = json(&[&sizes[..], &place[..]].concat(), 0);
    let boards = sizes["boards_a_lot"].as_u64().expect("a number");
    // Every metric of the plan at once asks for more than the trips alone.
    assert!((2..=100).contains(&boards), "{boards} boards");
}
