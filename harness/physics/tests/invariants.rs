//! What must hold whatever is done to the circuit: the trajectory does not
//! depend on how it is walked, recorded or skipped. Numbers from outside are
//! checked beside this file.

use super::*;
use crate::model_board::GapReturn;
use crate::physics::propagator::{Propagator, STATES};
use crate::physics::timers::Timer;
use crate::waveform::LogicLine;
use proptest::prelude::*;

/// Actions that a seed picks, applied at fixed instants.
fn programme(index: usize) -> Action {
    match index % 14 {
        0 => Action::ClosePulse {
            branch: SwitchBranch::Near,
            duration: span(9 * MILLISECOND),
        },
        1 => Action::Load(LoadMode::Current(Amperes::new(2.5))),
        2 => Action::Load(LoadMode::Resistance(Ohms::new(6.0))),
        3 => Action::Load(LoadMode::Off),
        4 => Action::Close(SwitchBranch::GapCrossed),
        5 => Action::OpenAll,
        6 => Action::Brake(true),
        7 => Action::Brake(false),
        8 => Action::Drive(DriveSignal::Held(Polarity::Negative)),
        9 => Action::Drive(DriveSignal::Alternating(Pattern::ones())),
        10 => Action::Close(SwitchBranch::Far),
        11 => Action::LoadRamp {
            from: Amperes::new(0.5),
            to: Amperes::new(6.0),
            duration: span(4 * MILLISECOND),
        },
        12 => Action::Close(SwitchBranch::GapStraight),
        _ => Action::Drive(DriveSignal::Stopped),
    }
}

const PROBES: [Probe; 11] = [
    Probe::NodeVoltage,
    Probe::OutputCurrent,
    Probe::BoardRail,
    Probe::SupplyVoltage,
    Probe::SupplyCurrent,
    Probe::LoadVoltage,
    Probe::LoadCurrent,
    Probe::ShortCurrent,
    Probe::GapCurrent,
    Probe::UpstreamVoltage,
    Probe::SenseVoltage,
];

/// A fixture whose upstream source shares the board's negative, or not.
fn bridged(one_gap: bool) -> FixtureParameters {
    let mut fixture = FixtureParameters::default();
    if one_gap {
        fixture.upstream.returns = GapReturn::CommonNegative;
    }
    fixture
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn one_stride_and_many_small_ones_agree(
        choices in prop::collection::vec(0_usize..14, 1..6),
        cuts in prop::collection::vec(1_i64..40 * MILLISECOND, 0..40),
        reversing in any::<bool>(),
        keep in any::<bool>(),
        two_lines in any::<bool>(),
        one_gap in any::<bool>(),
    ) {
        let board = BoardParameters {
            two_lines,
            reversing: reversing.then_some(Reversing {
                current: Amperes::new(6.0),
                debounce: Seconds::new(40e-6),
                hold_off: Seconds::new(2e-3),
            }),
            ..BoardParameters::default()
        };
        let mut stride = energised(&board, &bridged(one_gap), 18.0, 5.0);
        stride.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
        let mut steps = stride.clone();
        if keep {
            // Recording must change nothing.
            steps.keep_history(span(SECOND));
        }
        let mut cuts = cuts;
        cuts.sort_unstable();
        let mut end = 0;
        for choice in choices {
            let start = end;
            end += 40 * MILLISECOND + 777;
            stride.advance_to(at(end));
            for cut in &cuts {
                steps.advance_to(at(start + cut));
            }
            steps.advance_to(at(end));
            for probe in PROBES {
                let (a, b) = (stride.probe(probe), steps.probe(probe));
                prop_assert!(a.is_finite());
                prop_assert!((a - b).abs() <= 1e-9 * a.abs().max(1.0), "{probe:?} {a} {b}");
            }
            prop_assert_eq!(stride.lines, steps.lines);
            stride.apply(programme(choice));
            steps.apply(programme(choice));
        }
    }
}

#[test]
fn skipped_periods_leave_the_circuit_where_full_stepping_does() {
    for load in [LoadMode::Off, LoadMode::Current(Amperes::new(2.0))] {
        let mut skipping = energised(
            &BoardParameters::default(),
            &FixtureParameters::default(),
            18.0,
            5.0,
        );
        skipping.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
        skipping.apply(Action::Load(load));
        skipping.keep_history(span(SECOND));
        let mut stepping = skipping.clone();
        stepping.steps_through = true;
        for tenths in 1..=4 {
            let target = at(tenths * SECOND / 10 + 12_345_678);
            skipping.advance_to(target);
            // A stride shorter than a period leaves nothing to skip.
            while stepping.now() < target {
                stepping.advance_to((stepping.now() + span(77 * MICROSECOND)).min(target));
            }
            assert_eq!(stepping.lines, skipping.lines);
            for probe in PROBES {
                let (a, b) = (skipping.probe(probe), stepping.probe(probe));
                assert!(
                    (a - b).abs() <= 1e-9 * b.abs().max(1.0),
                    "{probe:?} {a} {b}"
                );
            }
            close(
                1.0 + f64::from(skipping.junction_rise()),
                1.0 + f64::from(stepping.junction_rise()),
                1e-9,
            );
        }
        let sampled = |circuit: &Circuit| {
            circuit
                .sample(
                    Probe::OutputCurrent,
                    at(100 * MILLISECOND),
                    span(1_234_567),
                    240_000,
                )
                .expect("kept")
        };
        for (a, b) in sampled(&skipping).iter().zip(sampled(&stepping)) {
            assert!((a - b).abs() < 1e-9, "{a} {b}");
        }
    }
}

/// Also where the present is read out of the period before, with a past that
/// begins there, and with what is done to the circuit then.
#[test]
fn what_is_looked_at_often_is_what_full_stepping_shows() {
    let mut looked = alternating(&BoardParameters::default(), &FixtureParameters::default());
    looked.apply(Action::Load(LoadMode::Current(Amperes::new(2.0))));
    let mut stepped = looked.clone();
    stepped.steps_through = true;
    let mut shown = 0;
    for look in 1..270 {
        let target = looked.now() + span(look % 23 * 97 * MICROSECOND + 12_345_678);
        let keeps = look % 5;
        if keeps < 2 {
            // A meter reads over some milliseconds, now and then from here on.
            looked.keep_history(span(i64::from(keeps == 0) * 5 * MILLISECOND));
            stepped.keep_history(span(i64::from(keeps == 0) * 5 * MILLISECOND));
        }
        let from = looked.now();
        looked.advance_to(target);
        stepped.advance_to(target);
        shown += u32::from(looked.coasting.is_some());
        assert_eq!(looked.lines, stepped.lines);
        for probe in PROBES {
            let (a, b) = (looked.probe(probe), stepped.probe(probe));
            assert!(
                (a - b).abs() <= 1e-9 * b.abs().max(1.0),
                "{probe:?} {a} {b}"
            );
        }
        let rise = |circuit: &Circuit| 1.0 + f64::from(circuit.junction_rise());
        close(rise(&looked), rise(&stepped), 1e-9);
        if keeps == 0 {
            for probe in PROBES {
                let mean = |circuit: &Circuit| circuit.mean(probe, from, target).expect("kept");
                let (a, b) = (mean(&looked), mean(&stepped));
                assert!(
                    (a - b).abs() <= 1e-9 * b.abs().max(1.0),
                    "{probe:?} {a} {b}"
                );
                let count = ((target - from).picoseconds() / 7_654_321) as usize;
                let sampled =
                    |circuit: &Circuit| circuit.sample(probe, from, span(7_654_321), count);
                let (a, b) = (
                    sampled(&looked).expect("kept"),
                    sampled(&stepped).expect("kept"),
                );
                assert!(
                    a.iter().zip(&b).all(|(a, b)| (a - b).abs() < 1e-9),
                    "{probe:?}"
                );
            }
        }
        if look % 97 == 0 {
            let amperes = Amperes::new(1.0 + f64::from(look as i32 % 4));
            looked.apply(Action::Load(LoadMode::Current(amperes)));
            stepped.apply(Action::Load(LoadMode::Current(amperes)));
        }
        if look % 131 == 0 {
            looked.advance_to(looked.now() + span(2 * SECOND));
            stepped.advance_to(looked.now());
        }
    }
    assert!(shown > 40, "{shown}");
}

#[test]
fn a_step_looks_at_no_more_than_what_moves() {
    let mut circuit = alternating(&BoardParameters::default(), &FixtureParameters::default());
    let moving = |circuit: &Circuit| match circuit.mode.propagator {
        Propagator::Four(_) => 4,
        Propagator::Eight(_) => 8,
        Propagator::All(_) => STATES,
    };
    assert_eq!(moving(&circuit), 4);
    circuit.apply(Action::Load(LoadMode::Current(Amperes::new(2.0))));
    circuit.advance_to(circuit.now() + span(100 * MILLISECOND));
    assert_eq!(moving(&circuit), 8);
    circuit.apply(Action::Close(SwitchBranch::Near));
    circuit.advance_to(circuit.now() + span(MICROSECOND));
    assert_eq!(moving(&circuit), 8);
    circuit.apply(Action::Close(SwitchBranch::GapStraight));
    circuit.advance_to(circuit.now() + span(MICROSECOND));
    assert_eq!(moving(&circuit), STATES);
}

/// A thermal step within a period that is not stepped through: the heat is what full
/// stepping makes of it, also after something is done between it and the period's end.
#[test]
fn a_thermal_step_lets_the_period_go_on() {
    let mut looked = alternating(&BoardParameters::default(), &FixtureParameters::default());
    looked.apply(Action::Load(LoadMode::Current(Amperes::new(2.0))));
    let mut stepped = looked.clone();
    stepped.steps_through = true;
    let rise = |circuit: &Circuit| 1.0 + f64::from(circuit.junction_rise());
    let mut passed = 0;
    for look in 1..46 {
        let tick = looked.switches.timers.deadlines()[Timer::Thermal as usize];
        let bin = looked.mode.key.bin;
        let before = looked.coasting.is_some();
        // Shortly after the tick, then some milliseconds on.
        let target = if look % 2 == 0 { tick } else { looked.now };
        let target = at(target) + span(look % 7 * MILLISECOND + look % 11 * 6_789_012);
        looked.advance_to(target);
        stepped.advance_to(target);
        if before && look % 2 == 0 && looked.thermal.bin() == bin {
            passed += u32::from(looked.coasting.is_some());
            assert!(looked.coasting.is_some(), "stepped through at {target}");
        }
        close(rise(&looked), rise(&stepped), 1e-9);
        if look % 9 == 0 {
            let amperes = Amperes::new(1.0 + f64::from(look as i32 % 3));
            looked.apply(Action::Load(LoadMode::Current(amperes)));
            stepped.apply(Action::Load(LoadMode::Current(amperes)));
            close(rise(&looked), rise(&stepped), 1e-9);
        }
        for probe in PROBES {
            let (a, b) = (looked.probe(probe), stepped.probe(probe));
            assert!(
                (a - b).abs() <= 1e-9 * b.abs().max(1.0),
                "{probe:?} {a} {b}"
            );
        }
    }
    assert!(passed > 12, "{passed}");
}

#[test]
fn a_board_that_is_off_empties_alike_in_one_stride_and_in_many() {
    // Its input goes on alternating, which moves nothing but its logic: down
    // through the lockout, the sleep of the logic and what is left.
    let mut skipping = alternating(&BoardParameters::default(), &FixtureParameters::default());
    skipping.apply(Action::Enable(false));
    skipping.advance_to(at(SECOND));
    skipping.apply(Action::SupplyOutput(false));
    skipping.keep_history(span(4 * SECOND));
    let mut stepping = skipping.clone();
    stepping.steps_through = true;
    for tenths in [11, 12, 15, 20, 40] {
        let target = at(tenths * SECOND / 10 + 12_345_678);
        skipping.advance_to(target);
        while stepping.now() < target {
            stepping.advance_to((stepping.now() + span(77 * MICROSECOND)).min(target));
        }
        assert_eq!(stepping.lines, skipping.lines);
        assert_eq!(stepping.switches.board, skipping.switches.board);
        let (a, b) = (
            skipping.probe(Probe::BoardRail),
            stepping.probe(Probe::BoardRail),
        );
        assert!((a - b).abs() <= 1e-9 * b.abs().max(1.0), "{a} {b}");
    }
    assert!(
        skipping.probe(Probe::BoardRail) < 1.0,
        "it has been through all"
    );
    assert_eq!(skipping.changes(), stepping.changes(), "edges of the lines");
    for (start, period, count) in [
        (SECOND, 49_876_543, 60_000),
        (1_100 * MILLISECOND, 1_234_567, 100_000),
        (2 * SECOND, 1_234_567, 100_000),
    ] {
        let rail =
            |circuit: &Circuit| circuit.sample(Probe::BoardRail, at(start), span(period), count);
        let signal = |circuit: &Circuit| {
            circuit.sample_line(LogicLine::SignalA, at(start), span(period), count)
        };
        assert_eq!(signal(&skipping), signal(&stepping));
        let (a, b) = (
            rail(&skipping).expect("kept"),
            rail(&stepping).expect("kept"),
        );
        for (a, b) in a.iter().zip(&b) {
            assert!((a - b).abs() < 1e-9, "{a} {b}");
        }
    }
}

#[test]
fn samples_agree_with_the_present_and_end_with_the_history() {
    let mut circuit = alternating(&BoardParameters::default(), &FixtureParameters::default());
    circuit.keep_history(span(20 * MILLISECOND));
    circuit.apply(Action::Load(LoadMode::Current(Amperes::new(2.0))));
    let start = circuit.now();
    let mut expected = Vec::new();
    for step in 0..3_000 {
        circuit.advance_to(start + span(step * 1_111_111));
        expected.push((
            circuit.probe(Probe::OutputCurrent),
            circuit.line(LogicLine::SignalA),
        ));
    }
    let period = span(1_111_111);
    let current = circuit
        .sample(Probe::OutputCurrent, start, period, 3_000)
        .expect("kept");
    let line = circuit
        .sample_line(LogicLine::SignalA, start, period, 3_000)
        .expect("kept");
    for (index, (value, high)) in expected.into_iter().enumerate() {
        assert!((current[index] - value).abs() < 1e-9);
        assert_eq!(line[index], high);
    }
    let probe = Probe::OutputCurrent;
    assert_eq!(circuit.sample(probe, start, period, 3_001), None);
    circuit.advance_to(start + span(200 * MILLISECOND));
    assert_eq!(circuit.sample(probe, start, period, 1), None);
    circuit.keep_history(BenchSpan::ZERO);
    assert_eq!(circuit.sample(probe, circuit.now(), period, 1), None);
}

/// Samples that are read out of one state are what each would be by itself, of every
/// quantity: also of those that are no linear function of the state, and with a rest
/// of samples before each edge that fills no block.
#[test]
fn many_samples_at_once_are_those_of_each_instant() {
    for load in [LoadMode::Off, LoadMode::Current(Amperes::new(2.0))] {
        let mut circuit = alternating(&BoardParameters::default(), &bridged(false));
        circuit.keep_history(span(20 * MILLISECOND));
        circuit.apply(Action::Load(load));
        circuit.apply(Action::Close(SwitchBranch::GapStraight));
        let start = circuit.now();
        circuit.advance_to(start + span(5 * MILLISECOND));
        for period in [700_001, 1_111_111, 5_800_000] {
            let count = 5 * MILLISECOND / period;
            for probe in PROBES {
                let sampled = |start, count| {
                    let values = circuit.sample(probe, start, span(period), count);
                    values.expect("kept")
                };
                let all = sampled(start, count as usize);
                for (index, value) in all.into_iter().enumerate() {
                    let alone = sampled(start + span(index as i64 * period), 1)[0];
                    let near = (value - alone).abs() <= 1e-11 * alone.abs().max(1.0);
                    assert!(near, "{probe:?} {index}: {value} {alone}");
                }
            }
        }
    }
}

#[test]
fn meaningless_parameters_are_refused() {
    let board = BoardParameters {
        bulk_capacitance: Farads::ZERO,
        ..BoardParameters::default()
    };
    let fault = Circuit::new(&board, &FixtureParameters::default()).err();
    assert!(
        matches!(
            fault,
            Some(PhysicsFault::Parameter {
                parameter: "bulk_capacitance",
                ..
            })
        ),
        "{fault:?}"
    );
    let fixture = FixtureParameters {
        bleeder: Ohms::new(-1.0),
        ..FixtureParameters::default()
    };
    assert!(Circuit::new(&BoardParameters::default(), &fixture).is_err());
    assert!(Pattern::new(Vec::new()).is_none());
    assert!(Pattern::of_half_bits(&[BenchSpan::ZERO]).is_none());
}

/// How long bench time takes in wall time. Run by hand, optimised:
/// `cargo test --release --lib physics -- --ignored --nocapture`.
#[test]
#[ignore = "a measurement of this machine, not a check"]
#[allow(clippy::print_stdout)] // Printing the figures is its purpose.
fn timing() {
    let report = |name: &str, circuit: &mut Circuit, length: i64| {
        let before = std::time::Instant::now();
        let target = circuit.now() + span(length);
        circuit.advance_to(target);
        println!("{name}: {:?}", before.elapsed());
    };
    let untripped = BoardParameters {
        trip_current: Amperes::new(1e6),
        under_voltage: Volts::ZERO,
        ..BoardParameters::default()
    };
    let steady = FixtureParameters {
        bounce_for: Seconds::ZERO,
        ..FixtureParameters::default()
    };
    for (name, kept) in [("skipping", 0), ("recorded", SECOND)] {
        for (supply, amperes) in [("stiff supply", 1e3), ("5 A supply", 5.0)] {
            let mut circuit = energised(&untripped, &steady, 18.0, amperes);
            circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
            circuit.advance_to(at(100 * MILLISECOND));
            circuit.keep_history(span(kept));
            circuit.apply(Action::Close(SwitchBranch::Near));
            report(
                &format!("100 ms short, {supply}, {name}"),
                &mut circuit,
                100 * MILLISECOND,
            );
        }
        let mut circuit = alternating(&BoardParameters::default(), &steady);
        circuit.keep_history(BenchSpan::ZERO);
        circuit.keep_history(span(kept));
        report(&format!("1 s idle, {name}"), &mut circuit, SECOND);
        circuit.apply(Action::Load(LoadMode::Current(Amperes::new(3.0))));
        report(&format!("1 s at 3 A, {name}"), &mut circuit, SECOND);
        circuit.apply(Action::SupplyOutput(false));
        circuit.apply(Action::Drive(DriveSignal::Stopped));
        report(&format!("10 s dead, {name}"), &mut circuit, 10 * SECOND);
    }
    let mut circuit = alternating(&BoardParameters::default(), &steady);
    let start = circuit.now();
    circuit.apply(Action::Close(SwitchBranch::Near));
    report(
        "100 ms short with lockout, trip and retry, recorded",
        &mut circuit,
        100 * MILLISECOND,
    );
    let before = std::time::Instant::now();
    let samples = circuit.sample(Probe::OutputCurrent, start, span(MICROSECOND), 100_000);
    println!("100,000 samples: {:?}", before.elapsed());
    assert!(samples.is_some());
}

/// A board and a fixture with every parameter that shapes a current changed by
/// its own factor.
fn spread(factors: &[f64]) -> (BoardParameters, FixtureParameters) {
    let mut board = BoardParameters::default();
    let mut fixture = FixtureParameters::default();
    let mut next = factors.iter().copied().cycle();
    let mut factor = || next.next().unwrap_or(1.0);
    board.bulk_capacitance = board.bulk_capacitance * factor();
    board.bulk_resistance = board.bulk_resistance * factor();
    board.switch_resistance = board.switch_resistance * factor();
    board.diode_drop = board.diode_drop * factor();
    board.dead_time = board.dead_time * factor();
    board.delay_rising = board.delay_rising * factor();
    board.delay_falling_b = board.delay_falling_b * factor();
    board.output_inductance = board.output_inductance * factor();
    board.sense_filter = board.sense_filter * factor();
    board.trip_current = board.trip_current * factor();
    board.under_voltage = board.under_voltage * factor();
    fixture.supply_resistance = fixture.supply_resistance * factor();
    fixture.bleeder = fixture.bleeder * factor();
    fixture.snubber_capacitance = fixture.snubber_capacitance * factor();
    fixture.snubber_resistance = fixture.snubber_resistance * factor();
    fixture.rectifier_drop = fixture.rectifier_drop * factor();
    fixture.load_saturation = fixture.load_saturation * factor();
    fixture.near.resistance = fixture.near.resistance * factor();
    fixture.near.inductance = fixture.near.inductance * factor();
    fixture.upstream.voltage = fixture.upstream.voltage * factor();
    fixture.upstream.branch.inductance = fixture.upstream.branch.inductance * factor();
    (board, fixture)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn no_parameters_and_no_programme_upset_it(
        factors in prop::collection::vec(0.2_f64..5.0, 1..22),
        choices in prop::collection::vec((0_usize..14, 1_i64..15_000), 1..12),
        volts in 8.0_f64..26.0,
        amperes in 0.5_f64..20.0,
        reversing in any::<bool>(),
        two_lines in any::<bool>(),
        one_gap in any::<bool>(),
    ) {
        let (mut board, mut fixture) = spread(&factors);
        fixture.upstream.returns = bridged(one_gap).upstream.returns;
        board.two_lines = two_lines;
        board.reversing = reversing.then_some(Reversing {
            current: Amperes::new(4.5),
            debounce: Seconds::new(60e-6),
            hold_off: Seconds::new(1e-3),
        });
        let mut circuit = energised(&board, &fixture, volts, amperes);
        circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
        circuit.advance_to(at(50 * MILLISECOND));
        circuit.keep_history(span(50 * MILLISECOND));
        for (choice, microseconds) in choices {
            circuit.apply(programme(choice));
            circuit.advance_to(circuit.now() + span(microseconds * MICROSECOND));
            for probe in PROBES {
                prop_assert!(circuit.probe(probe).is_finite());
            }
            // Nothing on the bench holds more than what the sources, the
            // clamp and the inductors can give.
            prop_assert!(circuit.probe(Probe::BoardRail) > -10.0);
            prop_assert!(circuit.probe(Probe::BoardRail) < 150.0);
        }
    }
}
