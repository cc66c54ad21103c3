//! The circuit against textbook closed forms and a general-purpose matrix
//! library. What the logic does in time is tested beside this file.

use super::*;
use crate::physics::propagator::{COLUMNS, Propagator, STATES};
use crate::units::Quantity as _;
use crate::waveform::LogicLine;

#[test]
fn the_propagator_agrees_with_a_general_purpose_exponential() {
    // However many variables move: each number of them has steps of its own.
    for moving in [1, 3, 4, 5, 7, 8, 9, STATES] {
        agrees_with_an_exponential(moving);
    }
}

fn agrees_with_an_exponential(moving: usize) {
    // Oracle: nalgebra's matrix exponential (Pade approximant), which shares
    // nothing with the Taylor series and doubling used here.
    let mut generator = [[0.0; STATES]; COLUMNS];
    for (column, values) in generator.iter_mut().enumerate() {
        if column >= moving && column < STATES {
            continue;
        }
        for (row, value) in values[..moving].iter_mut().enumerate() {
            let mixed = ((column * 31 + row * 17) % 23) as f64 / 23.0 - 0.5;
            *value = mixed * 1e5 - if column == row { 4e5 } else { 0.0 };
        }
    }
    let propagator = Propagator::new(&generator);
    let start = [3.0, -2.0, 1.0, 0.5, -0.25, 4.0, 0.0, 1.0, 17.0, 2.0, -0.5];
    for picoseconds in [1, 777, 58 * MICROSECOND, 3 * MILLISECOND + 12_345] {
        let time = seconds(picoseconds);
        let matrix = nalgebra::SMatrix::<f64, COLUMNS, COLUMNS>::from_fn(|row, column| {
            if row < STATES {
                generator[column][row] * time
            } else {
                0.0
            }
        });
        let exponential = matrix.exp();
        let advanced = propagator.advance(picoseconds, &start);
        let rise = propagator.rise(picoseconds);
        let in_one = rise.risen(&start);
        for (row, value) in advanced.iter().enumerate() {
            let mut expected = exponential[(row, STATES)];
            for column in 0..STATES {
                expected += exponential[(row, column)] * start[column];
            }
            // In steps; by one matrix; and what this row was before.
            let mut now = [0.0; COLUMNS];
            now[row] = 1.0;
            let before = rise.row_before(&now);
            let along = before[..STATES].iter().zip(&start).map(|(a, x)| a * x);
            let was = along.sum::<f64>() + before[STATES];
            for value in [*value, in_one[row], was] {
                assert!(
                    (value - expected).abs() < 1e-12 * expected.abs().max(1.0),
                    "{moving} move, {picoseconds} ps, row {row}: {value} against {expected}"
                );
            }
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
/// up to the trip of an RL fault, i = V/R (1 - exp(-tR/L)): computed by closed
/// form and, against that, by quadrature.
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
            .line_edge(LogicLine::Fault, true, start)
            .expect("it trips");
        let took = seconds((tripped - start).picoseconds());
        assert!((took - high - 8e-3).abs() < 1e-9, "{took} against {high}");
        let retried = circuit
            .line_edge(LogicLine::Fault, false, tripped)
            .expect("it tries again");
        assert_eq!(retried - tripped, span(500 * MILLISECOND));
        let again = circuit
            .line_edge(LogicLine::Fault, true, retried)
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

/// A mean over many periods takes what repeats itself once; period by period each
/// is integrated by itself. Both are of the same trajectory,
/// and Simpson's rule errs by a millionth where a window cuts a stretch.
#[test]
fn a_mean_over_many_periods_is_that_of_each() {
    let (board, fixture) = (BoardParameters::default(), FixtureParameters::default());
    let mut circuit = alternating(&board, &fixture);
    circuit.apply(Action::Load(LoadMode::Resistance(Ohms::new(9.0))));
    circuit.keep_history(span(SECOND));
    let (period, count) = (116_000_000, 250);
    for offset in [0, 1, 31_000_001, 77_777_777] {
        let from = circuit.now() + span(offset);
        circuit.advance_to(from + span(count * period + 50_000_000));
        for probe in [Probe::SupplyCurrent, Probe::NodeVoltage] {
            let over = |from: BenchInstant, turns: i64| {
                circuit.mean_magnitude(probe, from, from + span(turns * period))
            };
            let each = (0..count).map(|turn| over(from + span(turn * period), 1).expect("kept"));
            let whole = over(from, count).expect("kept");
            close(whole, each.sum::<f64>() / count as f64, 1e-5);
        }
    }
}

/// What a filter of one time constant has taken in is in its voltage: over any window
/// the integral of g i - v is tau times what v rose, however the window cuts stretches
/// and whatever switches in it (textbook).
#[test]
fn a_mean_is_exact_wherever_its_window_begins_and_ends() {
    let (board, fixture) = (BoardParameters::default(), FixtureParameters::default());
    let mut circuit = energised(&board, &fixture, 18.0, 5.0);
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Positive)));
    circuit.keep_history(span(SECOND));
    let begun = circuit.now();
    circuit.apply(Action::Load(LoadMode::Current(Amperes::new(2.0))));
    circuit.advance_to(begun + span(30_000_001));
    circuit.apply(Action::Load(LoadMode::Resistance(Ohms::new(5.0))));
    circuit.advance_to(begun + span(2 * MILLISECOND));
    let (gain, tau) = (board.sense_gain.si(), board.sense_filter.si());
    for (from, length) in [
        (0, 1),
        (0, 29_999_999),
        (17_654_321, 12_345_680),
        (29_999_990, 1_000_003),
        (1_234_567, 1_900_000_001),
    ] {
        let (from, to) = (begun + span(from), begun + span(from + length));
        let mean = |probe| circuit.mean(probe, from, to).expect("kept");
        let sense = |at: BenchInstant| {
            let period = span(1_000_000);
            circuit
                .sample(Probe::SenseVoltage, at, period, 1)
                .expect("kept")[0]
        };
        let rose = (sense(to) - sense(from)) * tau / seconds(length);
        let net = gain * mean(Probe::OutputCurrent) - mean(Probe::SenseVoltage);
        let offset = board.sense_offset.si();
        assert!(
            (net + offset - rose).abs() < 1e-9 + 1e-6 * rose.abs(),
            "{net} {rose}"
        );
    }
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
            circuit.sense_counts(0.0),
            libm::round(out * 0.25 / 3.3 * 4096.0) as u32
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
    assert_eq!(circuit.sense_counts(0.0), 0);
}

#[test]
fn a_warm_bridge_settles_where_its_power_says() {
    // Steady rise = Rth I^2 R(T), one time constant: lumped thermal model.
    let board = BoardParameters {
        thermal_time_constant: Seconds::new(2.0),
        junction_rise_per_watt: Kelvins::new(1e-6),
        junction_time_constant: Seconds::new(1e-10),
        ..BoardParameters::default()
    };
    let mut circuit = energised(&board, &FixtureParameters::default(), 18.0, 8.0);
    circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
    circuit.apply(Action::Load(LoadMode::Current(Amperes::new(3.0))));
    circuit.advance_to(at(2 * SECOND));
    let early = f64::from(circuit.junction_rise());
    circuit.advance_to(at(20 * SECOND));
    let steady = f64::from(circuit.junction_rise());
    // The load's overshoot after each crossing counts: the mean square of what
    // really flows, over two periods.
    let from = circuit.now();
    circuit.keep_history(span(MILLISECOND));
    circuit.advance_to(from + span(232 * MICROSECOND));
    let current = circuit
        .sample(Probe::OutputCurrent, from, span(10_000), 23_200)
        .expect("kept");
    let square = current.iter().map(|i| i * i).sum::<f64>() / current.len() as f64;
    let power = square * 0.090;
    // Heat takes an exponential of 5 us for lines of up to 4 us: below 1 %.
    close(steady, 12.0 * power / (1.0 - 12.0 * power * 0.004), 1e-2);
    // The warmer, the more heat: the time constant grows by what the steady
    // rise does.
    let slower = 1.0 - 12.0 * power * 0.004;
    close(early / steady, 1.0 - libm::exp(-slower), 0.01);
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
        .line_edge(LogicLine::Fault, true, BenchInstant::ZERO)
        .expect("it trips");
    // 1 A/s: the level at 4 A less the bleeder, then the lags of the load's
    // loop and of the filter, one time constant each, and the debounce.
    let node = circuit
        .sample(Probe::NodeVoltage, tripped - span(MILLISECOND), span(1), 1)
        .expect("kept")[0];
    let expected = 0.1 + (1.0 - node / 1000.0) + 5e-6 + 50e-6 + 8e-3;
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
