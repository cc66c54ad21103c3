//! `inspect` on a value change dump of ten million changes, the whole process to
//! its report, in turn with a loop that merely reads the file and with the
//! reader alone; and what memory that takes.

use super::command::measured;
use super::median;
use bufferstop::capture_file::VcdReader;
use bufferstop::track::{PacketShape, Pattern, Polarity};
use std::fs::File;
use std::hint::black_box;
use std::io::{BufWriter, Read, Write};
use std::path::Path;
use std::time::Instant;

const CHANGES: usize = 10_000_000;
const ROUNDS: usize = 5;
const PIECE: usize = 1 << 20;

/// Idle packets sampled at 24 MHz, in a dump of nanoseconds.
fn written(path: &Path) -> u64 {
    let mut file = BufWriter::new(File::create(path).expect("a file"));
    let head = "$timescale 1 ns $end\n$var wire 1 ! rail $end\n$enddefinitions $end\n#0\n0!\n";
    file.write_all(head.as_bytes()).expect("room");
    let pattern = Pattern::idle(&PacketShape::PLAIN).expect("a packet");
    let mut now = 1_000_000_i64;
    for step in pattern.steps.iter().cycle().take(CHANGES) {
        let sampled = (now * 24 / 1_000_000 + 1) * 1_000_000 / 24;
        let level = u8::from(step.polarity == Polarity::Positive);
        writeln!(file, "#{}\n{level}!", sampled / 1_000).expect("room");
        // Some ppm off, so that lengths flicker as in a capture.
        now += step.duration.picoseconds() * 1_000_013 / 1_000_000;
    }
    file.flush().expect("room");
    std::fs::metadata(path).expect("there").len()
}

fn pieces(path: &Path, mut each: impl FnMut(&[u8])) -> f64 {
    let begun = Instant::now();
    let mut file = File::open(path).expect("there");
    let mut bytes = vec![0; PIECE];
    loop {
        match file.read(&mut bytes).expect("readable") {
            0 => return begun.elapsed().as_secs_f64(),
            count => each(&bytes[..count]),
        }
    }
}

/// A dump of ten million changes.
pub(crate) fn run() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("rail.vcd");
    let length = written(&path) as f64 / 1e6;
    let name = path.to_str().expect("a plain path");
    let (mut whole, mut alone, mut parsed) = (Vec::new(), Vec::new(), Vec::new());
    let mut peak = 0;
    for _ in 0..ROUNDS {
        alone.push(pieces(&path, |bytes| drop(black_box(bytes.len()))));
        let mut reader = VcdReader::new(&[]);
        let mut changes = 0_u64;
        parsed.push(pieces(&path, |bytes| {
            reader.push(bytes, &mut |_| changes += 1).expect("sound");
        }));
        assert!(changes > 9_000_000, "{changes} changes");
        let (seconds, memory) = measured(&["inspect", name]);
        whole.push(seconds);
        peak = peak.max(memory);
    }
    let rate = |times: Vec<f64>| length / median(times);
    println!(
        "{length:.0} MB of dump: inspect {:.0} MB/s, peak {:.0} MB; the reader alone {:.0} MB/s; merely read {:.0} MB/s",
        rate(whole),
        peak as f64 / 1e6,
        rate(parsed),
        rate(alone)
    );
}
