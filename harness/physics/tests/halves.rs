//! One half-bridge in its dead time while the other conducts, against closed
//! forms, and edges of both at once. The signal's figures are judged where they
//! are evaluated.

use super::*;
use crate::physics::bridge::{BodyDiodes, Bridge, Half};
use crate::waveform::LogicLine;

/// Loop, diode and supply of the closed forms below.
const RESISTANCE: f64 = 0.5;
const INDUCTANCE: f64 = 100e-6;
const SWITCH: f64 = 0.04;
const DROP: f64 = 0.8;
const SLOPE: f64 = 0.03;
const RAIL: f64 = 18.0;
const BULK: f64 = 1.0;
const SUPPLY: f64 = 1e-3;
/// Dead time and what the sensor gives per ampere.
const DEAD: i64 = 20 * MICROSECOND;
const GAIN: f64 = 0.1;

/// A board of two lines, held in a polarity, with a short of resistance and
/// inductance; `late` is the edge that comes 60 us after the other ones.
fn shorted(
    leg: SenseLeg,
    late: fn(&mut BoardParameters) -> &mut Seconds,
    polarity: Polarity,
) -> Circuit {
    let (mut board, mut fixture) = plain(RESISTANCE, INDUCTANCE);
    board.bulk_capacitance = Farads::new(BULK);
    board.switch_resistance = Ohms::new(SWITCH);
    board.switch_temperature_coefficient = crate::units::Ratio::new(0.0);
    board.diode_drop = Volts::new(DROP);
    board.diode_resistance = Ohms::new(SLOPE);
    board.dead_time = Seconds::new(20e-6);
    board.two_lines = true;
    board.sense_leg = leg;
    board.sense_gain = Ohms::new(GAIN);
    board.sense_filter = Seconds::new(1e-9);
    for delay in [
        &mut board.delay_rising,
        &mut board.delay_falling,
        &mut board.delay_rising_b,
        &mut board.delay_falling_b,
    ] {
        *delay = Seconds::new(1e-6);
    }
    *late(&mut board) = Seconds::new(61e-6);
    fixture.supply_resistance = Ohms::new(SUPPLY);
    let mut circuit = energised(&board, &fixture, RAIL, 1e12);
    circuit.advance_to(at(SECOND));
    circuit.apply(Action::Drive(DriveSignal::Held(polarity)));
    circuit.advance_to(circuit.now() + span(MILLISECOND));
    circuit.apply(Action::Close(SwitchBranch::Near));
    circuit
}

/// The same, when the short has carried all that it takes for a while.
fn carrying(
    leg: SenseLeg,
    late: fn(&mut BoardParameters) -> &mut Seconds,
    polarity: Polarity,
) -> Circuit {
    let mut circuit = shorted(leg, late, polarity);
    circuit.advance_to(circuit.now() + span(10 * MILLISECOND));
    let current = circuit.probe(Probe::OutputCurrent) * polarity.sign();
    close(current, RAIL / (RESISTANCE + 2.0 * SWITCH + SUPPLY), 1e-5);
    circuit.apply(Action::SupplyOutput(false));
    circuit
}

fn half_bridges(circuit: &Circuit) -> [Half; 2] {
    circuit.mode.key.bridge.0
}

/// A loop of `inductance` and `resistance` against `volts`: its current,
/// i = (I + V/R) exp(-tR/L) - V/R, the charge and the integral of the square
/// until `time` (textbook).
struct Decay {
    start: f64,
    volts: f64,
    resistance: f64,
}

impl Decay {
    fn rate(&self) -> f64 {
        self.resistance / INDUCTANCE
    }

    fn current(&self, time: f64) -> f64 {
        let offset = self.volts / self.resistance;
        (self.start + offset) * libm::exp(-time * self.rate()) - offset
    }

    fn ends_after(&self) -> f64 {
        libm::log1p(self.start * self.resistance / self.volts) / self.rate()
    }

    fn charge(&self, time: f64) -> f64 {
        let offset = self.volts / self.resistance;
        let gone = -libm::expm1(-time * self.rate()) / self.rate();
        (self.start + offset) * gone - offset * time
    }

    fn squared(&self, time: f64) -> f64 {
        let offset = self.volts / self.resistance;
        let whole = self.start + offset;
        let gone = |rate: f64| -libm::expm1(-time * rate) / rate;
        whole * whole * gone(2.0 * self.rate()) - 2.0 * whole * offset * gone(self.rate())
            + offset * offset * time
    }
}

fn heat(circuit: &Circuit) -> f64 {
    circuit.thermal.current_squared + circuit.current_squared_until(circuit.now, &circuit.view)
}

/// Follows the dead time of one half-bridge, which `begins` so long from now:
/// the current decays against a diode, and the rail where it flows `into_rail`.
fn follows(circuit: &mut Circuit, begins: i64, sensed: f64, into_rail: f64) {
    let edge = circuit.now() + span(begins);
    circuit.advance_to(edge);
    let start = circuit.probe(Probe::OutputCurrent);
    let rail = circuit.probe(Probe::BoardRail);
    let volts = DROP + into_rail * rail;
    let decay = Decay {
        start: start.abs(),
        volts,
        resistance: RESISTANCE + SLOPE + SWITCH,
    };
    let warmth = heat(circuit);
    let time = 19.9e-6;
    circuit.advance_to(edge + BenchSpan::from_seconds(Seconds::new(time)));
    let current = circuit.probe(Probe::OutputCurrent);
    close(current, decay.current(time) * start.signum(), 1e-4);
    // Of the whole loop the node is what the short drops.
    let slope = (volts + (RESISTANCE + SLOPE + SWITCH) * current.abs()) / INDUCTANCE;
    let node = RESISTANCE * current.abs() - (INDUCTANCE - 1e-9) * slope;
    close(
        circuit.probe(Probe::NodeVoltage) * start.signum(),
        node,
        1e-3,
    );
    // One switch is heated, and what returns to the rail lifts it.
    close(heat(circuit) - warmth, decay.squared(time), 1e-3);
    let lifted = circuit.probe(Probe::BoardRail) - rail;
    let expected = into_rail * decay.charge(time) / BULK;
    assert!((lifted - expected).abs() < 2e-3 * decay.charge(time) / BULK);
    let shows = circuit.probe(Probe::SenseVoltage);
    assert!(
        (shows - GAIN * sensed * current).abs() < 1e-3 * GAIN * current.abs(),
        "{shows}"
    );
}

#[test]
fn a_current_out_of_the_dead_half_comes_through_its_lower_diode() {
    // Line A falls alone: its half-bridge is dead over line B's low one. Both
    // legs together carry nothing then; that of line B sees the current.
    for (leg, sensed) in [(SenseLeg::Both, 0.0), (SenseLeg::One, 1.0)] {
        let mut circuit = carrying(leg, |board| &mut board.delay_rising_b, Polarity::Positive);
        circuit.apply(Action::Break(Some(InputLine::A)));
        follows(&mut circuit, MICROSECOND, sensed, 0.0);
        let lower = Half::Off(BodyDiodes::Lower);
        assert_eq!(half_bridges(&circuit), [lower, Half::Low]);
        // After its dead time the switch takes over from the diode.
        circuit.advance_to(circuit.now() + span(DEAD));
        assert_eq!(half_bridges(&circuit), [Half::Low, Half::Low]);
    }
}

#[test]
fn a_current_into_the_dead_half_goes_up_into_the_other_high_one() {
    // Line B rises 60 us before line A falls: the current circulates above,
    // and no leg carries it.
    for leg in [SenseLeg::Both, SenseLeg::One] {
        let mut circuit = carrying(leg, |board| &mut board.delay_falling, Polarity::Positive);
        circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Negative)));
        follows(&mut circuit, MICROSECOND, 0.0, 0.0);
        let upper = Half::Off(BodyDiodes::Upper);
        assert_eq!(half_bridges(&circuit), [Half::High, upper]);
        circuit.advance_to(circuit.now() + span(DEAD));
        assert_eq!(half_bridges(&circuit), [Half::High, Half::High]);
    }
}

#[test]
fn a_current_into_the_dead_half_over_a_low_one_returns_to_the_rail() {
    // Negative first, both low for 40 us, then line A rises: its half-bridge
    // is dead while the current still flows into it, against the rail. What
    // comes up line B's leg comes up both together.
    for leg in [SenseLeg::Both, SenseLeg::One] {
        let mut circuit = carrying(leg, |board| &mut board.delay_rising, Polarity::Negative);
        circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Positive)));
        follows(&mut circuit, 61 * MICROSECOND, 1.0, 1.0);
        let upper = Half::Off(BodyDiodes::Upper);
        assert_eq!(half_bridges(&circuit), [upper, Half::Low]);
    }
}

#[test]
fn a_current_that_dies_in_the_dead_time_stays_dead() {
    // The same with little current: when it is over the terminal floats until
    // the switch comes on.
    let mut circuit = shorted(
        SenseLeg::Both,
        |board| &mut board.delay_rising,
        Polarity::Negative,
    );
    circuit.advance_to(circuit.now() + span(5 * MICROSECOND));
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Positive)));
    let edge = circuit.now() + span(61 * MICROSECOND);
    circuit.advance_to(edge);
    let decay = Decay {
        start: circuit.probe(Probe::OutputCurrent).abs(),
        volts: RAIL + DROP,
        resistance: RESISTANCE + SLOPE + SWITCH,
    };
    let over = BenchSpan::from_seconds(Seconds::new(decay.ends_after()));
    assert!(
        (1_000_000..5_000_000).contains(&over.picoseconds()),
        "{over:?}"
    );
    circuit.advance_to(edge + over - span(2_000));
    let upper = Half::Off(BodyDiodes::Upper);
    assert_eq!(half_bridges(&circuit), [upper, Half::Low]);
    circuit.advance_to(edge + over + span(2_000));
    assert_eq!(half_bridges(&circuit), [Half::IDLE, Half::Low]);
    assert_eq!(circuit.probe(Probe::OutputCurrent), 0.0);
    circuit.advance_to(edge + span(DEAD));
    assert_eq!(half_bridges(&circuit), [Half::High, Half::Low]);
}

#[test]
fn edges_of_both_halves_at_once_open_the_whole_bridge() {
    // With one line, or two whose drivers are alike, the current returns
    // through two diodes into the rail: V + 2 Vd over L, as ever.
    for two_lines in [false, true] {
        let (mut board, fixture) = plain(RESISTANCE, INDUCTANCE);
        board.dead_time = Seconds::new(20e-6);
        board.diode_drop = Volts::new(DROP);
        board.diode_resistance = Ohms::new(SLOPE);
        board.two_lines = two_lines;
        board.delay_falling = board.delay_rising;
        board.delay_falling_b = board.delay_rising_b;
        let mut circuit = faulted(&board, &fixture, RAIL);
        circuit.advance_to(circuit.now() + span(10 * MILLISECOND));
        circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Negative)));
        let edge = circuit.now() + BenchSpan::from_seconds(board.delay_rising);
        circuit.advance_to(edge);
        let decay = Decay {
            start: circuit.probe(Probe::OutputCurrent),
            volts: RAIL + 2.0 * DROP,
            resistance: RESISTANCE + 2.0 * SLOPE,
        };
        circuit.advance_to(edge + span(19 * MICROSECOND));
        let (lower, upper) = (Half::Off(BodyDiodes::Lower), Half::Off(BodyDiodes::Upper));
        assert_eq!(half_bridges(&circuit), [lower, upper]);
        let current = circuit.probe(Probe::OutputCurrent);
        close(current, decay.current(19e-6), 1e-6);
        circuit.advance_to(edge + span(DEAD));
        assert_eq!(half_bridges(&circuit), [Half::Low, Half::High]);
    }
}

#[test]
fn a_brake_turns_the_high_half_alone() {
    let mut circuit = alternating(&BoardParameters::default(), &FixtureParameters::default());
    circuit.apply(Action::Drive(DriveSignal::Held(Polarity::Positive)));
    circuit.advance_to(circuit.now() + span(MILLISECOND));
    circuit.apply(Action::Brake(true));
    let [first, second] = half_bridges(&circuit);
    assert!(!first.is_switched(), "{first:?}");
    assert_eq!(second, Half::Low);
    circuit.advance_to(circuit.now() + span(MICROSECOND));
    assert_eq!(half_bridges(&circuit), [Half::Low, Half::Low]);
    circuit.apply(Action::Enable(false));
    circuit.advance_to(circuit.now() + span(MILLISECOND));
    assert_eq!(circuit.mode.key.bridge, Bridge::OPEN);
}

/// Without load a pause of 2 us between the half-bits is a step at zero: what
/// the snubber still holds lifts the floating terminal to a diode's drop and no
/// further, so no edge runs backwards by more (S-9.1 allows 2 V).
#[test]
fn a_short_pause_without_load_stays_at_zero() {
    let board = BoardParameters {
        two_lines: true,
        delay_rising: Seconds::new(3e-6),
        delay_falling: Seconds::new(1e-6),
        delay_rising_b: Seconds::new(3e-6),
        delay_falling_b: Seconds::new(1e-6),
        ..BoardParameters::default()
    };
    let mut circuit = alternating(&board, &FixtureParameters::default());
    circuit.advance_to(at(110 * MILLISECOND));
    let from = at(109 * MILLISECOND);
    for rising in [true, false] {
        let edge = circuit
            .line_edge(LogicLine::SignalA, rising, from)
            .expect("kept");
        let sampled = |from: i64, samples: usize| {
            circuit
                .sample(Probe::NodeVoltage, edge + span(from), span(10_000), samples)
                .expect("kept")
        };
        // From shortly after the end of the first dead time to that of the
        // second one.
        let paused = sampled(1_550_000, 180);
        let most = paused.iter().fold(0.0_f64, |most, v| most.max(v.abs()));
        assert!(most < 0.8, "{most} V");
        assert!(paused[146..].iter().any(|v| v.abs() > 0.5), "it floats");
        // The whole edge, which crosses zero for good 3.4 us after its input.
        let whole = sampled(-5_000_000, 1_500);
        // Between the last sample at 10 % before it and the first at 90 % behind it,
        // whatever falls back by more than 0.1 V.
        let sign = if rising { 1.0 } else { -1.0 };
        let turned: Vec<f64> = whole.iter().map(|volts| sign * volts).collect();
        let (before, after) = turned.split_at(840);
        let from = before.iter().rposition(|&v| v <= -14.4).expect("10 %");
        let to = 840 + after.iter().position(|&v| v >= 14.4).expect("90 %");
        let mut peak = f64::NEG_INFINITY;
        for &volts in &turned[from..=to] {
            let backwards = peak - volts > 0.1;
            let far = peak.abs().max(volts.abs());
            assert!(!backwards || far < 0.8, "{peak} V to {volts} V");
            peak = peak.max(volts);
        }
    }
}
