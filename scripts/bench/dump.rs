//! `inspect` on a value change dump of ten million changes, the whole process, in
//! turn with merely reading the file: halves that are exact, and halves that
//! jitter by up to 200 ns.

use super::inspect::{inspected, read};
use super::median;
use bufferstop::track::{PacketShape, Pattern};
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;

const CHANGES: usize = 10_000_000;
const ROUNDS: usize = 7;

/// Idle packets on one wire, a nanosecond a tick.
fn written(path: &Path, jitter: u64) -> u64 {
    let pattern = Pattern::idle(&PacketShape::PLAIN).expect("a packet");
    let steps = pattern.steps.iter().cycle().take(CHANGES);
    let mut file = BufWriter::new(File::create(path).expect("a file"));
    let head = "$timescale 1 ns $end $var wire 1 ! track $end $enddefinitions $end\n#0\n0!\n";
    file.write_all(head.as_bytes()).expect("room");
    let (mut at, mut chance) = (0, 1_u64);
    for (number, step) in steps.enumerate() {
        at += step.duration.picoseconds() as u64 / 1_000;
        // Marsaglia's xorshift (2003), from memory.
        chance ^= chance << 13;
        chance ^= chance >> 7;
        chance ^= chance << 17;
        let late = chance % (jitter + 1);
        writeln!(file, "#{}\n{}!", at + late, (number + 1) % 2).expect("room");
    }
    file.flush().expect("room");
    drop(file);
    std::fs::metadata(path).expect("there").len()
}

pub(crate) fn run() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("track.vcd");
    for jitter in [0, 200] {
        let megabytes = written(&path, jitter) as f64 / 1e6;
        let (mut reads, mut ours) = (Vec::new(), Vec::new());
        for _ in 0..ROUNDS {
            reads.push(read(&path));
            ours.push(inspected(&path, &[]));
        }
        let ratios = ours.iter().zip(&reads).map(|(a, b)| a / b).collect();
        println!(
            "10 million changes, {megabytes:.0} MB, jitter {jitter} ns: {:.0} MB/s to the report, {:.1} of reading",
            megabytes / median(ours),
            median(ratios)
        );
    }
}
