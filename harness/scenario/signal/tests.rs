//! The signal scenario against streams made from their definition: edges are
//! straight ramps about instants that are computed here, so that halves,
//! slew, delay, cutouts and packets are known without the code under test.

use super::seen::{Loading, SignalTake, Stream};
use super::settings::StreamPacket;
use crate::clock::BenchSpan;
use crate::measurement::{Blame, Finding, Metric};
use crate::scenario::list::{Observation, evaluate};
use crate::scenario::take::Proof;
use crate::scenario::tests::made::{VOLTAGE, chance, context, take};
use crate::scenario::tests::{metric, value};
use crate::track::{CutoutTiming, PacketShape, Pattern, Polarity};
use crate::units::Amperes;
use crate::waveform::synthetic::{Flaws, Sampling};
use crate::waveform::{ChannelAccuracy, LogicLine, Signal};

const VOLTAGE_ACCURACY: ChannelAccuracy = ChannelAccuracy {
    gain_u: 0.005,
    offset_u: 0.02,
};

/// A stream on its way through a board.
#[derive(Clone)]
struct Made {
    shape: PacketShape,
    packets: Vec<StreamPacket>,
    lines: u8,
    /// Levels of the output, V.
    levels: (f64, f64),
    /// Duration of a whole edge, s.
    edge: f64,
    /// Delays of rising and of falling edges, s.
    delays: (f64, f64),
    /// The output has no third state: it stays as it was.
    deaf_to_cutouts: bool,
    /// The output skips both edges of this half-bit.
    skipped: Option<usize>,
    period: f64,
    phase: f64,
    flaws: Flaws,
}

impl Made {
    fn new() -> Self {
        Self {
            shape: PacketShape::WITH_CUTOUT,
            packets: vec![StreamPacket::Idle, StreamPacket::Reset, StreamPacket::Speed],
            lines: 2,
            levels: (17.0, 17.0),
            edge: 1e-6,
            delays: (3e-6, 3e-6),
            deaf_to_cutouts: false,
            skipped: None,
            period: 200e-9,
            phase: 13.7e-6,
            flaws: Flaws {
                noise: 0.02,
                range: 30.0,
                ..VOLTAGE
            },
        }
    }

    /// Changes of the inputs: when, and to what.
    fn changes(&self, length: f64) -> Vec<(f64, Polarity)> {
        let patterns = self
            .packets
            .iter()
            .map(|packet| Pattern::packet(&packet.content(), &self.shape).expect("a sound packet"));
        let pattern = Pattern::sequence(patterns);
        let mut at = -self.phase;
        let mut changes: Vec<(f64, Polarity)> = Vec::new();
        while at < length {
            for step in &pattern.steps {
                if changes.last().is_none_or(|last| last.1 != step.polarity) {
                    changes.push((at, step.polarity));
                }
                at += step.duration.seconds().si_seconds();
            }
        }
        changes
    }

    fn take(&self, key: u64) -> SignalTake {
        let count = (0.030 / self.period) as usize;
        let sampling = Sampling {
            first: 0.0,
            period: self.period,
            count,
        };
        let input = self.changes(0.030);
        let state = |changes: &[(f64, Polarity)], time: f64| {
            let next = changes.partition_point(|change| change.0 <= time);
            changes[next.saturating_sub(1)].1
        };
        let mut output: Vec<(f64, Polarity)> = Vec::new();
        for (index, &(at, to)) in input.iter().enumerate() {
            let dead = self.deaf_to_cutouts && to == Polarity::Zero;
            let skip = self.skipped.is_some_and(|k| index == k || index == k + 1);
            if dead || skip || output.last().is_some_and(|last| last.1 == to) {
                continue;
            }
            let delay = match to {
                Polarity::Positive => self.delays.0,
                _ => self.delays.1,
            };
            output.push((at + delay, to));
        }
        let level = |polarity| match polarity {
            Polarity::Positive => self.levels.0,
            Polarity::Negative => -self.levels.1,
            Polarity::Zero => 0.0,
        };
        let voltage = |time: f64| {
            let next = output.partition_point(|change| change.0 - self.edge / 2.0 <= time);
            let Some(last) = next.checked_sub(1) else {
                return level(output[0].1.opposite());
            };
            let to = level(output[last].1);
            let from = last
                .checked_sub(1)
                .map_or(-to, |before| level(output[before].1));
            let way = ((time - output[last].0) / self.edge + 0.5).clamp(0.0, 1.0);
            from + (to - from) * way
        };
        let mut chance = chance(&[700, key]);
        let mut capture = sampling.capture();
        let channel = sampling.channel(Signal::NodeVoltage, self.flaws, &mut chance, voltage);
        capture.channels.push(channel);
        let positive = |time| state(&input, time) == Polarity::Positive;
        let negative = |time| state(&input, time) == Polarity::Negative;
        capture
            .lines
            .push(sampling.line(LogicLine::SignalA, positive));
        if self.lines == 2 {
            capture
                .lines
                .push(sampling.line(LogicLine::SignalB, negative));
        }
        SignalTake {
            loading: Loading::None,
            current: Amperes::new(0.0),
            take: take(capture, 0.03, Proof::None),
        }
    }

    fn sent(&self) -> Stream {
        Stream {
            packets: self.packets.iter().map(|packet| packet.bytes()).collect(),
            cutouts: self.shape.cutout.is_some(),
            signal_lines: self.lines,
        }
    }

    fn metrics(&self, key: u64) -> Vec<Metric> {
        let seen = Observation::Signal(crate::scenario::signal::Seen {
            sent: Some(self.sent()),
            takes: vec![self.take(key)],
        });
        evaluate("signal", &context(), &seen)
    }
}

trait InSeconds {
    fn si_seconds(self) -> f64;
}

impl InSeconds for crate::units::Seconds {
    fn si_seconds(self) -> f64 {
        crate::units::Quantity::si(self)
    }
}

/// `key` at `at` covers `truth` with its stated U, and U is no more than
/// `most`.
#[track_caller]
fn covers(metrics: &[Metric], key: &str, at: &str, truth: f64, most: f64) {
    let found = value(metrics, key, at);
    let off = (found.value - truth).abs();
    let expanded = found.expanded();
    assert!(
        off <= expanded.max(1e-12),
        "{key} at {at}: {} for {truth}, U {expanded}",
        found.value
    );
    assert!(expanded <= most, "{key} at {at}: U {expanded} over {most}");
}

/// NMRA S-9.1's nominal halves, S-9.3.2's nominal cutout, and a board of plain
/// delays: every metric is what the stream was made with.
#[test]
fn a_sound_board_shows_what_it_was_sent() {
    let made = Made::new();
    let metrics = made.metrics(1);
    covers(
        &metrics,
        "half_bit_of_a_one",
        "no load, mean",
        58e-6,
        0.1e-6,
    );
    covers(
        &metrics,
        "half_bit_of_a_zero",
        "no load, mean",
        100e-6,
        0.1e-6,
    );
    covers(&metrics, "asymmetry", "no load, mean", 0.0, 0.1e-6);
    // A swing of 34 V in 1 us.
    covers(&metrics, "slew_rate", "no load, mean", 34e6, 1.5e6);
    covers(&metrics, "amplitude", "no load, mean", 17.0, 0.2);
    covers(&metrics, "amplitude", "no load, lowest", 17.0, 0.2);
    covers(&metrics, "amplitude_asymmetry", "no load, mean", 0.0, 0.2);
    covers(&metrics, "propagation_delay", "no load, mean", 3e-6, 0.2e-6);
    covers(&metrics, "delay_range", "no load", 0.0, 0.7e-6);
    covers(&metrics, "packet_errors", "no load", 0.0, 0.0);
    covers(&metrics, "cutouts_missing", "no load", 0.0, 0.0);
    covers(&metrics, "cutout_start", "no load, mean", 29e-6, 1.5e-6);
    covers(&metrics, "cutout_end", "no load, mean", 471e-6, 1.5e-6);
    covers(&metrics, "cutout_drop", "no load, worst", 0.0, 0.1);
    covers(&metrics, "crossing_distortion", "no load, worst", 0.0, 0.1);
    for (key, parts) in [("half_bit_of_a_one", ["shortest", "longest"])] {
        for part in parts {
            let found = value(&metrics, key, &format!("no load, {part}"));
            let reach = found.expanded() + 3.0 * found.u;
            assert!((found.value - 58e-6).abs() < reach, "{part}: {found:?}");
        }
    }
}

/// An offset of the channel skews the edges of every board alike, and that is what
/// is stated as common: 20 mV through 17 V/us make four edges 1.18 ns each. An
/// offset of that size moves the reading by so much; without one, readings of one
/// board on one bench scatter by far less.
#[test]
fn what_an_offset_does_to_asymmetry_is_stated_as_common() {
    let made = Made {
        edge: 2e-6,
        flaws: Flaws {
            gain_u: 0.0,
            offset_u: 0.0,
            ..Made::new().flaws
        },
        ..Made::new()
    };
    let read = |key: u64, offset: f64| {
        let mut take = made.take(800 + key);
        let channel = &mut take.take.capture.channels[0];
        channel.accuracy = VOLTAGE_ACCURACY;
        channel.offset += offset;
        let seen = Observation::Signal(crate::scenario::signal::Seen {
            sent: Some(made.sent()),
            takes: vec![take],
        });
        let metrics = evaluate("signal", &context(), &seen);
        let common = metric(&metrics, "asymmetry", "no load, mean").common;
        (value(&metrics, "asymmetry", "no load, mean"), common)
    };
    let expected = 4.0 * 0.02 / 17e6;
    for key in 0..10 {
        let (still, common) = read(key, 0.0);
        assert!((common / expected - 1.0).abs() < 0.1, "{common}");
        assert!(still.value < 0.2 * common && still.u > common, "{still:?}");
        let (moved, _) = read(key, 0.02);
        let by = (moved.value / expected - 1.0).abs();
        assert!(by < 0.2, "{moved:?} for {expected}");
    }
}

/// A rising edge that comes 0.8 us later than a falling one shortens every
/// positive half by 0.8 us and lengthens the negative one: 1.6 us between them.
#[test]
fn unequal_delays_are_asymmetry_and_spread() {
    let made = Made {
        delays: (3.8e-6, 3e-6),
        ..Made::new()
    };
    let metrics = made.metrics(2);
    covers(&metrics, "asymmetry", "no load, mean", 1.6e-6, 0.2e-6);
    covers(
        &metrics,
        "propagation_delay",
        "no load, mean",
        3.4e-6,
        0.2e-6,
    );
    let spread = value(&metrics, "delay_range", "no load");
    assert!(
        (spread.value - 0.8e-6).abs() <= spread.expanded(),
        "{spread:?}"
    );
    let worst = value(&metrics, "asymmetry", "no load, worst");
    assert!((worst.value - 1.6e-6).abs() <= 5.0 * worst.u, "{worst:?}");
}

/// S-9.1's two rules for a 1 are separate: 56 and 60 us are each between 55 and
/// 61 us, their difference of 4 us is more than 3 us.
#[test]
fn halves_each_legal_fail_together() {
    let made = Made {
        delays: (4e-6, 2e-6),
        ..Made::new()
    };
    let metrics = made.metrics(3);
    for (part, truth) in [("shortest", 56e-6), ("longest", 60e-6)] {
        let half = value(&metrics, "half_bit_of_a_one", &format!("no load, {part}"));
        assert!((half.value - truth).abs() < 5.0 * half.u, "{part} {half:?}");
        assert!((55e-6..=61e-6).contains(&half.value));
    }
    let worst = value(&metrics, "asymmetry", "no load, mean");
    assert!(worst.value - worst.expanded() > 3e-6, "{worst:?}");
}

/// At 1 MHz and edges faster than a sample, one reading has U = 2 x 1 us / sqrt
/// 2: more than a third of 3 us, so nothing is said.
#[test]
fn an_asymmetry_known_too_poorly_is_not_told() {
    let made = Made {
        period: 1e-6,
        edge: 20e-9,
        ..Made::new()
    };
    let metrics = made.metrics(4);
    let found = metric(&metrics, "asymmetry", "no load");
    assert!(
        matches!(&found.finding, Finding::Unknown { reason, blame: Blame::Bench }
            if reason.contains("U = 1.414 us") && reason.contains("3.000 us")),
        "{found:?}"
    );
    // The slew is a bound: 8 V within a sample, and samples 1 us apart.
    let slew = metric(&metrics, "slew_rate", "no load, slowest");
    assert!(
        matches!(slew.finding, Finding::Above(e) if (7e6..=8.1e6).contains(&e.value)),
        "{slew:?}"
    );
}

/// A board that stays as it was in a cutout reproduces none: that is a number
/// to be judged, and the rest is not measured because of the board.
#[test]
fn a_cutout_that_is_not_reproduced_is_counted() {
    let made = Made {
        deaf_to_cutouts: true,
        ..Made::new()
    };
    let metrics = made.metrics(5);
    let missing = value(&metrics, "cutouts_missing", "no load");
    assert!(missing.value >= 3.0, "{missing:?}");
    for key in ["cutout_start", "cutout_end", "cutout_drop"] {
        let found = metric(&metrics, key, "no load");
        let board = Finding::unknown(Blame::Board, "the output shows no cutout");
        assert_eq!(found.finding, board, "{key}");
    }
}

/// The cutouts at both bounds of S-9.3.2 and RCN-217.
#[test]
fn cutouts_are_timed_at_their_bounds() {
    for (start, end) in [(26, 454), (32, 488), (26, 488), (32, 454)] {
        let cutout = CutoutTiming {
            start: BenchSpan::from_microseconds(start),
            end: BenchSpan::from_microseconds(end),
        };
        let made = Made {
            shape: PacketShape {
                cutout: Some(cutout),
                ..PacketShape::WITH_CUTOUT
            },
            ..Made::new()
        };
        let metrics = made.metrics(6);
        let (start, end) = (start as f64 * 1e-6, end as f64 * 1e-6);
        covers(&metrics, "cutout_start", "no load, mean", start, 1.5e-6);
        covers(&metrics, "cutout_end", "no load, mean", end, 1.5e-6);
        covers(&metrics, "packet_errors", "no load", 0.0, 0.0);
    }
}

/// One line, no cutouts; the output stands reversed, as a reversing board may.
#[test]
fn one_line_and_a_reversed_output() {
    let made = Made {
        shape: PacketShape::PLAIN,
        lines: 1,
        levels: (-17.0, -17.0),
        ..Made::new()
    };
    let metrics = made.metrics(7);
    covers(&metrics, "propagation_delay", "no load, mean", 3e-6, 0.2e-6);
    covers(&metrics, "packet_errors", "no load", 0.0, 0.0);
    let missing = metric(&metrics, "cutouts_missing", "no load");
    assert_eq!(
        missing.finding,
        Finding::unknown(Blame::Plan, "no cutouts were sent")
    );
}

/// One half-bit swallowed in a packet's bytes breaks that packet and no other.
#[test]
fn a_swallowed_half_bit_is_a_packet_error() {
    let made = Made {
        shape: PacketShape::PLAIN,
        lines: 1,
        skipped: Some(41),
        ..Made::new()
    };
    let metrics = made.metrics(8);
    let errors = value(&metrics, "packet_errors", "no load");
    assert!((1.0..=2.0).contains(&errors.value), "{errors:?}");
}

/// Levels of 17.5 and 16.5 V: amplitude 17 V, symmetry 1 V; the crossing moves
/// with them, so nothing is said of time here.
#[test]
fn unequal_levels_are_seen() {
    let made = Made {
        levels: (17.5, 16.5),
        ..Made::new()
    };
    let metrics = made.metrics(9);
    covers(&metrics, "amplitude", "no load, mean", 17.0, 0.2);
    covers(&metrics, "amplitude_asymmetry", "no load, mean", 1.0, 0.2);
    covers(&metrics, "amplitude", "no load, highest", 17.5, 0.3);
    covers(&metrics, "amplitude", "no load, lowest", 16.5, 0.3);
}

/// What the drive sends must be what was asked of it: another stream is the
/// bench's fault, not the board's.
#[test]
fn another_stream_than_asked_for_is_the_bench() {
    let made = Made::new();
    let seen = Observation::Signal(crate::scenario::signal::Seen {
        sent: Some(Stream {
            packets: vec![StreamPacket::PagePreset.bytes()],
            ..made.sent()
        }),
        takes: vec![made.take(10)],
    });
    let metrics = evaluate("signal", &context(), &seen);
    let found = metric(&metrics, "packet_errors", "no load");
    assert!(
        matches!(&found.finding, Finding::Unknown { blame: Blame::Bench, reason }
            if reason.contains("other packets")),
        "{found:?}"
    );
}
