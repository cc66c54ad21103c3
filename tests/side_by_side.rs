//! Boards on the embedded bench side by side, as many as the program is given cores:
//! what is stored and said of them is what one core stores and says, one board after
//! another. The kernel decides how many cores there are, not the code under test.

use crate::tools::absent;
use rusqlite::Connection;
use serde_json::Value;
use std::io::{BufRead, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};

/// The command on so many cores, or nothing where the kernel cannot be asked for them.
fn command(cores: usize) -> Option<Command> {
    let bound = if cores == 1 { "0" } else { "0,1" };
    let fit = Command::new("taskset")
        .args(["-c", bound, "true"])
        .status()
        .is_ok_and(|status| status.success());
    if !fit {
        absent("cores cannot be taken from a program: taskset is missing");
        return None;
    }
    let mut command = Command::new("taskset");
    command
        .args(["-c", bound, env!("CARGO_BIN_EXE_bufferstop")])
        .env_remove("BUFFERSTOP_BENCH")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    Some(command)
}

/// A lot whose serial numbers come in line by line, looked at briefly.
fn lot(cores: usize, out: &Path) -> Option<Child> {
    let plan = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/plan.toml");
    let mut command = command(cores)?;
    command.arg("accept").arg(plan);
    command.args(["--serial", "-", "--only", "load", "--json", "--out"]);
    Some(command.arg(out).spawn().expect("the command starts"))
}

fn lines(out: &Path) -> Vec<(String, Value)> {
    let store = Connection::open(out.join("model.sqlite")).expect("a store");
    let mut rows = store
        .prepare("SELECT run, text FROM lines ORDER BY position")
        .expect("lines");
    let lines = rows.query_map([], |row| Ok((row.get(0)?, row.get::<_, String>(1)?)));
    let lines = lines.expect("rows").map(|line| {
        let (run, text): (String, String) = line.expect("a row");
        (run, serde_json::from_str(&text).expect("a line is JSON"))
    });
    lines.collect()
}

/// Takes out what differs from run to run: the moment, the run's identifier and the
/// names that the system gives to ports.
fn timeless(value: &mut Value) {
    match value {
        Value::Object(fields) => {
            for name in ["at", "run", "port"] {
                fields.remove(name);
            }
            fields.values_mut().for_each(timeless);
        }
        Value::Array(items) => items.iter_mut().for_each(timeless),
        _ => {}
    }
}

/// The serial numbers of all runs and how each ended, in the order of their lines;
/// each run's lines stand together.
fn runs(lines: &[(String, Value)]) -> Vec<(String, Value)> {
    let mut order: Vec<&str> = lines.iter().map(|(run, _)| run.as_str()).collect();
    order.dedup();
    let mut named = order.clone();
    named.sort_unstable();
    named.dedup();
    assert_eq!(named.len(), order.len(), "lines of two runs are mixed");
    let of = |run: &str, event: &str, name: &str| {
        let mut own = lines.iter().filter(|(of, _)| of == run);
        let found = own.find_map(|(_, text)| {
            let told = &text["entry"]["event"];
            (told["event"] == event).then(|| told[name].clone())
        });
        found.unwrap_or_else(|| panic!("{run} has no {event}"))
    };
    let ended = order.into_iter().map(|run| {
        let serial = of(run, "run_started", "serial");
        let serial = serial.as_str().expect("a serial number").to_owned();
        (serial, of(run, "run_finished", "abort"))
    });
    ended.collect()
}

fn typed(mut near: ChildStdin, serials: &str) {
    near.write_all(serials.as_bytes()).expect("it takes lines");
}

/// Each line of JSON that is said, and each message beside them.
fn said(child: Child) -> (Option<i32>, Vec<Value>, String) {
    let done = child.wait_with_output().expect("the command ends");
    let out = String::from_utf8(done.stdout).expect("text");
    let entries = out.lines().map(|line| {
        let mut entry = serde_json::from_str(line).expect("a line of JSON");
        timeless(&mut entry);
        entry
    });
    let errors = String::from_utf8(done.stderr).expect("text");
    (done.status.code(), entries.collect(), errors)
}

/// A scan that is none and one that came before are told in their turn and change
/// nothing else.
#[test]
fn two_cores_store_and_say_what_one_does() {
    let on = |cores: usize| {
        let out = tempfile::tempdir().expect("a folder");
        let mut child = lot(cores, out.path())?;
        let near = child.stdin.take().expect("a pipe");
        typed(near, "S-1\n\nS-2\nno serial number\nS-1\nS-3\nS-4\n");
        let (status, entries, errors) = said(child);
        assert_eq!(status, Some(2), "{errors}");
        let mut lines = lines(out.path());
        let runs = runs(&lines);
        lines.iter_mut().for_each(|(_, text)| timeless(text));
        let lines: Vec<Value> = lines.into_iter().map(|(_, text)| text).collect();
        Some((runs, lines, entries, errors))
    };
    let (Some(one), Some(two)) = (on(1), on(2)) else {
        return;
    };
    let serials: Vec<&str> = two.0.iter().map(|(serial, _)| serial.as_str()).collect();
    assert_eq!(serials, ["S-1", "S-2", "S-3", "S-4"]);
    assert!(two.2.len() > 4 * 10, "{:#?}", two.2);
    assert_eq!(one, two);
    let (wrong, again) = (one.3.find("cannot be used"), one.3.find("in this sitting"));
    assert!(wrong.is_some() && wrong < again, "{}", one.3);
}

/// A program that waits for a verdict before it names the next board gets it.
#[test]
fn nobody_waits_for_a_board_that_is_not_named_yet() {
    let out = tempfile::tempdir().expect("a folder");
    let Some(mut child) = lot(2, out.path()) else {
        return;
    };
    let mut near = child.stdin.take().expect("a pipe");
    let mut lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
    for serial in ["W-1", "W-2"] {
        writeln!(near, "{serial}").expect("it takes a line");
        let ended = lines
            .by_ref()
            .map_while(Result::ok)
            .find(|line| line.contains("run_finished"));
        assert!(ended.is_some(), "{serial} has no end");
    }
    drop(near);
    assert_eq!(child.wait().expect("the command ends").code(), Some(2));
}

/// The board that was in its turn is closed by the person's wish; those beside it
/// were never begun.
#[test]
fn a_stop_leaves_nothing_of_the_boards_beside() {
    let out = tempfile::tempdir().expect("a folder");
    let Some(mut child) = lot(2, out.path()) else {
        return;
    };
    let near = child.stdin.take().expect("a pipe");
    let serials: Vec<String> = (1..=40).map(|number| format!("P-{number:02}")).collect();
    typed(near, &serials.join("\n"));
    let mut lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
    let mut starts = lines
        .by_ref()
        .map_while(Result::ok)
        .filter(|line| line.contains("run_started"));
    assert!(starts.nth(2).is_some(), "three boards begin");
    let interrupted = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status();
    assert!(interrupted.expect("kill runs").success());
    // Read to the end, lest it waits for a reader.
    let told = lines.map_while(Result::ok).count();
    assert_eq!(child.wait().expect("the command ends").code(), Some(2));
    let runs = runs(&crate::side_by_side::lines(out.path()));
    assert!((3..20).contains(&runs.len()), "{told}: {runs:?}");
    let (last, whole) = runs.split_last().expect("three runs");
    for (index, (serial, abort)) in whole.iter().enumerate() {
        assert_eq!((serial, abort), (&serials[index], &Value::Null));
    }
    assert_eq!(last.0, serials[whole.len()]);
    assert!(last.1.is_null() || last.1 == "operator", "{last:?}");
}
