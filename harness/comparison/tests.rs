//! Made records beside each other: what must turn a verdict, what must not, and
//! which numbers count.

use super::*;
use crate::event::Event;
use crate::judgement::Verdict;
use crate::measurement::{Estimate, Finding};
use crate::plan::{Comparison, Plan, demo, parse};
use crate::record::{Record, samples};
use crate::statistics::lots::Outcome;
use std::collections::BTreeMap;

/// A board of a lot whose short trips in `trip`, against a limit of 10 ms.
fn board(serial: &str, trip: Finding) -> Record {
    let started = samples::started(&format!("r-{serial}"), serial, false);
    let events = samples::events(started, trip);
    Record::fold(&samples::numbered(events)).expect("a run")
}

fn lot(trips: &[f64]) -> Vec<Record> {
    let boards = trips.iter().enumerate();
    boards
        .map(|(n, trip)| board(&format!("B{n}"), samples::value(*trip, 1e-6)))
        .collect()
}

/// Compares records by the house rules.
fn compared(before: &[Record], after: &[Record]) -> LotsCompared {
    let lot = |records| LotReadings::of(None, records);
    compare_lots(&lot(before), &lot(after), &Comparison::default())
}

fn trip_row(found: &LotsCompared) -> &Row {
    let mut rows = found.rows.iter();
    rows.find(|row| row.label == "trip_time at near")
        .expect("the metric is compared")
}

/// Worked by hand: mean 4 ms, limit 10 ms, so 25 % of 6 ms = 1.5 ms.
#[test]
fn the_margin_is_a_quarter_of_the_way_to_the_limit() {
    let before = lot(&[0.0039, 0.0040, 0.0041, 0.0040]);
    for (candidate, outcome) in [
        ([0.0041, 0.0042, 0.0043, 0.0042], Outcome::Equivalent),
        ([0.0069, 0.0070, 0.0071, 0.0070], Outcome::Different),
        ([0.0010, 0.0090, 0.0040, 0.0045], Outcome::NotEnough),
    ] {
        let found = compared(&before, &lot(&candidate));
        let row = trip_row(&found);
        assert!(
            row.margin
                .is_some_and(|m| (m.upper() - 0.0015).abs() < 1e-12),
            "{row:?}"
        );
        assert_eq!(row.outcome, Some(outcome), "{candidate:?}");
        let mean = candidate.iter().sum::<f64>() / 4.0;
        assert!(
            row.difference
                .is_some_and(|d| (d - (mean - 0.0040)).abs() < 1e-12)
        );
        if outcome == Outcome::Different {
            assert_eq!(found.outcome, outcome);
        }
    }
}

/// A count that stands on its limit is the same or it is not.
#[test]
fn what_stands_on_its_limit_and_never_varies_needs_no_margin() {
    let before = lot(&[0.010, 0.010]);
    for (candidate, outcome) in [
        ([0.010, 0.010], Outcome::Equivalent),
        ([0.009, 0.009], Outcome::Different),
        ([0.009, 0.010], Outcome::NotEnough),
    ] {
        let found = compared(&before, &lot(&candidate));
        assert_eq!(trip_row(&found).outcome, Some(outcome), "{candidate:?}");
    }
}

#[test]
fn bounds_are_left_out_and_counted() {
    let mut after = lot(&[0.0040, 0.0041, 0.0042]);
    after.push(board("B9", Finding::Above(Estimate::new(0.198, 0.0))));
    let found = compared(&lot(&[0.0040, 0.0041, 0.0042]), &after);
    let row = trip_row(&found);
    assert_eq!(row.candidate.moments.map(|m| m.count()), Some(3));
    assert_eq!((row.candidate.censored, row.candidate.not_passed), (1, 1));
    let few = compared(&lot(&[0.004]), &lot(&[0.004, 0.0041]));
    assert_eq!(trip_row(&few).outcome, Some(Outcome::NotEnough));
    assert_eq!(few.outcome, Outcome::NotEnough);
}

#[test]
fn another_bench_is_warned_of_and_a_board_counts_once() {
    let before = lot(&[0.004, 0.0041]);
    let mut after = before.clone();
    // Without a check standard that is all there is to say.
    assert_eq!(compared(&before, &after).warnings.len(), 1);
    after[0].instruments[0].calibrated = Some("2026-09-01".into());
    let warnings = compared(&before, &after).warnings;
    assert!(
        warnings.iter().any(|w| w.contains("2026-09-01")),
        "{warnings:?}"
    );
    let twice = vec![
        board("B1", samples::value(0.02, 1e-6)),
        board("B1", samples::value(0.004, 1e-6)),
    ];
    let found = compared(&twice, &before);
    assert_eq!((found.baseline.boards, found.baseline.earlier_runs), (1, 1));
    let kept = trip_row(&found).baseline.moments;
    assert_eq!(kept.map(|m| m.mean()), Some(0.004));
}

fn plan() -> Plan {
    parse(&[demo::plan()]).expect("the demo's plan is sound").0
}

/// A run of the short alone, judged against the demo's own limits.
fn short_run(plan: &Plan, trip: f64) -> Record {
    let mut started = samples::started("r-1", "GR-0042", true);
    started.only = Some("short".into());
    let mut events = samples::events(started, samples::value(trip, 1e-6));
    events.retain(|event| {
        !matches!(event, Event::ScenarioStarted { scenario, .. } | Event::Step { scenario, .. }
            | Event::Observed { scenario, .. } | Event::ScenarioFinished { scenario, .. } if scenario == "load")
            && !matches!(event, Event::Measured { metric, .. } if metric.scenario == "load")
    });
    let limit = plan.scenario("short").and_then(|s| s.limit("trip_time"));
    for event in &mut events {
        if let Event::RunFinished { verdict, .. } | Event::ScenarioFinished { verdict, .. } = event
        {
            // The sample's own limit is tighter than the demo's.
            *verdict = Verdict::Pass;
        }
        if let Event::Measured {
            limit: kept,
            decision,
            metric,
        } = event
        {
            *kept = limit.cloned();
            *decision = limit.map(|limit| crate::judgement::decide(&metric.finding, limit));
        }
    }
    Record::fold(&samples::numbered(events)).expect("a run")
}

#[test]
fn a_tighter_limit_turns_a_pass_and_says_why() {
    let mut plan = plan();
    let record = short_run(&plan, 0.020);
    let same = rejudge(&record, &plan, None, &BTreeMap::new());
    let trip = |again: &Rejudgement| {
        let mut changes = again.changes.iter();
        changes.find(|c| c.label == "trip_time at near").cloned()
    };
    assert_eq!(trip(&same), None);
    // The demo's other limits on the short have no numbers in this record.
    assert_eq!(same.after, Verdict::Inconclusive);
    let short = plan
        .scenarios
        .iter_mut()
        .find(|s| s.name == "short")
        .expect("a short");
    short.limits.retain(|limit| limit.metric == "trip_time");
    short.limits[0].limit.upper = Some(0.015);
    let tighter = rejudge(&record, &plan, None, &BTreeMap::new());
    assert_eq!(
        (tighter.before, tighter.after),
        (Verdict::Pass, Verdict::Fail)
    );
    let change = trip(&tighter).expect("a change");
    assert_eq!(change.why, "limit <= 15.00 ms, was <= 25.00 ms");
    let sides = [change.before, change.after].map(|side| side.and_then(|side| side.verdict));
    assert_eq!(sides, [Some(Verdict::Pass), Some(Verdict::Fail)]);
}

#[test]
fn what_was_never_run_cannot_pass() {
    let plan = plan();
    let mut record = short_run(&plan, 0.020);
    record.started.only = None;
    let again = rejudge(&record, &plan, Some(&plan), &BTreeMap::new());
    assert_ne!(again.after, Verdict::Pass);
    assert!(
        again
            .remarks
            .iter()
            .any(|remark| remark.starts_with("overload")),
        "{again:?}"
    );
}
