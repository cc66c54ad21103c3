//! Both sides of every limit of S-9.1, S-9.2, S-9.3.2 and RCN-217, and what
//! lies within the uncertainty. The limits are written out here again.

use super::*;

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
            let worst = report.difference.expect("ones were seen").maximum;
            assert_eq!(worst.estimate.value, 0.0, "skip {skip}");
        }
    }
    // And where the halves of a bit do differ, sign and size are told.
    let report = judged((60.0, 56.0), (100.0, 100.0), EXACT);
    let signed = report.asymmetry.expect("ones were seen");
    assert!((signed.mean.value - 4e-6).abs() < 1e-12);
}

/// S-9.2:2004: 14 preamble bits are sent, of which the packet end bit before may be
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

/// S-9.2:2004 section C: start bits at least every 30 ms.
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
