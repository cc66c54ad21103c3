//! How fast a track signal is read: a dump of ten million changes, and fifty
//! million 16-bit samples of a square wave, each through to the report. Medians
//! of five.

use super::median;
use bufferstop::capture_file::{VcdReader, WireEdges, WireEvent, WirePair};
use bufferstop::track::{
    ChannelAnalyser, ChannelSettings, Decoder, DecoderSettings, EdgeUncertainty, Scale,
};
use bufferstop::units::Seconds;
use std::fmt::Write as _;
use std::hint::black_box;
use std::time::Instant;

const CHANGES: usize = 10_000_000;
const SAMPLES: usize = 50_000_000;
/// Bytes and samples pushed at a time.
const PIECE: usize = 1 << 16;

pub(crate) fn run() {
    dump();
    for samples_per_half in [58, 580, 1160] {
        samples(samples_per_half);
    }
}

fn seconds(mut work: impl FnMut()) -> f64 {
    let times = (0..5).map(|_| {
        let start = Instant::now();
        work();
        start.elapsed().as_secs_f64()
    });
    median(times.collect())
}

fn dump() {
    let mut text =
        String::from("$timescale 1 us $end $var wire 1 ! track $end $enddefinitions $end\n");
    for change in 0..CHANGES {
        let _ = writeln!(text, "#{}\n{}!", change * 58, change % 2);
    }
    let megabytes = text.len() as f64 / 1e6;
    let read = seconds(|| {
        let mut reader = VcdReader::new(&["track"]);
        let mut count = 0_u64;
        for piece in text.as_bytes().chunks(PIECE) {
            reader.push(piece, &mut |_| count += 1).expect("sound");
        }
        black_box(reader.finish(&mut |_| count += 1).expect("whole"));
        assert_eq!(count, CHANGES as u64);
    });
    let whole = seconds(|| {
        let mut reader = VcdReader::new(&["track"]);
        let mut wire = WireEdges::new(WirePair::Single);
        let edge = EdgeUncertainty::sampled(1e-6, 0.0);
        let mut decoder = Decoder::new(DecoderSettings::new(edge));
        for piece in text.as_bytes().chunks(PIECE) {
            let sink = &mut |change| match wire.push(change) {
                Some(WireEvent::Edge(edge)) => drop(decoder.push(edge)),
                Some(WireEvent::Known(edge)) => decoder.resume(edge.at, edge.to),
                Some(WireEvent::Lost(at)) => drop(decoder.lose(at)),
                None => {}
            };
            reader.push(piece, sink).expect("sound");
        }
        let end = reader.finish(&mut |_| ()).expect("whole").end;
        black_box(decoder.finish(end));
    });
    println!(
        "dump of 10 million changes, {megabytes:.0} MB: read at {:.0} MB/s, to the report at {:.0} MB/s",
        megabytes / read,
        megabytes / whole
    );
}

fn samples(samples_per_half: usize) {
    let wave: Vec<i16> = (0..SAMPLES)
        .map(|n| {
            let flat = if (n / samples_per_half).is_multiple_of(2) {
                15_000
            } else {
                -15_000
            };
            flat + (n % 7) as i16
        })
        .collect();
    let period = 58e-6 / samples_per_half as f64;
    let scale = Scale {
        gain: 1e-3,
        offset: 0.0,
        step: 1.0,
    };
    let decoder = DecoderSettings::new(EdgeUncertainty::sampled(period, 0.0));
    let whole = seconds(|| {
        let settings = ChannelSettings::new(Seconds::new(period), scale, decoder);
        let mut analyser = ChannelAnalyser::new(settings);
        for piece in wave.chunks(PIECE) {
            analyser.push(piece, &mut |_| ());
        }
        let report = analyser.finish(&mut |_| ());
        assert!(report.edges as usize >= SAMPLES / samples_per_half - 1);
        black_box(report);
    });
    println!(
        "50 million samples, {samples_per_half} a half-bit: {:.1} ms to the report",
        whole * 1e3
    );
}
