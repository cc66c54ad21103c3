//! The demo's board is sound, spreads are what they say, and each defect
//! changes what it claims to.

use super::*;
use crate::document::{Fault, Source};
use crate::units::Quantity;
use proptest::prelude::*;

const DEMO: &str = include_str!("../../fixtures/demo/board.toml");

fn read(text: &str) -> Result<(ModelBoard, Vec<Fault>), Vec<Fault>> {
    parse(&Source::new("board.toml", text))
}

fn demo() -> ModelBoard {
    let (board, warnings) = read(DEMO).expect("sound");
    assert!(warnings.is_empty());
    board
}

#[test]
fn the_demo_board_is_sound_and_plants_two_defects() {
    let board = demo();
    let reversing = board.nominal.reversing.expect("a reversing board");
    assert_eq!(reversing.debounce.si(), 0.002);
    let defective: Vec<(u64, Vec<&str>)> = (1..=12)
        .map(|index| (index, board.defects_of(index).collect()))
        .filter(|(_, defects): &(u64, Vec<&str>)| !defects.is_empty())
        .collect();
    assert_eq!(defective, [(5, vec!["slow trip"]), (9, vec!["cold joint"])]);
    // Nominal 8 ms with 3 % spread, five times as long on board 5 alone.
    for index in 1..=12 {
        let drawn = board.draw(Seed(1), index);
        assert_eq!(drawn.trip_debounce.si() > 0.020, index == 5, "{index}");
        assert_eq!(drawn.output_resistance.si() > 0.100, index == 9, "{index}");
    }
}

/// A lot with a part substituted shows that part alone: whatever else a model
/// board of it says must be the first board's.
#[test]
fn a_substituted_part_changes_its_own_keys_alone() {
    let trip_filter = include_str!("../../fixtures/demo/board-trip-filter.toml");
    let sensor = include_str!("../../fixtures/demo/board-current-sensor.toml");
    let first = demo();
    for (text, own) in [
        (trip_filter, &["trip_debounce"][..]),
        (sensor, &["sense_gain", "trip_current", "reversing_current"]),
    ] {
        let (mut board, _) = read(text).expect("sound");
        for name in own {
            let parameter = BOARD.iter().find(|p| p.name == *name).expect("known");
            let before = (parameter.get)(&first.nominal);
            assert_ne!((parameter.get)(&board.nominal), before, "{name}");
            parameter.put(&mut board.nominal, before);
        }
        assert_eq!(board.nominal, first.nominal, "{own:?}");
        let others = |board: &ModelBoard| {
            let mut spread = board.spread.clone();
            spread.retain(|(name, _)| !own.contains(name));
            spread
        };
        assert_eq!(others(&board), others(&first), "{own:?}");
    }
}

#[test]
fn draws_repeat_and_have_the_stated_spread() {
    let board = demo();
    assert_eq!(board.draw(Seed(3), 7), board.draw(Seed(3), 7));
    assert_ne!(board.draw(Seed(3), 7), board.draw(Seed(4), 7));
    let drawn: Vec<f64> = (1..=4000)
        .map(|index| board.draw(Seed(1), index).trip_current.si())
        .collect();
    let mean = drawn.iter().sum::<f64>() / 4000.0;
    let variance = drawn.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / 3999.0;
    let deviation = libm::sqrt(variance) / 4.0;
    // A normal distribution cut at three sigma keeps 98.7 % of its standard
    // deviation (0.9933 of it clamped); four standard errors on either side.
    assert!((mean - 4.0).abs() < 4.0 * 0.048 / 63.0, "{mean}");
    assert!((deviation - 0.0119).abs() < 0.0006, "{deviation}");
    assert!(drawn.iter().all(|x| (x / 4.0 - 1.0).abs() <= 0.036 + 1e-12));
}

#[test]
fn a_parameter_more_moves_no_other() {
    let one = demo();
    let mut more = one.clone();
    more.spread.insert(0, ("dead_time", 0.1));
    let (a, b) = (one.draw(Seed(1), 3), more.draw(Seed(1), 3));
    assert_eq!(a.trip_current, b.trip_current);
    assert_ne!(a.dead_time, b.dead_time);
}

#[test]
fn every_defect_changes_a_board_and_only_what_it_names() {
    let held = demo().nominal;
    let mut dead = held;
    dead.on_signal_loss = OnSignalLoss::Off;
    for defect in DEFECTS {
        assert!(!defect.changes.is_empty(), "{}", defect.name);
        // What holds without a signal cannot begin to.
        let boards = [held, dead];
        let nominal = boards.into_iter().find(|board| defect.fits(board));
        let nominal = nominal.expect("some board can have it");
        let mut board = nominal;
        defect.plant(&mut board);
        let changed: Vec<&str> = BOARD
            .iter()
            .filter(|p| (p.get)(&board) != (p.get)(&nominal))
            .map(|p| p.name)
            .collect();
        for change in defect.changes {
            assert!(changed.contains(&change.parameter), "{}", defect.name);
        }
        // Without reversing logic its other parameters fall to stand-ins.
        let named = |name: &&str| {
            defect.changes.iter().any(|c| c.parameter == *name) || name.starts_with("reversing_")
        };
        assert!(changed.iter().all(named), "{}: {changed:?}", defect.name);
        assert_eq!(Defect::named(defect.name), Some(defect));
    }
    let slow = demo().with_defect(Defect::named("slow trip").expect("known"));
    assert!((slow.trip_debounce.si() - 0.040).abs() < 1e-12);
    let cold = demo().with_defect(Defect::named("cold joint").expect("known"));
    assert!((cold.output_resistance.si() - 0.170).abs() < 1e-12);
}

#[test]
fn every_parameter_comes_back_as_it_was_set() {
    let mut board = demo().nominal;
    for parameter in BOARD {
        let value = (parameter.get)(&board);
        parameter.put(&mut board, value);
        let again = (parameter.get)(&board);
        assert!(
            (again - value).abs() <= 1e-12 * value.abs(),
            "{parameter:?}"
        );
    }
    assert_eq!(board, demo().nominal);
    let mut fixture = FixtureParameters::default();
    for parameter in FIXTURE {
        let value = (parameter.get)(&fixture) * 0.75;
        parameter.put(&mut fixture, value);
        assert_eq!((parameter.get)(&fixture), value, "{parameter:?}");
    }
}

#[test]
fn each_spoiled_board_is_faulted_at_its_character() {
    for (old, new, place, message) in [
        ("\"4 A\"", "\"4 V\"", "\"4 V\"", "a voltage, not a current"),
        ("\"8 ms\"", "\"-8 ms\"", "\"-8 ms\"", "out of range"),
        (
            "trip_current = \"4 A\"",
            "trip_curent = \"4 A\"",
            "trip_curent",
            "not a key",
        ),
        ("reversing = true\n", "", "\"3.5 A\"", "no reversing logic"),
        (
            "\"slow trip\"",
            "\"slow tripp\"",
            "\"slow tripp\"",
            "not known",
        ),
        ("boards = [5]", "boards = [0]", "0]", "out of range"),
        ("boards = [5]", "boards = 5", "5\n", "a whole number"),
        ("\"1.2 %\"", "\"80 %\"", "\"80 %\"", "out of range"),
        ("dead", "dead", "", ""),
    ] {
        if place.is_empty() {
            continue;
        }
        let text = DEMO.replacen(old, new, 1);
        let faults = read(&text).expect_err(new);
        let at = text.find(place).expect(place);
        let line = text[..at].matches('\n').count() + 1;
        assert!(
            faults
                .iter()
                .any(|f| f.message.contains(message) && f.line == line),
            "{new:?} line {line}: {faults:#?}"
        );
    }
}

#[test]
fn a_reversing_defect_wants_a_reversing_board() {
    let text = "format = 1\n[board]\nname = \"x\"\n[[defect]]\nkind = \"reversing dead\"\n";
    let faults = read(text).expect_err("it cannot reverse");
    assert_eq!((faults.len(), faults[0].line, faults[0].column), (1, 5, 8));
}

proptest! {
    #[test]
    fn a_damaged_board_never_panics(at in 0_usize..1500, cut in 0_usize..40, with: String) {
        let start = at.min(DEMO.len());
        let end = (start + cut).min(DEMO.len());
        let text = format!("{}{with}{}", &DEMO[..start], &DEMO[end..]);
        if let Err(faults) = read(&text) {
            prop_assert!(!faults.is_empty());
        }
    }

    #[test]
    fn every_drawn_board_is_possible(seed: u64, index: u64) {
        let board = demo().draw(Seed(seed), index);
        for parameter in BOARD {
            let value = (parameter.get)(&board);
            prop_assert!(
                parameter.demand.unmet(value, parameter.dimension).is_none(),
                "{:?} {}", parameter, value
            );
        }
    }
}
