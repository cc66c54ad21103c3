//! The model bench's circuit against a general-purpose circuit simulator on
//! the same netlist. It is skipped where `ngspice` is not installed, and says
//! so.

#[path = "../scripts/ngspice/netlist.rs"]
mod netlist;

use bufferstop::clock::{BenchInstant, BenchSpan};
use bufferstop::model_board::{BoardParameters, FixtureParameters, SupplyKind};
use bufferstop::physics::{
    Action, Circuit, DriveSignal, LoadMode, Pattern, Polarity, Probe, SwitchBranch,
};
use bufferstop::units::{Amperes, Quantity, Seconds, Volts};
use bufferstop::waveform::LogicLine;
use netlist::{CLOSE, Case, HALF_BIT, Part, SHORT, Supply, VOLTAGE, netlist, parameters};
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
        ..SHORT
    },
    Case {
        name: "alternating",
        alternating: true,
        length: 2e-3,
        step: 0.1e-6,
        marks: &[
            40e-6, 65e-6, 100e-6, 170e-6, 225e-6, 515e-6, 1.04e-3, 1.97e-3,
        ],
        ..SHORT
    },
];

/// Output current, node and rail.
const OUTPUT: &[&str] = &["i(Vout)", "v(node)", "v(rail)"];

/// Whole courses, part by part.
const COURSES: [Case; 11] = [
    Case {
        name: "alternating hard short",
        courses: OUTPUT,
        ..SHORT
    },
    Case {
        name: "far short",
        part: Part::FarShort,
        courses: OUTPUT,
        ..SHORT
    },
    Case {
        name: "current-limited supply",
        alternating: false,
        length: 12e-3,
        step: 0.5e-6,
        limit: 2.0,
        courses: OUTPUT,
        ..SHORT
    },
    Case {
        name: "folding supply",
        alternating: false,
        length: 12e-3,
        step: 0.5e-6,
        supply: Supply::Folds(1.0),
        limit: 5.0,
        courses: OUTPUT,
        ..SHORT
    },
    Case {
        name: "resting supply",
        alternating: false,
        length: 6.5e-3,
        step: 0.1e-6,
        supply: Supply::Rests(1e-3, 2e-3),
        limit: 2.0,
        courses: &["i(Vout)", "v(rail)", "v(rest)"],
        ..SHORT
    },
    Case {
        name: "capacitor bank",
        length: 4e-3,
        part: Part::Bank,
        courses: &["i(Vout)", "v(node)", "v(rail)", "v(bank)"],
        ..SHORT
    },
    Case {
        name: "rectifier and constant-current load",
        length: 1e-3,
        step: 20e-9,
        part: Part::Load(2.0),
        courses: &["i(Vout)", "v(node)", "v(rail)", "v(lin)"],
        ..SHORT
    },
    Case {
        name: "turned off under current",
        alternating: false,
        length: 1e-3,
        step: 20e-9,
        part: Part::Disabled(200e-6),
        courses: OUTPUT,
        ..SHORT
    },
    Case {
        name: "one half-bridge after the other",
        length: 0.6e-3,
        step: 10e-9,
        part: Part::FarShort,
        dead_time: 4e-6,
        late: 8e-6,
        courses: OUTPUT,
        ..SHORT
    },
    Case {
        name: "one gap over a common negative",
        length: 0.5e-3,
        step: 10e-9,
        limit: 50.0,
        part: Part::OneGap,
        dead_time: 4e-6,
        courses: &["i(Vout)", "i(Vgap)", "v(rail)", "v(sense)"],
        ..SHORT
    },
    Case {
        name: "dead time into a resistor",
        length: 0.5e-3,
        step: 10e-9,
        part: Part::Resistor,
        courses: OUTPUT,
        ..SHORT
    },
];

#[test]
#[allow(clippy::print_stdout)] // The figures are wanted beside the verdict.
fn a_hard_short_agrees_with_ngspice() {
    for case in &CASES {
        let Some(theirs) = simulate(case) else {
            crate::tools::absent("ngspice is not installed");
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
    let (board, fixture) = parameters(case);
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
        .line_edge(LogicLine::Fault, true, start)
        .map_or(f64::INFINITY, |edge| (edge - start).seconds().si());
    Outcome { currents, trip }
}

/// A circuit at rest, held positive, whose signal starts now.
fn started(board: &BoardParameters, fixture: &FixtureParameters, case: &Case) -> Circuit {
    let mut circuit = Circuit::new(board, fixture).expect("sound parameters");
    circuit.apply(Action::SupplySetting {
        voltage: Volts::new(VOLTAGE),
        current_limit: Amperes::new(case.limit),
    });
    circuit.apply(Action::SupplyOutput(true));
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Positive)));
    circuit.advance_to(BenchInstant::from_picoseconds(1_000_000_000_000));
    if case.alternating {
        circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
    }
    circuit
}

/// How far a course may be off, of its full scale, outside the edges.
const COURSE_TOLERANCE: f64 = 0.01;
/// Around an edge of the bridge or a closing, in seconds.
const BEFORE_EDGE: f64 = 0.1e-6;
const AFTER_EDGE: f64 = 1.0e-6;
const SAMPLES: usize = 4_000;
/// How far an instant may be off, in seconds.
const EVENT_TOLERANCE: f64 = 1e-6;

#[test]
#[allow(clippy::print_stdout)] // The figures are wanted beside the verdict.
fn each_part_of_the_circuit_takes_the_course_that_ngspice_gives_it() {
    for case in &COURSES {
        let Some(theirs) = courses(case) else {
            crate::tools::absent("ngspice is not installed");
            return;
        };
        let ours = followed(case);
        for (index, name) in case.courses.iter().enumerate() {
            let full = ours[index]
                .iter()
                .fold(0.0_f64, |most, v| most.max(v.abs()));
            let mut worst = (0.0_f64, 0.0_f64);
            for (sample, value) in ours[index].iter().enumerate() {
                let instant = instant_of(case, sample);
                if near_an_edge(case, instant) {
                    continue;
                }
                let expected = theirs.at(instant, index);
                let mut off = (value - expected).abs();
                if matches!(case.supply, Supply::Rests(..)) {
                    // When it rests and tries again is an event of its own,
                    // which may come a microsecond earlier or later.
                    for shift in [-1e-6, 1e-6] {
                        off = off.min((value - theirs.at(instant + shift, index)).abs());
                    }
                }
                if off > worst.0 {
                    worst = (off, instant);
                }
            }
            let share = worst.0 / full;
            println!(
                "{} {name}: {:.3} % of {full:.3} at most, at {:.1} us",
                case.name,
                share * 100.0,
                worst.1 * 1e6
            );
            assert!(share < COURSE_TOLERANCE, "{} {name}", case.name);
        }
        if case.late > 0.0 {
            crosses_zero_alike(case, &ours[0], &theirs);
        }
    }
}

/// The output current turns at the same instants.
#[allow(clippy::print_stdout)] // The figures are wanted beside the verdict.
fn crosses_zero_alike(case: &Case, ours: &[f64], theirs: &Courses) {
    let theirs: Vec<f64> = (0..SAMPLES)
        .map(|sample| theirs.at(instant_of(case, sample), 0))
        .collect();
    let crossings = |values: &[f64]| -> Vec<f64> {
        let pairs = values.windows(2).enumerate();
        pairs
            .filter(|(_, pair)| (pair[0] < 0.0) != (pair[1] < 0.0))
            .map(|(at, pair)| {
                let share = pair[0] / (pair[0] - pair[1]);
                instant_of(case, at) + share * case.length / SAMPLES as f64
            })
            .collect()
    };
    let (ours, theirs) = (crossings(ours), crossings(&theirs));
    assert!(
        ours.len() >= 8 && ours.len() == theirs.len(),
        "{ours:?} {theirs:?}"
    );
    let worst = ours.iter().zip(&theirs).map(|(a, b)| (a - b).abs());
    let worst = worst.fold(0.0, f64::max);
    println!("{}: turns within {:.3} us", case.name, worst * 1e6);
    assert!(worst < EVENT_TOLERANCE, "{} turns {worst}", case.name);
}

fn instant_of(case: &Case, sample: usize) -> f64 {
    case.length * (sample as f64 + 0.5) / SAMPLES as f64
}

/// Before the closing the load's relay is open, and its voltmeter sees the
/// node: every comparison begins with the closing.
fn near_an_edge(case: &Case, instant: f64) -> bool {
    if instant < CLOSE {
        return true;
    }
    let near = |edge: f64| instant > edge - BEFORE_EDGE && instant < edge + AFTER_EDGE;
    let mut edges = vec![CLOSE];
    if let Part::Disabled(after) = case.part {
        edges.push(CLOSE + after);
    }
    if case.part == Part::OneGap {
        // The upstream source's own edges.
        edges.push(libm::round(instant / HALF_BIT) * HALF_BIT);
    }
    let (board, _) = parameters(case);
    for half in [0, 1] {
        for off in netlist::edges(case, &board, half) {
            edges.extend([off, off + case.dead_time]);
        }
    }
    edges.into_iter().any(near)
}

/// The model bench's own course of each quantity, sampled.
fn followed(case: &Case) -> Vec<Vec<f64>> {
    let (board, mut fixture) = parameters(case);
    match case.supply {
        Supply::Holds => {}
        Supply::Folds(least) => {
            fixture.supply.kind = SupplyKind::Foldback;
            fixture.supply.foldback_current = Amperes::new(least);
        }
        Supply::Rests(on, off) => {
            fixture.supply.kind = SupplyKind::Hiccup;
            fixture.supply.hiccup_on = Seconds::new(on);
            fixture.supply.hiccup_off = Seconds::new(off);
        }
    }
    let mut circuit = started(&board, &fixture, case);
    let start = circuit.now();
    circuit.keep_history(BenchSpan::from_seconds(Seconds::new(1.0)));
    let at = |seconds: f64| start + BenchSpan::from_seconds(Seconds::new(seconds));
    circuit.advance_to(at(CLOSE));
    circuit.apply(match case.part {
        Part::NearShort | Part::Disabled(_) => Action::Close(SwitchBranch::Near),
        Part::FarShort => Action::Close(SwitchBranch::Far),
        Part::Bank => Action::Close(SwitchBranch::Bank),
        Part::Resistor => Action::Close(SwitchBranch::Resistor),
        Part::Load(amperes) => Action::Load(LoadMode::Current(Amperes::new(amperes))),
        Part::OneGap => Action::Close(SwitchBranch::GapCrossed),
    });
    if let Part::Disabled(after) = case.part {
        circuit.advance_to(at(CLOSE + after));
        circuit.apply(Action::Enable(false));
    }
    circuit.advance_to(at(case.length));
    let course = |name: &&str| {
        let probe = match *name {
            "i(Vout)" => Probe::OutputCurrent,
            "i(Vgap)" => Probe::GapCurrent,
            "v(node)" => Probe::NodeVoltage,
            "v(sense)" => Probe::SenseVoltage,
            "v(rail)" => Probe::BoardRail,
            "v(bank)" => Probe::BankVoltage,
            "v(lin)" => Probe::LoadVoltage,
            // It rests: nothing flows out of it while it should limit.
            "v(rest)" => Probe::SupplyCurrent,
            other => unreachable!("{other}"),
        };
        let first = at(instant_of(case, 0));
        let period = BenchSpan::from_seconds(Seconds::new(case.length / SAMPLES as f64));
        let sampled = circuit.sample(probe, first, period, SAMPLES).expect("kept");
        if *name == "v(rest)" {
            let resting = |current: &f64| f64::from(u8::from(*current == 0.0));
            return sampled.iter().map(resting).collect();
        }
        sampled
    };
    case.courses.iter().map(course).collect()
}

/// What the simulator wrote: instants, and the quantities at each.
struct Courses(Vec<Vec<f64>>);

impl Courses {
    /// The quantity `index` at `instant`, in a line between its two points.
    fn at(&self, instant: f64, index: usize) -> f64 {
        let rows = &self.0;
        let after = rows.partition_point(|row| row[0] < instant);
        let (before, after) = (after.saturating_sub(1), after.min(rows.len() - 1));
        let (a, b) = (&rows[before], &rows[after]);
        let span = b[0] - a[0];
        let share = if span > 0.0 {
            ((instant - a[0]) / span).clamp(0.0, 1.0)
        } else {
            0.0
        };
        a[index + 1] + share * (b[index + 1] - a[index + 1])
    }
}

fn courses(case: &Case) -> Option<Courses> {
    let folder = tempfile::tempdir().expect("a folder for the netlist");
    std::fs::write(folder.path().join("part.cir"), netlist(case)).expect("it can be written");
    let output = Command::new("ngspice")
        .args(["-b", "part.cir"])
        .current_dir(folder.path())
        .output()
        .ok()?;
    let text = std::fs::read_to_string(folder.path().join("courses.txt"));
    let text = text.unwrap_or_else(|_| {
        let said = String::from_utf8_lossy(&output.stdout);
        let complained = String::from_utf8_lossy(&output.stderr);
        panic!(
            "{}: ngspice wrote nothing:\n{said}\n{complained}",
            case.name
        )
    });
    let rows: Vec<Vec<f64>> = text
        .lines()
        .map(|line| {
            line.split_whitespace()
                .filter_map(|n| n.parse().ok())
                .collect()
        })
        .filter(|row: &Vec<f64>| row.len() == case.courses.len() + 1)
        .collect();
    let reached = rows.last().map_or(0.0, |row| row[0]);
    assert!(reached >= case.length, "{} ended at {reached}", case.name);
    Some(Courses(rows))
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
