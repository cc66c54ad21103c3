//! The circuit against closed forms, a general-purpose matrix library and its
//! own invariants. Instruments and noise are tested where they live.

use super::propagator::{COLUMNS, Propagator, STATES};
use super::*;
use crate::clock::{BenchInstant, BenchSpan};
use crate::model_board::{
    BoardParameters, Branch, ContactDefect, FixtureParameters, Reversing, SenseLeg,
};
use crate::units::{Amperes, Farads, Henries, Kelvins, Ohms, Seconds, Volts};
use proptest::prelude::*;

const MICROSECOND: i64 = 1_000_000;
const MILLISECOND: i64 = 1_000_000_000;
const SECOND: i64 = 1_000_000_000_000;

fn at(picoseconds: i64) -> BenchInstant {
    BenchInstant::from_picoseconds(picoseconds)
}

fn span(picoseconds: i64) -> BenchSpan {
    BenchSpan::from_picoseconds(picoseconds)
}

fn seconds(picoseconds: i64) -> f64 {
    picoseconds as f64 * 1e-12
}

/// `value` within `relative` of `expected`.
#[track_caller]
fn close(value: f64, expected: f64, relative: f64) {
    let off = (value - expected).abs() / expected.abs();
    assert!(off <= relative, "{value} is {off:e} off {expected}");
}

fn energised(
    board: &BoardParameters,
    fixture: &FixtureParameters,
    volts: f64,
    amperes: f64,
) -> Circuit {
    let mut circuit = Circuit::new(board, fixture).expect("sound parameters");
    circuit.apply(Action::SupplySetting {
        voltage: Volts::new(volts),
        current_limit: Amperes::new(amperes),
    });
    circuit.apply(Action::SupplyOutput(true));
    circuit
}

/// A board and a fixture that shrink to one resistor and one inductor behind
/// an ideal source.
fn plain(resistance: f64, inductance: f64) -> (BoardParameters, FixtureParameters) {
    let board = BoardParameters {
        bulk_capacitance: Farads::new(1e6),
        bulk_resistance: Ohms::ZERO,
        switch_resistance: Ohms::ZERO,
        dead_time: Seconds::ZERO,
        output_resistance: Ohms::ZERO,
        output_inductance: Henries::new(1e-9),
        quiescent_current: Amperes::ZERO,
        trip_current: Amperes::new(1e9),
        under_voltage: Volts::ZERO,
        thermal_rise_per_watt: Kelvins::ZERO,
        ..BoardParameters::default()
    };
    let fixture = FixtureParameters {
        supply_resistance: Ohms::new(1e-9),
        lead_resistance: Ohms::ZERO,
        lead_inductance: Henries::ZERO,
        bleeder: Ohms::new(1e7),
        snubber_resistance: Ohms::new(1e7),
        snubber_capacitance: Farads::new(1e-15),
        near: Branch {
            resistance: Ohms::new(resistance),
            inductance: Henries::new(inductance - 1e-9),
        },
        bounce_for: Seconds::ZERO,
        ..FixtureParameters::default()
    };
    (board, fixture)
}

/// A second after power-up, held positive, the near short closing at 2 s.
fn faulted(board: &BoardParameters, fixture: &FixtureParameters, volts: f64) -> Circuit {
    let mut circuit = energised(board, fixture, volts, 1e12);
    circuit.advance_to(at(SECOND));
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Positive)));
    circuit.advance_to(at(2 * SECOND));
    circuit.keep_history(span(SECOND));
    circuit.apply(Action::Close(SwitchBranch::Near));
    circuit
}

#[test]
fn the_propagator_agrees_with_a_general_purpose_exponential() {
    // Oracle: nalgebra's matrix exponential (Pade approximant), which shares
    // nothing with the Taylor series and doubling used here.
    let mut generator = [[0.0; STATES]; COLUMNS];
    for (column, values) in generator.iter_mut().enumerate() {
        for (row, value) in values.iter_mut().enumerate() {
            let mixed = ((column * 31 + row * 17) % 23) as f64 / 23.0 - 0.5;
            *value = mixed * 1e5 - if column == row { 4e5 } else { 0.0 };
        }
    }
    let propagator = Propagator::new(&generator);
    let start = [3.0, -2.0, 1.0, 0.5, -0.25, 4.0, 0.0, 1.0];
    for picoseconds in [1, 777, 58 * MICROSECOND, 3 * MILLISECOND + 12_345] {
        let time = seconds(picoseconds);
        let matrix = nalgebra::SMatrix::<f64, 9, 9>::from_fn(|row, column| {
            if row < STATES {
                generator[column][row] * time
            } else {
                0.0
            }
        });
        let exponential = matrix.exp();
        let advanced = propagator.advance(picoseconds, &start);
        for (row, value) in advanced.iter().enumerate() {
            let mut expected = exponential[(row, STATES)];
            for column in 0..STATES {
                expected += exponential[(row, column)] * start[column];
            }
            assert!(
                (value - expected).abs() < 1e-12 * expected.abs().max(1.0),
                "{picoseconds} ps, row {row}: {value} against {expected}"
            );
        }
    }
}

#[test]
fn a_capacitor_charges_and_discharges_by_the_closed_form() {
    // v = V (1 - exp(-t / RC)) and v = V exp(-t / RC): textbook.
    let (mut board, mut fixture) = plain(1.0, 1e-6);
    board.bulk_capacitance = Farads::new(1000e-6);
    fixture.supply_resistance = Ohms::new(2.0);
    fixture.bleeder = Ohms::new(1000.0);
    let mut circuit = energised(&board, &fixture, 18.0, 1e6);
    for milliseconds in [1, 2, 5, 17] {
        circuit.advance_to(at(milliseconds * MILLISECOND));
        let expected = -18.0 * libm::expm1(-(milliseconds as f64) / 2.0);
        close(circuit.probe(Probe::BoardRail), expected, 1e-12);
    }
    circuit.advance_to(at(SECOND));
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Negative)));
    circuit.advance_to(at(SECOND + MILLISECOND));
    circuit.apply(Action::SupplyOutput(false));
    let full = circuit.probe(Probe::BoardRail);
    for tenths in [1, 10, 35] {
        circuit.advance_to(at(SECOND + MILLISECOND + tenths * SECOND / 10));
        // 1 kohm and the snubber's 10 Mohm, whose capacitor is full.
        let expected = full * libm::exp(-(tenths as f64) / 10.0);
        close(circuit.probe(Probe::BoardRail), expected, 1e-9);
        close(-circuit.probe(Probe::NodeVoltage), expected, 1e-9);
    }
}

/// V, R, L, trip level, time to it, current after one time constant, let-through
/// up to the trip: the `rl_fault` cases of ../shared/reference/pulse_metrics.toml,
/// i = V/R (1 - exp(-tR/L)), computed there by closed form and quadrature.
const RL_FAULTS: [[f64; 7]; 4] = [
    [
        48.0,
        0.05,
        1.0e-5,
        200.0,
        4.672297023630105e-5,
        606.8357364754154,
        0.6598893697750339,
    ],
    [
        24.0,
        0.5,
        2.2e-5,
        30.0,
        4.315648713251595e-5,
        30.341786823770768,
        0.016272546353316757,
    ],
    [
        12.0,
        0.02,
        5.0e-6,
        100.0,
        4.558038919848865e-5,
        379.2723352971346,
        0.1589401114559174,
    ],
    [
        56.0,
        0.12,
        4.7e-6,
        60.0,
        5.390170633478536e-6,
        294.98959411999357,
        0.006692715735325753,
    ],
];

#[test]
fn a_fault_current_rises_by_the_closed_form() {
    for [
        volts,
        resistance,
        inductance,
        level,
        time,
        at_tau,
        let_through,
    ] in RL_FAULTS
    {
        let (board, fixture) = plain(resistance, inductance);
        let mut circuit = faulted(&board, &fixture, volts);
        let start = circuit.now();
        let tau = BenchSpan::from_seconds(Seconds::new(inductance / resistance));
        circuit.advance_to(start + tau);
        close(circuit.probe(Probe::ShortCurrent), at_tau, 1e-6);
        circuit.advance_to(start + span(MILLISECOND));
        let crossing = circuit
            .crossing(Probe::ShortCurrent, level, true, start)
            .expect("it crosses the level");
        close(seconds((crossing - start).picoseconds()), time, 1e-6);
        // Let-through from inception to the trip, by Simpson's rule over 1000 intervals.
        let period = (crossing - start).picoseconds() / 1000;
        let current = circuit
            .sample(Probe::ShortCurrent, start, span(period), 1001)
            .expect("kept");
        let sum: f64 = current
            .iter()
            .enumerate()
            .map(|(index, value)| {
                let weight = match index {
                    0 | 1000 => 1.0,
                    odd if odd % 2 == 1 => 4.0,
                    _ => 2.0,
                };
                weight * value * value
            })
            .sum();
        // What integer picoseconds leave over at the end, at the trip level.
        let rest = level * level * seconds((crossing - start).picoseconds() - 1000 * period);
        close(sum / 3.0 * seconds(period) + rest, let_through, 2e-6);
    }
}

#[test]
fn the_board_trips_at_the_closed_form_instant_and_retries() {
    // i = I (1 - exp(-t/a)) through a first-order filter b:
    // f = I (1 - (b exp(-t/b) - a exp(-t/a)) / (b - a)), textbook.
    for (resistance, inductance, filter, trip) in [
        (0.5, 20e-6, 50e-6, 4.0),
        (2.0, 20e-6, 5e-6, 6.5),
        (0.25, 4e-6, 200e-6, 40.0),
    ] {
        let (mut board, fixture) = plain(resistance, inductance);
        board.sense_filter = Seconds::new(filter);
        board.trip_current = Amperes::new(trip);
        board.sense_offset = Volts::new(0.1);
        let mut circuit = faulted(&board, &fixture, 18.0);
        let start = circuit.now();
        circuit.advance_to(start + span(530 * MILLISECOND));
        let (a, b) = (inductance / resistance, filter);
        let sensed = |t: f64| {
            18.0 / resistance * (1.0 - (b * libm::exp(-t / b) - a * libm::exp(-t / a)) / (b - a))
        };
        let (mut low, mut high) = (0.0, 10e-3);
        for _ in 0..200 {
            let middle = 0.5 * (low + high);
            if sensed(middle) < trip {
                low = middle;
            } else {
                high = middle;
            }
        }
        let tripped = circuit
            .line_edge(Line::Fault, true, start)
            .expect("it trips");
        let took = seconds((tripped - start).picoseconds());
        assert!((took - high - 8e-3).abs() < 1e-9, "{took} against {high}");
        let retried = circuit
            .line_edge(Line::Fault, false, tripped)
            .expect("it tries again");
        assert_eq!(retried - tripped, span(500 * MILLISECOND));
        let again = circuit
            .line_edge(Line::Fault, true, retried)
            .expect("trips");
        let took_again = seconds((again - retried).picoseconds());
        assert!((took_again - took).abs() < 1e-7, "{took_again} {took}");
    }
}

#[test]
fn an_idle_board_takes_what_its_parts_turn_into_heat() {
    // Power balance: quiescent V Iq, bleeder V2/R while driven, and the
    // snubber's charge C dV drawn from V at each edge (charging a capacitor
    // through a resistor, textbook). In the dead time the capacitor discharges
    // through snubber and bleeder in series.
    let board = BoardParameters::default();
    let mut circuit = energised(&board, &FixtureParameters::default(), 18.0, 5.0);
    circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
    circuit.advance_to(at(580 * MILLISECOND));
    circuit.keep_history(span(SECOND));
    circuit.advance_to(at(638 * MILLISECOND));
    let (from, to) = (at(580 * MILLISECOND), at(638 * MILLISECOND));
    let current = circuit.mean(Probe::SupplyCurrent, from, to).expect("kept");
    let rail = circuit.mean(Probe::BoardRail, from, to).expect("kept");
    let left = libm::exp(-0.4e-6 / (1100.0 * 10e-9));
    let charge = 10e-9 * rail * (1.0 + left) / 58e-6;
    let bleeder = rail / 1000.0 * (1.0 - 0.4 / 58.0);
    close(current, 0.040 + bleeder + charge, 1e-3);
    // The meter's mean of an alternating voltage is nearly zero, that of its
    // magnitude nearly the rail.
    let mean = circuit.mean(Probe::NodeVoltage, from, to).expect("kept");
    assert!(mean.abs() < 0.1, "{mean}");
    let magnitude = circuit
        .mean_magnitude(Probe::NodeVoltage, from, to)
        .expect("kept");
    assert!((17.5..18.0).contains(&magnitude), "{magnitude}");
}

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

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn one_stride_and_many_small_ones_agree(
        choices in prop::collection::vec(0_usize..14, 1..6),
        cuts in prop::collection::vec(1_i64..40 * MILLISECOND, 0..40),
        reversing in any::<bool>(),
        keep in any::<bool>(),
    ) {
        let board = BoardParameters {
            reversing: reversing.then_some(Reversing {
                current: Amperes::new(6.0),
                debounce: Seconds::new(40e-6),
                hold_off: Seconds::new(2e-3),
            }),
            ..BoardParameters::default()
        };
        let mut stride = energised(&board, &FixtureParameters::default(), 18.0, 5.0);
        stride.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
        let mut steps = stride.clone();
        if keep {
            // Recording forbids skipping periods, and must change nothing.
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
        let mut stepping = skipping.clone();
        stepping.keep_history(span(MILLISECOND));
        for tenths in 1..=4 {
            let target = at(tenths * SECOND / 10 + 12_345_678);
            skipping.advance_to(target);
            stepping.advance_to(target);
            for probe in PROBES {
                let (a, b) = (skipping.probe(probe), stepping.probe(probe));
                assert!(
                    (a - b).abs() <= 1e-9 * b.abs().max(1.0),
                    "{probe:?} {a} {b}"
                );
            }
            close(
                1.0 + skipping.thermal.rise,
                1.0 + stepping.thermal.rise,
                1e-9,
            );
        }
    }
}

fn alternating(board: &BoardParameters, fixture: &FixtureParameters) -> Circuit {
    let mut circuit = energised(board, fixture, 18.0, 8.0);
    circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
    circuit.advance_to(at(100 * MILLISECOND));
    circuit.keep_history(span(4 * SECOND));
    circuit
}

#[test]
fn a_near_short_bounces_trips_and_recovers() {
    let mut circuit = alternating(&BoardParameters::default(), &FixtureParameters::default());
    let start = circuit.now();
    circuit.apply(Action::ClosePulse {
        branch: SwitchBranch::Near,
        duration: span(700 * MILLISECOND),
    });
    assert!(circuit.switch_is_closed(SwitchBranch::Near));
    circuit.advance_to(start + span(1_500 * MILLISECOND));
    let opened = circuit
        .line_edge(Line::NearPilot, false, start + span(1))
        .expect("it bounces");
    assert_eq!(opened - start, span(40 * MICROSECOND));
    let closed = circuit
        .line_edge(Line::NearPilot, true, opened)
        .expect("it comes back");
    assert_eq!(closed - opened, span(25 * MICROSECOND));
    let tripped = circuit.line_edge(Line::Fault, true, start).expect("trips");
    let took = (tripped - start).seconds();
    assert!((8e-3..11e-3).contains(&f64::from(took)), "{took}");
    let retried = circuit
        .line_edge(Line::Fault, false, tripped)
        .expect("retries");
    assert_eq!(retried - tripped, span(500 * MILLISECOND));
    // Into the short again, then the contact opens and the next try succeeds.
    let again = circuit
        .line_edge(Line::Fault, true, retried)
        .expect("trips");
    let free = circuit
        .line_edge(Line::Fault, false, again)
        .expect("retries");
    assert_eq!(circuit.line_edge(Line::Fault, true, free), None);
    assert!(!circuit.switch_is_closed(SwitchBranch::Near));
    assert_eq!(circuit.probe(Probe::ShortCurrent), 0.0);
    assert!(circuit.probe(Probe::NodeVoltage).abs() > 17.0);
    // While tripped no current flows.
    let quiet = circuit
        .mean_magnitude(
            Probe::OutputCurrent,
            tripped + span(MILLISECOND),
            retried - span(MILLISECOND),
        )
        .expect("kept");
    assert!(quiet < 1e-9, "{quiet}");
}

#[test]
fn defective_contacts_weld_or_carry_nothing() {
    let pulse = Action::ClosePulse {
        branch: SwitchBranch::Near,
        duration: span(2 * MILLISECOND),
    };
    let welded = FixtureParameters {
        contact_defect: Some(ContactDefect::Welded),
        ..FixtureParameters::default()
    };
    let mut circuit = alternating(&BoardParameters::default(), &welded);
    circuit.apply(pulse.clone());
    circuit.advance_to(at(105 * MILLISECOND));
    assert!(!circuit.line(Line::NearMarker));
    assert!(circuit.line(Line::NearPilot));
    assert!(circuit.probe(Probe::ShortCurrent).abs() > 1.0);
    circuit.apply(Action::SupplyOutput(false));
    assert!(!circuit.line(Line::NearPilot));
    circuit.advance_to(at(106 * MILLISECOND));
    assert_eq!(circuit.probe(Probe::ShortCurrent), 0.0);

    let blown = FixtureParameters {
        contact_defect: Some(ContactDefect::FuseBlown),
        ..FixtureParameters::default()
    };
    let mut circuit = alternating(&BoardParameters::default(), &blown);
    circuit.apply(pulse);
    circuit.advance_to(at(101 * MILLISECOND));
    assert!(circuit.line(Line::NearMarker));
    assert!(!circuit.line(Line::NearPilot) && !circuit.fuse_is_intact());
    assert_eq!(circuit.probe(Probe::ShortCurrent), 0.0);
}

#[test]
fn a_held_load_reads_by_ohms_law_and_scales_to_counts() {
    // Output voltage V - I (Rs + 2 Rds + Ro + Rlead), warmed switches included;
    // counts by the data-sheet formula of a converter, I gain / reference 2^n.
    for polarity in [Polarity::Positive, Polarity::Negative] {
        let board = BoardParameters::default();
        let mut circuit = energised(&board, &FixtureParameters::default(), 18.0, 8.0);
        circuit.apply(Action::Drive(DriveSignal::Held(polarity)));
        circuit.apply(Action::Load(LoadMode::Current(Amperes::new(2.0))));
        circuit.advance_to(at(200 * MILLISECOND));
        let out = circuit.probe(Probe::OutputCurrent) * polarity.sign();
        let node = circuit.probe(Probe::NodeVoltage) * polarity.sign();
        close(out, 2.0 + node / 1000.0, 1e-9);
        close(circuit.probe(Probe::LoadCurrent), 2.0, 1e-12);
        let rail = 18.0 - 0.050 * (out + 0.040);
        close(circuit.probe(Probe::BoardRail), rail, 1e-9);
        close(node, rail - out * (0.090 + 0.020 + 0.020), 2e-5);
        assert_eq!(
            circuit.sense_counts(),
            libm::round(out * 0.4 / 5.0 * 1024.0) as u32
        );
    }
    // A sensor in one leg is blind to the other polarity.
    let board = BoardParameters {
        sense_leg: SenseLeg::One,
        ..BoardParameters::default()
    };
    let mut circuit = energised(&board, &FixtureParameters::default(), 18.0, 8.0);
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Negative)));
    circuit.apply(Action::Load(LoadMode::Current(Amperes::new(3.0))));
    circuit.advance_to(at(200 * MILLISECOND));
    assert!(circuit.probe(Probe::OutputCurrent) < -3.0);
    assert_eq!(circuit.sense_counts(), 0);
}

#[test]
fn a_warm_bridge_settles_where_its_power_says() {
    // Steady rise = Rth I^2 R(T), one time constant: lumped thermal model.
    let board = BoardParameters {
        thermal_time_constant: Seconds::new(2.0),
        ..BoardParameters::default()
    };
    let mut circuit = energised(&board, &FixtureParameters::default(), 18.0, 8.0);
    circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
    circuit.apply(Action::Load(LoadMode::Current(Amperes::new(3.0))));
    circuit.advance_to(at(2 * SECOND));
    let early = f64::from(circuit.junction_rise());
    circuit.advance_to(at(20 * SECOND));
    let steady = f64::from(circuit.junction_rise());
    let power = 3.0 * 3.0 * 0.090;
    close(steady, 12.0 * power / (1.0 - 12.0 * power * 0.004), 0.03);
    close(early / steady, 1.0 - libm::exp(-1.0), 0.03);
}

#[test]
fn a_ramp_reaches_the_trip_current_and_a_pulse_ends_by_itself() {
    let mut circuit = energised(
        &BoardParameters::default(),
        &FixtureParameters::default(),
        18.0,
        8.0,
    );
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Positive)));
    circuit.advance_to(at(100 * MILLISECOND));
    circuit.keep_history(span(10 * SECOND));
    circuit.apply(Action::LoadRamp {
        from: Amperes::new(3.0),
        to: Amperes::new(5.0),
        duration: span(2 * SECOND),
    });
    assert!(circuit.load_is_running());
    circuit.advance_to(at(2 * SECOND));
    let tripped = circuit
        .line_edge(Line::Fault, true, BenchInstant::ZERO)
        .expect("it trips");
    // 1 A/s: the level at 4 A less the bleeder, then the filter's lag of one
    // time constant and the debounce.
    let node = circuit
        .sample(Probe::NodeVoltage, tripped - span(MILLISECOND), span(1), 1)
        .expect("kept")[0];
    let expected = 0.1 + (1.0 - node / 1000.0) + 50e-6 + 8e-3;
    let took = f64::from(tripped.since_zero());
    assert!((took - expected).abs() < 2e-6, "{took} {expected}");

    circuit.apply(Action::Load(LoadMode::Off));
    circuit.advance_to(at(5 * SECOND));
    circuit.apply(Action::LoadPulse {
        mode: LoadMode::Current(Amperes::new(2.0)),
        duration: span(5 * MILLISECOND),
    });
    circuit.advance_to(at(5 * SECOND + MILLISECOND));
    close(circuit.probe(Probe::LoadCurrent), 2.0, 1e-12);
    circuit.advance_to(at(5 * SECOND + 6 * MILLISECOND));
    assert_eq!(circuit.probe(Probe::LoadCurrent), 0.0);
    assert!(!circuit.load_is_running());
}

#[test]
fn a_reversing_board_reverses_once_and_trips_on_a_true_short() {
    let board = BoardParameters {
        reversing: Some(Reversing {
            current: Amperes::new(6.0),
            debounce: Seconds::new(100e-6),
            hold_off: Seconds::new(2e-3),
        }),
        ..BoardParameters::default()
    };
    let mut circuit = alternating(&board, &FixtureParameters::default());
    let start = circuit.now();
    circuit.apply(Action::Close(SwitchBranch::GapCrossed));
    circuit.advance_to(start + span(100 * MILLISECOND));
    assert!(!circuit.line(Line::Fault));
    circuit.apply(Action::OpenAll);
    circuit.advance_to(start + span(100 * MILLISECOND + 20 * MICROSECOND));
    // Driven by the board alone, against the input's phase, and still.
    let phase = if circuit.line(Line::SignalA) {
        1.0
    } else {
        -1.0
    };
    let node = circuit.probe(Probe::NodeVoltage);
    assert!(node * phase < -17.0, "{node} {phase}");
    circuit.advance_to(start + span(200 * MILLISECOND));
    let short = circuit.now();
    circuit.apply(Action::Close(SwitchBranch::Near));
    circuit.advance_to(short + span(30 * MILLISECOND));
    let tripped = circuit.line_edge(Line::Fault, true, short).expect("trips");
    let took = f64::from((tripped - short).seconds());
    assert!((8e-3..13e-3).contains(&took), "{took}");
    // Straight and equal, the upstream source takes next to nothing.
    let mut circuit = alternating(&BoardParameters::default(), &FixtureParameters::default());
    circuit.apply(Action::Close(SwitchBranch::GapStraight));
    circuit.advance_to(start + span(50 * MILLISECOND));
    assert!(!circuit.line(Line::Fault));
    // Crossed without reversing logic, somebody trips: here the board.
    circuit.apply(Action::OpenAll);
    circuit.apply(Action::Close(SwitchBranch::GapCrossed));
    circuit.advance_to(start + span(150 * MILLISECOND));
    assert!(circuit.line(Line::Fault));
    assert_eq!(circuit.probe(Probe::UpstreamVoltage).abs(), 17.0);
}

#[test]
fn enable_brake_and_signal_loss_are_obeyed() {
    let mut circuit = alternating(&BoardParameters::default(), &FixtureParameters::default());
    circuit.apply(Action::Enable(false));
    circuit.advance_to(at(102 * MILLISECOND));
    assert!(circuit.probe(Probe::NodeVoltage).abs() < 1e-6);
    circuit.apply(Action::Enable(true));
    circuit.apply(Action::Brake(true));
    circuit.advance_to(at(104 * MILLISECOND));
    assert!(circuit.probe(Probe::NodeVoltage).abs() < 1e-3);
    circuit.apply(Action::Brake(false));
    circuit.advance_to(at(106 * MILLISECOND));
    assert!(circuit.probe(Probe::NodeVoltage).abs() > 17.0);
    let stopped = circuit.now();
    circuit.apply(Action::Drive(DriveSignal::Stopped));
    circuit.advance_to(stopped + span(10 * MILLISECOND));
    assert!(circuit.probe(Probe::NodeVoltage).abs() < 1e-6);
    let dead = circuit
        .mean_magnitude(
            Probe::NodeVoltage,
            stopped + span(1900 * MICROSECOND),
            stopped + span(1990 * MICROSECOND),
        )
        .expect("kept");
    assert!(dead > 17.0, "{dead}");
    // The output follows the input after the stated delays and dead time.
    circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
    circuit.advance_to(stopped + span(11 * MILLISECOND));
    let edge = circuit
        .line_edge(Line::SignalA, true, stopped + span(10 * MILLISECOND + 1))
        .expect("kept");
    let crossed = circuit
        .crossing(Probe::NodeVoltage, 0.0, true, edge)
        .expect("kept");
    let delay = f64::from((crossed - edge).seconds());
    assert!((1.3e-6..1.5e-6).contains(&delay), "{delay}");
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
    assert!(Pattern::new(vec![BenchSpan::ZERO]).is_none());
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
            circuit.line(Line::SignalA),
        ));
    }
    let period = span(1_111_111);
    let current = circuit
        .sample(Probe::OutputCurrent, start, period, 3_000)
        .expect("kept");
    let line = circuit
        .sample_line(Line::SignalA, start, period, 3_000)
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
