//! What the record store costs over SQLite itself: a board's entries, appended
//! as the runner does, against the same texts and bytes inserted into a bare
//! database with the same settings and the same number of durable commits. And
//! how long the certificate of that board takes.

use super::median;
use bufferstop::clock::SystemClock;
use bufferstop::digest::Hashed;
use bufferstop::event::{Entry, Event};
use bufferstop::handout::{Form, Sources, certificate};
use bufferstop::ident::RunId;
use bufferstop::record::Record;
use bufferstop::store::{Durability, Filter, Reader, Store};
use rusqlite::Connection;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Pairs measured.
const PAIRS: usize = 15;

/// After each capture in the runs that leave a board its time; not counted.
const REST: Duration = Duration::from_millis(15);

/// What becomes of the captures.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Captures {
    /// One after another, hashed and packed meanwhile, against plain bytes.
    Plain,
    /// The same against bytes packed beforehand.
    Packed,
    /// With a rest after each, as a board leaves by being tested, against bytes
    /// packed beforehand.
    Rested,
    None,
}

/// A board's run as the command recorded it.
struct Board {
    entries: Vec<Entry>,
    texts: Vec<String>,
    /// Kept bytes by their digest, as they are and as they are stored.
    blobs: BTreeMap<String, (Vec<u8>, Vec<u8>)>,
}

pub(crate) fn run() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let done = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .args([
            "accept",
            "fixtures/demo/plan.toml",
            "--serial",
            "A1",
            "--out",
        ])
        .arg(folder.path())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .expect("the command starts");
    assert!(done.success(), "the demo's board passes");
    let path = folder.path().join("model.sqlite");
    let board = recorded(&path);
    let durable = board.entries.iter().filter(|e| e.event.must_be_durable());
    let durable = durable.count();
    let sizes =
        |size: fn(&(Vec<u8>, Vec<u8>)) -> usize| -> usize { board.blobs.values().map(size).sum() };
    println!(
        "{} entries, {durable} durable commits, synchronous=FULL, captures of {} kB packed to {} kB",
        board.entries.len(),
        sizes(|blob| blob.0.len()) / 1000,
        sizes(|blob| blob.1.len()) / 1000
    );
    // Packing and hashing are the store's own work, done while the board is
    // tested; without that time between, they are waited for.
    for (words, captures) in [
        (
            "at a board's pace, bytes packed beforehand",
            Captures::Rested,
        ),
        ("at once, the same bytes", Captures::Plain),
        ("at once, bytes packed beforehand", Captures::Packed),
        ("no captures on either side", Captures::None),
    ] {
        let (mut ours, mut bare, mut ratios) = (Vec::new(), Vec::new(), Vec::new());
        for _ in 0..PAIRS {
            let with_store = appended(&board, captures);
            let without = inserted(&board, captures);
            ratios.push(with_store / without);
            ours.push(with_store);
            bare.push(without);
        }
        println!(
            "{words}: store {:.1} ms, bare SQLite {:.1} ms, ratio {:.2} (medians of {PAIRS} pairs)",
            median(ours) * 1e3,
            median(bare) * 1e3,
            median(ratios)
        );
    }
    certificates(&path);
}

fn recorded(path: &Path) -> Board {
    let reader = Reader::open(path).expect("a store");
    let run = first_run(&reader);
    let entries = reader.entries(&run).expect("readable");
    let lines = reader.linked(&run).expect("readable");
    let connection = Connection::open(path).expect("a database");
    let mut statement = connection
        .prepare("SELECT packed FROM blobs WHERE digest = ?1")
        .expect("the layout");
    let mut blobs = BTreeMap::new();
    for entry in &entries {
        if let Event::Observed { digest, .. } = &entry.event {
            let bytes = reader.blob(digest).expect("readable").expect("kept");
            let name = digest.to_string();
            let packed = statement
                .query_row([&name], |row| row.get(0))
                .expect("it is kept");
            blobs.insert(name, (bytes, packed));
        }
    }
    Board {
        texts: lines.into_iter().map(|line| line.text).collect(),
        entries,
        blobs,
    }
}

fn first_run(reader: &Reader) -> RunId {
    let mut runs = reader.runs(&Filter::default());
    runs.next().expect("a run").expect("readable").run
}

/// Seconds for the board through the store.
fn appended(board: &Board, captures: Captures) -> f64 {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let store = Store::for_run(folder.path(), true, Durability::EveryEvent, &SystemClock);
    let store = store.expect("a store");
    let mut watch = Watch::new(captures);
    let mut run = store.begin(&board.entries[0]).expect("a new run");
    for entry in &board.entries[1..] {
        if captures != Captures::None
            && let Event::Observed { digest, .. } = &entry.event
        {
            let (bytes, _) = &board.blobs[&digest.to_string()];
            let bytes = match captures {
                // The journal hashes it, while the board goes on.
                Captures::Rested => watch.uncounted(|| Hashed::of(bytes.clone())),
                _ => Hashed::of(bytes.clone()),
            };
            run.put_observation(bytes).expect("room");
            watch.rest();
        }
        let durable = entry.event.must_be_durable();
        run.append(entry, durable).expect("room");
    }
    watch.seconds()
}

/// A watch that stands still where a board would be tested.
struct Watch {
    begun: Instant,
    rested: Duration,
    rests: bool,
}

impl Watch {
    fn new(captures: Captures) -> Self {
        Self {
            begun: Instant::now(),
            rested: Duration::ZERO,
            rests: captures == Captures::Rested,
        }
    }

    fn uncounted<R>(&mut self, act: impl FnOnce() -> R) -> R {
        let begun = Instant::now();
        let done = act();
        self.rested += begun.elapsed();
        done
    }

    fn rest(&mut self) {
        if self.rests {
            self.uncounted(|| std::thread::sleep(REST));
        }
    }

    fn seconds(&self) -> f64 {
        (self.begun.elapsed() - self.rested).as_secs_f64()
    }
}

/// Seconds for the same into a bare database.
fn inserted(board: &Board, captures: Captures) -> f64 {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let connection = Connection::open(folder.path().join("bare.sqlite")).expect("a database");
    connection
        .execute_batch(
            "PRAGMA journal_mode = wal; PRAGMA synchronous = full;
             CREATE TABLE lines (position INTEGER PRIMARY KEY, text TEXT NOT NULL) STRICT;
             CREATE TABLE blobs (digest TEXT PRIMARY KEY, packed BLOB NOT NULL) STRICT;",
        )
        .expect("room");
    let mut watch = Watch::new(captures);
    let mut open = false;
    for (entry, text) in board.entries.iter().zip(&board.texts) {
        if !open {
            connection.execute_batch("BEGIN IMMEDIATE").expect("alone");
            open = true;
        }
        if captures != Captures::None
            && let Event::Observed { digest, .. } = &entry.event
        {
            let name = digest.to_string();
            let (plain, packed) = &board.blobs[&name];
            let kept = if captures == Captures::Plain {
                plain
            } else {
                packed
            };
            connection
                .prepare_cached("INSERT OR IGNORE INTO blobs VALUES (?1, ?2)")
                .and_then(|mut insert| insert.execute(rusqlite::params![name, kept]))
                .expect("room");
            watch.rest();
        }
        connection
            .prepare_cached("INSERT INTO lines (text) VALUES (?1)")
            .and_then(|mut insert| insert.execute([text]))
            .expect("room");
        if entry.event.must_be_durable() {
            connection.execute_batch("COMMIT").expect("room");
            open = false;
        }
    }
    if open {
        connection.execute_batch("COMMIT").expect("room");
    }
    watch.seconds()
}

/// Reading the record and its captures, and both documents.
fn certificates(path: &Path) {
    let reader = Reader::open(path).expect("a store");
    let run = first_run(&reader);
    let times = (0..20)
        .map(|_| {
            let begun = Instant::now();
            let entries = reader.entries(&run).expect("readable");
            let record = Record::fold(&entries).expect("a run");
            let digests = record
                .scenarios
                .iter()
                .flat_map(|s| s.observations.iter().map(|d| (s.name.clone(), d)));
            let seen: Vec<_> = digests
                .filter_map(|(name, digest)| {
                    let seen = reader.observation(digest).expect("readable")?;
                    Some((name, seen))
                })
                .collect();
            let sources = Sources {
                record: &record,
                observations: &seen,
                notes: &[],
                head: None,
                seal: None,
                runs: &[],
                letterhead: None,
            };
            let document = certificate(&sources);
            let forms = Form::ALL.map(|form| document.bytes(form).expect("a document"));
            let pages: usize = forms.iter().map(Vec::len).sum();
            assert!(pages > 1000, "nothing was drawn");
            begun.elapsed().as_secs_f64()
        })
        .collect();
    println!(
        "certificate, HTML and PDF, record and captures read: median of 20, {:.1} ms",
        median(times) * 1e3
    );
}
