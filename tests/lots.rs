//! Whole plans on model boards over links in memory: every planted defect is
//! found by the metric that it must move, and a lot of good boards passes. The
//! defect decides what is expected, never the code that judges.

use bufferstop::bench::{Bench, Connection};
use bufferstop::clock::SystemClock;
use bufferstop::envelope::BoardFacts;
use bufferstop::ident::Role;
use bufferstop::judgement::Verdict;
use bufferstop::model_bench::{Answering, Transport, world};
use bufferstop::model_board::{self, BoardParameters, Defect, ModelBoard};
use bufferstop::plan::{Plan, demo};
use bufferstop::profile::{self, Profile};
use bufferstop::record::Record;
use bufferstop::runner::{Captures, Order, Particulars, Sink, Stop, run};
use bufferstop::seed::Seed;
use bufferstop::store::{Durability, Store};
use bufferstop::{bench_file, plan};
use std::collections::BTreeMap;
use tempfile::TempDir;
use tokio::runtime::{Builder, Runtime};
use tokio::sync::watch;

/// The demo's plan and bench with a store of their own.
pub(crate) struct Workshop {
    pub(crate) plan: Plan,
    pub(crate) bench: bench_file::Bench,
    pub(crate) profiles: BTreeMap<Role, Profile>,
    pub(crate) board: ModelBoard,
    runtime: Runtime,
    store: Store,
    _folder: TempDir,
    runs: u64,
}

impl Workshop {
    pub(crate) fn new() -> Self {
        let bench = bench_file::parse(&demo::bench())
            .expect("the demo's bench is sound")
            .0;
        let profiles = bench
            .instruments
            .iter()
            .map(|instrument| {
                let profile = profile::shipped(instrument.role.word()).expect("a shipped profile");
                (instrument.role, profile)
            })
            .collect();
        let folder = tempfile::tempdir().expect("a temporary folder");
        let store =
            Store::for_run(folder.path(), true, Durability::AtEnd, &SystemClock).expect("a store");
        Self {
            plan: plan::parse(&[demo::plan()])
                .expect("the demo's plan is sound")
                .0,
            bench,
            profiles,
            board: model_board::parse(&demo::board())
                .expect("the demo's board is sound")
                .0,
            runtime: Builder::new_current_thread()
                .enable_all()
                .build()
                .expect("a runtime"),
            store,
            _folder: folder,
            runs: 0,
        }
    }

    pub(crate) fn accept(&mut self, board: &BoardParameters, seed: Seed) -> Record {
        self.accept_behind(board, seed, |world| world)
    }

    /// As [`Self::accept`], with something between the harness and the model
    /// bench.
    pub(crate) fn accept_behind(
        &mut self,
        board: &BoardParameters,
        seed: Seed,
        between: impl FnOnce(Box<dyn Answering>) -> Box<dyn Answering>,
    ) -> Record {
        self.runs += 1;
        let order = Order {
            run: format!("run-{}", self.runs).parse().expect("a plain name"),
            particulars: Particulars {
                serial: format!("M{}", self.runs).parse().expect("a plain name"),
                lot: None,
                seed,
                operator: None,
                ambient: None,
                retest: None,
                only: None,
                planted: Vec::new(),
            },
            plan: self.plan.clone(),
            bench: self.bench.clone(),
            files: Vec::new(),
            captures: Captures::All,
        };
        let world = world(
            &self.bench,
            &self.profiles,
            board,
            self.board.identity.as_deref(),
            seed,
        )
        .expect("a sound circuit");
        let connection = Connection::Model {
            world: between(Box::new(world)),
            transport: Transport::Memory,
        };
        let facts = BoardFacts::from(&self.plan.ratings);
        let (_raise, raised) = watch::channel(false);
        self.runtime.block_on(async {
            let mut bench = Bench::open(&self.bench, &self.profiles, facts, connection)
                .await
                .expect("a model bench opens");
            let sinks: &mut [&mut dyn Sink] = &mut [];
            let finished = run(
                &order,
                &mut bench,
                &self.store,
                &SystemClock,
                sinks,
                Stop::new(raised),
            )
            .await
            .expect("a record");
            assert!(
                finished.safe,
                "the bench was not made safe: {:?}",
                finished.record.safety
            );
            finished.record
        })
    }
}

/// Keys of the metrics that failed.
fn failed(record: &Record) -> Vec<&str> {
    let metrics = record
        .scenarios
        .iter()
        .flat_map(|scenario| &scenario.metrics);
    metrics
        .filter(|judged| judged.verdict() == Some(Verdict::Fail))
        .map(|judged| judged.metric.key.as_str())
        .collect()
}

/// What did not pass, for messages.
fn told(record: &Record) -> Vec<String> {
    let metrics = record
        .scenarios
        .iter()
        .flat_map(|scenario| &scenario.metrics);
    metrics
        .filter(|judged| {
            judged
                .verdict()
                .is_some_and(|verdict| verdict != Verdict::Pass)
        })
        .map(|judged| {
            let finding = judged.metric.finding.show(judged.metric.dimension);
            format!(
                "{} {}: {finding}",
                judged.metric.scenario,
                judged.metric.label()
            )
        })
        .collect()
}

#[test]
fn good_boards_pass() {
    let mut workshop = Workshop::new();
    let nominal = ModelBoard {
        planted: Vec::new(),
        ..workshop.board.clone()
    };
    for index in 1..=20 {
        let seed = Seed(1000 + index);
        let record = workshop.accept(&nominal.draw(seed, index), seed);
        assert_eq!(
            record.verdict(),
            Verdict::Pass,
            "seed {}: {:#?}",
            seed.0,
            told(&record)
        );
    }
}

/// Each defect with a metric that it must fail.
const CAUGHT_BY: &[(&str, &str)] = &[
    ("trip never", "trip_time"),
    ("slow trip", "trip_time"),
    ("trip level high", "trip_current"),
    ("trip level low", "nuisance_trips"),
    ("cold joint", "output_resistance"),
    ("one-leg sensor", "trip_time"),
    ("weak switch", "output_resistance"),
    ("leaking switch", "off_leakage"),
    ("no retry", "retries"),
    ("hasty retry", "retry_interval"),
    ("reversing dead", "reversals"),
    ("slow reversal", "reversal_time"),
    ("brake line open", "off_when_braked"),
    ("hungry logic", "input_current_off"),
    ("off on loss", "residual_dc"),
    ("hasty trip", "nuisance_trips"),
    ("bad heat path", "temperature_rise"),
];

#[test]
fn planted_defects_fail_by_the_metric_they_move() {
    let mut workshop = Workshop::new();
    for (index, (name, key)) in (1_u64..).zip(CAUGHT_BY) {
        let defect = Defect::named(name).expect("a defect of that name");
        let board = workshop.board.with_defect(defect);
        let record = workshop.accept(&board, Seed(index));
        assert_eq!(
            record.verdict(),
            Verdict::Fail,
            "{name}: {:#?}",
            told(&record)
        );
        assert!(
            failed(&record).contains(key),
            "{name} is not seen in {key}: {:#?}",
            told(&record)
        );
    }
}

/// A board that never trips is a fail with a bound, not a missing number.
#[test]
fn a_board_that_never_trips_fails_with_a_bound() {
    use bufferstop::measurement::Finding;
    let mut workshop = Workshop::new();
    let board = workshop
        .board
        .with_defect(Defect::named("trip never").expect("that defect"));
    let record = workshop.accept(&board, Seed(3));
    let bounds = record
        .scenarios
        .iter()
        .flat_map(|scenario| &scenario.metrics)
        .filter(|judged| judged.metric.key == "trip_time")
        .filter(|judged| matches!(judged.metric.finding, Finding::Above(_)))
        .count();
    assert!(bounds >= 3, "{:#?}", told(&record));
}

/// A bench that misbehaves is never the board's fail: a welded contact and a
/// blown fuse leave the board unjudged, and say whose fault it is.
#[test]
fn a_broken_short_is_the_benchs_fault() {
    use bufferstop::measurement::Blame;
    use bufferstop::model_board::ContactDefect;
    for defect in [ContactDefect::Welded, ContactDefect::FuseBlown] {
        let mut workshop = Workshop::new();
        workshop
            .bench
            .model
            .as_mut()
            .expect("a model bench")
            .fixture
            .contact_defect = Some(defect);
        let board = ModelBoard {
            planted: Vec::new(),
            ..workshop.board.clone()
        }
        .draw(Seed(6), 1);
        let record = workshop.accept(&board, Seed(6));
        assert_eq!(
            record.verdict(),
            Verdict::Inconclusive,
            "{defect:?}: {:#?}",
            told(&record)
        );
        let short = record
            .scenarios
            .iter()
            .find(|scenario| scenario.kind == "short")
            .expect("a short");
        let decisions = short
            .metrics
            .iter()
            .filter_map(|judged| judged.decision.as_ref());
        let troubled = short
            .troubles
            .iter()
            .any(|trouble| trouble.blame == Blame::Bench);
        let blamed = decisions
            .filter_map(|decision| decision.blame)
            .any(|blame| blame == Blame::Bench);
        assert!(troubled || blamed, "{defect:?}: {:#?}", told(&record));
    }
}

/// Links in memory and pseudo-terminals carry the same lines, so they give the
/// same measurement.
#[test]
fn the_link_does_not_change_the_measurement() {
    let mut workshop = Workshop::new();
    let board = workshop.board.draw(Seed(5), 1);
    let first = workshop.accept(&board, Seed(5));
    let second = workshop.accept(&board, Seed(5));
    let digest = |record: &Record| record.ended.as_ref().expect("it ended").measurement;
    assert_eq!(digest(&first), digest(&second));
}
