//! A lot of model boards, every scenario of the demo's plan, on wires in memory
//! and a store that commits once a run: how long, on all cores, in how much
//! memory, and how that compares with the bench time of the same runs. How many
//! boards, `BUFFERSTOP_BOARDS` says (default 200).

use super::command::{own_high_water, own_processor_time};
use bufferstop::clock::{BenchInstant, SystemClock};
use bufferstop::ident::{Role, Serial};
use bufferstop::judgement::Verdict;
use bufferstop::plan::demo;
use bufferstop::runner::{Entrant, Particulars, Rehearsal, Stop, boards_at_a_time};
use bufferstop::seed::Seed;
use bufferstop::store::{Durability, Store};
use bufferstop::units::Quantity as _;
use bufferstop::{bench_file, model_board, plan, profile};
use std::collections::BTreeMap;
use std::time::Instant;
use tokio::sync::watch;

pub(crate) fn run() {
    let boards = std::env::var("BUFFERSTOP_BOARDS")
        .ok()
        .and_then(|text| text.parse::<u64>().ok())
        .unwrap_or(200);
    let (plan, _) = plan::parse(&[demo::plan()]).expect("the demo's plan");
    let (bench, _) = bench_file::parse(&demo::bench()).expect("the demo's bench");
    let (board, _) = model_board::parse(&demo::board()).expect("the demo's board");
    let profiles: BTreeMap<Role, profile::Profile> = bench
        .instruments
        .iter()
        .map(|instrument| {
            let bench_file::ProfileRef::Shipped(name) = &instrument.profile else {
                panic!("the demo's profiles are shipped");
            };
            let source = profile::shipped_source(name).expect("a shipped profile");
            let (profile, _) = profile::parse(&source).expect("a sound profile");
            (instrument.role, profile)
        })
        .collect();
    let entrants: Vec<Entrant> = (1..=boards)
        .map(|index| Entrant {
            identity: None,
            run: format!("run-{index:06}").parse().expect("a plain name"),
            particulars: Particulars {
                serial: format!("GR-{index:06}")
                    .parse::<Serial>()
                    .expect("a plain name"),
                lot: None,
                seed: Seed(1),
                operator: None,
                ambient: None,
                retest: None,
                only: None,
                without: Vec::new(),
                planted: Vec::new(),
            },
            board: board.draw(Seed(1), index),
            seed: Seed(1).derived(index),
        })
        .collect();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let store = Store::for_run(folder.path(), true, Durability::AtEnd, &SystemClock)
        .expect("a fresh store");
    let (_raise, raised) = watch::channel(false);
    let threads = boards_at_a_time();
    let rehearsal = Rehearsal {
        plan: &plan,
        bench: &bench,
        profiles: &profiles,
        files: &[],
        store: &store,
        clock: &SystemClock,
        threads,
        stop: &Stop::new(raised),
    };
    let (mut failed, mut bench_time, mut halfway) = (0, 0.0, 0);
    let mut told = 0;
    let (begun, worked) = (Instant::now(), own_processor_time());
    rehearsal.perform(&entrants, |_, outcome| {
        let record = outcome.expect("a record").record;
        failed += u64::from(record.verdict() != Verdict::Pass);
        bench_time += record.ended.as_ref().map_or(0.0, |ended| {
            (ended.bench - BenchInstant::ZERO).seconds().si()
        });
        told += 1;
        if told == boards / 2 {
            halfway = own_high_water();
        }
        true
    });
    let wall = begun.elapsed().as_secs_f64();
    let scenarios: Vec<&str> = plan.scenarios.iter().map(|s| s.name.as_str()).collect();
    println!(
        "{boards} boards, {}; in memory; one commit a run",
        scenarios.join(", ")
    );
    let worked = own_processor_time() - worked;
    println!(
        "{wall:.1} s on {threads} threads, {:.0} ms of processor time a board; \
         {failed} boards did not pass",
        worked * 1e3 / boards as f64
    );
    println!(
        "bench time {:.0} s a board: {:.0} times the processor time",
        bench_time / boards as f64,
        bench_time / worked
    );
    println!(
        "peak memory {:.0} MB at half the lot, {:.0} MB at its end; store {:.0} MB",
        halfway as f64 / 1e6,
        own_high_water() as f64 / 1e6,
        store
            .path()
            .metadata()
            .map_or(0.0, |file| file.len() as f64)
            / 1e6
    );
}
