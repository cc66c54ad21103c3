//! The track signal against the numbers of NMRA S-9.1, S-9.2, S-9.3.2, RCN-211
//! and RCN-217. Streams are made from patterns, then disturbed.

use super::*;
use crate::clock::BenchSpan;
use crate::seed::Seed;

const EXACT: EdgeUncertainty = EdgeUncertainty {
    edge_u: 0.0,
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
    let mut decoder = Decoder::new(DecoderSettings::new(edge));
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

/// Ones of two half lengths and zeros of two, as bits of a packet.
fn halves(one: (f64, f64), zero: (f64, f64)) -> Vec<DriveStep> {
    let pattern = Pattern::address_55_step_6(&PacketShape::PLAIN).expect("a packet");
    let lengths = pattern.steps.iter().map(|step| {
        let (a, b) = if step.duration == us(58.0) { one } else { zero };
        let positive = step.polarity == Polarity::Positive;
        DriveStep {
            duration: us(if positive { a } else { b }),
            ..*step
        }
    });
    lengths.collect()
}

fn judged(one: (f64, f64), zero: (f64, f64), edge: EdgeUncertainty) -> SignalReport {
    let (edges, end) = edges(&halves(one, zero), 4);
    decode(&edges, end + us(10.0), edge).1
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

/// Bytes from S-9.2 section B, S-9.2 figure 1, S-9.2.1 and S-9.2.3.
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

/// Both sides of every bound of S-9.1:2020 table 1, by a picosecond thousand.
#[test]
fn every_bound_of_table_1_has_two_sides() {
    let plain = ((58.0, 58.0), (100.0, 100.0));
    let both = |length: f64| (length, length);
    let cases = [
        (
            true,
            Clause::OneHalfShort,
            (both(55.0), plain.1),
            (both(54.999), plain.1),
        ),
        (
            true,
            Clause::OneHalfLong,
            (both(61.0), plain.1),
            (both(61.001), plain.1),
        ),
        (
            true,
            Clause::OneHalvesDiffer,
            ((56.0, 59.0), plain.1),
            ((56.0, 59.001), plain.1),
        ),
        // Each half legal, together not.
        (
            true,
            Clause::OneHalvesDiffer,
            ((57.0, 60.0), plain.1),
            ((56.0, 60.0), plain.1),
        ),
        (
            true,
            Clause::ZeroHalfShort,
            (plain.0, both(95.0)),
            (plain.0, both(94.999)),
        ),
        (
            true,
            Clause::ZeroHalfLong,
            (plain.0, (100.0, 9900.0)),
            (plain.0, (100.0, 9900.001)),
        ),
        (
            true,
            Clause::ZeroBitLong,
            (plain.0, both(6000.0)),
            (plain.0, (6000.0, 6000.001)),
        ),
        (
            false,
            Clause::OneHalfShort,
            (both(52.0), plain.1),
            (both(51.999), plain.1),
        ),
        (
            false,
            Clause::OneHalfLong,
            (both(64.0), plain.1),
            (both(64.001), plain.1),
        ),
        (
            false,
            Clause::OneHalvesDiffer,
            ((55.0, 61.0), plain.1),
            ((55.0, 61.001), plain.1),
        ),
        (
            false,
            Clause::ZeroHalfShort,
            (plain.0, both(90.0)),
            (plain.0, both(89.999)),
        ),
        (
            false,
            Clause::ZeroHalfLong,
            (plain.0, (100.0, 10_000.0)),
            (plain.0, (100.0, 10_000.001)),
        ),
    ];
    for (strict, clause, kept, broken) in cases {
        let beyond = |(one, zero)| {
            let report = judged(one, zero, EXACT);
            let findings = if strict {
                report.power_station
            } else {
                report.receiver
            };
            findings.beyond(clause)
        };
        assert_eq!(beyond(kept), 0, "{clause:?} {kept:?}");
        assert!(beyond(broken) > 0, "{clause:?} {broken:?}");
    }
    assert_eq!(
        judged(plain.0, plain.1, EXACT).conformity(),
        Conformity::Kept
    );
}

/// A half of 61.5 us at 1 MHz: U = 2 Ts / sqrt 6 = 0.816 us, so it decides
/// nothing; 62 us does.
#[test]
fn within_the_uncertainty_nothing_is_decided() {
    let coarse = EdgeUncertainty::sampled(1e-6, 0.0);
    assert!((coarse.span_u(0.0) - 1e-6 / 6.0_f64.sqrt()).abs() < 1e-12);
    assert!((coarse.difference_u() - 1e-6 / 2.0_f64.sqrt()).abs() < 1e-12);
    let found = |half: f64| {
        let report = judged((half, half), (100.0, 100.0), coarse);
        let clause = &report.power_station.clauses[&Clause::OneHalfLong];
        (clause.beyond > 0, clause.undecided > 0, clause.near > 0)
    };
    assert_eq!(found(60.0), (false, false, false));
    assert_eq!(found(60.5), (false, false, true));
    assert_eq!(found(61.5), (false, true, false));
    assert_eq!(found(62.0), (true, false, false));
}

/// S-9.3.2 and RCN-217: start 26 to 32 us, end 454 to 488 us after the last
/// edge of the packet end bit.
#[test]
fn cutouts_are_timed_from_the_end_bit() {
    for (start, end, broken) in [
        (29.0, 471.0, None),
        (26.0, 454.0, None),
        (32.0, 488.0, None),
        (25.999, 471.0, Some(Clause::CutoutStartEarly)),
        (32.001, 471.0, Some(Clause::CutoutStartLate)),
        (29.0, 453.999, Some(Clause::CutoutEndEarly)),
        (29.0, 488.001, Some(Clause::CutoutEndLate)),
    ] {
        let cutout = CutoutTiming {
            start: us(start),
            end: us(end),
        };
        assert_eq!(cutout.is_standard(), broken.is_none());
        let shape = PacketShape {
            cutout: Some(cutout),
            ..PacketShape::WITH_CUTOUT
        };
        let pattern = Pattern::idle(&shape).expect("a packet");
        let lead = Pattern::idle(&PacketShape::PLAIN).expect("a packet");
        let cut = (0..5).map(|_| pattern.clone());
        let (whole, end_at) = edges(&Pattern::sequence([lead].into_iter().chain(cut)).steps, 1);
        // The same seen on one line, where joined rails look like one polarity.
        let one_line = |zero: Polarity| {
            let mut line: Vec<Edge> = Vec::new();
            for edge in &whole {
                let to = if edge.to == Polarity::Zero {
                    zero
                } else {
                    edge.to
                };
                if line.last().is_none_or(|last| last.to != to) {
                    line.push(Edge { to, ..*edge });
                }
            }
            line
        };
        let low = one_line(Polarity::Negative);
        for (stream, hidden_end) in [(&whole, false), (&low, true)] {
            let (packets, report) = decode(stream, end_at, EXACT);
            assert_eq!(packets.len(), 6);
            assert_eq!(report.cutouts.count, 5, "{start} {end}");
            assert_eq!(report.cutouts.start_hidden, 0);
            if hidden_end && end < 464.0 {
                // It ends inside a half-bit of the same polarity.
                continue;
            }
            let figures = report.cutouts.end.as_ref().expect("cutouts were seen");
            assert!(
                (figures.mean.value - end * 1e-6).abs() < 1e-11,
                "{start} {end} {hidden_end} {figures:?}"
            );
            let found: Vec<Clause> = report
                .packet_rules
                .clauses
                .iter()
                .filter(|(_, found)| found.beyond > 0)
                .map(|(&clause, _)| clause)
                .collect();
            assert_eq!(
                found,
                broken.into_iter().collect::<Vec<_>>(),
                "{start} {end}"
            );
            assert_eq!(report.power_station.conformity(), Conformity::Kept);
        }
        // With the line high in the cutout its start cannot be seen.
        let (packets, report) = decode(&one_line(Polarity::Positive), end_at, EXACT);
        assert_eq!((packets.len(), report.cutouts.count), (6, 5));
        assert_eq!(report.cutouts.start_hidden, 5);
    }
}

/// Bits alternately of 56 and 60 us halves: no 1 is asymmetric, though
/// neighbouring halves of different bits differ by 4 us.
#[test]
fn halves_are_paired_rightly_from_any_start() {
    let pattern = Pattern::reset(&PacketShape::PLAIN).expect("a packet");
    let mut length = us(56.0);
    let steps: Vec<DriveStep> = pattern
        .steps
        .iter()
        .map(|step| {
            if step.polarity == Polarity::Positive {
                length = us(if length == us(56.0) { 60.0 } else { 56.0 });
            }
            let one = step.duration == us(58.0);
            DriveStep {
                duration: if one { length } else { step.duration },
                ..*step
            }
        })
        .collect();
    let (stream, end) = edges(&steps, 5);
    for inverted in [false, true] {
        for skip in 0..30 {
            let turned: Vec<Edge> = stream[skip..]
                .iter()
                .map(|edge| Edge {
                    at: edge.at,
                    to: if inverted {
                        edge.to.opposite()
                    } else {
                        edge.to
                    },
                })
                .collect();
            let (_, report) = decode(&turned, end, EXACT);
            let worst = report.difference.expect("ones were seen").greatest;
            assert_eq!(worst.estimate.value, 0.0, "skip {skip}");
        }
    }
    // And where the halves of a bit do differ, sign and size are told.
    let report = judged((60.0, 56.0), (100.0, 100.0), EXACT);
    let signed = report.asymmetry.expect("ones were seen");
    assert!((signed.mean.value - 4e-6).abs() < 1e-12);
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

/// S-9.2: 14 preamble bits are sent, of which the packet end bit before may be
/// one; fewer than 10 a decoder must refuse.
#[test]
fn preambles_are_counted_with_the_end_bit() {
    for (preamble, short, refused) in [
        (14, false, 0),
        (13, false, 0),
        (12, true, 0),
        (9, true, 0),
        (8, true, 4),
    ] {
        let shape = PacketShape {
            preamble,
            ..PacketShape::PLAIN
        };
        let odd = Pattern::idle(&shape).expect("a packet");
        let lead = Pattern::idle(&PacketShape::PLAIN).expect("a packet");
        // Every second packet has a full preamble.
        let (stream, end) = edges(&Pattern::sequence([lead, odd]).steps, 4);
        let (_, report) = decode(&stream, end + us(1.0), EXACT);
        let found = report.packet_rules.beyond(Clause::PreambleShort) > 0;
        assert_eq!(
            (found, report.packets.refused),
            (short, refused),
            "{preamble}"
        );
        assert_eq!(report.packets.all, 8 - refused);
    }
}

/// S-9.2 section C: start bits at least every 30 ms.
#[test]
fn start_bits_too_far_apart_are_told() {
    let packet = Pattern::idle(&PacketShape::PLAIN).expect("a packet");
    let lasting = packet.duration().picoseconds();
    for (ones, broken) in [(208, 0), (209, 1)] {
        // Start bit to start bit: one packet and so many ones more.
        let pause = Pattern::sequence((0..ones).map(|_| Pattern::ones(us(58.0))));
        let apart = lasting + ones * us(116.0).picoseconds();
        assert_eq!(apart > us(30_000.0).picoseconds(), broken == 1);
        let whole = Pattern::sequence([packet.clone(), pause, packet.clone()]);
        let (_, report) = played(&whole, 1, EXACT);
        assert_eq!(report.packet_rules.beyond(Clause::StartBitsApart), broken);
        assert_eq!(report.packets.all, 2);
    }
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

/// The expected maximum of n standard normal deviates, from tables of order
/// statistics (Harter 1961, from memory) and from d2 / 2 of the control chart
/// constants, since the range is twice the maximum on average.
#[test]
fn the_bias_of_a_maximum_is_that_of_the_tables() {
    for (count, expected) in [
        (1, 0.0),
        (2, 1.128 / 2.0),
        (5, 2.326 / 2.0),
        (10, 1.538_75),
        (25, 3.931 / 2.0),
        (100, 2.507_59),
        (1000, 3.241_44),
    ] {
        let bias = bias_of_maximum(count);
        assert!(
            (bias - expected).abs() <= 0.05 * expected,
            "{count}: {bias}"
        );
    }
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
