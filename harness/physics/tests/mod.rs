//! The circuit against closed forms, a general-purpose matrix library and its
//! own invariants. Instruments and noise are tested where they live.

use super::*;
use crate::clock::{BenchInstant, BenchSpan};
use crate::model_board::{
    BoardParameters, Branch, ContactDefect, FixtureParameters, OnSignalLoss, Reversing, SenseLeg,
};
use crate::units::{Amperes, Farads, Henries, Kelvins, Ohms, Seconds, Volts};

mod behaviour;
mod closed_forms;
mod halves;
mod invariants;
mod one_gap;
mod parts;

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
        // No load: its rectifier never conducts.
        rectifier_drop: Volts::new(1e9),
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

fn alternating(board: &BoardParameters, fixture: &FixtureParameters) -> Circuit {
    let mut circuit = energised(board, fixture, 18.0, 8.0);
    circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
    circuit.advance_to(at(100 * MILLISECOND));
    circuit.keep_history(span(4 * SECOND));
    circuit
}
