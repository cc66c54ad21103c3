//! What is durable stays: threads that die, processes that are killed, locks
//! held elsewhere and full disks.

use super::*;
use crate::event::Abort;
use std::io::{BufRead as _, BufReader};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

#[test]
fn whatever_was_durable_is_there_after_a_death_at_any_entry() {
    let all = entries("r1");
    for kept in 1..=all.len() {
        let folder = folder();
        let store = open(&folder);
        drop(append_all(&store, &all[..kept]));
        let durable = all[..kept]
            .iter()
            .rposition(|entry| entry.event.must_be_durable())
            .expect("the start is");
        die(store);

        let store = open(&folder);
        let reader = store.reader().expect("a store");
        let found = reader.entries(&run_id("r1")).expect("readable");
        assert_eq!(found[..=durable], all[..=durable], "died after {kept}");
        let record = Record::fold(&found).expect("a whole run");
        assert!(!record.is_open());
        if durable + 1 < all.len() {
            assert_eq!(store.closed_cut_off(), [run_id("r1")]);
            assert_eq!(record.verdict(), Verdict::Inconclusive);
            assert_eq!(record.abort(), Some(&Abort::CutOff));
        } else {
            assert!(store.closed_cut_off().is_empty());
            assert_eq!(record.verdict(), Verdict::Fail);
        }
        reader.verify(None).expect("readable").expect("intact");
    }
}

/// The child of the next test: appends run after run and says what is durable.
#[test]
fn child_that_is_killed() {
    let Some(folder) = std::env::var_os("BUFFERSTOP_TEST_KILLED") else {
        return;
    };
    let folder = PathBuf::from(folder);
    let store = Store::for_run(&folder, false, Durability::EveryEvent, &Noon).expect("a store");
    for number in 0..10_000 {
        let name = format!("r{number}");
        let all = entries(&name);
        let mut run = store.begin(&all[0]).expect("a new run");
        for entry in &all[1..] {
            let durable = entry.event.must_be_durable();
            run.append(entry, durable).expect("room");
            if durable {
                // By hand, since the test harness gathers printed lines.
                use std::io::Write as _;
                let mut out = std::io::stdout().lock();
                writeln!(out, "\ndurable {name} {}", entry.sequence).expect("a pipe");
                out.flush().expect("a pipe");
            }
        }
    }
}

#[test]
fn a_killed_process_loses_nothing_durable() {
    let exe = std::env::current_exe().expect("this test");
    for lines in [1, 4, 9] {
        let folder = folder();
        let mut child = Command::new(&exe)
            .args(["--exact", "store::tests::durability::child_that_is_killed"])
            .arg("--nocapture")
            .env("BUFFERSTOP_TEST_KILLED", folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("this test runs again");
        let out = BufReader::new(child.stdout.take().expect("a pipe"));
        let said: Vec<String> = out
            .lines()
            .map_while(Result::ok)
            .filter(|line| line.starts_with("durable "))
            .take(lines)
            .collect();
        child.kill().expect("it was running");
        child.wait().expect("it was running");
        assert_eq!(said.len(), lines);

        let store = open(&folder);
        let reader = store.reader().expect("a store");
        for line in said {
            let mut words = line.split(' ').skip(1);
            let run = run_id(words.next().expect("a run"));
            let sequence: usize = words.next().expect("a number").parse().expect("a number");
            let found = reader.entries(&run).expect("readable");
            assert_eq!(found[..sequence], entries(run.as_str())[..sequence]);
        }
        for header in reader.runs(&Filter::default()) {
            assert!(header.expect("readable").verdict.is_some());
        }
        reader.verify(None).expect("readable").expect("intact");
    }
}

#[test]
fn what_is_not_durable_follows_by_itself() {
    let folder = folder();
    let store = open(&folder);
    let all = entries("r1");
    let _run = append_all(&store, &all[..3]);
    let reader = Reader::open(store.path()).expect("a store");
    let start = Instant::now();
    while reader.entries(&run_id("r1")).expect("readable").len() < 3 {
        assert!(start.elapsed() < Duration::from_secs(10), "never written");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn at_end_only_the_end_is_waited_for() {
    let folder = folder();
    let store = open_as(&folder, Durability::AtEnd);
    let all = entries("r1");
    let mut run = append_all(&store, &all[..12]);
    let reader = Reader::open(store.path()).expect("a store");
    assert_eq!(reader.entries(&run_id("r1")), Ok(vec![]));
    run.append(&all[12], true).expect("room");
    assert_eq!(reader.entries(&run_id("r1")), Ok(all));
}

#[test]
fn a_lock_held_elsewhere_is_an_error_and_stays_one() {
    let folder = folder();
    let store = open(&folder);
    let all = entries("r1");
    let mut run = append_all(&store, &all[..2]);
    store.flush().expect("room");
    let other = Connection::open(store.path()).expect("a database");
    other.execute_batch("BEGIN IMMEDIATE").expect("the lock");
    do_to(&store, |connection| {
        connection
            .busy_timeout(Duration::from_millis(20))
            .expect("a setting");
    });
    run.append(&all[2], false).expect("nobody waits for it");
    let fault = run.append(&all[3], true).expect_err("it is locked");
    assert!(matches!(fault, StoreError::Busy { .. }), "{fault}");
    other.execute_batch("ROLLBACK").expect("the lock");
    // A hole would tell another story, so nothing follows it.
    assert_eq!(run.append(&all[4], true), Err(fault.clone()));
    assert_eq!(store.begin(&entries("r2")[0]).err(), Some(fault));
    drop(store);
    let reader = open(&folder).reader().expect("a store");
    let found = reader.entries(&run_id("r1")).expect("readable");
    assert_eq!(found[..2], all[..2]);
    assert_eq!(found.len(), 4, "the two entries that close it");
}

#[test]
fn a_full_disk_is_an_error_and_what_was_durable_stays() {
    let folder = folder();
    let store = open(&folder);
    let all = entries("r1");
    let mut run = append_all(&store, &all[..4]);
    do_to(&store, |connection| {
        let pages: i64 = connection
            .pragma_query_value(None, "page_count", |row| row.get(0))
            .expect("a number");
        connection
            .pragma_update_and_check(None, "max_page_count", pages + 2, |_| Ok(()))
            .expect("a setting");
    });
    let noise: Vec<u8> = (0..100_000_u32)
        .flat_map(|n| {
            *Digest::of(&n.to_le_bytes())
                .to_string()
                .as_bytes()
                .first_chunk::<4>()
                .expect("64 digits")
        })
        .collect();
    run.put_observation(Hashed::of(noise))
        .expect("nobody waits for it");
    let fault = run.append(&all[4], true).expect_err("no room");
    assert!(matches!(fault, StoreError::Full { .. }), "{fault}");
    assert!(fault.to_string().contains("make room"));
    drop(store);
    let reader = open(&folder).reader().expect("a store");
    let found = reader.entries(&run_id("r1")).expect("readable");
    assert_eq!(found[..4], all[..4]);
    reader.verify(None).expect("readable").expect("intact");
}
