//! Captures in noise that a Python program made in closed form, read by the
//! command, and its figures judged by that program: errors over U, by noise,
//! rate and bits. A seeded sample of about a minute;
//! `BUFFERSTOP_SIGNAL_CAPTURES=2000` for a long campaign. Skipped, saying so,
//! where `scripts/check` has not made the environment.

use crate::python::{interpreter, script};
use std::path::Path;
use std::process::Command;

const CAPTURES: usize = 84;
/// Captures made, read and deleted at a time.
const BATCH: usize = 42;

/// Runs the program on a folder and tells what it said; it must end well.
fn run(python: &Path, folder: &Path, words: &[&str]) -> String {
    let done = Command::new(python)
        .arg(script("noisy_signal.py"))
        .arg(words[0])
        .arg(folder)
        .args(&words[1..])
        .output()
        .expect("Python starts");
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    let complained = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{said}{complained}");
    said
}

/// Reads captures on two threads.
fn read_all(folder: &Path, numbers: &[usize]) {
    let (even, odd): (Vec<usize>, Vec<usize>) = numbers.iter().partition(|n| *n % 2 == 0);
    std::thread::scope(|scope| {
        for half in [even, odd] {
            scope.spawn(move || half.into_iter().for_each(|number| read(folder, number)));
        }
    });
}

#[test]
fn figures_in_noise_err_as_much_as_they_say() {
    let Some(python) = interpreter() else { return };
    let count = std::env::var("BUFFERSTOP_SIGNAL_CAPTURES");
    let count = count.map_or(CAPTURES, |n| n.parse().expect("a number of captures"));
    let folder = tempfile::tempdir().expect("a temporary folder");
    for first in (0..count).step_by(BATCH) {
        let numbers: Vec<usize> = (first..(first + BATCH).min(count)).collect();
        let words = ["make", &numbers.len().to_string(), &first.to_string()];
        run(&python, folder.path(), &words);
        read_all(folder.path(), &numbers);
    }
    let words = ["check", &count.to_string()];
    println!("{}", run(&python, folder.path(), &words));
}

/// NMRA S-9.1:2020 tables 1 to 3, both sides of each limit in noise: what lies
/// within it by next to nothing is a violation no more often than U promises,
/// what lies beyond it by more than noise hides always is.
#[test]
fn limits_have_two_sides_in_noise_too() {
    let Some(python) = interpreter() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let made = run(&python, folder.path(), &["limits"]);
    let count = made.split(' ').next().and_then(|n| n.parse().ok());
    let numbers: Vec<usize> = (0..count.expect("a number of captures")).collect();
    read_all(folder.path(), &numbers);
    println!("{}", run(&python, folder.path(), &["check-limits"]));
}

/// Reads one capture as a person would and keeps what the command reported.
fn read(folder: &Path, number: usize) {
    let made = folder.join(format!("case-{number}.json"));
    let made: serde_json::Value =
        serde_json::from_slice(&std::fs::read(made).expect("its truth")).expect("JSON");
    let (rate, step) = (made["rate"].as_f64(), made["step"].as_f64());
    let rate = format!("{} Hz", rate.expect("a rate"));
    let scale = format!("{:e} V", step.expect("a step"));
    let array = folder.join(format!("case-{number}.npy"));
    let told = crate::inspect::inspect(&array, &["--rate", &rate, "--scale", &scale]);
    let signal = &told.json["signal"];
    assert!(signal.is_object(), "{number}: {}", told.said);
    for (kind, part) in [("read", signal), ("rows", &told.json["rules"])] {
        let to = folder.join(format!("{kind}-{number}.json"));
        std::fs::write(to, part.to_string()).expect("written");
    }
    std::fs::remove_file(array).expect("deleted");
}
