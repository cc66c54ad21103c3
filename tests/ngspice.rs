//! The model bench's circuit against a general-purpose circuit simulator on
//! the same netlist. It is skipped where `ngspice` is not installed, and says
//! so.

#[path = "../scripts/ngspice/netlist.rs"]
mod netlist;

use bufferstop::clock::{BenchInstant, BenchSpan};
use bufferstop::model_board::{BoardParameters, FixtureParameters};
use bufferstop::physics::{
    Action, Circuit, DriveSignal, Line, Pattern, Polarity, Probe, SwitchBranch,
};
use bufferstop::units::{Amperes, Quantity, Seconds, Volts};
use netlist::{CLOSE, CURRENT_LIMIT, Case, VOLTAGE, netlist, parameters};
use std::process::Command;

/// How far a current may be off, relative, and a trip instant in seconds.
const CURRENT_TOLERANCE: f64 = 0.005;
const TRIP_TOLERANCE: f64 = 1e-6;

const CASES: [Case; 2] = [
    Case {
        name: "held",
        alternating: false,
        length: 2e-3,
        step: 0.1e-6,
        marks: &[25e-6, 40e-6, 100e-6, 300e-6, 1e-3, 2e-3],
    },
    Case {
        name: "alternating",
        alternating: true,
        length: 2e-3,
        step: 0.1e-6,
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
