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
        let moved = metric == Some("trip_time") || label == Some("let_through (near)");
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
        shifted.contains(&"let_through (far)".to_owned()),
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
            said.contains("amplitude asymmetry (rated current"),
            "{said}"
        );
    }
    let lot = json(
        &[&["records", "lot", "GB-2026-13"][..], &place[..]].concat(),
        0,
    );
    assert_eq!(lot["summary"]["first_pass"]["of"], 24);
    let sizes = ["compare", "--baseline", "GB-2026-10", "--boards-needed"];
    let sizes = json(&[&sizes[..], &place[..]].concat(), 0);
    let boards = sizes["boards_a_lot"].as_u64().expect("a number");
    // The metrics that decide; one board's scale factor varies by as much as the
    // share of the way to its limit, so the plan declares its margin.
    assert!((2..=24).contains(&boards), "{boards} boards");
}

/// The sensor gives 4 % less voltage for an ampere, and what is compared with
/// its voltage stays: a count stands for 1 / 0.96 as much current, and the board
/// trips at 1 / 0.96 of the current, 0.167 A more where its margin is 0.1 A.
/// Times and the signal stay as they were.
#[test]
fn a_current_sensor_of_less_gain_moves_scale_and_trip_current_and_nothing_else() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().to_str().expect("a plain path");
    let words = [
        "demo",
        "--substitute",
        "current-sensor",
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
        let metric = row["metric"].as_str().unwrap_or_default();
        // By how much the mean moved, in the metric's unit.
        let moved: Option<f64> = match metric {
            "scale_factor" => Some(3.3 / 4096.0 / 0.25 * (1.0 / 0.96 - 1.0)),
            "trip_current" => Some(4.0 * (1.0 / 0.96 - 1.0)),
            "full_scale" => Some(4095.0 * 3.3 / 4096.0 / 0.25 * (1.0 / 0.96 - 1.0)),
            _ => None,
        };
        let Some(moved) = moved else {
            let decided = row["outcome"].as_str();
            assert!(decided.is_none_or(|is| is == "equivalent"), "{row:#}");
            continue;
        };
        // Two lots of parts that vary by up to 1.2 %: a standard error of 0.35 %
        // of the value, three of them are a quarter of the shift of 4.2 %.
        let shift = row["difference"].as_f64().expect("a difference");
        assert!((shift / moved - 1.0).abs() < 0.25, "{row:#}");
        assert_eq!(row["shift_detected"], true, "{row:#}");
        different.push((metric, row["outcome"].as_str(), row["key"] == true));
    }
    different.sort_unstable();
    // The full scale follows the scale factor and decides nothing.
    let wanted = [
        ("full_scale", Some("different"), false),
        ("scale_factor", Some("different"), true),
        ("trip_current", Some("different"), true),
    ];
    assert_eq!(different, wanted);
}
