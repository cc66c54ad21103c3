//! `inspect` on fifty million 16-bit samples at 10 MS/s, the whole process: in
//! turn with a loop that merely reads the file, and with NumPy finding the same.
//! Then what noise costs, crossings in memory against reading them, and a
//! gigasample in bounded memory.

use super::command::{bufferstop, measured};
use super::median;
use bufferstop::capture_file::{NpyLayout, NpyReader, Samples};
use bufferstop::track::{
    ChannelAnalyser, ChannelSettings, DecoderSettings, EdgeUncertainty, PacketShape, Pattern,
    Polarity, Scale,
};
use bufferstop::units::Seconds;
use bufferstop::waveform::crossing::{CrossingDetector, Thresholds};
use std::fs::File;
use std::hint::black_box;
use std::io::{BufWriter, Read, Write};
use std::path::Path;
use std::process::Command;
use std::time::Instant;

const SAMPLES: usize = 50_000_000;
const GIGA: usize = 1_000_000_000;
const PERIOD: f64 = 1e-7;
const WORDS: [&str; 4] = ["--rate", "10 MHz", "--scale", "1 mV"];
/// Bytes read at a time.
const PIECE: usize = 1 << 17;
const ROUNDS: usize = 15;

/// Idle packets at 15 V, 10 MS/s, 1 mV a step, edges of 1 us, noise of 50 mV
/// peak; a stream of any length in constant memory.
struct Wave {
    steps: Vec<(i32, u32)>,
    step: usize,
    left: u32,
    value: i32,
    noise: u32,
}

impl Wave {
    fn new() -> Self {
        let pattern = Pattern::idle(&PacketShape::PLAIN).expect("a packet");
        let steps = pattern.steps.iter().map(|step| {
            let target = match step.polarity {
                Polarity::Positive => 15_000,
                Polarity::Negative => -15_000,
                Polarity::Zero => 0,
            };
            (target, (step.duration.picoseconds() / 100_000) as u32)
        });
        Self {
            steps: steps.collect(),
            step: 0,
            left: 0,
            value: -15_000,
            noise: 1,
        }
    }

    fn next(&mut self) -> i16 {
        if self.left == 0 {
            self.step = (self.step + 1) % self.steps.len();
            self.left = self.steps[self.step].1;
        }
        self.left -= 1;
        let target = self.steps[self.step].0;
        self.value += (target - self.value).clamp(-3_000, 3_000);
        // Marsaglia's xorshift (2003), from memory: quick, and noise enough.
        self.noise ^= self.noise << 13;
        self.noise ^= self.noise >> 17;
        self.noise ^= self.noise << 5;
        (self.value + (self.noise % 101) as i32 - 50) as i16
    }
}

fn header(samples: usize) -> Vec<u8> {
    let text = format!("{{'descr': '<i2', 'fortran_order': False, 'shape': ({samples},), }}");
    let mut bytes = b"\x93NUMPY\x01\x00\x76\x00".to_vec();
    bytes.extend(format!("{text:<117}\n").as_bytes());
    bytes
}

fn written(path: &Path, samples: impl Iterator<Item = i16>) {
    let mut file = BufWriter::new(File::create(path).expect("a file"));
    file.write_all(&header(SAMPLES)).expect("room");
    for sample in samples.take(SAMPLES) {
        file.write_all(&sample.to_le_bytes()).expect("room");
    }
    file.flush().expect("room");
}

/// Seconds to read the file and do nothing with it.
pub(super) fn read(path: &Path) -> f64 {
    let begun = Instant::now();
    let mut file = File::open(path).expect("there");
    let mut bytes = vec![0; PIECE];
    while file.read(&mut bytes).expect("readable") > 0 {
        black_box(&bytes);
    }
    begun.elapsed().as_secs_f64()
}

/// Seconds of the whole command.
pub(super) fn inspected(path: &Path, words: &[&str]) -> f64 {
    let begun = Instant::now();
    let done = Command::new(bufferstop())
        .arg("inspect")
        .arg(path)
        .args(words)
        .output()
        .expect("the command starts");
    let taken = begun.elapsed().as_secs_f64();
    assert!(!done.stdout.is_empty(), "nothing was told");
    taken
}

/// Seconds, edges and packets by NumPy, whose start is not counted; `None`
/// without the environment that `scripts/check` makes.
fn numpy(path: &Path) -> Option<(f64, String)> {
    let python = std::env::var("BUFFERSTOP_PYTHON").unwrap_or(".venv/bin/python".to_owned());
    let done = Command::new(python)
        .arg("scripts/bench/inspect_numpy.py")
        .arg(path)
        .output()
        .ok()
        .filter(|done| done.status.success())?;
    let said = String::from_utf8_lossy(&done.stdout).trim().to_owned();
    let (seconds, found) = said.split_once(' ')?;
    Some((seconds.parse().ok()?, found.to_owned()))
}

pub(crate) fn run() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("track.npy");
    let mut wave = Wave::new();
    written(&path, std::iter::repeat_with(|| wave.next()));
    let (mut reads, mut ours, mut theirs) = (Vec::new(), Vec::new(), Vec::new());
    let mut found = String::new();
    for round in 0..ROUNDS {
        reads.push(read(&path));
        ours.push(inspected(&path, &WORDS));
        if round % 3 == 0
            && let Some((seconds, told)) = numpy(&path)
        {
            theirs.push(seconds / ours[round]);
            found = told;
        }
    }
    let ratios = ours.iter().zip(&reads).map(|(a, b)| a / b).collect();
    println!("50 million 16-bit samples at 10 MS/s, idle packets, {ROUNDS} rounds");
    println!("merely read:    {:.1} ms", median(reads) * 1e3);
    println!(
        "inspect, whole: {:.1} ms, {:.2} of reading (median of pairs)",
        median(ours.clone()) * 1e3,
        median(ratios)
    );
    if theirs.is_empty() {
        println!("NumPy was not measured: run scripts/check first");
    } else {
        let ratio = median(theirs);
        println!("NumPy in pieces takes {ratio:.1} times as long, its start not counted");
        println!("NumPy's edges and packets: {found}");
    }
    let mut chance = Wave::new();
    let noise = std::iter::repeat_with(|| {
        chance.next();
        chance.noise as i16
    });
    written(&path, noise);
    let worst = (0..3).map(|_| inspected(&path, &WORDS)).collect();
    println!(
        "white noise over the whole range, an edge at every other sample: {:.0} ms",
        median(worst) * 1e3
    );
    memory();
}

/// Crossings of samples in memory against a pass that reads them.
fn memory() {
    let mut wave = Wave::new();
    let samples: Vec<i16> = std::iter::repeat_with(|| wave.next())
        .take(SAMPLES)
        .collect();
    let thresholds = Thresholds {
        level: 0.0,
        hysteresis: 2_500.0,
        dwell: 80.0,
    };
    let (mut times, mut ratios) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        let begun = Instant::now();
        let mut bits = 0;
        for &sample in black_box(&samples) {
            bits |= sample;
        }
        black_box(bits);
        let read = begun.elapsed().as_secs_f64();
        let begun = Instant::now();
        let mut detector = CrossingDetector::new(thresholds);
        let mut count = 0_u64;
        for piece in samples.chunks(PIECE) {
            detector.push(piece, &mut |_| count += 1);
        }
        assert!(count > 50_000);
        times.push(begun.elapsed().as_secs_f64());
        ratios.push(times[times.len() - 1] / read);
    }
    println!(
        "crossings of the same samples in memory: {:.1} ms, {:.2} of reading them",
        median(times) * 1e3,
        median(ratios)
    );
}

/// A gigasample through the reader and the analyser, made on the way; then the
/// command on a file of that length, of which only the beginning holds data.
pub(crate) fn giga() {
    let settings = ChannelSettings::new(
        Seconds::new(PERIOD),
        Scale {
            gain: 1e-3,
            offset: 0.0,
            step: 1.0,
        },
        DecoderSettings::new(EdgeUncertainty::sampled(PERIOD, 0.0)),
    );
    let begun = Instant::now();
    let mut wave = Wave::new();
    let mut reader = NpyReader::new(0, NpyLayout::Longer);
    let mut analyser = ChannelAnalyser::new(settings);
    let mut packets = 0_u64;
    let mut take = |samples: Samples<'_>| {
        if let Samples::I16(list) = samples {
            analyser.push(list, &mut |_| packets += 1);
        }
    };
    reader.push(&header(GIGA), &mut take).expect("sound");
    let mut bytes = Vec::with_capacity(PIECE);
    let mut left = GIGA;
    while left > 0 {
        bytes.clear();
        for _ in 0..left.min(PIECE / 2) {
            bytes.extend(wave.next().to_le_bytes());
        }
        left -= bytes.len() / 2;
        reader.push(&bytes, &mut take).expect("sound");
    }
    reader.finish().expect("whole");
    let report = analyser.finish(&mut |_| ());
    let peak = super::command::own_peak();
    println!(
        "a gigasample made on the way: {:.1} s, {} edges, {packets} packets, peak {:.0} MB",
        begun.elapsed().as_secs_f64(),
        report.edges,
        peak as f64 / 1e6
    );
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("long.npy");
    let mut wave = Wave::new();
    written(&path, std::iter::repeat_with(|| wave.next()));
    let mut file = File::options()
        .read(true)
        .write(true)
        .open(&path)
        .expect("there");
    file.write_all(&header(GIGA)).expect("room");
    file.set_len((header(GIGA).len() + 2 * GIGA) as u64)
        .expect("a hole");
    let name = path.to_str().expect("a plain path");
    let (seconds, peak) = measured(&[&["inspect", name][..], &WORDS].concat());
    println!(
        "inspect on a gigasample, 2 GB, silent after 5 s: {seconds:.2} s, peak {:.0} MB",
        peak as f64 / 1e6
    );
}
