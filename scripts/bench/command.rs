//! Whole processes: the demo's wall time and memory, and how long the command
//! takes to say its help.

use super::median;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// The command as the bench profile built it.
pub(crate) fn bufferstop() -> PathBuf {
    PathBuf::from(env!("CARGO_BIN_EXE_bufferstop"))
}

/// Runs the command and returns its wall time in seconds and its peak resident
/// memory in bytes, read from /proc while it runs.
pub(crate) fn measured(words: &[&str]) -> (f64, u64) {
    let begun = Instant::now();
    let mut child = Command::new(bufferstop())
        .args(words)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the command starts");
    let status = format!("/proc/{}/status", child.id());
    let mut peak = 0;
    loop {
        if let Ok(text) = std::fs::read_to_string(&status) {
            peak = peak.max(high_water(&text));
        }
        if child
            .try_wait()
            .expect("the command can be waited for")
            .is_some()
        {
            return (begun.elapsed().as_secs_f64(), peak);
        }
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// The line `VmHWM: 12345 kB` of a process's status.
fn high_water(status: &str) -> u64 {
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.trim().trim_end_matches(" kB").parse::<u64>().ok())
        .map_or(0, |kilobytes| kilobytes * 1024)
}

/// Peak resident memory of this very process, in bytes.
pub(crate) fn own_peak() -> u64 {
    std::fs::read_to_string("/proc/self/status").map_or(0, |status| high_water(&status))
}

/// The demo: 12 boards, whole plans, pseudo-terminals, durable store.
pub(crate) fn demo() {
    let mut times = Vec::new();
    let mut peak = 0;
    for _ in 0..3 {
        let out = tempfile::tempdir().expect("a temporary folder");
        let (time, memory) =
            measured(&["demo", "--out", out.path().to_str().expect("a plain path")]);
        times.push(time);
        peak = peak.max(memory);
    }
    println!(
        "12 boards; load, overload, short and reversal; pseudo-terminals; SQLite, synchronous=FULL"
    );
    println!("bench time of the plan: see `bufferstop check fixtures/demo/plan.toml`");
    println!(
        "wall, median of 3: {:.2} s; peak memory {:.0} MB",
        median(times),
        peak as f64 / 1e6
    );
}

/// `--help`, cold caches aside.
pub(crate) fn help() {
    let times = (0..30)
        .map(|_| {
            let begun = Instant::now();
            let done = Command::new(bufferstop())
                .arg("--help")
                .stdout(Stdio::null())
                .status();
            assert!(done.expect("the command starts").success());
            begun.elapsed().as_secs_f64()
        })
        .collect();
    println!("--help, median of 30: {:.1} ms", median(times) * 1e3);
}

/// Peak resident memory of this process in bytes.
pub(crate) fn own_high_water() -> u64 {
    std::fs::read_to_string("/proc/self/status").map_or(0, |status| high_water(&status))
}

/// Processor time of this process so far in seconds, in ticks of 10 ms
/// (proc(5): fields 14 and 15, and a hundred ticks a second).
pub(crate) fn own_processor_time() -> f64 {
    let text = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // The name in the second field may hold anything, spaces too.
    let rest = text.rsplit(')').next().unwrap_or_default();
    let ticks = rest.split_whitespace().skip(11).take(2);
    ticks
        .filter_map(|word| word.parse::<f64>().ok())
        .sum::<f64>()
        / 100.0
}
