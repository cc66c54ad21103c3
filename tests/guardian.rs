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
pub(crate) struct Running(Child);

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
    let mut served = Running(
        command()
            .args(["model-bench", "--json"])
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
    let mut port = std::fs::OpenOptions::new()
        .read(true)
        .write(true)
        .open(path)
        .expect("the port is there");
    port.write_all(b"OUTP?\n").expect("it listens");
    let mut answer = [0; 2];
    port.read_exact(&mut answer).expect("it answers");
    &answer == b"1\n"
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
    let mut run = Running(
        command()
            .arg("accept")
            .arg(fixture("plan.toml"))
            .args(["--serial", "K1", "--json", "--bench"])
            .arg(&bench)
            .arg("--out")
            .arg(folder.path().join("reports"))
            .stdout(Stdio::piped())
            .spawn()
            .expect("the run starts"),
    );
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
        .args(["--serial", "K2", "--only", "load", "--bench"])
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
