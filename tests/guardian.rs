//! A program that is killed in a way that cannot be caught, on ports that
//! outlive it: its guardian makes the bench safe. The bench is the command's
//! own model bench, served by another process, so the ports are real ones to
//! the program under test.

use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A process that ends with the test.
pub(crate) struct Running(pub(crate) Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn command() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bufferstop"));
    command.env_remove("BUFFERSTOP_BENCH");
    command
}

/// A run of `plan` on `bench` that asks nobody; its records lie beside that file.
pub(crate) fn accept(plan: &Path, serial: &str, bench: &Path) -> Command {
    let mut command = command();
    accepts(&mut command, plan, serial, bench);
    command
}

fn accepts(command: &mut Command, plan: &Path, serial: &str, bench: &Path) {
    command
        .arg("accept")
        .arg(plan)
        .args(["--serial", serial, "--ready", "--bench"])
        .arg(bench)
        .arg("--out")
        .arg(bench.with_file_name("reports"));
}

/// A run on `bench` whose events can be read.
fn accepting(mut start: Command, serial: &str, bench: &Path) -> std::io::Result<Running> {
    accepts(&mut start, &fixture("plan.toml"), serial, bench);
    let run = start.arg("--json").stdout(Stdio::piped()).spawn()?;
    Ok(Running(run))
}

pub(crate) fn fixture(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/demo")
        .join(name)
}

/// The demo's bench with the served ports in the place of its models.
pub(crate) fn bench_on(ports: &Value) -> String {
    let text = std::fs::read_to_string(fixture("bench.toml")).expect("the demo's bench");
    let mut role = String::new();
    let mut inside_model = false;
    let mut kept = String::new();
    for line in text.lines() {
        if line.starts_with('[') {
            inside_model = line.starts_with("[model");
        }
        if let Some(word) = line.strip_prefix("role = ") {
            role = word.trim_matches('"').to_owned();
        }
        if inside_model {
            continue;
        }
        if line == "model = true" {
            let list = ports["ports"].as_array().expect("a list of ports");
            let port = list
                .iter()
                .find(|port| port["role"] == role.as_str())
                .expect("a port for the role");
            kept.push_str(&format!("path = {}", port["path"]));
        } else {
            kept.push_str(line);
        }
        kept.push('\n');
    }
    kept
}

/// The model bench served by another process, and its ports.
pub(crate) fn serve() -> (Running, Value) {
    serve_from(None)
}

/// The same of a model bench's own file.
pub(crate) fn serve_from(bench: Option<&Path>) -> (Running, Value) {
    let mut served = Running(
        command()
            .args(["model-bench", "--json"])
            .args(bench)
            .stdout(Stdio::piped())
            .spawn()
            .expect("the model bench starts"),
    );
    let mut line = String::new();
    let out = served.0.stdout.take().expect("a pipe");
    BufReader::new(out)
        .read_line(&mut line)
        .expect("it names its ports");
    (served, serde_json::from_str(&line).expect("JSON"))
}

/// Asks an instrument whether its output is on.
pub(crate) fn output_is_on(path: &str) -> bool {
    is_on(path, "OUTP?")
}

/// Asks an instrument a question that is answered with 1 or 0.
pub(crate) fn is_on(path: &str, question: &str) -> bool {
    let mut port = std::fs::OpenOptions::new()
        .read(true)
        .write(true)
        .open(path)
        .expect("the port is there");
    // What answered somebody else's question is no answer to this one.
    rustix::termios::tcflush(&port, rustix::termios::QueueSelector::IFlush).expect("a terminal");
    port.write_all(format!("{question}\n").as_bytes())
        .expect("it listens");
    // A program that had the port before may have left it not to wait for bytes: to
    // read none is then no end of anything.
    let mut answer = Vec::new();
    let until = Instant::now() + Duration::from_secs(30);
    while answer.len() < 2 {
        assert!(
            Instant::now() < until,
            "it answers {answer:?} to {question}"
        );
        let mut byte = [0];
        match port.read(&mut byte).expect("it can be read") {
            0 => std::thread::sleep(Duration::from_millis(5)),
            _ => answer.extend(byte),
        }
    }
    answer == b"1\n"
}

#[test]
fn killed_outright_the_guardian_makes_the_bench_safe() {
    let (_served, ports) = serve();
    let list = ports["ports"].as_array().expect("a list");
    let supply = list
        .iter()
        .find(|port| port["role"] == "supply")
        .expect("a supply");
    let supply = supply["path"].as_str().expect("a path").to_owned();

    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("bench.toml");
    std::fs::write(&bench, bench_on(&ports)).expect("a bench file");
    let mut run = accepting(command(), "K1", &bench).expect("the run starts");
    let out = run.0.stdout.take().expect("a pipe");
    // Killed while the board is loaded, well after the supply came on.
    let loaded = BufReader::new(out)
        .lines()
        .map_while(Result::ok)
        .find(|line| line.contains("\"energises\":true") && line.contains("positive at"));
    assert!(loaded.is_some(), "the run ended before it loaded the board");
    run.0.kill().expect("it can be killed");
    run.0.wait().expect("it is gone");

    let begun = Instant::now();
    std::thread::sleep(Duration::from_millis(200));
    while output_is_on(&supply) {
        assert!(
            begun.elapsed() < Duration::from_secs(10),
            "the supply is still on"
        );
        std::thread::sleep(Duration::from_millis(50));
    }

    // The next start finds the record cut off and closes it.
    let listed = command()
        .args(["accept"])
        .arg(fixture("plan.toml"))
        .args(["--serial", "K2", "--only", "load", "--ready", "--bench"])
        .arg(&bench)
        .arg("--out")
        .arg(folder.path().join("reports"))
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the command starts");
    let mut listed = Running(listed);
    let mut said = String::new();
    let errors = listed.0.stderr.take().expect("a pipe");
    BufReader::new(errors)
        .read_line(&mut said)
        .expect("it says something");
    assert!(said.contains("was cut off"), "{said}");
}

/// A run on served ports that has loaded its board, and what it says from then
/// on.
struct Loaded {
    run: Running,
    lines: std::io::Lines<BufReader<std::process::ChildStdout>>,
    supply: String,
    _served: Running,
    _folder: tempfile::TempDir,
}

/// Started as `user` where one is given; none where this machine cannot do so.
fn loaded(user: Option<&str>) -> Option<Loaded> {
    let (served, ports) = serve();
    let list = ports["ports"].as_array().expect("a list");
    let path = |role: &str| {
        let port = list.iter().find(|port| port["role"] == role);
        port.expect("that role")["path"].as_str().expect("a path")
    };
    let supply = path("supply").to_owned();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("bench.toml");
    std::fs::write(&bench, bench_on(&ports)).expect("a bench file");
    let start = match user {
        None => command(),
        Some(user) => {
            // The ports of another user, open to all as by a group's right.
            use std::os::unix::fs::PermissionsExt;
            let open = |path: &Path, mode| {
                std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).is_ok()
            };
            let ports = list.iter().filter_map(|port| port["path"].as_str());
            if !ports.map(Path::new).all(|port| open(port, 0o666)) || !open(folder.path(), 0o777) {
                return None;
            }
            let mut start = Command::new("setpriv");
            start
                .args(["--reuid", user, "--clear-groups"])
                .arg(env!("CARGO_BIN_EXE_bufferstop"))
                .env_remove("BUFFERSTOP_BENCH");
            start
        }
    };
    let mut run = accepting(start, "S1", &bench).ok()?;
    let out = run.0.stdout.take().expect("a pipe");
    let mut lines = BufReader::new(out).lines();
    lines
        .by_ref()
        .map_while(Result::ok)
        .find(|line| line.contains("\"energises\":true") && line.contains("positive at"))?;
    Some(Loaded {
        run,
        lines,
        supply,
        _served: served,
        _folder: folder,
    })
}

fn send(process: u32, signal: rustix::process::Signal) {
    let process = i32::try_from(process).expect("a process number");
    let process = rustix::process::Pid::from_raw(process).expect("a process");
    rustix::process::kill_process(process, signal).expect("it is there");
}

/// The child that a run started: its guardian.
fn guardian_of(run: &Running) -> u32 {
    let path = format!("/proc/{0}/task/{0}/children", run.0.id());
    let children = std::fs::read_to_string(path).expect("the run is there");
    let first = children.split_whitespace().next().expect("a guardian");
    first.parse().expect("a process number")
}

fn off_within(supply: &str, most: Duration) {
    let begun = Instant::now();
    // Not in the middle of what the guardian says.
    std::thread::sleep(most * 9 / 10);
    while output_is_on(supply) {
        assert!(begun.elapsed() < most, "the supply is still on");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Ends inconclusive, saying `why`.
fn ends_inconclusive(loaded: Loaded, why: &str) {
    let Loaded { mut run, lines, .. } = loaded;
    let rest: Vec<String> = lines.map_while(Result::ok).collect();
    let status = run.0.wait().expect("it ends");
    assert_eq!(status.code(), Some(2), "{rest:#?}");
    assert!(rest.iter().any(|line| line.contains(why)), "{rest:#?}");
}

#[test]
fn a_stopped_program_is_made_safe_within_a_second_and_ends_inconclusive() {
    let loaded = loaded(None).expect("it loads the board");
    send(loaded.run.0.id(), rustix::process::Signal::STOP);
    off_within(&loaded.supply, Duration::from_secs(1));
    send(loaded.run.0.id(), rustix::process::Signal::CONT);
    ends_inconclusive(loaded, "stood still");
}

#[test]
fn a_guardian_that_is_killed_ends_the_run() {
    let loaded = loaded(None).expect("it loads the board");
    send(guardian_of(&loaded.run), rustix::process::Signal::KILL);
    ends_inconclusive(loaded, "the guardian ended");
}

#[test]
fn a_guardian_that_is_stopped_ends_the_run() {
    let loaded = loaded(None).expect("it loads the board");
    send(guardian_of(&loaded.run), rustix::process::Signal::STOP);
    ends_inconclusive(loaded, "the guardian does not answer");
}

#[test]
fn ctrl_z_ends_the_run_safe() {
    let loaded = loaded(None).expect("it loads the board");
    send(loaded.run.0.id(), rustix::process::Signal::TSTP);
    ends_inconclusive(loaded, "stopped by the person");
}

/// To an ordinary user a port of another process's pseudo-terminal stays marked
/// as the killed program's.
#[test]
fn killed_as_an_ordinary_user_the_bench_is_made_safe() {
    if !rustix::process::geteuid().is_root() {
        println!("skipped: only the system's own user can become another");
        return;
    }
    let Some(mut loaded) = loaded(Some("nobody")) else {
        println!("skipped: no run as another user here (setpriv, the program's folder)");
        return;
    };
    loaded.run.0.kill().expect("it can be killed");
    loaded.run.0.wait().expect("it is gone");
    off_within(&loaded.supply, Duration::from_secs(1));
}

#[test]
fn at_the_prompt_a_request_to_terminate_ends_the_lot() {
    let (_served, ports) = serve();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = folder.path().join("bench.toml");
    std::fs::write(&bench, bench_on(&ports)).expect("a bench file");
    let mut run = Running(
        command()
            .arg("accept")
            .arg(fixture("plan.toml"))
            .args(["--serial", "-", "--ready", "--bench"])
            .arg(&bench)
            .arg("--out")
            .arg(folder.path().join("reports"))
            .stdin(Stdio::piped())
            .spawn()
            .expect("it starts"),
    );
    std::thread::sleep(Duration::from_secs(2));
    send(run.0.id(), rustix::process::Signal::TERM);
    let begun = Instant::now();
    let status = loop {
        if let Some(status) = run.0.try_wait().expect("its status") {
            break status;
        }
        assert!(begun.elapsed() < Duration::from_secs(5), "it still waits");
        std::thread::sleep(Duration::from_millis(20));
    };
    assert_eq!(status.code(), Some(2));
}
