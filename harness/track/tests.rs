//! The track signal against the numbers of NMRA S-9.1, S-9.2, S-9.3.2, RCN-211
//! and RCN-217. Streams are made from patterns, then disturbed.

mod analogue;
mod limits;

use super::*;
use crate::clock::BenchSpan;
use crate::seed::Seed;

const EXACT: EdgeUncertainty = EdgeUncertainty {
    edge_u: 0.0,
    grid_u: 0.0,
    sampled_u: 0.0,
    unseen_u: 0.0,
    paused_u: 0.0,
    worse_u: 0.0,
    uneven: 0.0,
    skew_u: 0.0,
    offset_u: 0.0,
    time_base_u: 0.0,
};

fn us(microseconds: f64) -> BenchSpan {
    BenchSpan::from_picoseconds((microseconds * 1e6).round() as i64)
}

/// The edges of steps played `times` times, the first at 1 ms and one more
/// behind the last step; and the end.
fn edges(steps: &[DriveStep], times: usize) -> (Vec<Edge>, BenchInstant) {
    let mut at = BenchInstant::ZERO + us(1000.0);
    let mut edges: Vec<Edge> = Vec::new();
    for step in (0..times).flat_map(|_| steps) {
        if edges.last().is_none_or(|last| last.to != step.polarity) {
            let to = step.polarity;
            edges.push(Edge { at, to });
        }
        at += step.duration;
    }
    // The edge that ends the last half-bit.
    if let Some(last) = edges.last() {
        let to = if last.to == steps[0].polarity {
            last.to.opposite()
        } else {
            steps[0].polarity
        };
        edges.push(Edge { at, to });
    }
    (edges, at)
}

fn decode(edges: &[Edge], end: BenchInstant, edge: EdgeUncertainty) -> (Vec<Packet>, SignalReport) {
    // Edges that are known to a sample err by half of one at most.
    let sampled = (edge.edge_u > 0.0).then(|| edge.edge_u * libm::sqrt(3.0));
    let mut decoder = Decoder::new(DecoderSettings {
        bound: sampled,
        ..DecoderSettings::new(edge)
    });
    let mut packets: Vec<Packet> = edges.iter().filter_map(|&e| decoder.push(e)).collect();
    let (last, report) = decoder.finish(end);
    packets.extend(last);
    assert_eq!(report.packets.all, packets.len() as u64);
    (packets, report)
}

fn played(pattern: &Pattern, times: usize, edge: EdgeUncertainty) -> (Vec<Packet>, SignalReport) {
    let (edges, end) = edges(&pattern.steps, times);
    decode(&edges, end + us(10.0), edge)
}

/// Durations at 58 and 100 us by arithmetic from the packets of S-9.2.
#[test]
fn packets_last_as_long_as_their_bits() {
    for (bytes, preamble, milliseconds) in [
        ([0xFF, 0x00], 14, 5.796),
        ([0xFF, 0x00], 17, 6.144),
        ([0x00, 0x00], 14, 7.140),
        ([0x00, 0x00], 17, 7.488),
    ] {
        let shape = PacketShape {
            preamble,
            ..PacketShape::PLAIN
        };
        let pattern = Pattern::packet(&bytes, &shape).expect("a packet");
        assert_eq!(pattern.duration(), us(milliseconds * 1000.0));
    }
    // A cutout shifts nothing.
    let with = Pattern::packet(&[0xFF, 0x00], &PacketShape::WITH_CUTOUT).expect("a packet");
    assert_eq!(with.duration(), us(6144.0));
}

/// S-9.2:2004 figure 1: address 55, forward, step 6.
#[test]
fn figure_1_of_s_9_2_bit_by_bit() {
    let bits: String = super::pattern::packet_bits(&[0x37, 0x74])
        .map(|bit| if bit { '1' } else { '0' })
        .collect();
    assert_eq!(
        bits,
        ["0", "00110111", "0", "01110100", "0", "01000011", "1"].concat()
    );
    assert_eq!(speed_step(0x74), Some((true, 6)));
    assert_eq!(speed_step(0x60), Some((true, 0)));
    assert_eq!(speed_step(0x80), None);
}

/// Bytes from S-9.2:2004 section B, S-9.2:2004 figure 1, S-9.2.1 and S-9.2.3.
#[test]
fn packets_are_known_by_their_bytes() {
    for (bytes, preamble, kind) in [
        (&[0xFF, 0x00, 0xFF][..], 14, PacketKind::Idle),
        (&[0x00, 0x00, 0x00], 14, PacketKind::Reset),
        (&[0x37, 0x74, 0x43], 14, PacketKind::SpeedAndDirection),
        (&[0x7D, 0x01, 0x7C], 20, PacketKind::ServiceMode),
        (&[0x00, 0x51, 0x51], 14, PacketKind::BroadcastStop),
        (
            &[0x03, 0x3F, 0x85, 0xB9],
            14,
            PacketKind::AdvancedOperations,
        ),
        (&[0x03, 0x90, 0x93], 14, PacketKind::FunctionGroupOne),
        (&[0x03, 0xB1, 0xB2], 14, PacketKind::FunctionGroupTwo),
        (&[0x81, 0xF9, 0x78], 14, PacketKind::BasicAccessory),
        (&[0x81, 0x71, 0x05, 0xF5], 14, PacketKind::ExtendedAccessory),
        (
            &[0xC4, 0xD2, 0x3F, 0x85, 0xAC],
            14,
            PacketKind::AdvancedOperations,
        ),
        (&[0xC4, 0xD2, 0x80, 0x96], 14, PacketKind::FunctionGroupOne),
        (&[0xFF, 0x00, 0xFE], 14, PacketKind::Faulty),
    ] {
        let packet = PacketBytes::new(bytes).expect("short enough");
        assert_eq!(PacketKind::of(&packet, preamble), kind, "{packet}");
    }
}

#[test]
fn framing_starts_anywhere_and_loses_at_most_the_cut_packet() {
    let shape = PacketShape::PLAIN;
    let packets = [
        &[0xFF, 0x00][..],
        &[0x37, 0x74],
        &[0xC4, 0xD2, 0x3F, 0x85],
        &[0, 0],
    ];
    let patterns = packets.map(|bytes| Pattern::packet(bytes, &shape).expect("a packet"));
    let (stream, end) = edges(&Pattern::sequence(patterns).steps, 3);
    let (all, _) = decode(&stream, end + us(1.0), EXACT);
    assert_eq!(all.len(), 12);
    for skip in 0..stream.len() {
        let (found, report) = decode(&stream[skip..], end + us(1.0), EXACT);
        // Ten whole preamble bits must be left of a packet's fourteen.
        let began = stream[skip].at;
        let heard = all.iter().filter(|p| p.start - began >= us(10.0 * 116.0));
        let heard: Vec<PacketBytes> = heard.map(|p| p.bytes).collect();
        let found: Vec<PacketBytes> = found.iter().map(|p| p.bytes).collect();
        assert_eq!(found, heard, "from edge {skip}");
        assert_eq!(report.packets.wrong_check, 0);
    }
}

#[test]
fn glitches_are_counted_and_harm_nothing() {
    let pattern = Pattern::address_55_step_6(&PacketShape::PLAIN).expect("a packet");
    let (stream, end) = edges(&pattern.steps, 20);
    let mut chance = Seed(5).stream(&[1]);
    let mut disturbed = Vec::new();
    let mut planted = 0;
    for pair in stream.windows(2) {
        disturbed.push(pair[0]);
        if chance.uniform() < 0.2 {
            let length = us(0.2 + 4.0 * chance.uniform());
            let at = pair[0].at + us(22.0 + 10.0 * chance.uniform());
            disturbed.push(Edge { at, to: pair[1].to });
            let to = pair[0].to;
            disturbed.push(Edge {
                at: at + length,
                to,
            });
            planted += 1;
        }
    }
    disturbed.extend(stream.last());
    let (packets, report) = decode(&disturbed, end, EXACT);
    assert!(planted > 100);
    assert_eq!(report.glitches.count, planted);
    assert_eq!(report.glitches.first.len(), 32);
    assert_eq!(packets.len(), 19 + 1);
    assert!(packets.iter().all(|p| p.checked));
    assert_eq!(report.power_station.conformity(), Conformity::Kept);
}

#[test]
fn silence_dead_rails_and_stretched_zeros_are_told_apart() {
    let stretched = PacketShape {
        stretched: Some(us(5000.0)),
        ..PacketShape::PLAIN
    };
    let (packets, report) = played(&Pattern::idle(&stretched).expect("a packet"), 3, EXACT);
    assert_eq!(packets.len(), 3);
    assert_eq!(report.stretched.expect("three").count, 3);
    assert_eq!(report.power_station.conformity(), Conformity::Kept);

    let (mut stream, end) = edges(&Pattern::ones(us(58.0)).steps, 30);
    let end = end + us(40_000.0);
    stream.push(Edge {
        at: end,
        to: Polarity::Positive,
    });
    let (_, report) = decode(&stream, end, EXACT);
    assert_eq!((report.silences, report.longest_silence), (1, us(40_000.0)));

    let dead = [
        DriveStep {
            polarity: Polarity::Zero,
            duration: us(900.0),
        },
        DriveStep {
            polarity: Polarity::Positive,
            duration: us(58.0),
        },
        DriveStep {
            polarity: Polarity::Negative,
            duration: us(58.0),
        },
    ];
    let (stream, end) = edges(&dead, 5);
    let (_, report) = decode(&stream, end, EXACT);
    assert_eq!(report.dead.map(|d| d.count), Some(5));
    assert_eq!(report.cutouts.count, 0);
}

#[test]
fn delay_and_width_change_of_a_made_up_board() {
    let (input, _) = edges(
        &Pattern::idle(&PacketShape::PLAIN).expect("a packet").steps,
        10,
    );
    let mut output: Vec<Edge> = input
        .iter()
        .map(|edge| Edge {
            at: edge.at
                + us(if edge.to == Polarity::Positive {
                    2.0
                } else {
                    3.5
                }),
            to: edge.to,
        })
        .collect();
    let report = compare_edges(input.clone(), output.clone(), DelaySettings::new(EXACT));
    let mean = |figures: Option<Figures>| figures.expect("matched").mean.value;
    assert!((mean(report.rising) - 2e-6).abs() < 1e-12);
    assert!((mean(report.falling) - 3.5e-6).abs() < 1e-12);
    assert!((mean(report.width_change) - 1.5e-6).abs() < 1e-12);
    assert!((report.spread.expect("matched") - 1.5e-6).abs() < 1e-12);
    assert_eq!((report.missing, report.extra), (0, 0));

    // A pulse that the board swallowed, and one that it made.
    output.drain(20..22);
    let at = output[40].at + us(20.0);
    let back = output[40].to;
    output.insert(
        41,
        Edge {
            at,
            to: back.opposite(),
        },
    );
    output.insert(
        42,
        Edge {
            at: at + us(1.0),
            to: back,
        },
    );
    let report = compare_edges(input, output, DelaySettings::new(EXACT));
    assert_eq!((report.missing, report.extra), (2, 2));
}

/// A capture whose clock keeps step with the signal reads every edge of the output
/// early by the same 60 ns, upwards and downwards: the mean of hundreds errs by
/// that too, and says so. Where phases vary it averages out, and u is small.
#[test]
fn what_sampling_does_to_every_edge_alike_is_in_the_mean_delay() {
    let pattern = Pattern::idle(&PacketShape::PLAIN).expect("a packet");
    let (input, _) = edges(&pattern.steps, 10);
    // Of the two edges of a delay together 49 ns.
    let edge = EdgeUncertainty {
        edge_u: 35e-9,
        grid_u: 35e-9,
        ..EXACT
    };
    let read = |early: &dyn Fn(usize) -> f64| {
        let output = input.iter().enumerate().map(|(index, edge)| Edge {
            at: edge.at + us(3.0 - early(index)),
            to: edge.to,
        });
        let report = compare_edges(input.clone(), output, DelaySettings::new(edge));
        report.delay.expect("matched").mean
    };
    let locked = read(&|_| 0.06);
    assert!((locked.value - 2.94e-6).abs() < 1e-12);
    assert!(2.0 * locked.u > 60e-9 && locked.u < 80e-9, "{locked:?}");
    // Anywhere within 170 ns: a rectangle of that deviation.
    let free = read(&|index| 0.06 + 0.17 * ((index as f64 * 0.618_034).fract() - 0.5));
    assert!(free.u < 10e-9, "{free:?}");
}

#[test]
fn a_report_survives_json() {
    let (_, report) = played(
        &Pattern::idle(&PacketShape::WITH_CUTOUT).expect("a packet"),
        9,
        EXACT,
    );
    let text = serde_json::to_string(&report).expect("a report is data");
    let back: SignalReport = serde_json::from_str(&text).expect("its own text");
    assert_eq!(back, report);
}

proptest::proptest! {
    /// Any bytes come back as they were sent, none lost, none invented.
    #[test]
    fn any_packets_come_back(
        packets in proptest::collection::vec(proptest::collection::vec(proptest::num::u8::ANY, 1..6), 1..8),
        cutout: bool,
        inverted: bool,
    ) {
        let shape = if cutout { PacketShape::WITH_CUTOUT } else { PacketShape::PLAIN };
        let patterns: Vec<Pattern> = packets.iter()
            .map(|bytes| Pattern::packet(bytes, &shape).expect("short enough"))
            .collect();
        let lead = Pattern::sequence((0..20).map(|_| Pattern::ones(us(58.0))));
        let (mut stream, end) = edges(&Pattern::sequence([lead].into_iter().chain(patterns)).steps, 1);
        if inverted {
            stream.iter_mut().for_each(|edge| edge.to = edge.to.opposite());
        }
        let (found, report) = decode(&stream, end, EXACT);
        let found: Vec<Vec<u8>> = found.iter().map(|p| {
            let (_, data) = p.bytes.as_slice().split_last().expect("a check byte");
            data.to_vec()
        }).collect();
        proptest::prop_assert_eq!(found, packets);
        proptest::prop_assert_eq!(report.packets.broken, 0);
    }

    #[test]
    fn no_edges_panic(
        steps in proptest::collection::vec((-1_000_000_i64..20_000_000_000, 0_u8..3), 0..300),
    ) {
        let mut at = BenchInstant::ZERO;
        let stream: Vec<Edge> = steps.iter().map(|&(step, polarity)| {
            at += BenchSpan::from_picoseconds(step);
            let to = [Polarity::Negative, Polarity::Zero, Polarity::Positive][usize::from(polarity)];
            Edge { at, to }
        }).collect();
        let _ = decode(&stream, at, EXACT);
        let _ = compare_edges(stream.clone(), stream, DelaySettings::new(EXACT));
    }
}

/// An edge that pauses is known less well than the others: it may be the one that
/// makes a half the longest, and of their mean it is one of many.
#[test]
fn an_extreme_may_be_that_of_an_edge_that_pauses() {
    let pattern = Pattern::idle(&PacketShape::PLAIN).expect("a packet");
    let (stream, end) = edges(&pattern.steps, 4);
    let paused = EdgeUncertainty {
        paused_u: 1e-7,
        ..EXACT
    };
    let ones = |edge| decode(&stream, end, edge).1.ones.all.expect("ones");
    let (plain, found) = (ones(EXACT), ones(paused));
    assert_eq!(found.mean, plain.mean);
    for extreme in [&found.least, &found.maximum] {
        assert!((extreme.estimate.u - 1e-7).abs() < 1e-12, "{extreme:?}");
    }
    let found = decode(&stream, end, paused).1.difference.expect("ones");
    assert!(found.maximum.estimate.u > 1.4e-7, "{found:?}");
}
