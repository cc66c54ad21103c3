//! What board, contacts and upstream source do in time. Exact numbers are
//! checked beside this file.

use super::*;
use crate::waveform::LogicLine;

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
        .line_edge(LogicLine::NearPilot, false, start + span(1))
        .expect("it bounces");
    assert_eq!(opened - start, span(40 * MICROSECOND));
    let closed = circuit
        .line_edge(LogicLine::NearPilot, true, opened)
        .expect("it comes back");
    assert_eq!(closed - opened, span(25 * MICROSECOND));
    let tripped = circuit
        .line_edge(LogicLine::Fault, true, start)
        .expect("trips");
    let took = (tripped - start).seconds();
    assert!((8e-3..11e-3).contains(&f64::from(took)), "{took}");
    let retried = circuit
        .line_edge(LogicLine::Fault, false, tripped)
        .expect("retries");
    assert_eq!(retried - tripped, span(500 * MILLISECOND));
    // Into the short again, then the contact opens and the next try succeeds.
    let again = circuit
        .line_edge(LogicLine::Fault, true, retried)
        .expect("trips");
    let free = circuit
        .line_edge(LogicLine::Fault, false, again)
        .expect("retries");
    assert_eq!(circuit.line_edge(LogicLine::Fault, true, free), None);
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
    assert!(!circuit.line(LogicLine::NearMarker));
    assert!(circuit.line(LogicLine::NearPilot));
    assert!(circuit.probe(Probe::ShortCurrent).abs() > 1.0);
    circuit.apply(Action::SupplyOutput(false));
    assert!(!circuit.line(LogicLine::NearPilot));
    circuit.advance_to(at(106 * MILLISECOND));
    assert_eq!(circuit.probe(Probe::ShortCurrent), 0.0);

    let blown = FixtureParameters {
        contact_defect: Some(ContactDefect::FuseBlown),
        ..FixtureParameters::default()
    };
    let mut circuit = alternating(&BoardParameters::default(), &blown);
    circuit.apply(pulse);
    circuit.advance_to(at(101 * MILLISECOND));
    assert!(circuit.line(LogicLine::NearMarker));
    assert!(!circuit.line(LogicLine::NearPilot) && !circuit.fuse_is_intact());
    assert_eq!(circuit.probe(Probe::ShortCurrent), 0.0);
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
    assert!(!circuit.line(LogicLine::Fault));
    circuit.apply(Action::OpenAll);
    circuit.advance_to(start + span(100 * MILLISECOND + 20 * MICROSECOND));
    // Driven by the board alone, against the input's phase, and still.
    let phase = if circuit.line(LogicLine::SignalA) {
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
    let tripped = circuit
        .line_edge(LogicLine::Fault, true, short)
        .expect("trips");
    let took = f64::from((tripped - short).seconds());
    assert!((8e-3..13e-3).contains(&took), "{took}");
    // Straight and equal, the upstream source takes next to nothing.
    let mut circuit = alternating(&BoardParameters::default(), &FixtureParameters::default());
    circuit.apply(Action::Close(SwitchBranch::GapStraight));
    circuit.advance_to(start + span(50 * MILLISECOND));
    assert!(!circuit.line(LogicLine::Fault));
    // Crossed without reversing logic, somebody trips: here the board.
    circuit.apply(Action::OpenAll);
    circuit.apply(Action::Close(SwitchBranch::GapCrossed));
    circuit.advance_to(start + span(150 * MILLISECOND));
    assert!(circuit.line(LogicLine::Fault));
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
        .line_edge(
            LogicLine::SignalA,
            true,
            stopped + span(10 * MILLISECOND + 1),
        )
        .expect("kept");
    let crossed = circuit
        .crossing(Probe::NodeVoltage, 0.0, true, edge)
        .expect("kept");
    let delay = f64::from((crossed - edge).seconds());
    assert!((1.3e-6..1.5e-6).contains(&delay), "{delay}");
}

/// What the output does, as the sign of the node's voltage, at every
/// microsecond from `start` on.
fn signs(circuit: &mut Circuit, length: i64) -> Vec<i32> {
    let mut signs = Vec::new();
    for _ in 0..length {
        circuit.advance_to(circuit.now() + BenchSpan::from_microseconds(1));
        let volts = circuit.probe(Probe::NodeVoltage);
        signs.push(if volts > 5.0 {
            1
        } else if volts < -5.0 {
            -1
        } else {
            0
        });
    }
    signs
}

fn cutouts() -> Pattern {
    let half = |polarity| Stretch {
        span: BenchSpan::from_microseconds(58),
        phase: Phase::Half(polarity),
    };
    let cutout = Stretch {
        span: BenchSpan::from_microseconds(454),
        phase: Phase::Cutout,
    };
    let (plus, minus) = (half(Polarity::Positive), half(Polarity::Negative));
    Pattern::new(vec![plus, minus, plus, minus, cutout]).expect("a sound pattern")
}

fn powered(board: &BoardParameters) -> Circuit {
    let mut circuit = Circuit::new(board, &FixtureParameters::default()).expect("a sound circuit");
    circuit.apply(Action::SupplySetting {
        voltage: Volts::new(18.0),
        current_limit: Amperes::new(10.0),
    });
    circuit.apply(Action::SupplyOutput(true));
    circuit
}

/// A board with a driver a line passes the cutout on, 454 us of 686 (RCN-217:
/// 26 to 32 us after the end bit, 454 to 488 us long); one with a single line
/// shows the low line as its negative half.
#[test]
fn only_a_board_of_two_lines_passes_a_cutout() {
    for two_lines in [true, false] {
        let mut circuit = powered(&BoardParameters {
            two_lines,
            ..BoardParameters::default()
        });
        circuit.apply(Action::Drive(DriveSignal::Alternating(cutouts())));
        circuit.advance_to(BenchInstant::from_picoseconds(68_600 * 1_000_000));
        let seen = signs(&mut circuit, 686);
        let count = |wanted| seen.iter().filter(|sign| **sign == wanted).count();
        assert!(count(1).abs_diff(116) <= 2, "{}", count(1));
        let (still, negative) = (count(0), count(-1));
        if two_lines {
            assert!(still.abs_diff(454) <= 4, "{still}");
            assert!(negative.abs_diff(116) <= 4, "{negative}");
        } else {
            assert!(still <= 4, "{still}");
            assert!(negative.abs_diff(570) <= 4, "{negative}");
        }
    }
}

/// Each line has its own drivers: one that is 2 us late at one edge leaves both
/// half-bridges on one side for that long, once a period.
#[test]
fn a_late_edge_of_one_line_shorts_the_rails_meanwhile() {
    let late = |microseconds: f64| {
        let mut circuit = powered(&BoardParameters {
            two_lines: true,
            delay_rising: Seconds::new(1.1e-6 + microseconds * 1e-6),
            delay_rising_b: Seconds::new(1.1e-6),
            ..BoardParameters::default()
        });
        circuit.keep_history(BenchSpan::from_microseconds(200));
        circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
        circuit.advance_to(BenchInstant::from_picoseconds(10_000_000_000));
        let start = circuit.now() + BenchSpan::from_microseconds(-116);
        let period = BenchSpan::from_picoseconds(100_000);
        let values = circuit
            .sample(Probe::NodeVoltage, start, period, 1160)
            .expect("it was kept");
        values.iter().filter(|volts| volts.abs() < 5.0).count() as f64 * 0.1
    };
    let more = late(2.0) - late(0.0);
    assert!((more - 2.0).abs() < 0.3, "{more} us");
}

/// A line that breaks leaves a direct voltage on the rails until the board
/// finds that its signal is lost.
#[test]
fn a_broken_line_is_found_after_the_stated_time() {
    let mut circuit = powered(&BoardParameters {
        two_lines: true,
        ..BoardParameters::default()
    });
    circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
    circuit.advance_to(BenchInstant::from_picoseconds(20_000_000_000));
    circuit.apply(Action::Break(Some(InputLine::A)));
    let seen = signs(&mut circuit, 3_000);
    let after = &seen[100..1_900];
    assert!(after.iter().all(|sign| *sign <= 0));
    assert!(after.contains(&-1), "line B still drives its half-bridge");
    assert!(seen[2_100..].iter().all(|sign| *sign == 0));
    circuit.apply(Action::Break(None));
    let seen = signs(&mut circuit, 1_000);
    assert!(seen[200..].contains(&1) && seen[200..].contains(&-1));
}

/// What a board does without a signal is its own: nothing, the last polarity,
/// or ones of its own making, which its input lines do not show.
#[test]
fn without_a_signal_a_board_does_what_it_is_made_for() {
    for loss in [
        OnSignalLoss::Off,
        OnSignalLoss::Hold,
        OnSignalLoss::OwnSignal,
    ] {
        let mut circuit = powered(&BoardParameters {
            two_lines: true,
            on_signal_loss: loss,
            ..BoardParameters::default()
        });
        circuit.apply(Action::Drive(DriveSignal::Alternating(Pattern::ones())));
        circuit.advance_to(BenchInstant::from_picoseconds(20_000_000_000));
        circuit.apply(Action::Drive(DriveSignal::Stopped));
        circuit.advance_to(circuit.now() + BenchSpan::from_microseconds(5_000));
        let line = circuit.line(LogicLine::SignalA);
        let seen = signs(&mut circuit, 1_160);
        assert_eq!(
            circuit.line(LogicLine::SignalA),
            line,
            "the source is stopped"
        );
        let count = |wanted| seen.iter().filter(|sign| **sign == wanted).count();
        match loss {
            OnSignalLoss::Off => assert_eq!(count(0), 1_160),
            OnSignalLoss::Hold => assert_eq!(count(1).max(count(-1)), 1_160),
            OnSignalLoss::OwnSignal => {
                assert!(count(1).abs_diff(580) <= 20 && count(-1).abs_diff(580) <= 20);
            }
        }
    }
}
