//! What the uncertainty of readings does to a comparison: what they cannot show
//! is no finding, what one bench puts on every board cancels, and what is shown
//! agrees with what is said.

use super::tests::{board, compared, lot, lot_with_standard, trip_row};
use super::*;
use crate::judgement::Verdict;
use crate::measurement::{Estimate, Finding};
use crate::plan::Comparison;
use crate::record::Record;
use crate::statistics::lots::Outcome;

/// One digit in the last place: no shift, no outlier, no index of 1e15. Neither
/// where readings differ by a thousandth of their own U (2 us).
#[test]
fn what_readings_cannot_show_is_no_finding() {
    for apart in [f64::next_up(0.004) - 0.004, 2e-9] {
        let mut before = vec![0.004; 12];
        before[5] += apart;
        let before = lot(&before);
        let after = lot(&[0.004 + apart; 12]);
        let found = compared(&before, &after);
        let row = trip_row(&found);
        assert_eq!(row.words(), "equivalent", "{apart}");
        let readings = LotReadings::of(None, &before);
        let summary = summarise(&readings, &Comparison::default());
        let mut metrics = summary.metrics.iter();
        let trip = metrics.find(|metric| metric.label == "trip_time (near)");
        let trip = trip.expect("it is summed up");
        assert!(trip.outliers.is_empty(), "{:?}", trip.outliers);
        assert!(
            trip.spread
                .as_ref()
                .is_some_and(|s| s.performance.is_none())
        );
        assert!(
            trip.chart
                .as_ref()
                .is_none_or(|chart| chart.outside.is_empty())
        );
    }
    // What they can show is still found: 0.1 us on readings of U = 2 us.
    let before = lot(&[0.0040000, 0.0040001, 0.0039999, 0.0040000]);
    let after = lot(&[0.0040010, 0.0040011, 0.0040009, 0.0040010]);
    let found = compared(&before, &after);
    assert_eq!(trip_row(&found).words(), "equivalent, shift detected");
}

/// A value that is no number is not judged a pass, does not take the other boards
/// with it, and is counted.
#[test]
fn a_reading_that_is_no_number_is_counted_and_never_passes() {
    let nowhere = Finding::Value(Estimate {
        value: f64::NAN,
        u: 1e-6,
    });
    let lost = board("B9", nowhere);
    assert_ne!(lost.ended.as_ref().map(|e| e.verdict), Some(Verdict::Pass));
    let mut after = lot(&[0.0040, 0.0041, 0.0042]);
    after.push(lost);
    let found = compared(&lot(&[0.0040, 0.0041, 0.0042]), &after);
    let row = trip_row(&found);
    assert_eq!(row.candidate.moments.map(|m| m.count()), Some(3));
    assert_eq!((row.candidate.unknown, row.candidate.not_passed), (1, 1));
    // Too large to compute with: said, not passed over.
    let vast = lot(&[1e150, 2e150]);
    let found = compared(&lot(&[0.0040, 0.0041]), &vast);
    let row = trip_row(&found);
    assert_eq!(row.outcome, Some(Outcome::NotEnough));
    let remark = row.remark.as_deref().unwrap_or_default();
    assert!(remark.contains("too large"), "{remark}");
}

/// Every trip time carries 0.5 ms that the bench puts on all boards alike.
fn with_common(mut records: Vec<Record>, calibrated: &str) -> Vec<Record> {
    for record in &mut records {
        record.instruments[0].calibrated = Some(calibrated.into());
        for scenario in &mut record.scenarios {
            for judged in &mut scenario.metrics {
                judged.metric.common = 5e-4;
            }
        }
    }
    records
}

/// On one bench the common part cancels; on another, or after a calibration, it
/// enters once a lot: u = sqrt(2) x 0.5 ms, and t for 90 % with 50 degrees of
/// freedom is 1.676 (NIST/SEMATECH e-Handbook 1.3.6.7.2), so the interval reaches
/// 1.185 ms at the least; the margin is 1.5 ms.
#[test]
fn what_one_bench_puts_on_every_board_cancels() {
    let trips: Vec<f64> = (0..30).map(|n| 0.004 + 1e-6 * f64::from(n % 5)).collect();
    let before = with_common(lot(&trips), "2026-03-01");
    let half = |found: &LotsCompared| {
        let interval = trip_row(found).interval.expect("compared");
        (interval.upper - interval.lower) / 2.0
    };
    let same = compared(&before, &with_common(lot(&trips), "2026-03-01"));
    assert_eq!(trip_row(&same).common, None);
    assert!(half(&same) < 1e-6, "{}", half(&same));
    let other = compared(&before, &with_common(lot(&trips), "2026-09-01"));
    assert!((half(&other) - 1.185e-3).abs() < 1e-6, "{}", half(&other));
    assert_eq!(trip_row(&other).outcome, Some(Outcome::Equivalent));
    // A reference board measured with both lots tells better than what is stated.
    let mut with = lot_with_standard("L1", &trips, &[0.0040, 0.00401]);
    let after = lot_with_standard("L2", &trips, &[0.0040, 0.00401]);
    for facts in &mut with.metrics {
        facts.common = 5e-4;
    }
    with.benches[0][0].calibrated = Some("2026-09-01".into());
    let told = compare_lots(&with, &after, &Comparison::default());
    assert!(trip_row(&told).common.is_some_and(|common| common.u < 1e-5));
}

/// Two boards a lot whose 90 % interval lies beyond the margin of 1.5 ms, but not
/// the one of 97.5 % that a claim of a difference needs where two metrics are
/// compared (Holm). Means 4 and 6.3 ms, each with s = 0.1 ms: either mean alone is
/// known to t of one degree of freedom times 0.0707 ms. t is 6.314 for 90 % and
/// 25.452 for 97.5 % (the cotangents of 9 and of 2.25 degrees, since t with one
/// degree of freedom is Cauchy's), so that is 0.446 and 1.800 ms.
#[test]
fn what_is_shown_agrees_with_what_is_said() {
    let apart = 0.1e-3 / std::f64::consts::SQRT_2;
    let pair = |mean: f64| lot(&[mean - apart, mean + apart]);
    let found = compared(&pair(0.004), &pair(0.0063));
    let row = trip_row(&found);
    assert_eq!(row.outcome, Some(Outcome::NotEnough));
    assert!(row.words().contains("beyond the margin, but not proven"));
    assert!(
        row.confidence.is_some_and(|c| (c - 0.975).abs() < 1e-12),
        "{row:?}"
    );
    let interval = row.interval.expect("compared");
    assert!(
        (interval.lower - (2.3e-3 - 1.7997e-3)).abs() < 1e-6,
        "{interval:?}"
    );
    let margin = row.margin.expect("a limit");
    assert!(!margin.excludes(&interval) && !margin.holds(&interval));
    let far = compared(&pair(0.004), &pair(0.0090));
    assert_eq!(trip_row(&far).outcome, Some(Outcome::Different));
    assert!(
        trip_row(&far)
            .confidence
            .is_some_and(|c| (c - 0.9).abs() < 1e-12)
    );
}
