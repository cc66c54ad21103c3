//! Supply, banks, load, heat and retry schedule, each part against a closed
//! form or an integration of its own.

use super::*;
use crate::model_board::{CapacitorBank, SupplyBehaviour, SupplyKind};
use crate::units::{Celsius, Quantity, Ratio};
use crate::waveform::LogicLine;

fn held(board: &BoardParameters, fixture: &FixtureParameters, limit: f64) -> Circuit {
    let mut circuit = energised(board, fixture, 18.0, limit);
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Positive)));
    circuit.advance_to(at(500 * MILLISECOND));
    circuit.keep_history(span(20 * SECOND));
    circuit
}

fn patient() -> BoardParameters {
    BoardParameters {
        trip_current: Amperes::new(1e3),
        under_voltage: Volts::ZERO,
        quiescent_current: Amperes::ZERO,
        ..BoardParameters::default()
    }
}

fn with_supply(kind: SupplyKind) -> FixtureParameters {
    let mut fixture = FixtureParameters::default();
    fixture.supply = SupplyBehaviour {
        kind,
        foldback_current: Amperes::new(1.0),
        hiccup_on: Seconds::new(0.010),
        hiccup_off: Seconds::new(0.200),
        ..fixture.supply
    };
    fixture
}

#[test]
fn a_folding_supply_meets_a_resistance_where_two_lines_cross() {
    // I = 1 + (5 - 1) / 18 V against V = I R, textbook: I = 1 / (1 - 4 R / 18).
    let fixture = with_supply(SupplyKind::Foldback);
    let mut circuit = held(&patient(), &fixture, 5.0);
    circuit.apply(Action::Load(LoadMode::Resistance(Ohms::new(1.5))));
    circuit.advance_to(at(2 * SECOND));
    let current = circuit.probe(Probe::SupplyCurrent);
    let volts = circuit.probe(Probe::SupplyVoltage);
    close(current, 1.0 + 4.0 / 18.0 * volts, 1e-9);
    // Everything behind the supply's terminals: leads, two switches at their
    // temperature, output, rectifier, load; the drop lowers it to less.
    assert!(volts < 6.0 && current < 2.4, "{volts} V {current} A");
    assert!(circuit.supply_is_limiting());
    // Into nothing it gives its least.
    circuit.apply(Action::Close(SwitchBranch::Near));
    circuit.advance_to(at(4 * SECOND));
    close(circuit.probe(Probe::ShortCurrent), 1.05, 0.06);
}

#[test]
fn a_resting_supply_tries_again_in_its_own_time() {
    let fixture = with_supply(SupplyKind::Hiccup);
    let mut circuit = held(&patient(), &fixture, 2.0);
    circuit.apply(Action::Close(SwitchBranch::Near));
    let start = circuit.now();
    circuit.advance_to(start + span(3 * SECOND));
    let edge = |rising, from| {
        circuit
            .crossing(Probe::SupplyCurrent, 1.0, rising, from)
            .expect("it goes on")
    };
    let mut instant = edge(true, start);
    for _ in 0..4 {
        let rests = edge(false, instant);
        close(seconds((rests - instant).picoseconds()), 0.010, 1e-3);
        instant = edge(true, rests + span(MILLISECOND));
        close(seconds((instant - rests).picoseconds()), 0.200, 1e-3);
    }
}

#[test]
fn a_leaking_switch_and_the_bleeder_divide_the_rail() {
    let fixture = FixtureParameters::default();
    let off = |leakage_resistance| {
        let board = BoardParameters {
            leakage_resistance,
            ..BoardParameters::default()
        };
        let mut circuit = energised(&board, &fixture, 18.0, 5.0);
        circuit.apply(Action::Enable(false));
        circuit.advance_to(at(2 * SECOND));
        circuit
    };
    for ohms in [2.2e3, 22e3, 220e3] {
        let mut circuit = off(Some(Ohms::new(ohms)));
        // V R / (R + Rleak), textbook, with the known bleeder of 1 kohm; the
        // supply feeds what leaks beside the logic's 40 mA, through the bulk's
        // 30 mohm.
        let rail = circuit.probe(Probe::BoardRail);
        let leaks = rail / (1000.0 + ohms + 0.030);
        close(circuit.probe(Probe::NodeVoltage), 1000.0 * leaks, 1e-9);
        close(circuit.probe(Probe::SupplyCurrent), 0.040 + leaks, 1e-9);
        // A braked bridge holds both terminals together.
        circuit.apply(Action::Brake(true));
        circuit.apply(Action::Enable(true));
        circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Positive)));
        circuit.advance_to(at(3 * SECOND));
        assert!(circuit.probe(Probe::NodeVoltage).abs() < 1e-9);
        // A load in front of it swallows what leaks.
        circuit.apply(Action::Brake(false));
        circuit.apply(Action::Enable(false));
        circuit.apply(Action::Load(LoadMode::Current(Amperes::new(1.0))));
        circuit.advance_to(at(4 * SECOND));
        assert!(circuit.probe(Probe::NodeVoltage).abs() < 1e-9);
    }
    let sound = off(None);
    assert_eq!(sound.probe(Probe::NodeVoltage), 0.0);
    close(sound.probe(Probe::SupplyCurrent), 0.040, 1e-12);
}

#[test]
fn a_capacitor_bank_charges_by_the_closed_form() {
    // V (1 - exp(-t / RC)) less the drop, with the bleeder as a divider
    // (textbook); R is all that stands in the loop.
    let board = BoardParameters {
        bulk_capacitance: Farads::new(1e3),
        bulk_resistance: Ohms::ZERO,
        ..patient()
    };
    let fixture = FixtureParameters {
        bank: CapacitorBank {
            capacitance: Farads::new(1000e-6),
            resistance: Ohms::new(10.0),
            bleeder: Ohms::new(1000.0),
            drop: Volts::new(1.4),
        },
        ..FixtureParameters::default()
    };
    let mut circuit = energised(&board, &fixture, 18.0, 1e6);
    circuit.advance_to(at(1_000 * SECOND));
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Negative)));
    circuit.advance_to(circuit.now() + span(10 * MILLISECOND));
    circuit.apply(Action::ClosePulse {
        branch: SwitchBranch::Bank,
        duration: span(50 * MILLISECOND),
    });
    let start = circuit.now();
    let rail = circuit.probe(Probe::BoardRail);
    // Two switches, output and leads before the node, the bank after it.
    let resistance = 2.0 * 0.045 + 0.020 + 0.020 + 10.0;
    let share = 1000.0 / (1000.0 + resistance);
    for milliseconds in [5, 20, 49] {
        circuit.advance_to(start + span(milliseconds * MILLISECOND));
        let tau = resistance * share * 1000e-6;
        let rise = 1.0 - libm::exp(-(milliseconds as f64) * 1e-3 / tau);
        let expected = (rail - 1.4) * share * rise;
        close(circuit.probe(Probe::BankVoltage), expected, 2e-3);
    }
    assert!(circuit.switch_is_closed(SwitchBranch::Bank));
    let full = circuit.probe(Probe::BankVoltage);
    circuit.advance_to(start + span(1050 * MILLISECOND));
    assert!(!circuit.switch_is_closed(SwitchBranch::Bank));
    // Taken off, it empties through its bleeder: exp(-1) in a second and a bit.
    close(
        circuit.probe(Probe::BankVoltage),
        full * libm::exp(-1.0),
        5e-3,
    );
    // Put back, it goes on from there.
    circuit.apply(Action::Drive(DriveSignal::Stopped));
    circuit.apply(Action::Enable(false));
    let left = circuit.probe(Probe::BankVoltage);
    circuit.apply(Action::Close(SwitchBranch::Bank));
    close(circuit.probe(Probe::BankVoltage), left, 1e-9);
    circuit.advance_to(circuit.now() + span(SECOND));
    close(
        circuit.probe(Probe::BankVoltage),
        left * libm::exp(-1.0),
        // What the output's choke still pushed into it.
        1e-4,
    );
}

#[test]
fn a_resistor_bank_carries_both_polarities() {
    let mut circuit = held(&patient(), &FixtureParameters::default(), 8.0);
    circuit.apply(Action::Close(SwitchBranch::Resistor));
    for polarity in [Polarity::Positive, Polarity::Negative] {
        circuit.apply(Action::Drive(DriveSignal::Held(polarity)));
        circuit.advance_to(circuit.now() + span(50 * MILLISECOND));
        let node = circuit.probe(Probe::NodeVoltage);
        let expected = node.abs() * (1.0 / 5.6 + 1.0 / 1000.0);
        close(circuit.probe(Probe::OutputCurrent).abs(), expected, 1e-6);
        assert_eq!(polarity.sign(), node.signum());
    }
}

#[test]
fn a_load_on_the_supply_rail_draws_past_the_board() {
    let mut circuit = held(&patient(), &FixtureParameters::default(), 8.0);
    circuit.apply(Action::Close(SwitchBranch::SupplyLoad));
    circuit.apply(Action::Load(LoadMode::Current(Amperes::new(3.0))));
    circuit.advance_to(circuit.now() + span(SECOND));
    let node = circuit.probe(Probe::NodeVoltage);
    close(circuit.probe(Probe::OutputCurrent), node / 1000.0, 1e-6);
    let supply = circuit.probe(Probe::SupplyCurrent);
    close(supply, 3.0 + node / 1000.0, 1e-6);
    // Behind the supply's resistance, and the leads' to the load.
    close(circuit.probe(Probe::BoardRail), 18.0 - 0.05 * supply, 1e-9);
    close(
        circuit.probe(Probe::LoadVoltage),
        18.0 - 0.05 * supply - 0.05 * 3.0,
        1e-9,
    );
}

#[test]
fn a_constant_current_load_overshoots_after_a_cutout() {
    // While the rails are dead its loop winds up; when they come back it draws
    // what it asks for then, and returns with its own time constant.
    let half = |polarity| Stretch {
        span: BenchSpan::from_microseconds(58),
        phase: Phase::Half(polarity),
    };
    let cutout = Stretch {
        span: BenchSpan::from_microseconds(454),
        phase: Phase::Cutout,
    };
    let mut stretches = vec![half(Polarity::Positive), half(Polarity::Negative)];
    stretches.push(cutout);
    let board = BoardParameters {
        two_lines: true,
        delay_falling: Seconds::new(0.9e-6),
        delay_falling_b: Seconds::new(0.9e-6),
        ..patient()
    };
    let overshoot = |response: f64, ceiling: f64| {
        let fixture = FixtureParameters {
            load_response: Seconds::new(response),
            load_ceiling: Amperes::new(ceiling),
            ..FixtureParameters::default()
        };
        let mut circuit = energised(&board, &fixture, 18.0, 8.0);
        let pattern = Pattern::new(stretches.clone()).expect("a pattern");
        circuit.apply(Action::Drive(DriveSignal::Alternating(pattern)));
        circuit.apply(Action::Load(LoadMode::Current(Amperes::new(2.0))));
        circuit.advance_to(at(100 * MILLISECOND));
        circuit.keep_history(span(SECOND));
        let from = circuit.now();
        circuit.advance_to(from + span(2 * MILLISECOND));
        let drawn = circuit
            .sample(Probe::LoadCurrent, from, span(20_000), 100_000)
            .expect("kept");
        drawn.into_iter().fold(0.0, f64::max)
    };
    // A loop that cannot wind up hardly overshoots.
    let tame = overshoot(5e-6, 2.0);
    assert!((2.0..2.05).contains(&tame), "{tame}");
    let wild = overshoot(5e-6, 6.0);
    assert!(wild > 5.0 && wild <= 6.0, "{wild}");
}

#[test]
fn a_load_takes_as_much_as_its_voltage_allows() {
    // Behind the board's resistance a current needs I (R_sat + R) of voltage:
    // with 1 ohm at least, 20 A from 18 V are not to be had.
    let fixture = FixtureParameters {
        load_saturation: Ohms::new(1.0),
        ..FixtureParameters::default()
    };
    let mut circuit = held(&patient(), &fixture, 100.0);
    circuit.apply(Action::Load(LoadMode::Current(Amperes::new(20.0))));
    circuit.advance_to(circuit.now() + span(20 * MILLISECOND));
    let drawn = circuit.probe(Probe::LoadCurrent);
    close(drawn, circuit.probe(Probe::LoadVoltage) / 1.0, 1e-9);
    assert!((11.0..16.0).contains(&drawn), "{drawn}");
}

#[test]
fn junction_and_case_follow_an_integration_of_their_own() {
    // The two nodes by Heun's rule in steps of 1 ms, the power measured.
    let board = BoardParameters {
        thermal_time_constant: Seconds::new(6.0),
        switch_temperature_coefficient: Ratio::new(0.0),
        ..patient()
    };
    let mut circuit = held(&board, &FixtureParameters::default(), 8.0);
    circuit.apply(Action::Load(LoadMode::Current(Amperes::new(3.0))));
    let start = circuit.now();
    circuit.advance_to(start + span(10 * MILLISECOND));
    let current = circuit.probe(Probe::OutputCurrent);
    let power = current * current * 0.090;
    let (junction_capacity, case_capacity) = (0.5 / 2.0, 6.0 / 12.0);
    let slope = |j: f64, c: f64| {
        let through = (j - c) / 2.0;
        (
            (power - through) / junction_capacity,
            (through - c / 12.0) / case_capacity,
        )
    };
    let (mut junction, mut case) = (0.0_f64, 0.0_f64);
    for step in 1..=20_000_i64 {
        let (a, b) = slope(junction, case);
        let (c, d) = slope(junction + 1e-3 * a, case + 1e-3 * b);
        junction += 0.5e-3 * (a + c);
        case += 0.5e-3 * (b + d);
        if step % 4_000 == 0 {
            circuit.advance_to(start + span(step * MILLISECOND));
            close(circuit.case_temperature().si() - 25.0, case, 2e-3);
        }
    }
    circuit.apply(Action::Enable(true));
    close(f64::from(circuit.junction_rise()), junction, 2e-3);
}

#[test]
fn a_hot_board_switches_off_and_comes_back() {
    let board = BoardParameters {
        thermal_time_constant: Seconds::new(2.0),
        over_temperature: Celsius::new(45.0),
        over_temperature_restart: Celsius::new(40.0),
        ..patient()
    };
    let fixture = FixtureParameters {
        ambient: Celsius::new(38.0),
        ..FixtureParameters::default()
    };
    let mut circuit = held(&board, &fixture, 8.0);
    circuit.apply(Action::Load(LoadMode::Current(Amperes::new(3.0))));
    let start = circuit.now();
    circuit.advance_to(start + span(20 * SECOND));
    let off = circuit
        .line_edge(LogicLine::Fault, true, start)
        .expect("hot");
    let on = circuit
        .line_edge(LogicLine::Fault, false, off)
        .expect("cooled");
    assert!(on > off);
    let again = circuit
        .line_edge(LogicLine::Fault, true, on)
        .expect("again");
    // It starts the second time from 40 degC instead of 38.
    assert!(again - on < off - start);
}

#[test]
fn the_off_time_grows_by_its_factor() {
    let board = BoardParameters {
        retry_interval: Seconds::new(0.1),
        retry_backoff: Ratio::new(2.0),
        trip_debounce: Seconds::new(1e-3),
        ..BoardParameters::default()
    };
    let mut circuit = held(&board, &FixtureParameters::default(), 8.0);
    circuit.apply(Action::Close(SwitchBranch::Near));
    let start = circuit.now();
    circuit.advance_to(start + span(4 * SECOND));
    let mut from = start;
    for expected in [0.1, 0.2, 0.4, 0.8] {
        let off = circuit
            .line_edge(LogicLine::Fault, true, from)
            .expect("trips");
        let on = circuit
            .line_edge(LogicLine::Fault, false, off)
            .expect("tries");
        close(seconds((on - off).picoseconds()), expected, 1e-9);
        from = on;
    }
}

#[test]
fn a_polled_board_trips_at_a_look() {
    // The first look that finds it is at most one period late, and the trip
    // comes at the first look after the debounce time.
    let board = BoardParameters {
        trip_polled_period: Seconds::new(1e-3),
        trip_debounce: Seconds::new(3.5e-3),
        ..BoardParameters::default()
    };
    let mut circuit = held(&board, &FixtureParameters::default(), 50.0);
    circuit.advance_to(circuit.now() + span(300 * MICROSECOND));
    circuit.apply(Action::Close(SwitchBranch::Near));
    let start = circuit.now();
    circuit.advance_to(start + span(20 * MILLISECOND));
    let trips = circuit
        .line_edge(LogicLine::Fault, true, start)
        .expect("trips");
    // Closed at 0.3 ms of the grid: looks at 1, 2, 3, 4 and 5 ms.
    assert_eq!(trips - start, span(4_700 * MICROSECOND));
}

#[test]
fn a_fixture_faster_than_picoseconds_is_refused() {
    let fixture = FixtureParameters {
        bleeder: Ohms::new(1e7),
        snubber_resistance: Ohms::new(1e7),
        ..FixtureParameters::default()
    };
    let fault = Circuit::new(&BoardParameters::default(), &fixture).expect_err("too stiff");
    assert!(fault.to_string().contains("inductance"), "{fault}");
}

#[test]
fn a_braked_output_and_a_load_come_to_rest() {
    // Line A rises late: both outputs are low for 0.8 us in each period, and
    // the load's rectifier sees the output's current die away meanwhile.
    let board = BoardParameters {
        two_lines: true,
        delay_rising: Seconds::new(1.9e-6),
        ..patient()
    };
    for load in [
        LoadMode::Off,
        LoadMode::Current(Amperes::new(3.0)),
        LoadMode::Current(Amperes::new(0.3)),
        LoadMode::Resistance(Ohms::new(6.0)),
    ] {
        let mut circuit = energised(&board, &FixtureParameters::default(), 18.0, 8.0);
        circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
        circuit.apply(Action::Load(load));
        circuit.advance_to(at(50 * MILLISECOND));
        circuit.keep_history(span(SECOND));
        circuit.advance_to(circuit.now() + span(1160 * MICROSECOND));
        // Ten periods of two half-bits with a dozen changes each at most.
        let changes = circuit.changes();
        assert!(changes < 300, "{load:?}: {changes} changes");
    }
}
