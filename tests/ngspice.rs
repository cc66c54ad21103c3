//! The model bench's circuit against a general-purpose circuit simulator on
//! the same netlist. It is skipped where `ngspice` is not installed, and says
//! so.

use bufferstop::clock::{BenchInstant, BenchSpan};
use bufferstop::model_board::{BoardParameters, FixtureParameters};
use bufferstop::physics::{
    Action, Circuit, DriveSignal, Line, Pattern, Polarity, Probe, SwitchBranch,
};
use bufferstop::units::{Amperes, Kelvins, Quantity, Seconds, Volts};
use std::fmt::Write as _;
use std::process::Command;

const TEMPLATE: &str = include_str!("../scripts/ngspice/short.cir");
const VOLTAGE: f64 = 18.0;
const CURRENT_LIMIT: f64 = 8.0;
/// The short closes this long after the comparison starts.
const CLOSE: f64 = 20e-6;
const HALF_BIT: f64 = 58e-6;
/// How far a current may be off, relative, and a trip instant in seconds.
const CURRENT_TOLERANCE: f64 = 0.005;
const TRIP_TOLERANCE: f64 = 1e-6;

/// One comparison.
struct Case {
    name: &'static str,
    alternating: bool,
    length: f64,
    /// Instants at which the output current is compared, in seconds.
    marks: &'static [f64],
}

const CASES: [Case; 2] = [
    Case {
        name: "held",
        alternating: false,
        length: 2e-3,
        marks: &[25e-6, 40e-6, 100e-6, 300e-6, 1e-3, 2e-3],
    },
    Case {
        name: "alternating",
        alternating: true,
        length: 2e-3,
        marks: &[
            40e-6, 65e-6, 100e-6, 170e-6, 225e-6, 515e-6, 1.04e-3, 1.97e-3,
        ],
    },
];

#[test]
#[allow(clippy::print_stdout)] // The figures are wanted beside the verdict.
fn a_hard_short_agrees_with_ngspice() {
    for case in &CASES {
        let Some(theirs) = simulate(case) else {
            println!("skipped: ngspice is not installed");
            return;
        };
        let ours = advance(case);
        for ((mark, ours), theirs) in case.marks.iter().zip(&ours.currents).zip(&theirs.currents) {
            let off = ours / theirs - 1.0;
            println!(
                "{} at {:7.1} us: {ours:9.4} A, ngspice {theirs:9.4} A, {:+.4} %",
                case.name,
                mark * 1e6,
                off * 100.0
            );
            assert!(off.abs() < CURRENT_TOLERANCE, "{} at {mark}", case.name);
        }
        let off = ours.trip - theirs.trip;
        println!(
            "{} trip level: {:.3} us, ngspice {:.3} us, {:+.4} us",
            case.name,
            ours.trip * 1e6,
            theirs.trip * 1e6,
            off * 1e6
        );
        assert!(off.abs() < TRIP_TOLERANCE, "{} trips", case.name);
    }
}

/// What is compared: currents at the marks, and when the filtered sense
/// reached the trip level.
struct Outcome {
    currents: Vec<f64>,
    trip: f64,
}

fn parameters() -> (BoardParameters, FixtureParameters) {
    let board = BoardParameters {
        // The trip is compared, but must not end the short.
        trip_current: Amperes::new(6.0),
        trip_debounce: Seconds::new(5.0),
        under_voltage: Volts::ZERO,
        thermal_rise_per_watt: Kelvins::ZERO,
        ..BoardParameters::default()
    };
    let fixture = FixtureParameters {
        bounce_for: Seconds::ZERO,
        ..FixtureParameters::default()
    };
    (board, fixture)
}

fn advance(case: &Case) -> Outcome {
    let (board, fixture) = parameters();
    let currents = {
        let mut circuit = started(&board, &fixture, case);
        let start = circuit.now();
        let mut currents = Vec::new();
        let mut closed = false;
        for mark in case.marks {
            if !closed {
                circuit.advance_to(start + BenchSpan::from_seconds(Seconds::new(CLOSE)));
                circuit.apply(Action::Close(SwitchBranch::Near));
                closed = true;
            }
            circuit.advance_to(start + BenchSpan::from_seconds(Seconds::new(*mark)));
            currents.push(circuit.probe(Probe::OutputCurrent));
        }
        currents
    };
    // The trip as the board itself shows it: no debounce, first fault edge.
    let prompt = BoardParameters {
        trip_debounce: Seconds::ZERO,
        ..board
    };
    let mut circuit = started(&prompt, &fixture, case);
    let start = circuit.now();
    circuit.keep_history(BenchSpan::from_seconds(Seconds::new(1.0)));
    circuit.advance_to(start + BenchSpan::from_seconds(Seconds::new(CLOSE)));
    circuit.apply(Action::Close(SwitchBranch::Near));
    circuit.advance_to(start + BenchSpan::from_seconds(Seconds::new(case.length)));
    let trip = circuit
        .line_edge(Line::Fault, true, start)
        .map_or(f64::INFINITY, |edge| (edge - start).seconds().si());
    Outcome { currents, trip }
}

/// A circuit at rest, held positive, whose signal starts now.
fn started(board: &BoardParameters, fixture: &FixtureParameters, case: &Case) -> Circuit {
    let mut circuit = Circuit::new(board, fixture).expect("sound parameters");
    circuit.apply(Action::SupplySetting {
        voltage: Volts::new(VOLTAGE),
        current_limit: Amperes::new(CURRENT_LIMIT),
    });
    circuit.apply(Action::SupplyOutput(true));
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Positive)));
    circuit.advance_to(BenchInstant::from_picoseconds(1_000_000_000_000));
    if case.alternating {
        circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
    }
    circuit
}

fn simulate(case: &Case) -> Option<Outcome> {
    let folder = tempfile::tempdir().expect("a folder for the netlist");
    let path = folder.path().join("short.cir");
    std::fs::write(&path, netlist(case)).expect("the netlist can be written");
    let output = Command::new("ngspice").arg("-b").arg(&path).output().ok()?;
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let value = |name: &str| {
        text.lines()
            .filter_map(|line| line.split_once('='))
            .find(|(left, _)| left.trim() == name)
            .and_then(|(_, right)| right.split_whitespace().next()?.parse::<f64>().ok())
            .unwrap_or_else(|| panic!("ngspice gave no {name}:\n{text}"))
    };
    Some(Outcome {
        currents: (0..case.marks.len())
            .map(|index| value(&format!("mark{index}")))
            .collect(),
        trip: value("trip"),
    })
}

fn netlist(case: &Case) -> String {
    let (board, fixture) = parameters();
    let (phase, on) = gates(case, &board);
    let mut measurements = String::new();
    for (index, mark) in case.marks.iter().enumerate() {
        let _ = writeln!(
            measurements,
            ".meas tran mark{index} FIND I(Vout) AT={mark:e}"
        );
    }
    let level = board.sense_gain.si() * board.trip_current.si();
    let _ = write!(
        measurements,
        ".meas tran trip WHEN V(sense)={level:e} RISE=1"
    );
    // At rest, held positive: a chain of resistors across the supply (Ohm's
    // law), since the simulator finds no operating point of its own.
    let chain = fixture.supply_resistance.si()
        + 2.0 * board.switch_resistance.si()
        + board.output_resistance.si()
        + fixture.lead_resistance.si()
        + fixture.bleeder.si();
    let quiescent = board.quiescent_current.si();
    let rest_current = (VOLTAGE - fixture.supply_resistance.si() * quiescent) / chain;
    let rest_rail = VOLTAGE - fixture.supply_resistance.si() * (quiescent + rest_current);
    let numbers = [
        ("rest_current", rest_current),
        ("rest_rail", rest_rail),
        ("rest_node", rest_current * fixture.bleeder.si()),
        ("rest_sense", rest_current * board.sense_gain.si()),
        ("voltage", VOLTAGE),
        ("current_limit", CURRENT_LIMIT),
        ("supply_resistance", fixture.supply_resistance.si()),
        ("bulk_resistance", board.bulk_resistance.si()),
        ("bulk_capacitance", board.bulk_capacitance.si()),
        ("quiescent", quiescent),
        ("switches", 2.0 * board.switch_resistance.si()),
        ("diodes_drop", 2.0 * board.diode_drop.si()),
        ("diodes_resistance", 2.0 * board.diode_resistance.si()),
        (
            "output_resistance",
            board.output_resistance.si() + fixture.lead_resistance.si(),
        ),
        (
            "output_inductance",
            board.output_inductance.si() + fixture.lead_inductance.si(),
        ),
        ("bleeder", fixture.bleeder.si()),
        ("snubber_resistance", fixture.snubber_resistance.si()),
        ("snubber_capacitance", fixture.snubber_capacitance.si()),
        ("close", CLOSE - 0.5e-9),
        ("closed", CLOSE + 0.5e-9),
        ("short_resistance", fixture.near.resistance.si()),
        ("short_inductance", fixture.near.inductance.si()),
        ("sense_gain", board.sense_gain.si()),
        ("sense_capacitance", board.sense_filter.si() / 1e3),
        ("length", case.length + 1e-6),
    ];
    let text = TEMPLATE
        .replace("{phase}", &phase)
        .replace("{on}", &on)
        .replace("{measurements}", &measurements);
    numbers.into_iter().fold(text, |text, (name, value)| {
        text.replace(&format!("{{{name}}}"), &format!("{value:e}"))
    })
}

/// The bridge's polarity and whether its switches are on, as corners in time.
fn gates(case: &Case, board: &BoardParameters) -> (String, String) {
    let mut phase = String::from("0 1");
    let mut on = String::from("0 1");
    if !case.alternating {
        return (phase, on);
    }
    let edge = 0.5e-9;
    let mut sign = 1.0;
    for half_bit in 1.. {
        let input = f64::from(half_bit) * HALF_BIT;
        if input > case.length {
            break;
        }
        let delay = if sign > 0.0 {
            board.delay_falling
        } else {
            board.delay_rising
        };
        let off = input + delay.si();
        let back = off + board.dead_time.si();
        let middle = 0.5 * (off + back);
        let _ = write!(
            on,
            " {:e} 1 {:e} 0 {:e} 0 {:e} 1",
            off - edge,
            off + edge,
            back - edge,
            back + edge
        );
        let _ = write!(
            phase,
            " {:e} {sign} {:e} {}",
            middle - edge,
            middle + edge,
            -sign
        );
        sign = -sign;
    }
    (phase, on)
}
