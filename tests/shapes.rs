//! What `inspect` says of slew, distortion and amplitude in noise, against
//! voltages that NumPy made: no signal within its bounds is called violated, and
//! none far beyond is let pass. `BUFFERSTOP_SHAPE_CAPTURES=40` tries more of each.

use crate::python::{interpreter, script};
use std::process::Command;

#[test]
fn no_signal_within_its_bounds_is_called_violated_in_noise() {
    let Some(python) = interpreter() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let captures = std::env::var("BUFFERSTOP_SHAPE_CAPTURES");
    let done = Command::new(python)
        .arg(script("shapes_check.py"))
        .arg(env!("CARGO_BIN_EXE_bufferstop"))
        .arg(folder.path())
        .arg(captures.as_deref().unwrap_or("2"))
        .output()
        .expect("Python starts");
    let said = String::from_utf8_lossy(&done.stdout);
    println!("{said}");
    let complained = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{said}{complained}");
}
