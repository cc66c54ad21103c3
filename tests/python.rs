//! Python programs that nobody of this project wrote, run against the command:
//! a client of the model instruments. Skipped, saying so, where
//! `scripts/check` has not made the environment.

use bufferstop::capture_file::{NpyLayout, NpyReader, Samples};
use bufferstop::waveform::crossing::{CrossingDetector, Thresholds};
use bufferstop::waveform::levels::LevelHistogram;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// The interpreter with the packages of `scripts/python-packages.txt`.
pub(crate) fn interpreter() -> Option<PathBuf> {
    let place = std::env::var_os("BUFFERSTOP_PYTHON").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join(".venv/bin/python"),
        PathBuf::from,
    );
    if place.exists() {
        return Some(place);
    }
    crate::tools::absent(&format!(
        "no Python environment at {}; run scripts/check",
        place.display()
    ));
    None
}

pub(crate) fn script(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/python")
        .join(name)
}

/// A `model-bench` that is stopped when the test ends, however it ends.
struct Served(Child);

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn pyvisa_talks_to_the_model_instruments() {
    let Some(python) = interpreter() else { return };
    let mut child = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .args(["model-bench", "--json"])
        .stdout(Stdio::piped())
        .spawn()
        .expect("the command starts");
    let stdout = child.stdout.take().expect("standard output is a pipe");
    let _served = Served(child);
    let mut ports = String::new();
    BufReader::new(stdout)
        .read_line(&mut ports)
        .expect("the command names its ports");
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("ports.json");
    std::fs::write(&file, &ports).expect("the ports are written");
    let done = Command::new(python)
        .arg(script("visa_client.py"))
        .arg(&file)
        .output()
        .expect("Python starts");
    let said = String::from_utf8_lossy(&done.stdout);
    let complained = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{said}\n{complained}");
    assert!(said.trim_end().ends_with("0 failed"), "{said}");
}

/// The demo's XML is read by junitparser and its store by sqlite3 and hashlib:
/// both must say what the records say.
#[test]
fn outside_readers_agree_with_the_records() {
    let Some(python) = interpreter() else { return };
    let out = tempfile::tempdir().expect("a temporary folder");
    let plan = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/plan.toml");
    for (serial, defect) in [("J1", None), ("J2", Some("trip never"))] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_bufferstop"));
        command
            .env_remove("BUFFERSTOP_BENCH")
            .arg("accept")
            .arg(&plan)
            .args(["--serial", serial, "--out"]);
        command
            .arg(out.path())
            .args(defect.map(|name| ["--defect", name]).into_iter().flatten());
        let done = command.output().expect("the command runs");
        assert_eq!(
            done.status.code(),
            Some(i32::from(defect.is_some())),
            "{serial}"
        );
    }
    let (parquet, lines) = (out.path().join("m.parquet"), out.path().join("m.jsonl"));
    for (form, file) in [("--parquet", &parquet), ("--json-lines", &lines)] {
        let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
            .args(["records", "export", "--model", form, "--out"])
            .arg(out.path())
            .arg("--file")
            .arg(file)
            .output()
            .expect("the command runs");
        assert_eq!(done.status.code(), Some(0), "{form}");
    }
    for (name, targets) in [
        ("junit_check.py", vec![out.path().to_owned()]),
        ("chain_check.py", vec![out.path().join("model.sqlite")]),
        ("parquet_check.py", vec![parquet, lines]),
    ] {
        let done = Command::new(&python)
            .arg(script(name))
            .args(targets)
            .output()
            .expect("Python starts");
        let said = String::from_utf8_lossy(&done.stdout);
        assert!(
            done.status.success(),
            "{name}: {said}{}",
            String::from_utf8_lossy(&done.stderr)
        );
        assert!(!said.trim().is_empty(), "{name} says nothing");
    }
}

/// Crossings and state levels of captures that NumPy made, as the crate reads
/// them, against SciPy's reading, and what the command says of their transitions
/// and halves against what they were made with.
#[test]
fn scipy_reads_the_same_crossings_levels_and_transitions() {
    let Some(python) = interpreter() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let run = |mode: &str| {
        let done = Command::new(&python)
            .arg(script("waveform_check.py"))
            .arg(mode)
            .arg(folder.path())
            .output()
            .expect("Python starts");
        let said = String::from_utf8_lossy(&done.stdout).into_owned();
        let complained = String::from_utf8_lossy(&done.stderr);
        assert!(done.status.success(), "{said}{complained}");
        said
    };
    let made = run("make");
    let count = made.split(' ').next().and_then(|n| n.parse::<usize>().ok());
    for case in 0..count.expect("a number of captures") {
        let path = folder.path().join(format!("case-{case}.npy"));
        let read = readings(&path);
        let to = folder.path().join(format!("read-{case}.json"));
        std::fs::write(to, read.to_string()).expect("written");
    }
    let said = run("check");
    assert!(
        said.contains("crossings") && said.contains("0 failed"),
        "{said}"
    );
    println!("{said}");
}

/// What crate and command read in the array of volts, times in samples.
fn readings(path: &Path) -> serde_json::Value {
    let bytes = std::fs::read(path).expect("an array");
    let mut reader = NpyReader::new(0, NpyLayout::Longer);
    let mut volts: Vec<f64> = Vec::new();
    let mut keep = |samples: Samples<'_>| match samples {
        Samples::F64(list) => volts.extend(list),
        other => panic!("{other:?}"),
    };
    reader.push(&bytes, &mut keep).expect("a sound array");
    reader.finish().expect("a whole array");
    let mut detector = CrossingDetector::new(Thresholds {
        level: 0.0,
        hysteresis: 2.5,
        dwell: f64::INFINITY,
    });
    let mut crossings = Vec::new();
    detector.push(&volts, &mut |crossing| crossings.push(crossing.position));
    let mut histogram = LevelHistogram::new(0.0);
    histogram.push_every(&volts, 0, 1);
    let levels = histogram.levels().expect("two levels");
    // One sample a 250 ns, so that halves are those of a track signal.
    let told = crate::inspect::inspect(path, &["--rate", "4 MHz", "--scale", "1 V"]);
    let samples = |place: &str| {
        let found = told.json["signal"].pointer(place);
        let found = found.unwrap_or_else(|| panic!("no {place}: {}", told.said));
        ["value", "u"].map(|part| found[part].as_f64().expect("a number") * 4e6)
    };
    let states = &told.json["signal"]["levels"]["states"];
    serde_json::json!({
        "crossings": crossings,
        "levels": [levels.low, levels.high],
        "command": {
            "levels": [states["low"], states["high"]],
            "durations": [
                samples("/shape/rising/duration"),
                samples("/shape/falling/duration"),
            ],
            "halves": [
                samples("/ones/all/least/estimate"),
                samples("/ones/all/maximum/estimate"),
            ],
        },
    })
}
