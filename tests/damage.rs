//! Sound files and sound edges, damaged by a seeded hand, for every reader and
//! for the decoder behind them: no panic, no more told than bytes allow, no more
//! memory than the pieces need, and pieces change nothing. 12,000 inputs; with
//! `BUFFERSTOP_DAMAGE_SECONDS=60` as many as fit, the seeds going on.

use bufferstop::capture_file::{
    CsvReader, CsvWish, NpyLayout, NpyReader, Samples, VcdReader, WavReader, WireEdges, WireEvent,
    WirePair,
};
use bufferstop::clock::{BenchInstant, BenchSpan};
use bufferstop::seed::{Seed, Stream};
use bufferstop::track::{
    ChannelAnalyser, ChannelSettings, Decoder, DecoderSettings, Edge, EdgeUncertainty, PacketShape,
    Pattern, Polarity, Scale, SignalReport,
};
use bufferstop::units::Seconds;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

const INPUTS: u64 = 12_000;
/// One input may take this long before it counts as endless.
const ENDLESS: Duration = Duration::from_secs(20);
/// What the process may grow by over all inputs, which have some 100 kB each.
const MOST_GROWTH: u64 = 64 << 20;
/// Words that mean something to some reader, and numbers at the ends of types.
const WORDS: [&[u8]; 36] = [
    b"$end",
    b"$comment ",
    b"$dumpoff $end ",
    b"#99999999999999999999",
    b"#-1",
    b"\n#",
    b"b1111111111111111111111111111111111111111111111111111111111111111111 !",
    b"r1e999 !",
    b"x!\n",
    b"\"",
    b",",
    b";",
    b"\r",
    b"nan",
    b"-1e308",
    b"1e-320",
    b"\xEF\xBB\xBF",
    b"'shape': (",
    b"18446744073709551615",
    b"4611686018427387904, 2",
    b"'<f8'",
    b"'>i2'",
    b"\x93NUMPY\x03\x00\xff\xff\xff\xff",
    b"\x00\x00\x80\x7f",
    b"\xFF\xFE",
    b"1.000,5",
    b"12:59:59.9",
    b"\xC3\xA9:0:0Z",
    b"Sample interval: 1e-400 s\n",
    b"Start,Increment\n",
    b"\xE2\x80\x89",
    b"sa text ! ",
    b"uU!\n",
    b"data\xff\xff\xff\xff",
    b"fmt \x00\x00\x00\x80",
    b"(us)\t[V]\n",
];

#[derive(Clone, Copy, Debug, PartialEq)]
enum Reader {
    Dump,
    Table,
    Array,
    Sound,
    Edges,
}

fn sample_edges(cutouts: bool) -> Vec<Edge> {
    let shape = if cutouts {
        PacketShape::WITH_CUTOUT
    } else {
        PacketShape::PLAIN
    };
    let pattern = Pattern::address_55_step_6(&shape).expect("a packet");
    let mut at = BenchInstant::ZERO;
    let steps = (0..6).flat_map(|_| &pattern.steps);
    let edges = steps.map(|step| {
        let edge = Edge {
            at,
            to: step.polarity,
        };
        at += step.duration;
        edge
    });
    edges.collect()
}

/// Volts of the edges at 500 kS/s.
fn sample_volts() -> Vec<i16> {
    let edges = sample_edges(true);
    let pairs = edges.windows(2);
    let stretches = pairs.flat_map(|pair| {
        let level = match pair[0].to {
            Polarity::Positive => 15_000,
            Polarity::Zero => 3,
            Polarity::Negative => -15_000,
        };
        let samples = (pair[1].at - pair[0].at).picoseconds() / 2_000_000;
        std::iter::repeat_n(level, samples as usize)
    });
    stretches.collect()
}

/// A sound file for a reader.
fn sound(reader: Reader, variant: usize) -> Vec<u8> {
    match reader {
        Reader::Dump => {
            let mut text = String::from(
                "$date today $end $timescale 1 us $end $scope module a $end $var wire 1 ! track $end \
                 $var real 64 %r level $end $var wire 8 \" bus $end $upscope $end $enddefinitions $end\n\
                 $dumpvars 0! r0.5 %r b0 \" $end\n",
            );
            for edge in sample_edges(false) {
                let high = u8::from(edge.to == Polarity::Positive);
                let at = edge.at.picoseconds() / 1_000_000;
                text.push_str(&format!("#{at}\n{high}!\n"));
            }
            text.into_bytes()
        }
        Reader::Table => {
            // Longer than what is looked at beforehand.
            let mut text = String::from("Recorder: 7\nSample rate: 500 kHz\n");
            text.push_str(
                ["time (us),track (V),note\n", "time (us);track (V);note\n"][variant % 2],
            );
            for (n, volts) in sample_volts().iter().enumerate().take(6_000) {
                let row = format!("{},{},\"a\"\"b\"\n", 2 * n, volts / 1000);
                text.push_str(&if variant % 2 == 1 {
                    row.replace(',', ";")
                } else {
                    row
                });
            }
            match variant % 3 {
                0 => text.encode_utf16().flat_map(u16::to_le_bytes).collect(),
                _ => text.into_bytes(),
            }
        }
        Reader::Array => {
            let volts = sample_volts();
            let n = volts.len();
            let (descr, shape, data): (_, _, Vec<u8>) = match variant % 4 {
                0 => (
                    "<i2",
                    format!("{n},"),
                    volts.iter().flat_map(|v| v.to_le_bytes()).collect(),
                ),
                1 => (
                    "|i1",
                    format!("2, {n}"),
                    volts
                        .iter()
                        .chain(&volts)
                        .map(|v| (v / 200) as u8)
                        .collect(),
                ),
                2 => (
                    "<f4",
                    format!("{n}, 1"),
                    volts
                        .iter()
                        .flat_map(|&v| f32::from(v).to_le_bytes())
                        .collect(),
                ),
                _ => (
                    ">f8",
                    format!("{n},"),
                    volts
                        .iter()
                        .flat_map(|&v| f64::from(v).to_be_bytes())
                        .collect(),
                ),
            };
            let text =
                format!("{{'descr': '{descr}', 'fortran_order': False, 'shape': ({shape}), }}");
            let head = format!("{text:<117}\n");
            [&b"\x93NUMPY\x01\x00\x76\x00"[..], head.as_bytes(), &data].concat()
        }
        Reader::Sound => {
            let volts = sample_volts();
            let (bits, data): (u16, Vec<u8>) = match variant % 3 {
                0 => (8, volts.iter().map(|v| (v / 200 + 128) as u8).collect()),
                1 => (16, volts.iter().flat_map(|v| v.to_le_bytes()).collect()),
                _ => {
                    let wide = |v: &i16| (i32::from(*v) << 8).to_le_bytes();
                    let three = volts.iter().flat_map(|v| wide(v).into_iter().take(3));
                    (24, three.collect())
                }
            };
            let frame = bits / 8;
            let mut bytes =
                b"RIFF\0\0\0\0WAVELIST\x04\0\0\0nonefmt \x10\0\0\0\x01\0\x01\0".to_vec();
            bytes.extend(500_000_u32.to_le_bytes());
            bytes.extend((500_000 * u32::from(frame)).to_le_bytes());
            bytes.extend(frame.to_le_bytes());
            bytes.extend(bits.to_le_bytes());
            bytes.extend(b"data");
            bytes.extend((data.len() as u32).to_le_bytes());
            bytes.extend(data);
            bytes
        }
        Reader::Edges => Vec::new(),
    }
}

fn below(chance: &mut Stream, limit: usize) -> usize {
    (chance.next_u64() % limit.max(1) as u64) as usize
}

/// Changes, cuts, doubles, inserts and truncates, mostly near the beginning,
/// where headers are.
fn damage(bytes: &mut Vec<u8>, chance: &mut Stream) {
    let most = [1, 2, 7][below(chance, 3)];
    for _ in 0..=below(chance, most) {
        let near = [64, 300, bytes.len()][below(chance, 3)].min(bytes.len());
        let at = below(chance, near);
        let end = (at + below(chance, 40)).min(bytes.len());
        match below(chance, 6) {
            0 if at < bytes.len() => bytes[at] = below(chance, 256) as u8,
            1 if at < bytes.len() => bytes[at] ^= 1 << below(chance, 8),
            2 => drop(bytes.drain(at..end)),
            3 => {
                let again = bytes[at..end].repeat(1 + below(chance, 30));
                bytes.splice(at..at, again);
            }
            4 => {
                let word = WORDS[below(chance, WORDS.len())];
                bytes.splice(at..at, word.iter().copied());
            }
            _ if below(chance, 4) == 0 => bytes.truncate(at),
            _ => {}
        }
    }
}

/// What a reader told: how often, and the decoder's report or the fault.
type Told = (u64, Result<Box<SignalReport>, String>);

fn settings() -> DecoderSettings {
    DecoderSettings::new(EdgeUncertainty::sampled(1e-6, 0.0))
}

fn analyser(scale: Scale) -> ChannelAnalyser {
    ChannelAnalyser::new(ChannelSettings::new(Seconds::new(2e-6), scale, settings()))
}

fn dump(pieces: &[&[u8]]) -> Told {
    let mut told = 0;
    let mut reader = VcdReader::new(&["track"]);
    let mut wire = WireEdges::new(WirePair::Single);
    let mut decoder = Decoder::new(settings());
    let run = || {
        let mut take = |change| {
            told += 1;
            match wire.push(change) {
                Some(WireEvent::Edge(edge)) => drop(decoder.push(edge)),
                Some(WireEvent::Known(edge)) => decoder.resume(edge.at, edge.to),
                Some(WireEvent::Lost(at)) => drop(decoder.lose(at)),
                None => {}
            }
        };
        for piece in pieces {
            reader.push(piece, &mut take).map_err(|f| f.to_string())?;
        }
        let summary = reader.finish(&mut take).map_err(|f| f.to_string())?;
        Ok(Box::new(decoder.finish(summary.end).1))
    };
    let outcome = run();
    (told, outcome)
}

fn table(pieces: &[&[u8]]) -> Told {
    let mut told = 0;
    let wish = CsvWish::default().of("track");
    let mut reader = CsvReader::wished(wish);
    let mut analyser = analyser(Scale::VOLTS);
    let run = || {
        let mut take = |time: f64, values: &[f64]| {
            told += 1;
            analyser.push_at(Seconds::new(time), values[0], &mut |_| ());
        };
        for piece in pieces {
            reader.push(piece, &mut take).map_err(|f| f.to_string())?;
        }
        reader.finish(&mut take).map_err(|f| f.to_string())?;
        Ok(Box::new(analyser.finish(&mut |_| ())))
    };
    let outcome = run();
    (told, outcome)
}

/// What an analyser makes of the samples that `read` hands on.
fn sampled(read: impl FnOnce(&mut dyn FnMut(Samples<'_>)) -> Result<(), String>) -> Told {
    let mut told = 0;
    let mut analyser = analyser(Scale {
        gain: 1e-3,
        offset: 0.0,
        step: 1.0,
    });
    let read = read(&mut |samples: Samples<'_>| {
        told += samples.len() as u64;
        match samples {
            Samples::I8(list) => analyser.push(list, &mut |_| ()),
            Samples::I16(list) => analyser.push(list, &mut |_| ()),
            Samples::I32(list) => analyser.push(list, &mut |_| ()),
            Samples::F32(list) => analyser.push(list, &mut |_| ()),
            Samples::F64(list) => analyser.push(list, &mut |_| ()),
        }
    });
    (told, read.map(|()| Box::new(analyser.finish(&mut |_| ()))))
}

fn array(pieces: &[&[u8]]) -> Told {
    sampled(|take| {
        let mut reader = NpyReader::new(0, NpyLayout::Longer);
        for piece in pieces {
            reader
                .push(piece, &mut |s: Samples<'_>| take(s))
                .map_err(|f| f.to_string())?;
        }
        reader.finish().map(drop).map_err(|f| f.to_string())
    })
}

fn sound_file(pieces: &[&[u8]]) -> Told {
    sampled(|take| {
        let length = pieces.iter().map(|piece| piece.len() as u64).sum();
        let mut reader = WavReader::new(0, Some(length));
        for piece in pieces {
            reader
                .push(piece, &mut |s: Samples<'_>| take(s))
                .map_err(|f| f.to_string())?;
        }
        reader.finish().map(drop).map_err(|f| f.to_string())
    })
}

/// Edges moved, dropped, doubled, turned and thrown out of order.
fn framer(chance: &mut Stream) {
    let mut edges = sample_edges(below(chance, 2) == 0);
    for _ in 0..=below(chance, 60) {
        let at = below(chance, edges.len());
        match below(chance, 5) {
            0 => drop(edges.remove(at)),
            1 => edges.insert(at, edges[at]),
            2 => edges[at].to = edges[at].to.opposite(),
            3 => edges[at].to = Polarity::Zero,
            _ => {
                let far = [1_000, 30_000_000, 20_000_000_000, i64::MAX][below(chance, 4)];
                let by = (chance.next_u64() as i64).checked_rem(far).unwrap_or(far);
                edges[at].at += BenchSpan::from_picoseconds(by);
            }
        }
    }
    let mut decoder = Decoder::new(settings());
    let packets = edges.iter().filter_map(|&edge| decoder.push(edge)).count();
    let end = edges.last().map_or(BenchInstant::ZERO, |edge| edge.at);
    let (last, report) = decoder.finish(end);
    // A packet has 10 bits before its start bit at least.
    assert!((packets + usize::from(last.is_some())) * 20 <= edges.len());
    assert_eq!(report.edges, edges.len() as u64);
    assert!(report.packets.first.len() <= 32 && report.glitches.first.len() <= 32);
}

/// Whether the input could still be read to its end.
fn one(seed: u64) -> bool {
    let mut chance = Seed(0xDA_3A6E).stream(&[seed]);
    let kinds = [
        Reader::Dump,
        Reader::Table,
        Reader::Array,
        Reader::Edges,
        Reader::Sound,
    ];
    let reader = kinds[(seed % 5) as usize];
    let read = match reader {
        Reader::Dump => dump,
        Reader::Table => table,
        Reader::Array => array,
        Reader::Sound => sound_file,
        Reader::Edges => {
            framer(&mut chance);
            return true;
        }
    };
    let mut bytes = sound(reader, (seed / 5) as usize);
    damage(&mut bytes, &mut chance);
    let whole = read(&[&bytes]);
    let mut pieces = Vec::new();
    let mut rest = &bytes[..];
    let size = [3, 100, 5_000][below(&mut chance, 3)];
    while !rest.is_empty() {
        let (piece, others) = rest.split_at((1 + below(&mut chance, size)).min(rest.len()));
        pieces.push(piece);
        rest = others;
    }
    let parts = read(&pieces);
    // No byte is told twice.
    assert!(whole.0 <= bytes.len() as u64, "{} told", whole.0);
    match (&whole.1, &parts.1) {
        (Ok(a), Ok(b)) => assert_eq!(format!("{a:?}"), format!("{b:?}")),
        (Err(_), Err(_)) => {}
        _ => panic!("{reader:?}: whole {:?}, in pieces {:?}", whole.1, parts.1),
    }
    whole.1.is_ok()
}

/// Peak resident memory of this process.
fn peak() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kilobytes = line.and_then(|line| line.trim().trim_end_matches(" kB").parse::<u64>().ok());
    kilobytes.unwrap_or(0) * 1024
}

#[test]
fn nothing_read_can_break_a_reader() {
    let seconds = std::env::var("BUFFERSTOP_DAMAGE_SECONDS")
        .ok()
        .and_then(|seconds| seconds.parse().ok());
    let at_work = Arc::new(AtomicU64::new(0));
    watch(Arc::clone(&at_work));
    let begun = Instant::now();
    let mut sound = (0..40).filter(|&seed| one(seed)).count() as u64;
    let before = peak();
    let mut seed = 40;
    while seed < INPUTS || seconds.is_some_and(|s| begun.elapsed() < Duration::from_secs(s)) {
        at_work.store(seed, Ordering::Relaxed);
        match std::panic::catch_unwind(|| one(seed)) {
            Ok(read) => sound += u64::from(read),
            Err(panic) => {
                println!("input {seed} of tests/damage.rs breaks it");
                std::panic::resume_unwind(panic);
            }
        }
        seed += 1;
    }
    at_work.store(u64::MAX, Ordering::Relaxed);
    let grown = peak() - before;
    println!("{seed} damaged inputs, {sound} read to their end, memory grew by {grown} bytes");
    // A fifth are edges; if all else or nothing else were refused, the damage
    // would be of the wrong kind.
    assert!(
        sound > seed / 5 + seed / 20 && sound < seed * 9 / 10,
        "{sound} of {seed}"
    );
    // Beside other tests the memory is not this one's alone.
    assert!(seconds.is_none() || grown < MOST_GROWTH, "{grown} bytes");
}

/// Ends the whole process when an input takes too long: no test could.
fn watch(at_work: Arc<AtomicU64>) {
    std::thread::spawn(move || {
        loop {
            let before = at_work.load(Ordering::Relaxed);
            if before == u64::MAX {
                return;
            }
            std::thread::sleep(ENDLESS);
            if at_work.load(Ordering::Relaxed) == before {
                println!("input {before} of tests/damage.rs does not end");
                std::process::exit(70);
            }
        }
    });
}
