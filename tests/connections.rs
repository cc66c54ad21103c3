//! What a run finds before it lets the full voltage in, on the model bench: a short on
//! the supply side, an empty fixture. Nothing more is switched on, no board is judged,
//! and what is said names what a person looks at.

use crate::lots::Workshop;
use bufferstop::judgement::Verdict;
use bufferstop::model_board::{BoardParameters, ModelBoard};
use bufferstop::record::Record;
use bufferstop::seed::Seed;
use bufferstop::units::{Amperes, Farads, Ohms};

fn run(change: impl FnOnce(&mut BoardParameters)) -> Record {
    let mut workshop = Workshop::new();
    let nominal = ModelBoard {
        planted: Vec::new(),
        ..workshop.board.clone()
    };
    let mut board = nominal.draw(Seed(5), 1);
    change(&mut board);
    workshop.accept(&board, Seed(5))
}

/// The run ended before anything but the look at the supply side was energised.
fn ended_at_once(record: &Record, words: &str) {
    assert_eq!(record.verdict(), Verdict::Inconclusive);
    let scenarios = record.scenarios.iter();
    let steps: Vec<_> = scenarios.flat_map(|scenario| &scenario.steps).collect();
    let energising: Vec<_> = steps.iter().filter(|step| step.energises).collect();
    assert_eq!(energising.len(), 1, "{energising:?}");
    assert!(energising[0].text.contains("supply side"), "{energising:?}");
    let troubles = record.scenarios.iter().flat_map(|s| &s.troubles);
    let told: Vec<_> = troubles.map(|trouble| trouble.what.clone()).collect();
    assert!(told.iter().any(|what| what.contains(words)), "{told:?}");
}

#[test]
fn a_short_on_the_supply_side_ends_the_run() {
    // A board that takes 20 A as soon as it is given anything.
    let record = run(|board| board.quiescent_current = Amperes::new(20.0));
    ended_at_once(&record, "short on the supply side");
}

#[test]
fn an_empty_fixture_ends_the_run() {
    // Nothing but the probe of the rail, which takes a little: no capacitors, no
    // logic, no way to the output.
    let record = run(|board| {
        board.bulk_capacitance = Farads::new(1e-6);
        board.quiescent_current = Amperes::new(1e-3);
        board.output_resistance = Ohms::new(1e5);
    });
    ended_at_once(&record, "no board in the fixture");
}

/// A good board goes on, and the record names what was looked at and compared.
#[test]
fn a_board_that_is_there_goes_on_and_the_record_says_what_was_compared() {
    let record = run(|_| {});
    assert_eq!(record.verdict(), Verdict::Pass);
    let first = &record.scenarios[0].steps;
    assert!(first[0].text.contains("supply side"), "{:?}", first[0]);
    assert!(first[0].energises);
    assert!(first[1].text.starts_with("compared"), "{:?}", first[1]);
}
