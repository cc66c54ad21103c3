//! Tests of the store: what is durable stays, what is altered is named, and
//! nothing that is wrong with the file is more than an error.

mod damage;
mod durability;

use super::*;
use crate::judgement::Verdict;
use crate::record::samples::{events, numbered, observation, started, value};
use crate::record::{observation_bytes, observation_digest};
use rusqlite::Connection;
use tempfile::TempDir;

struct Noon;

impl WallClock for Noon {
    fn now(&self) -> jiff::Timestamp {
        "2026-11-26T12:00:00Z".parse().expect("a timestamp")
    }
}

fn folder() -> TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

fn open(folder: &TempDir) -> Store {
    open_as(folder, Durability::EveryEvent)
}

fn open_as(folder: &TempDir, durability: Durability) -> Store {
    Store::for_run(folder.path(), false, durability, &Noon).expect("a store")
}

fn run_id(run: &str) -> RunId {
    run.parse().expect("a plain name")
}

/// A run that fails by its trip time.
fn entries(run: &str) -> Vec<Entry> {
    numbered(events(started(run, "GR-0042", false), value(0.0123, 2e-5)))
}

/// Appends `entries` as the runner does, with the observation before its
/// entry.
fn append_all(store: &Store, entries: &[Entry]) -> RunWriter {
    let mut run = store.begin(&entries[0]).expect("a new run");
    for entry in &entries[1..] {
        if matches!(entry.event, Event::Observed { .. }) {
            run.put_observation(Hashed::of(observation_bytes(&observation(5))))
                .expect("room");
        }
        run.append(entry, entry.event.must_be_durable())
            .expect("room");
    }
    run
}

fn do_to(store: &Store, act: impl FnOnce(&Connection)) {
    store.writer.act(act);
}

/// Ends the store without writing what waits.
fn die(mut store: Store) {
    store.writer.close();
    store.writer.forget();
    let thread = store.thread.take().expect("it was running");
    thread.join().expect("it did not panic");
}

#[test]
fn a_run_comes_back_whole() {
    let folder = folder();
    let all = entries("r1");
    let store = open(&folder);
    let run = append_all(&store, &all);
    assert_eq!(run.record(), &Record::fold(&all).expect("a whole run"));
    let reader = store.reader().expect("it was just written");
    assert_eq!(reader.entries(&run_id("r1")), Ok(all.clone()));
    let record = reader.record(&run_id("r1")).expect("readable");
    assert_eq!(record, Some(Record::fold(&all).expect("a whole run")));
    let digest = observation_digest(&observation(5));
    assert_eq!(reader.observation(&digest), Ok(Some(observation(5))));
    assert_eq!(reader.record(&run_id("r2")), Ok(None));
    assert_eq!(reader.observation(&Digest::of(b"none")), Ok(None));
    let checked = reader.verify(None).expect("readable").expect("intact");
    assert_eq!(
        (checked.lines, checked.runs, checked.open, checked.blobs),
        (13, 1, 0, 1)
    );
    assert_eq!(reader.closing_link(&run_id("r1")), Ok(Some(checked.head)));
}

#[test]
fn two_writers_share_one_chain_and_leave_each_others_runs_open() {
    let folder = folder();
    let first = open(&folder);
    let open_run = append_all(&first, &entries("open")[..4]);
    let second = open(&folder);
    assert!(
        second.closed_cut_off().is_empty(),
        "it may still be running"
    );
    std::thread::scope(|scope| {
        for (store, name) in [(&first, "a"), (&second, "b")] {
            scope.spawn(move || {
                for number in 0..20 {
                    append_all(store, &entries(&format!("{name}{number}")));
                }
            });
        }
    });
    let reader = second.reader().expect("a store");
    let checked = reader.verify(None).expect("readable").expect("intact");
    assert_eq!((checked.runs, checked.open), (41, 1));
    drop((open_run, first, second));
    let third = open(&folder);
    assert_eq!(third.closed_cut_off(), [run_id("open")]);
}

/// Whoever looks while another makes the tables finds a store or nothing, never
/// somebody else's file.
#[test]
fn a_store_that_is_being_made_is_never_another_file() {
    use std::sync::atomic::{AtomicBool, Ordering};
    for _ in 0..30 {
        let folder = folder();
        let path = folder.path().join(Kind::Records.file_name());
        let made = AtomicBool::new(false);
        std::thread::scope(|scope| {
            let looker = scope.spawn(|| {
                let connection = opening::connect(&path, rusqlite::OpenFlags::default());
                let connection = connection.expect("a file");
                while !made.load(Ordering::Relaxed) {
                    match database::kind_of(&connection, &path) {
                        Ok(_) | Err(StoreError::Busy { .. }) => {}
                        Err(fault) => panic!("{fault}"),
                    }
                }
            });
            drop(open(&folder));
            made.store(true, Ordering::Relaxed);
            looker.join().expect("it was a store or nothing");
        });
    }
}

#[test]
fn what_cannot_follow_is_refused_and_harms_nothing() {
    let folder = folder();
    let store = open(&folder);
    let all = entries("r1");
    assert!(matches!(store.begin(&all[1]), Err(StoreError::Order(_))));
    let mut run = store.begin(&all[0]).expect("a new run");
    assert!(matches!(
        run.append(&all[2], true),
        Err(StoreError::Order(_))
    ));
    assert_eq!(
        store.begin(&all[0]).err(),
        Some(StoreError::RunExists { run: "r1".into() })
    );
    let model = numbered(events(started("m1", "GR-0042", true), value(0.005, 2e-5)));
    assert!(matches!(
        store.begin(&model[0]),
        Err(StoreError::OtherKind { .. })
    ));
    for entry in &all[1..] {
        run.append(entry, true).expect("room");
    }
    assert!(matches!(
        run.append(&all[12], true),
        Err(StoreError::Order(_))
    ));
    let reader = store.reader().expect("a store");
    assert_eq!(reader.entries(&run_id("r1")), Ok(all));
    drop(store);
    assert_eq!(
        run.put_observation(Hashed::of(vec![1])),
        Err(StoreError::Closed)
    );
}

#[test]
fn runs_are_found_by_what_is_asked() {
    let folder = folder();
    let store = open_as(&folder, Durability::AtEnd);
    let noon = entries("x")[0].at;
    for number in 0..600_u32 {
        let mut facts = started(&format!("r{number}"), &format!("GR-{}", number % 7), false);
        if number % 2 == 1 {
            facts.lot = Some("spring".parse().expect("a plain name"));
        }
        if number == 5 {
            facts.only = Some("load".into());
        }
        let trip = if number % 3 == 0 { 0.0123 } else { 0.005 };
        let mut all = numbered(events(facts, value(trip, 2e-5)));
        for entry in &mut all {
            entry.at += jiff::SignedDuration::from_hours(i64::from(number));
        }
        append_all(&store, &all);
    }
    append_all(&store, &entries("r-open")[..5]);
    let reader = store.reader().expect("a store");
    let count = |filter: Filter| {
        let runs: Result<Vec<_>, _> = reader.runs(&filter).collect();
        runs.expect("readable").len()
    };
    let any = Filter::default;
    assert_eq!(count(any()), 601);
    let serial = Some("GR-3".parse().expect("a plain name"));
    assert_eq!(count(Filter { serial, ..any() }), 86);
    let lot = Some("spring".parse().expect("a plain name"));
    let spring = Filter { lot, ..any() };
    assert_eq!(count(spring.clone()), 300);
    let verdict = Some(Verdict::Fail);
    assert_eq!(count(Filter { verdict, ..any() }), 200);
    assert_eq!(count(Filter { verdict, ..spring }), 100);
    let later = noon + jiff::SignedDuration::from_hours(590);
    let from = Some(later);
    assert_eq!(count(Filter { from, ..any() }), 10);
    let until = Some(later);
    assert_eq!(count(Filter { until, ..any() }), 591);
    let diagnosis = Some(true);
    assert_eq!(count(Filter { diagnosis, ..any() }), 1);
    let open = Some(true);
    assert_eq!(count(Filter { open, ..any() }), 1);

    let newest_first = true;
    let names = |filter: Filter| -> Vec<String> {
        let runs = reader.runs(&filter);
        runs.map(|run| run.expect("readable").run.to_string())
            .collect()
    };
    let mut newest = names(Filter {
        newest_first,
        ..any()
    });
    newest.reverse();
    assert_eq!(newest, names(any()));
    let header = reader.header(&run_id("r5")).expect("readable");
    let header = header.expect("it is there");
    assert_eq!(header.only.as_deref(), Some("load"));
    assert_eq!(header.verdict, Some(Verdict::Pass));
    assert!(!header.model);
}

#[test]
fn notes_and_documents_are_in_the_chain() {
    let folder = folder();
    let store = open(&folder);
    append_all(&store, &entries("r1"));
    let note = Note {
        at: Noon.now(),
        author: Some("bench hand".into()),
        text: "cold joint at the output, soldered again".into(),
        bench_is_off: false,
    };
    let run = run_id("r1");
    store.note(&run, note.clone()).expect("room");
    let digest = store
        .issue(&run, Noon.now(), "certificate", "r1.pdf", b"page".to_vec())
        .expect("room");
    let missing = store.note(&run_id("r9"), note.clone());
    assert_eq!(missing, Err(StoreError::NoSuchRun { run: "r9".into() }));
    let reader = store.reader().expect("a store");
    assert_eq!(reader.notes(&run), Ok(vec![note]));
    let issued = reader.issued(&run).expect("readable");
    assert_eq!(issued[0].digest, digest);
    assert_eq!(reader.blob(&digest), Ok(Some(b"page".to_vec())));
    assert_eq!(reader.entries(&run).map(|all| all.len()), Ok(13));
    let closing = reader.closing_link(&run).expect("readable");
    assert_ne!(closing, Some(reader.head().expect("readable")));
    let checked = reader.verify(closing).expect("readable").expect("intact");
    assert_eq!(checked.lines, 15);
}

#[test]
fn a_backup_is_the_same_store() {
    let folder = folder();
    let store = open(&folder);
    append_all(&store, &entries("r1"));
    let reader = store.reader().expect("a store");
    let target = folder.path().join("copy.sqlite");
    reader.backup(&target).expect("room");
    let copy = Reader::open(&target).expect("a store");
    assert_eq!(copy.verify(None), reader.verify(None));
    assert_eq!(copy.entries(&run_id("r1")), Ok(entries("r1")));
    assert_eq!(
        reader.backup(&target),
        Err(StoreError::TargetExists {
            path: target.clone()
        })
    );
    // It is a store like any other: it can be written to.
    let opened = Store::open(&target, Kind::Records, Durability::EveryEvent, &Noon);
    append_all(&opened.expect("a store"), &entries("r2"));
}

#[test]
fn a_folder_holds_whole_files() {
    let place = folder();
    let record = Record::fold(&entries("r1")).expect("a whole run");
    let page: (&str, &[u8]) = ("page.html", b"<html></html>");
    let data: (&str, &[u8]) = ("record.json", b"{}");
    for _ in 0..2 {
        let written = folder::write(place.path(), &record, &[data, page]).expect("room");
        assert_eq!(written, place.path().join("GR-0042").join("r1"));
        let mut names: Vec<String> = std::fs::read_dir(&written)
            .expect("a folder")
            .map(|file| {
                file.expect("a file")
                    .file_name()
                    .into_string()
                    .expect("text")
            })
            .collect();
        names.sort();
        assert_eq!(names, ["page.html", "record.json"]);
        for (name, bytes) in [data, page] {
            let kept = std::fs::read(written.join(name)).expect("a file");
            assert_eq!(kept, bytes, "{name}");
        }
    }
    for name in ["../x", "a/b", "", ".hidden", "record.json", "a\0b", "-x"] {
        let refused = folder::write(place.path(), &record, &[data, (name, b"")]);
        let name = name.to_owned();
        assert_eq!(refused, Err(StoreError::FileName { name }));
    }
    let file = place.path().join("a file");
    std::fs::write(&file, "").expect("room");
    assert!(folder::write(&file, &record, &[]).is_err());
}
