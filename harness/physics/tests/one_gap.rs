//! One gap bridged to an upstream source on the board's negative, against
//! closed forms: V / (Rhigh + Rlow + Rgap), and who carries what of it.

use super::*;
use crate::model_board::GapReturn;
use crate::physics::bridge::{BodyDiodes, Half};
use crate::waveform::LogicLine;

const UPSTREAM: f64 = 17.0;
const GAP: f64 = 0.400;
const SWITCH: f64 = 0.045;
const BLEEDER: f64 = 1_000.0;
const QUIESCENT: f64 = 0.040;
/// A switch and half of output and leads.
const PATH: f64 = SWITCH + 0.5 * (0.020 + 0.020);

fn fixture() -> FixtureParameters {
    let mut fixture = FixtureParameters::default();
    fixture.upstream.returns = GapReturn::CommonNegative;
    fixture.upstream.trip_current = Amperes::new(1e6);
    fixture
}

fn board(leg: SenseLeg) -> BoardParameters {
    BoardParameters {
        sense_leg: leg,
        trip_current: Amperes::new(1e6),
        thermal_rise_per_watt: Kelvins::ZERO,
        junction_rise_per_watt: Kelvins::new(1e-9),
        switch_temperature_coefficient: crate::units::Ratio::new(0.0),
        under_voltage: Volts::ZERO,
        ..BoardParameters::default()
    }
}

fn held(board: &BoardParameters, polarity: Polarity, gap: SwitchBranch) -> Circuit {
    let mut circuit = energised(board, &fixture(), 18.0, 1e3);
    circuit.apply(Action::Drive(DriveSignal::Held(polarity)));
    circuit.advance_to(at(100 * MILLISECOND));
    circuit.apply(Action::Close(gap));
    circuit.advance_to(at(200 * MILLISECOND));
    circuit
}

/// The end of line A's wire stands between three sources behind resistances
/// (Millman's theorem, textbook): its half-bridge, the upstream source behind
/// the gap, and line B's half-bridge behind bleeder and wire.
fn expected(first: f64, upstream: f64, second: f64) -> (f64, f64) {
    let conductances = [1.0 / PATH, 1.0 / GAP, 1.0 / (BLEEDER + PATH)];
    let driven = [first, upstream, second];
    let whole: f64 = conductances.iter().sum();
    let sum: f64 = conductances.iter().zip(driven).map(|(g, v)| g * v).sum();
    let end = sum / whole;
    (
        (end - upstream) * conductances[1],
        (end - second) * conductances[2],
    )
}

#[test]
fn what_flows_is_the_voltage_over_the_two_half_bridges_and_the_gap() {
    for leg in [SenseLeg::Both, SenseLeg::One] {
        for polarity in [Polarity::Positive, Polarity::Negative] {
            let mut circuit = held(&board(leg), polarity, SwitchBranch::GapCrossed);
            let rail = circuit.probe(Probe::BoardRail);
            let up = polarity == Polarity::Positive;
            let (gap, node) = if up {
                expected(rail, 0.0, 0.0)
            } else {
                expected(0.0, UPSTREAM, rail)
            };
            close(circuit.probe(Probe::GapCurrent), gap, 1e-6);
            close(circuit.probe(Probe::OutputCurrent), gap + node, 1e-6);
            close(circuit.probe(Probe::NodeVoltage), node * BLEEDER, 1e-6);
            // V / (Rhigh + Rlow + Rgap) but for the node's 18 mA.
            let plain = if up { rail } else { -UPSTREAM } / (PATH + GAP);
            close(gap, plain, 1e-3);
            // The rail feeds the gap while line A's half-bridge is high, else
            // the node alone; the legs see what comes back by them.
            let supply = circuit.probe(Probe::SupplyCurrent);
            let (fed, sensed) = match (up, leg) {
                (true, _) => (gap + node, node),
                (false, SenseLeg::Both) => (-node, -(gap + node)),
                (false, SenseLeg::One) => (-node, 0.0),
            };
            close(supply, QUIESCENT + fed, 1e-6);
            close(rail, 18.0 - 0.050 * supply, 1e-9);
            let shown = circuit.probe(Probe::SenseVoltage);
            assert!((shown - 0.25 * sensed).abs() < 1e-6, "{leg:?} {shown}");
            // Both wires' ends are held, and a switch a wire is heated.
            let (start, before) = (circuit.now(), heat(&circuit));
            circuit.advance_to(start + span(MILLISECOND));
            let squares = (gap + node) * (gap + node) + node * node;
            close(heat(&circuit) - before, squares * 1e-3, 1e-6);
        }
    }
}

fn heat(circuit: &Circuit) -> f64 {
    circuit.thermal.current_squared + circuit.current_squared_until(circuit.now, &circuit.view)
}

#[test]
fn a_straight_bridge_in_phase_carries_the_difference_while_both_are_high() {
    for (polarity, difference) in [(Polarity::Positive, 1.0), (Polarity::Negative, 0.0)] {
        let circuit = held(&board(SenseLeg::Both), polarity, SwitchBranch::GapStraight);
        let rail = circuit.probe(Probe::BoardRail);
        let gap = circuit.probe(Probe::GapCurrent);
        let expected = difference * (rail - UPSTREAM) / (PATH + GAP);
        // The node's 18 mA drop a little in line A's switch.
        assert!((gap - expected).abs() < 5e-3, "{gap} {expected}");
    }
}

#[test]
fn the_current_rises_with_half_of_the_outputs_inductance() {
    // i = V/R (1 - exp(-tR/L)), textbook, the node hardly taking part: 1 uH of
    // output and 2 uH of leads, 4 uH of the gap, the supply behind nothing.
    let (mut board, mut fixture) = plain(1.0, 1e-6);
    board.switch_resistance = Ohms::new(SWITCH);
    board.switch_temperature_coefficient = crate::units::Ratio::new(0.0);
    board.output_resistance = Ohms::new(0.020);
    board.output_inductance = Henries::new(1e-6);
    fixture.lead_resistance = Ohms::new(0.020);
    fixture.lead_inductance = Henries::new(2e-6);
    fixture.upstream.returns = GapReturn::CommonNegative;
    fixture.upstream.trip_current = Amperes::new(1e6);
    let mut circuit = energised(&board, &fixture, 18.0, 1e12);
    circuit.advance_to(at(SECOND));
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Positive)));
    circuit.advance_to(at(2 * SECOND));
    circuit.apply(Action::Close(SwitchBranch::GapCrossed));
    let (resistance, inductance) = (PATH + GAP, 0.5 * 3e-6 + 4e-6);
    for microseconds in [1, 5, 12, 40] {
        circuit.advance_to(at(2 * SECOND + microseconds * MICROSECOND));
        let time = microseconds as f64 * 1e-6;
        let risen = -libm::expm1(-time * resistance / inductance);
        let expected = 18.0 / resistance * risen;
        close(circuit.probe(Probe::GapCurrent), expected, 1e-5);
        close(circuit.probe(Probe::OutputCurrent), expected, 1e-5);
    }
    // Switched off: line A's lower diode takes the current over, against the
    // diode and nothing else, since the upstream wire is low; line B's idles.
    let start = circuit.probe(Probe::GapCurrent);
    circuit.apply(Action::Enable(false));
    let off = circuit.now();
    let resistance = GAP + 0.020 + 0.020;
    for microseconds in [2, 10, 20] {
        circuit.advance_to(off + span(microseconds * MICROSECOND));
        assert_eq!(
            circuit.mode.key.bridge.0,
            [Half::Off(BodyDiodes::Lower), Half::IDLE]
        );
        let left = libm::exp(-(microseconds as f64) * 1e-6 * resistance / inductance);
        let expected = (start + 0.75 / resistance) * left - 0.75 / resistance;
        close(circuit.probe(Probe::GapCurrent), expected, 1e-4);
    }
    circuit.advance_to(off + span(MILLISECOND));
    assert_eq!(circuit.probe(Probe::GapCurrent), 0.0);
    assert_eq!(circuit.mode.key.bridge.0, [Half::IDLE, Half::IDLE]);
}

#[test]
fn an_idle_board_is_fed_backwards_through_its_upper_diode() {
    // The board's supply is off: the upstream source charges the board's bulk
    // through gap, wire and one diode up to its voltage less the drop.
    let mut circuit = energised(&board(SenseLeg::Both), &fixture(), 18.0, 10.0);
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Positive)));
    circuit.apply(Action::Enable(false));
    circuit.advance_to(at(100 * MILLISECOND));
    circuit.apply(Action::SupplyOutput(false));
    circuit.advance_to(at(20 * SECOND));
    let empty = circuit.probe(Probe::BoardRail);
    assert!(empty < 1.0, "{empty}");
    circuit.apply(Action::Close(SwitchBranch::GapStraight));
    circuit.advance_to(at(20 * SECOND + 100 * MILLISECOND));
    let rail = circuit.probe(Probe::BoardRail);
    let gap = circuit.probe(Probe::GapCurrent);
    close(-gap, QUIESCENT, 1e-6);
    close(
        rail,
        UPSTREAM - 0.75 - QUIESCENT * (GAP + 0.020 + 0.020),
        1e-6,
    );
    assert_eq!(circuit.probe(Probe::SupplyCurrent), 0.0);
}

#[test]
fn without_a_way_back_nothing_flows() {
    let mut fixture = fixture();
    fixture.upstream.returns = GapReturn::Nowhere;
    let mut circuit = alternating(&board(SenseLeg::Both), &fixture);
    circuit.apply(Action::Close(SwitchBranch::GapCrossed));
    circuit.advance_to(at(110 * MILLISECOND));
    assert!(circuit.line(LogicLine::GapMarker));
    let most = circuit
        .mean_magnitude(
            Probe::GapCurrent,
            at(100 * MILLISECOND),
            at(110 * MILLISECOND),
        )
        .expect("kept");
    assert_eq!(most, 0.0);
}

/// Of an alternating mismatch the legs see every other half-bit: a filter that
/// is slower than those shows half of it, less what it forgets meanwhile, and
/// the board reverses; then nothing flows but the difference.
#[test]
fn a_board_with_a_slow_filter_reverses_at_a_common_negative() {
    let reversing = Some(Reversing {
        current: Amperes::new(6.0),
        debounce: Seconds::new(2e-3),
        hold_off: Seconds::new(5e-3),
    });
    for (filter, reverses) in [(1e-3, true), (20e-6, false)] {
        let board = BoardParameters {
            reversing,
            sense_filter: Seconds::new(filter),
            trip_current: Amperes::new(8.0),
            ..board(SenseLeg::Both)
        };
        let mut circuit = alternating(&board, &fixture());
        let closed = circuit.now();
        circuit.apply(Action::Close(SwitchBranch::GapCrossed));
        circuit.advance_to(closed + span(30 * MILLISECOND));
        assert!(!circuit.line(LogicLine::Fault));
        let (from, to) = (closed + span(20 * MILLISECOND), circuit.now());
        let flows = circuit
            .mean_magnitude(Probe::GapCurrent, from, to)
            .expect("kept");
        if reverses {
            // 18 V less the supply's drop against 17 V, in every other half.
            assert!(flows < 1.5, "{flows}");
        } else {
            assert!(flows > 15.0, "{flows}");
        }
        circuit.apply(Action::OpenAll);
        circuit.advance_to(circuit.now() + span(20 * MILLISECOND + 20 * MICROSECOND));
        let phase = if circuit.line(LogicLine::SignalA) {
            1.0
        } else {
            -1.0
        };
        let node = circuit.probe(Probe::NodeVoltage) * phase;
        assert_eq!(node < -17.0, reverses, "{node}");
    }
}
