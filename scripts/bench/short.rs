//! 100 ms of a hard short, computed by the model bench and by ngspice at a 1 us
//! step on the same netlist, in turn. The whole ngspice process is timed, and
//! beside it the same process on a netlist of one step, so that its start-up
//! can be taken off.

#[path = "../ngspice/netlist.rs"]
#[allow(dead_code)] // The other parts are the tests'.
mod netlist;

use super::median;
use bufferstop::clock::{BenchInstant, BenchSpan, PICOSECONDS};
use bufferstop::physics::{Action, Circuit, DriveSignal, Pattern, Probe, SwitchBranch};
use bufferstop::units::{Amperes, Seconds, Volts};
use netlist::{CURRENT_LIMIT, Case, SHORT, VOLTAGE, netlist, parameters};
use std::process::{Command, Stdio};
use std::time::Instant;

const LENGTH: f64 = 0.1;

pub(crate) fn run() {
    let mut ours = Vec::new();
    let mut theirs = Vec::new();
    let mut start_up = Vec::new();
    for _ in 0..3 {
        ours.push(circuit());
        let (Some(whole), Some(empty)) = (simulator(LENGTH), simulator(2e-6)) else {
            println!(
                "ngspice is not installed; the circuit alone: {:.3} ms",
                median(ours) * 1e3
            );
            return;
        };
        theirs.push(whole);
        start_up.push(empty);
    }
    let ratios = ours
        .iter()
        .zip(&theirs)
        .zip(&start_up)
        .map(|((ours, whole), empty)| (whole - empty) / ours)
        .collect();
    println!("100 ms of an alternating hard short that never trips");
    println!("model bench {:.3} ms", median(ours.clone()) * 1e3);
    println!(
        "ngspice at 1 us {:.0} ms, of which start-up {:.0} ms",
        median(theirs) * 1e3,
        median(start_up) * 1e3
    );
    println!(
        "ratio without start-up, median of 3 pairs: {:.0}",
        median(ratios)
    );
}

/// Seconds for the short on a fresh circuit, its caches empty.
fn circuit() -> f64 {
    let (board, fixture) = parameters(&SHORT);
    let begun = Instant::now();
    let mut circuit = Circuit::new(&board, &fixture).expect("sound parameters");
    circuit.apply(Action::SupplySetting {
        voltage: Volts::new(VOLTAGE),
        current_limit: Amperes::new(CURRENT_LIMIT),
    });
    circuit.apply(Action::SupplyOutput(true));
    circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
    circuit.apply(Action::Enable(true));
    circuit.advance_to(BenchInstant::from_picoseconds(PICOSECONDS / 100));
    circuit.apply(Action::Close(SwitchBranch::Near));
    circuit.advance_to(circuit.now() + BenchSpan::from_seconds(Seconds::new(LENGTH)));
    // Used, so that nothing of it may be left out.
    assert!(circuit.probe(Probe::OutputCurrent).is_finite());
    begun.elapsed().as_secs_f64()
}

/// Seconds for ngspice on `length` seconds of it; `None` where it is missing.
fn simulator(length: f64) -> Option<f64> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("short.cir");
    let case = Case {
        name: "figures",
        alternating: true,
        length,
        step: 1e-6,
        ..SHORT
    };
    std::fs::write(&file, netlist(&case)).expect("a netlist");
    let begun = Instant::now();
    let done = Command::new("ngspice")
        .arg("-b")
        .arg(&file)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .ok()?;
    // A run too short for the trip that it is asked to measure says so by its
    // status; the long one has no such excuse.
    assert!(
        done.success() || length < LENGTH,
        "ngspice refuses its netlist"
    );
    Some(begun.elapsed().as_secs_f64())
}
