//! Readers of value change dumps against files written here by the format's own text, cut
//! anywhere. No file is opened.

use super::*;

pub(super) fn vcd(
    wires: &[&str],
    text: &[u8],
    piece: usize,
) -> Result<(Vec<Change>, VcdSummary), VcdFault> {
    let mut changes = Vec::new();
    let mut reader = VcdReader::new(wires);
    for piece in text.chunks(piece) {
        reader.push(piece, &mut |change| changes.push(change))?;
    }
    let summary = reader.finish(&mut |change| changes.push(change))?;
    Ok((changes, summary))
}

/// After the example of IEEE Std 1364-2005 clause 18.2.3 (from memory), with
/// what else the clause allows.
pub(super) const EXAMPLE: &str = "$date June 26, 1989 10:05:41 $end
$version a simulator $end
$timescale 1 ns $end
$scope module top $end
$scope module m1 $end
$var trireg 1 *@ net1 $end
$var trireg 1 *# net2 $end
$var reg 16 !! accumulator[15:0] $end
$upscope $end
$var real 64 %r level $end
$var wire 1 *@ alias $end
$upscope $end
$enddefinitions $end
$comment $dumpvars was executed at time '#500'. $end
#500
$dumpvars
z*@
x*#
bx !!
r-1.5e1 %r
$end
#505
0*@
1*#
b10000 !!
#510 1*@ 0*# b1111000101z01x !! r15 %r
#1000
";

#[test]
fn the_standards_example_is_read() {
    let wires = ["net1", "top.m1.net2", "accumulator[15:0]", "level"];
    let expected: Vec<(i64, usize, Value)> = vec![
        (500, 0, Value::HighImpedance),
        (500, 1, Value::Unknown),
        (500, 2, Value::Unknown),
        (500, 3, Value::Real(-15.0)),
        (505, 0, Value::Low),
        (505, 1, Value::High),
        (505, 2, Value::Vector(16)),
        (510, 0, Value::High),
        (510, 1, Value::Low),
        (510, 2, Value::Unknown),
        (510, 3, Value::Real(15.0)),
    ];
    for piece in [1, 2, 7, 4096] {
        let (changes, summary) = vcd(&wires, EXAMPLE.as_bytes(), piece).expect("a sound file");
        let found: Vec<(i64, usize, Value)> = changes
            .iter()
            .map(|c| (c.at.picoseconds() / 1000, c.wire, c.value))
            .collect();
        assert_eq!(found, expected, "pieces of {piece}");
        assert_eq!(summary.end, BenchInstant::from_picoseconds(1_000_000));
        assert_eq!(summary.wires[1].name, "top.m1.net2");
        assert_eq!(summary.wires[2].kind, WireKind::Vector(16));
    }
    // One code, two names.
    let (changes, _) = vcd(&["alias"], EXAMPLE.as_bytes(), 64).expect("a sound file");
    assert_eq!(changes.len(), 3);
}

#[test]
fn every_timescale_is_held_in_picoseconds() {
    for (scale, picoseconds) in [
        ("1 s", 7_000_000_000_000),
        ("10ms", 70_000_000_000),
        ("100 us", 700_000_000),
        ("1ns", 7000),
        ("10 ps", 70),
        ("100 fs", 1),
    ] {
        let text = format!(
            "$timescale {scale} $end $var wire 1 ! a $end $enddefinitions $end #7 1! #8 0! "
        );
        let (changes, _) = vcd(&[], text.as_bytes(), 9).expect(scale);
        assert_eq!(changes[0].at.picoseconds(), picoseconds, "{scale}");
    }
}

#[test]
fn faults_in_a_dump_name_line_and_byte() {
    let head =
        "$timescale 1 us $end\n$var wire 1 ! a $end\n$var wire 1 \" b $end\n$enddefinitions $end\n";
    let at = head.len() as u64;
    for (wires, body, line, byte, part) in [
        (&["a"][..], "#5\n1!\n#4\n", 7, at + 6, "back from 5 to 4"),
        (&["a"], "#5\n1?\n", 6, at + 3, "code '?'"),
        (&["a"], "#5\nq!\n", 6, at + 3, "'q!'"),
        (&["a"], "#5x\n", 5, at, "'5x'"),
        (&["a"], "#99999999999999999\n", 5, at, "no time"),
        (&["a"], "#5\nb12 !\n", 6, at + 3, "b12"),
        (&["a"], "#5\n1!\n#", 7, at + 6, "ends inside a time"),
        (&["a"], "#5\nb1", 6, at + 3, "between a value and its code"),
        (
            &["a"],
            "$comment never closed\n",
            6,
            at + 22,
            "$end must come",
        ),
        (&["c"], "", 4, at - 5, "no wire 'c'; the file has: a, b"),
        (&[], "", 4, at - 5, "name the wire"),
    ] {
        let text = format!("{head}{body}");
        for piece in [1, 3, 1000] {
            let fault = vcd(wires, text.as_bytes(), piece).expect_err(body);
            assert_eq!(fault.line, line, "{body:?}: {fault}");
            let shown = fault.to_string();
            assert!(shown.contains(part), "{shown}");
            if !shown.contains("between") {
                assert_eq!(fault.byte, byte, "{body:?} by {piece}: {fault}");
            }
        }
    }
    for text in [
        "",
        "$timescale 1 us $end",
        "$var wire 1 ! a $end $enddefinitions $end ",
    ] {
        assert!(vcd(&[], text.as_bytes(), 8).is_err(), "{text:?}");
    }
}

/// A time is a decimal number (IEEE Std 1364-2005 clause 18.2.1, from memory), which may
/// begin with zeros.
#[test]
fn times_filled_up_with_zeros_are_times() {
    let head = "$timescale 1 us $end\n$var wire 1 ! a $end\n$enddefinitions $end\n";
    let of = |times: [&str; 3]| {
        let [a, b, c] = times;
        let text = format!("{head}#{a}\n1!\n#{b}\n0!\n#{c}\n");
        vcd(&["a"], text.as_bytes(), 1000).expect(a).0
    };
    let filled = ["00000000000000000000", "00000000000000000000058", "0116"];
    assert_eq!(of(filled), of(["0", "58", "116"]));
}

/// A code is made of the characters '!' to '~' (IEEE Std 1364-2005 clause 18.2.1, from
/// memory); a byte beyond them is no number of a code that has two.
#[test]
fn a_byte_beyond_the_characters_of_codes_stands_for_no_wire() {
    let head = "$timescale 1 us $end\n$var wire 1 !! a $end\n$var wire 1 !\" b $end\n\
                $enddefinitions $end\n#5\n1!!\n1!\"\n";
    for beyond in [0x7f, 0x80, 0xff] {
        let mut text = head.as_bytes().to_vec();
        text.extend([b'0', beyond, b'\n', b'#', b'9', b'\n']);
        for piece in [1, 1000] {
            let fault = vcd(&["a"], &text, piece).expect_err("no such wire");
            assert_eq!((fault.line, fault.byte), (8, head.len() as u64), "{fault}");
        }
    }
}

#[test]
fn two_wires_make_three_polarities() {
    let text = "$timescale 1 us $end $var wire 1 a a $end $var wire 1 b b $end \
        $enddefinitions $end #0 1a 0b #58 0a 1b #116 1a 0b #145 0a #587 1a #590 x a\n";
    let text = text.replace("x a", "xa");
    let mut events = Vec::new();
    let mut maker = WireEdges::new(WirePair::Difference);
    let (changes, _) = vcd(&["a", "b"], text.as_bytes(), 5).expect("a sound file");
    events.extend(changes.into_iter().filter_map(|change| maker.push(change)));
    events.extend(maker.finish());
    let at = |us: i64| BenchInstant::from_picoseconds(us * 1_000_000);
    let edge = |us: i64, to| WireEvent::Edge(Edge { at: at(us), to });
    let known = |us: i64, to| WireEvent::Known(Edge { at: at(us), to });
    let expected = [
        known(0, Polarity::Positive),
        edge(58, Polarity::Negative),
        edge(116, Polarity::Positive),
        edge(145, Polarity::Zero),
        edge(587, Polarity::Positive),
        WireEvent::Lost(at(590)),
    ];
    assert_eq!(events, expected);
    assert_eq!(maker.unknown(), 1);
}

fn events(text: &str) -> (Vec<WireEvent>, Spans) {
    let mut maker = WireEdges::new(WirePair::Single);
    let (changes, summary) = vcd(&["a"], text.as_bytes(), 7).expect("a sound file");
    let mut list: Vec<_> = changes.into_iter().filter_map(|c| maker.push(c)).collect();
    list.extend(maker.finish());
    (list, maker.unknown_spans(summary.end))
}

/// Values that are neither high nor low, and a dump switched off (IEEE Std
/// 1364-2005 clause 18.2.1), are stretches of which nothing is known.
#[test]
fn what_a_dump_does_not_say_is_not_known() {
    let head = "$timescale 1 us $end $var wire 1 a a $end $enddefinitions $end ";
    let at = |us: i64| BenchInstant::from_picoseconds(us * 1_000_000);
    let edge = |us: i64, to| Edge { at: at(us), to };
    let (list, spans) = events(&format!(
        "{head}#0 xa #10 1a #20 za #30 0a #40 1a #50 $dumpoff xa $end #70 $dumpon 1a $end #80 0a #90\n"
    ));
    let expected = [
        WireEvent::Known(edge(10, Polarity::Positive)),
        WireEvent::Lost(at(20)),
        WireEvent::Known(edge(30, Polarity::Negative)),
        WireEvent::Edge(edge(40, Polarity::Positive)),
        WireEvent::Lost(at(50)),
        WireEvent::Known(edge(70, Polarity::Positive)),
        WireEvent::Edge(edge(80, Polarity::Negative)),
    ];
    assert_eq!(list, expected);
    assert_eq!(spans.count, 3);
    assert!((spans.total - 40e-6).abs() < 1e-12, "{spans:?}");
    // One that says nothing from the beginning to the end.
    let (list, spans) = events(&format!("{head}#0 xa #100 xa #200 za #1000\n"));
    assert_eq!(list, []);
    assert!((spans.total - 1e-3).abs() < 1e-12, "{spans:?}");
}

/// What other wires hold, and where declarations stand, does not matter: texts
/// and the nine values of IEEE Std 1164 as simulators of other languages dump
/// them, a scope closed twice, a last line without its end.
#[test]
fn other_wires_do_not_refuse_a_dump() {
    let text = "$timescale 1 ns $end $var string 0 s note $end $scope module m $end \
        $var wire 1 u state $end $var logic 1 ! a $end $var wire 4 v bus $end $var event 1 e hit $end \
        $upscope $end $upscope $end $var wire 1 % outside $end $enddefinitions $end\n\
        #0 sidle s Uu bUX-W v 0! 0%\n#5 Hu -u Wu sall_on s 1!\n#7 H!\n#9 L! 1%\n#12";
    for piece in [1, 4, 1000] {
        let (changes, summary) = vcd(&["a"], text.as_bytes(), piece).expect("a sound file");
        let found: Vec<_> = changes
            .iter()
            .map(|c| (c.at.picoseconds() / 1000, c.value))
            .collect();
        let expected = [
            (0, Value::Low),
            (5, Value::High),
            (7, Value::High),
            (9, Value::Low),
        ];
        assert_eq!(found, expected);
        assert_eq!(summary.end.picoseconds(), 12_000);
    }
    let (changes, _) = vcd(&["outside"], text.as_bytes(), 9).expect("a sound file");
    assert_eq!(changes.len(), 2);
    assert!(
        vcd(&["note"], text.as_bytes(), 9).is_err(),
        "a text is no signal"
    );
}

/// A reader goes on from a mark as if it had read all before.
#[test]
fn a_mark_goes_on_where_it_was_made() {
    let text = EXAMPLE.as_bytes();
    let wires = ["net1", "level"];
    let (whole, _) = vcd(&wires, text, usize::MAX).expect("a sound file");
    for cut in 300..text.len() {
        let mut reader = VcdReader::new(&wires);
        let mut found = Vec::new();
        reader
            .push(&text[..cut], &mut |c| found.push(c))
            .expect("sound");
        let (mut reader, byte) = reader.mark();
        let rest = &text[byte as usize..];
        reader.push(rest, &mut |c| found.push(c)).expect("sound");
        reader.finish(&mut |c| found.push(c)).expect("sound");
        assert_eq!(found, whole, "cut at {cut}");
    }
}

/// Edges of a signal with halves of 58.25 us (time base of its own) that was
/// sampled at some rate and dumped in nanoseconds.
fn sampled(rate: f64, halves: &[f64], astray: bool) -> FoundGrid {
    let mut grid = Grid::default();
    let mut now = 3.3e-6;
    for (n, half) in halves.iter().cycle().take(3000).enumerate() {
        now += half;
        // A thousandth of a sample for the rounding of `now`.
        let seen = (now * rate - 1e-3).ceil() / rate;
        let mut ns = (seen * 1e9).round() as i64;
        if astray && n == 1500 {
            ns += 137;
        }
        let to = if n % 2 == 0 {
            Polarity::Positive
        } else {
            Polarity::Negative
        };
        grid.edge(Edge {
            at: BenchInstant::from_picoseconds(ns * 1000),
            to,
        });
    }
    grid.found(1e-9)
}

#[test]
fn the_grid_of_a_logic_capture_is_found_in_a_finer_dump() {
    let halves = [58.25e-6, 58.25e-6, 100.4e-6, 100.4e-6];
    for (rate, astray) in [(1e6, false), (1e6, true), (2e6, false), (3e6, false)] {
        let found = sampled(rate, &halves, astray).sampled.expect("a grid");
        assert!(
            (found * rate - 1.0).abs() < 2e-4,
            "{rate} {astray}: {found}"
        );
    }
    // Round lengths that do not flicker: perhaps sampled, perhaps not.
    let round = sampled(1e9, &[58e-6, 58e-6, 100e-6, 100e-6], false);
    assert_eq!(round.sampled, None);
    assert!((round.divisor.expect("round") - 2e-6).abs() < 1e-15);
    // A signal that was not sampled lies on its unit of time alone.
    let jittering: Vec<f64> = (0..997)
        .map(|n| 58e-6 + f64::from(n * 7 % 31) * 1e-9)
        .collect();
    assert_eq!(sampled(1e9, &jittering, false).sampled, None);
}
