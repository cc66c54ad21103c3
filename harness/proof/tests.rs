//! Invented runs: what was planted is known, so what must be found is too.

use super::*;
use crate::clock::BenchInstant;
use crate::event::{Abort, Event};
use crate::judgement::{Decision, DecisionRule, Limit, Verdict, decide};
use crate::measurement::{Blame, Estimate, Finding};
use crate::record::{JudgedMetric, Record, samples};
use crate::units::{Dimension, Quantity as _, Seconds};

/// A time of `ms` milliseconds with U = 0.2 ms against a greatest and, where
/// asked for, a least value.
fn judged(scenario: &str, key: &str, ms: f64, limit: (Option<f64>, Option<f64>)) -> JudgedMetric {
    found(
        scenario,
        key,
        Finding::Value(Estimate::new(ms * 1e-3, 1e-4)),
        limit,
    )
}

fn found(
    scenario: &str,
    key: &str,
    finding: Finding,
    (lower, upper): (Option<f64>, Option<f64>),
) -> JudgedMetric {
    let limit = Limit {
        lower: lower.map(|ms| ms * 1e-3),
        upper: upper.map(|ms| ms * 1e-3),
        rule: DecisionRule::GuardedAcceptance { guard: 1.0 },
        source: "invented".into(),
    };
    let limit = (lower.is_some() || upper.is_some()).then_some(limit);
    let decision: Option<Decision> = limit.as_ref().map(|limit| decide(&finding, limit));
    JudgedMetric {
        bench: BenchInstant::ZERO,
        metric: Metric {
            scenario: scenario.into(),
            key: key.into(),
            at: String::new(),
            dimension: Dimension::Time,
            finding,
            common: 0.0,
            notes: Vec::new(),
            evidence: None,
        },
        limit,
        decision,
    }
}

fn outcome(scenario: &str, metrics: Vec<JudgedMetric>) -> Outcome {
    Outcome {
        scenario: scenario.into(),
        verdict: Verdict::overall(metrics.iter().filter_map(JudgedMetric::verdict)),
        metrics,
        troubles: Vec::new(),
        took: Some(Seconds::new(2.0)),
    }
}

/// A board as three scenarios read it: a trip time up to 25 ms, a retry
/// interval of 400 to 600 ms, a delay that has no limit, and a loss up to 10 ms.
fn board(defect: Option<&str>, trip: f64, retry: f64, delay: f64, loss: f64) -> Trial {
    Trial {
        defect: defect.map(str::to_owned),
        scenarios: vec![
            outcome(
                "overload",
                vec![judged("overload", "trip_time", trip, (None, Some(25.0)))],
            ),
            outcome(
                "short",
                vec![
                    judged("short", "trip_time", trip, (None, Some(25.0))),
                    judged("short", "retry_interval", retry, (Some(400.0), Some(600.0))),
                    judged("short", "delay", delay, (None, None)),
                ],
            ),
            outcome(
                "loss",
                vec![judged("loss", "dead_time", loss, (None, Some(10.0)))],
            ),
        ],
    }
}

fn asked(defects: &[&str], each: usize, good: usize) -> Asked {
    let words = ["overload", "short", "loss"].map(str::to_owned);
    let named = |name: &&str| ((*name).to_owned(), format!("it has {name}"));
    Asked {
        scenarios: words.to_vec(),
        defects: defects.iter().map(named).collect(),
        each,
        good,
    }
}

/// Ten good boards: trips of 14.5 to 15.4 ms, everything else as steady.
fn good() -> Vec<Trial> {
    let one = |n: u32| {
        board(
            None,
            14.5 + 0.1 * f64::from(n),
            500.0,
            1.0 + 0.01 * f64::from(n),
            4.0,
        )
    };
    (0..10).map(one).collect()
}

fn proof(defects: &[&str], each: usize, planted: &[Trial]) -> PlanProof {
    let trials: Vec<Trial> = good().into_iter().chain(planted.iter().cloned()).collect();
    PlanProof::of(&asked(defects, each, 10), &trials)
}

#[test]
fn what_is_caught_by_two_scenarios_belongs_to_the_first() {
    let planted = [
        board(Some("slow"), 40.0, 500.0, 1.0, 4.0),
        board(Some("slow"), 37.0, 500.0, 1.0, 4.0),
    ];
    let found = proof(&["slow"], 2, &planted);
    assert_eq!(found.conclusion, Conclusion::NothingEscapes);
    let slow = &found.defects[0];
    assert_eq!(
        (slow.tried, slow.detected, slow.escaped, slow.inconclusive),
        (2, 2, 0, 0)
    );
    let cell = |detected, first| Cell {
        detected,
        first,
        inconclusive: 0,
    };
    assert_eq!(slow.cells, [cell(2, 2), cell(2, 0), cell(0, 0)]);
    let first = &slow.first[0];
    assert_eq!(
        (first.place.words().as_str(), first.boards),
        ("overload trip time", 2)
    );
    // 37 and 40 ms against 25 ms.
    assert!((first.least - 12e-3).abs() < 1e-9 && (first.most - 15e-3).abs() < 1e-9);
    // From good boards' 14.95 ms it is 10.05 ms to the limit; 37 ms is 22.05.
    let clearly = slow.clearly.expect("a limit with room");
    assert!((clearly - 22.05 / 10.05).abs() < 1e-6, "{clearly}");
    assert_eq!((slow.only.as_deref(), &slow.escape), (None, &None));
    // Either alone would do.
    assert!(found.scenarios.iter().all(|s| s.without.is_empty()));
    assert_eq!(leaning(&found), None);
}

#[test]
fn what_one_scenario_alone_catches_is_lost_without_it() {
    let planted = [
        board(Some("hasty"), 15.0, 50.0, 1.0, 4.0),
        board(Some("hasty"), 15.0, 55.0, 1.0, 4.0),
        board(Some("deaf"), 15.0, 500.0, 1.0, 30.0),
        // Here the retry is off too, so this one would still be detected.
        board(Some("deaf"), 15.0, 50.0, 1.0, 30.0),
    ];
    let found = proof(&["hasty", "deaf"], 2, &planted);
    assert_eq!(found.conclusion, Conclusion::NothingEscapes);
    let worth: Vec<(usize, usize, &[Lost])> = found
        .scenarios
        .iter()
        .map(|s| (s.detects, s.first, s.without.as_slice()))
        .collect();
    let lost = |defect: &str, escaped| Lost {
        defect: defect.into(),
        escaped,
        inconclusive: 0,
    };
    assert_eq!(worth[0], (0, 0, &[][..]));
    assert_eq!(worth[1], (2, 3, &[lost("hasty", 2)][..]));
    assert_eq!(worth[2], (1, 1, &[lost("deaf", 1)][..]));
    assert_eq!(found.scenarios[1].took.map(|took| took.si()), Some(2.0));
    let told = leaning(&found).expect("one leans");
    assert!(
        told.contains("short (hasty)") && !told.contains("deaf"),
        "{told}"
    );
}

#[test]
fn an_escape_says_what_came_near_and_what_moved() {
    let planted = [
        board(Some("slow"), 40.0, 500.0, 1.0, 4.0),
        board(Some("late"), 15.0, 500.0, 9.0, 4.0),
        board(Some("late"), 15.0, 500.0, 9.2, 8.5),
    ];
    let mut found = proof(&["slow", "late"], 2, &planted[1..]);
    // "slow" was never tried, but an escape is an escape.
    assert_eq!(found.conclusion, Conclusion::Escapes);
    assert!(!found.complete);
    let late = &found.defects[1];
    assert_eq!((late.tried, late.detected, late.escaped), (2, 0, 2));
    let escape = late.escape.as_ref().expect("it escaped");
    let nearest = escape.nearest.as_ref().expect("limits");
    // Good boards lose 4 ms of 10; 8.5 ms is three quarters of the way.
    assert_eq!(nearest.place.words(), "loss dead time");
    assert!((nearest.way - 0.75).abs() < 1e-9, "{}", nearest.way);
    let moved = escape.moved.as_ref().expect("a delay");
    assert_eq!(
        (moved.place.words().as_str(), &moved.limit),
        ("short delay", &None)
    );
    assert!((moved.mean - 9.1e-3).abs() < 1e-9 && (moved.good - 1.045e-3).abs() < 1e-9);
    let told = escape_lines(late).join("\n");
    for wanted in [
        "late: passed in 2 of 2",
        "75.0 % of the way",
        "sets no limit on it",
    ] {
        assert!(told.contains(wanted), "{wanted} is not in {told}");
    }
    assert!(
        missing(&found)
            .expect("unfinished")
            .contains("never planted: slow")
    );
    assert_eq!(headline(&found), "1 defect escapes");
    let alone = PlanProof::of(&asked(&["late"], 2, 0), &planted[1..]);
    let told = escape_lines(&alone.defects[0]).join("\n");
    assert!(told.contains("too few good boards"), "{told}");
    found = proof(&["slow"], 1, &planted[..1]);
    assert_eq!((found.complete, missing(&found)), (true, None));
}

/// One that nobody can decide is not detected, and what was not tried is not
/// proven.
#[test]
fn inconclusive_and_untried_defects_prove_nothing() {
    let mut unsure = board(Some("odd"), 15.0, 500.0, 1.0, 4.0);
    let unknown = Finding::unknown(Blame::Board, "it never came on");
    unsure.scenarios[2] = outcome(
        "loss",
        vec![found("loss", "dead_time", unknown, (None, Some(10.0)))],
    );
    let found = proof(&["odd"], 1, &[unsure]);
    assert_eq!(
        (found.conclusion, found.complete),
        (Conclusion::Inconclusive, true)
    );
    assert_eq!(
        (
            found.defects[0].inconclusive,
            found.defects[0].cells[2].inconclusive
        ),
        (1, 1)
    );
    assert!(inconclusive_lines(&found.defects[0])[1].contains("loss dead time"));
    for (defects, each) in [(&["slow"][..], 2), (&[][..], 1)] {
        let planted = [board(Some("slow"), 40.0, 500.0, 1.0, 4.0)];
        let found = proof(defects, each, &planted);
        assert_eq!(found.conclusion, Conclusion::Inconclusive);
    }
    // Good boards that are missing leave it open how often one is rejected.
    let planted = [board(Some("slow"), 40.0, 500.0, 1.0, 4.0)];
    let trials: Vec<Trial> = good().into_iter().chain(planted).collect();
    let found = PlanProof::of(&asked(&["slow"], 1, 11), &trials);
    assert_eq!(found.conclusion, Conclusion::Inconclusive);
    assert!(
        missing(&found)
            .expect("unfinished")
            .contains("1 of 11 good boards")
    );
}

/// One of ten rejected: 0.25 % to 44.5 % is in every table of exact binomial
/// limits at 95 % (Clopper and Pearson 1934; Geigy tables, from memory).
#[test]
fn refused_good_boards_are_counted_with_their_reasons() {
    let mut trials = good();
    trials[3] = board(None, 30.0, 500.0, 1.0, 4.0);
    let found = PlanProof::of(&asked(&[], 1, 10), &trials);
    let boards = &found.good;
    assert_eq!(
        (boards.accepted, boards.rejected, boards.inconclusive),
        (9, 1, 0)
    );
    let share = boards.not_accepted.expect("boards");
    assert!((share.interval.lower - 0.0025).abs() < 5e-5, "{share:?}");
    assert!((share.interval.upper - 0.4450).abs() < 5e-5, "{share:?}");
    let by: Vec<(&str, usize)> = boards
        .by
        .iter()
        .map(|r| (r.what.as_str(), r.rejected))
        .collect();
    assert_eq!(
        by,
        [
            ("overload trip time, <= 25.00 ms", 1),
            ("short trip time, <= 25.00 ms", 1)
        ]
    );
    let told = good_sentence(&found);
    assert!(
        told.contains("1 rejected: 10.0 % (exact 95 % interval 0.3 % to 44.5 %)"),
        "{told}"
    );
}

/// A limit's room is what is left of the margin under the guard band, here
/// 10.05 ms less U of 0.2 ms over a deviation of 0.1 sqrt(55/6) ms.
#[test]
fn the_tightest_limit_is_told_in_deviations() {
    let found = PlanProof::of(&asked(&[], 1, 10), &good());
    let tight = &found.good.tightest[0];
    assert_eq!(tight.place.metric, "trip_time");
    let wanted = 9.85 / (0.1 * (55.0_f64 / 6.0).sqrt());
    assert!(
        (tight.deviations / wanted - 1.0).abs() < 1e-9,
        "{}",
        tight.deviations
    );
}

/// A plan that rejects everything detects everything, which proves nothing.
#[test]
fn a_plan_that_refuses_every_board_proves_nothing() {
    let bad = |defect| board(defect, 30.0, 500.0, 1.0, 4.0);
    let mut trials: Vec<Trial> = (0..4).map(|_| bad(None)).collect();
    trials.push(bad(Some("slow")));
    let found = PlanProof::of(&asked(&["slow"], 1, 4), &trials);
    assert_eq!((found.defects[0].detected, found.complete), (1, true));
    assert_eq!(found.conclusion, Conclusion::Inconclusive);
    assert!(warnings(&found)[0].contains("No good board was accepted"));
    // One that passes is enough to say that the others are rejected wrongly.
    trials[0] = board(None, 15.0, 500.0, 1.0, 4.0);
    let found = PlanProof::of(&asked(&["slow"], 1, 4), &trials);
    assert_eq!(found.conclusion, Conclusion::NothingEscapes);
    assert!(warnings(&found)[0].starts_with("Most good boards"));
    assert!(warnings(&proof(&[], 1, &[])).is_empty());
}

#[test]
fn a_stopped_run_is_no_trial_and_one_without_a_bench_is_undecided() {
    let record = |abort: Option<Abort>| {
        let started = samples::started("r-1", "S-1", true);
        let mut events = samples::events(started, samples::value(4e-3, 1e-6));
        events.pop();
        events.push(samples::finished(Verdict::Inconclusive, abort));
        Record::fold(&samples::numbered(events)).expect("a run")
    };
    assert_eq!(Trial::of(&record(Some(Abort::Operator)), None), None);
    let started = samples::started("r-2", "S-2", true);
    let cut = [
        Event::RunStarted(Box::new(started)),
        samples::trouble(None, "the load is gone"),
        samples::made_safe(true),
        samples::finished(Verdict::Inconclusive, Some(Abort::Bench)),
    ];
    let cut = Record::fold(&samples::numbered(cut)).expect("a run");
    let trial = Trial::of(&cut, Some("slow")).expect("a trial");
    assert_eq!(trial.scenarios.len(), 2);
    assert_eq!(trial.verdict(), Verdict::Inconclusive);
    assert_eq!(trial.scenarios[0].troubles, ["the load is gone"]);
    let whole = Trial::of(&record(None), None).expect("a trial");
    assert!(whole.metrics().count() > 0);
}
