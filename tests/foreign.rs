//! Capture files written by programs that nobody of this project wrote: NumPy,
//! SciPy and the standard library of Python; each must give the wave that they
//! were given. Then files that are none, and files that end where no one may.

use crate::inspect::{file, inspect};
use crate::python::{interpreter, script};
use bufferstop::capture_file::{CsvReader, CsvWish, NpyLayout, NpyReader, Samples, WavReader};
use std::path::Path;
use std::process::Command;

const STEP: f64 = 0.125;
const RATE: f64 = 250_000.0;

fn numbers(samples: Samples<'_>, list: &mut Vec<f64>) {
    match samples {
        Samples::I8(s) => list.extend(s.iter().map(|&v| f64::from(v))),
        Samples::I16(s) => list.extend(s.iter().map(|&v| f64::from(v))),
        Samples::I32(s) => list.extend(s.iter().map(|&v| f64::from(v))),
        Samples::F32(s) => list.extend(s.iter().map(|&v| f64::from(v))),
        Samples::F64(s) => list.extend_from_slice(s),
    }
}

fn array(path: &Path, channel: usize) -> Vec<f64> {
    let bytes = std::fs::read(path).expect("written by Python");
    let mut list = Vec::new();
    let name = path.display();
    if path.extension().is_some_and(|ending| ending == "wav") {
        let mut reader = WavReader::new(channel, Some(bytes.len() as u64));
        for piece in bytes.chunks(101) {
            let pushed = reader.push(piece, &mut |s| numbers(s, &mut list));
            pushed.unwrap_or_else(|fault| panic!("{name}: {fault}"));
        }
        let summary = reader
            .finish()
            .unwrap_or_else(|fault| panic!("{name}: {fault}"));
        assert_eq!(summary.rate, RATE, "{name}");
    } else {
        let mut reader = NpyReader::new(channel, NpyLayout::Longer);
        for piece in bytes.chunks(101) {
            let pushed = reader.push(piece, &mut |s| numbers(s, &mut list));
            pushed.unwrap_or_else(|fault| panic!("{name}: {fault}"));
        }
        reader
            .finish()
            .unwrap_or_else(|fault| panic!("{name}: {fault}"));
    }
    list
}

#[test]
fn files_of_other_programs_hold_the_wave_they_were_given() {
    let Some(python) = interpreter() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let done = Command::new(python)
        .arg(script("capture_files.py"))
        .arg(folder.path())
        .output()
        .expect("Python starts");
    let complained = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{complained}");
    let truth = std::fs::read_to_string(folder.path().join("truth.txt")).expect("written");
    let truth: Vec<f64> = truth
        .lines()
        .map(|line| line.parse().expect("a code"))
        .collect();
    let mut read = 0;
    for (name, channel, shift) in [
        ("i1.npy", 0, 0.0),
        ("i2.npy", 0, 0.0),
        ("i2be.npy", 0, 0.0),
        ("i4.npy", 0, 0.0),
        ("i8.npy", 0, 0.0),
        ("u1.npy", 0, 100.0),
        ("u2.npy", 0, 100.0),
        ("u4.npy", 0, 100.0),
        ("f2.npy", 0, 0.0),
        ("f4.npy", 0, 0.0),
        ("f8.npy", 0, 0.0),
        ("rows.npy", 1, 0.0),
        ("columns.npy", 1, 0.0),
        ("fortran.npy", 1, 0.0),
        ("fortran_columns.npy", 1, 0.0),
        ("version2.npy", 0, 0.0),
        ("w8.wav", 1, 0.0),
        ("w16.wav", 1, 0.0),
        ("w24.wav", 1, 0.0),
        ("w32.wav", 1, 0.0),
        ("s16.wav", 0, 0.0),
        ("s32.wav", 0, 0.0),
        ("sf32.wav", 0, 0.0),
        ("sf64.wav", 0, 0.0),
        ("open.wav", 0, 0.0),
        ("long.wav", 0, 0.0),
    ] {
        let found = array(&folder.path().join(name), channel);
        let planted: Vec<f64> = truth.iter().map(|code| code + shift).collect();
        assert_eq!(found, planted, "{name}");
        read += 1;
    }
    for name in [
        "excel.csv",
        "tabs.csv",
        "unix.csv",
        "semicolons.csv",
        "savetxt.csv",
        "savetxt.tsv",
    ] {
        let bytes = std::fs::read(folder.path().join(name)).expect("written");
        let mut reader = CsvReader::wished(CsvWish::default());
        let mut rows = Vec::new();
        let mut take = |time: f64, values: &[f64]| rows.push((time, values[0]));
        for piece in bytes.chunks(997) {
            reader
                .push(piece, &mut take)
                .unwrap_or_else(|fault| panic!("{name}: {fault}"));
        }
        reader
            .finish(&mut take)
            .unwrap_or_else(|fault| panic!("{name}: {fault}"));
        assert_eq!(rows.len(), truth.len(), "{name}");
        for (n, (&(time, value), code)) in rows.iter().zip(&truth).enumerate() {
            assert!(
                (time - n as f64 / RATE).abs() < 1e-9,
                "{name}, row {n}: {time}"
            );
            assert!(
                (value - code * STEP).abs() < 1e-9,
                "{name}, row {n}: {value}"
            );
        }
        read += 1;
    }
    assert_eq!(read, 32);
}

/// What is not a file with an end is refused at once, and what is no run's file
/// without being held in memory.
#[test]
fn pipes_devices_and_other_documents_are_refused() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for name in ["a.vcd", "a.csv", "a.npy", "a.wav", "a.json"] {
        let pipe = folder.path().join(name);
        let made = Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .expect("mkfifo is there");
        assert!(made.success());
        let told = inspect(
            &pipe,
            &["--rate", "1 MHz"][..usize::from(!name.ends_with("json")) * 2],
        );
        assert_eq!(told.status, 65, "{name}: {}", told.said);
        assert!(
            told.said.contains("not a plain file"),
            "{name}: {}",
            told.said
        );
        std::fs::remove_file(&pipe).expect("removed");
        std::os::unix::fs::symlink("/dev/zero", &pipe).expect("a link");
        let told = inspect(&pipe, &[]);
        assert_eq!(told.status, 65, "{name}: {}", told.said);
    }
    let (_folder, other) = file("a.json", br#"{"format": 1, "rows": [1, 2]}"#);
    let told = inspect(&other, &[]);
    assert_eq!(told.status, 65, "{}", told.said);
    assert!(told.said.contains("records export"), "{}", told.said);
}

/// A drawing never replaces the capture, by whatever path, nor anything that is
/// not a drawing.
#[test]
fn a_drawing_spares_what_is_there() {
    let text = "time (s),rail (V)\n0.5,1\n1.5,2\n";
    let (folder, path) = file("track.csv", text.as_bytes());
    let link = folder.path().join("link.svg");
    std::os::unix::fs::symlink(&path, &link).expect("a link");
    let hard = folder.path().join("hard.svg");
    std::fs::hard_link(&path, &hard).expect("a second name");
    let around = folder.path().join(".").join("track.csv");
    let notes = folder.path().join("notes.txt");
    std::fs::write(&notes, "keep me").expect("written");
    for place in [&path, &link, &hard, &around, &notes] {
        let told = inspect(&path, &["--plot", place.to_str().expect("a plain path")]);
        assert_eq!(told.status, 64, "{}: {}", place.display(), told.said);
        assert!(told.said.contains("nothing was written"), "{}", told.said);
        assert_eq!(std::fs::read_to_string(&path).expect("there"), text);
    }
    assert_eq!(std::fs::read_to_string(&notes).expect("there"), "keep me");
    let fresh = folder.path().join("fresh.svg");
    for _ in 0..2 {
        inspect(&path, &["--plot", fresh.to_str().expect("a plain path")]);
        let drawn = std::fs::read_to_string(&fresh).expect("drawn");
        assert!(
            drawn.starts_with("<svg") || drawn.starts_with("<?xml"),
            "{drawn:.40}"
        );
    }
}
