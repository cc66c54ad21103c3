//! The command killed or stopped while it has energy in a board, on ports that
//! belong to another process, as root and as an ordinary user. The bench is
//! served from here, so that its circuit can be asked; nothing is asked over a
//! port.

use super::between::Between;
use super::number;
use super::trick::Trick;
use crate::guardian::{bench_on, fixture};
use bufferstop::bench_file;
use bufferstop::ident::Role;
use bufferstop::model_bench::{ModelBench, Pace, Transport, world};
use bufferstop::model_board::BoardParameters;
use bufferstop::plan::demo;
use bufferstop::profile;
use bufferstop::seed::{Seed, Stream};
use rustix::process::{Pid, Signal, kill_process};
use serde_json::json;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// What is asked of every end.
const SAFE_WITHIN: Duration = Duration::from_secs(1);
/// How long is waited before a board counts as left energised.
const PATIENCE: Duration = Duration::from_secs(8);
/// `nobody` on Debian and on most others.
const NOBODY: u32 = 65_534;

/// Who runs the command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum User {
    Same,
    /// Needs root to become it.
    Ordinary,
}

/// What is done to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Blow {
    Kill,
    Stop,
}

/// How one blow ended.
#[derive(Debug)]
enum End {
    /// Nothing was energised when it fell.
    Idle,
    Safe(Duration),
    Energised,
    /// A run that was stopped ended as if nothing had been.
    Passed,
}

/// The command and its guardian, ended with the test.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn served(seed: u64) -> (Between, ModelBench) {
    let bench = bench_file::parse(&demo::bench()).expect("a bench").0;
    let roles: Vec<Role> = bench.instruments.iter().map(|i| i.role).collect();
    let shipped = |&role: &Role| (role, profile::shipped(role.word()).expect("a profile"));
    let profiles = roles.iter().map(shipped).collect();
    let board = BoardParameters::default();
    let name = Some("booster GR3 rev 2 firmware 1.4");
    let world = world(&bench, &profiles, &board, name, Seed(seed)).expect("a circuit");
    let between = Between::new(world, Trick::None, 0, Seed(seed).stream(&[1]));
    let started = ModelBench::start(
        Box::new(between.clone()),
        &roles,
        Transport::Pty,
        Pace::Wall,
    );
    (between, started.expect("pseudo-terminals"))
}

fn command(user: User, folder: &std::path::Path, bench: &ModelBench) -> Command {
    let program = env!("CARGO_BIN_EXE_bufferstop");
    let mut command = match user {
        User::Same => Command::new(program),
        User::Ordinary => {
            for (_, path) in bench.paths() {
                std::os::unix::fs::chown(path, Some(NOBODY), None).expect("root may");
            }
            std::os::unix::fs::chown(folder, Some(NOBODY), None).expect("root may");
            let copy = folder.join("bufferstop");
            std::fs::copy(program, &copy).expect("room");
            let plan = folder.join("plan.toml");
            std::fs::copy(fixture("plan.toml"), plan).expect("room");
            let mut command = Command::new("setpriv");
            let ids = [format!("--reuid={NOBODY}"), format!("--regid={NOBODY}")];
            command.args(ids).arg("--clear-groups").arg(copy);
            command
        }
    };
    let plan = match user {
        User::Same => fixture("plan.toml"),
        User::Ordinary => folder.join("plan.toml"),
    };
    command
        .env_remove("BUFFERSTOP_BENCH")
        .current_dir(folder)
        .arg("accept")
        .arg(plan)
        .args(["--serial", "K1", "--json", "--ready"])
        .args(["--bench", "bench.toml"])
        .args(["--out", "reports"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null());
    command
}

fn strike(blow: Blow, user: User, seed: u64) -> End {
    let mut chance = Seed(seed).stream(&[0xB1, blow as u64]);
    let (between, bench) = served(seed);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let ports = bench.paths().iter();
    let ports: Vec<_> = ports
        .map(|(role, path)| json!({"role": role, "path": path}))
        .collect();
    let text = bench_on(&json!({ "ports": ports }));
    std::fs::write(folder.path().join("bench.toml"), text).expect("room");
    let child = command(user, folder.path(), &bench).spawn();
    let mut run = Running(child.expect("the command starts"));
    let out = run.0.stdout.take().expect("a pipe");
    let mut lines = BufReader::new(out).lines().map_while(Result::ok);
    let steps = 2 + (chance.next_u64() % 8) as usize;
    let energising = |line: &String| line.contains("\"energises\":true");
    let reached = lines.by_ref().filter(energising).nth(steps);
    assert!(reached.is_some(), "the run ended before step {steps}");
    std::thread::sleep(Duration::from_secs_f64(0.3 * chance.uniform()));
    wait_for_energy(&between, &mut chance);
    let pid = Pid::from_child(&run.0);
    let signal = match blow {
        Blow::Kill => Signal::KILL,
        Blow::Stop => Signal::STOP,
    };
    let energised = between.energy().is_there();
    kill_process(pid, signal).expect("it is there");
    let struck = Instant::now();
    if !energised {
        return End::Idle;
    }
    while between.energy().is_there() {
        if struck.elapsed() > PATIENCE {
            return End::Energised;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    let safe = struck.elapsed();
    // It stays so.
    std::thread::sleep(Duration::from_millis(300));
    if between.energy().is_there() {
        return End::Energised;
    }
    if blow == Blow::Stop {
        let drain = std::thread::spawn(move || lines.count());
        kill_process(pid, Signal::CONT).expect("it is there");
        if run.0.wait().expect("it ends").success() {
            return End::Passed;
        }
        drop(drain.join());
    }
    End::Safe(safe)
}

/// A moment of the run in which there is something to be made safe.
fn wait_for_energy(between: &Between, chance: &mut Stream) {
    let begun = Instant::now();
    let _ = chance.next_u64();
    while !between.energy().is_there() && begun.elapsed() < Duration::from_secs(5) {
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// Strikes `count` times and says what came of it; whether all was well.
fn campaign(blow: Blow, user: User, count: u64) -> bool {
    let first = number("BUFFERSTOP_FAULT_SEED").unwrap_or(1);
    let (mut idle, mut safe, mut late, mut left, mut passed) = (0, 0, 0, Vec::new(), 0);
    let mut worst = Duration::ZERO;
    for seed in first..first + count {
        match strike(blow, user, seed) {
            End::Idle => idle += 1,
            End::Energised => left.push(seed),
            End::Passed => passed += 1,
            End::Safe(after) => {
                safe += 1;
                late += u64::from(after > SAFE_WITHIN);
                worst = worst.max(after);
            }
        }
        let done = seed + 1 - first;
        if done.is_multiple_of(25) || done == count {
            println!(
                "{blow:?} as {user:?}: {done} of {count}, {safe} made safe, worst {:.3} s, \
                 {late} later than {SAFE_WITHIN:?}, {idle} with nothing on, \
                 {passed} passed, left energised: {left:?}",
                worst.as_secs_f64()
            );
        }
    }
    left.is_empty() && late == 0 && passed == 0
}

/// Whoever runs this, and an ordinary user too where that can be had.
fn users() -> Vec<User> {
    let root = rustix::process::geteuid().is_root();
    let mut users = vec![User::Same];
    users.extend(root.then_some(User::Ordinary));
    users
}

#[test]
fn killed_it_is_made_safe_within_a_second() {
    for user in users() {
        assert!(campaign(Blow::Kill, user, 2), "as {user:?}");
    }
}

#[test]
#[ignore = "a campaign of an hour: scripts/long"]
fn every_kill_and_every_stall_is_made_safe() {
    let kills = number("BUFFERSTOP_KILLS").unwrap_or(500);
    let stalls = number("BUFFERSTOP_STALLS").unwrap_or(200);
    let mut well = true;
    for user in users() {
        well &= campaign(Blow::Kill, user, kills);
        well &= campaign(Blow::Stop, user, stalls);
    }
    assert!(well, "see the lines above");
}
