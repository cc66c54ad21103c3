//! Opening a store: the lock beside it, the settings durability rests on, and
//! the runs that were cut off. It starts no thread.
//!
//! Every process that writes holds the lock file shared. Only one that gets it
//! alone may close unfinished runs: otherwise they may still be running.

use super::database::{self, LAYOUT};
use super::fault::{PATIENCE, StoreError};
use super::item::Item;
use super::kind::Kind;
use crate::clock::{BenchInstant, WallClock};
use crate::digest::Digest;
use crate::event::{Abort, Entry, Event};
use crate::ident::RunId;
use crate::judgement::Verdict;
use crate::measurement::Blame;
use crate::record::{Content, Fold, Line, measurement_digest};
use crate::scenario::Trouble;
use rusqlite::{Connection, OpenFlags};
use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Runs closed in one opening; more are left to the next.
const MOST_CLOSED: usize = 10_000;

/// An opened store.
pub(super) struct Opened {
    pub(super) connection: Connection,
    pub(super) lock: File,
    pub(super) closed: Vec<RunId>,
}

/// Opens or creates the store at `path`.
pub(super) fn open(path: &Path, kind: Kind, clock: &dyn WallClock) -> Result<Opened, StoreError> {
    let lock = lock_file(path)?;
    let alone = match lock.try_lock() {
        Ok(()) => true,
        Err(TryLockError::WouldBlock) => {
            // Somebody may be creating it: a file that is half a store is not touched.
            share(&lock, path)?;
            false
        }
        Err(TryLockError::Error(fault)) => return Err(StoreError::io(path, &fault)),
    };
    let mut connection = connect(path, OpenFlags::default())?;
    match database::kind_of(&connection, path)? {
        None => {
            set(&connection, path)?;
            database::create(&mut connection, path, kind)?;
        }
        Some(_) => set(&connection, path)?,
    }
    match database::kind_of(&connection, path)? {
        Some(found) if found == kind => {}
        Some(found) => {
            return Err(StoreError::OtherKind {
                path: path.to_owned(),
                found,
                wanted: kind,
            });
        }
        None => unreachable!("layout {LAYOUT} was just written"),
    }
    let closed = if alone {
        close_cut_off(&mut connection, path, clock.now())?
    } else {
        Vec::new()
    };
    share(&lock, path)?;
    Ok(Opened {
        connection,
        lock,
        closed,
    })
}

/// A connection with patience and without trust in the file's own schema.
pub(super) fn connect(path: &Path, flags: OpenFlags) -> Result<Connection, StoreError> {
    let sqlite = |fault: rusqlite::Error| StoreError::sqlite(path, &fault);
    // A name is a name, never a URI with settings of its own.
    let flags = flags & !OpenFlags::SQLITE_OPEN_URI;
    let connection = Connection::open_with_flags(path, flags).map_err(sqlite)?;
    connection.busy_timeout(PATIENCE).map_err(sqlite)?;
    connection
        .pragma_update(None, "trusted_schema", false)
        .map_err(sqlite)?;
    Ok(connection)
}

/// A connection to a file that nobody is writing: on a read-only medium, or in a folder
/// where this user may only read and no writer is at work, and with nothing beside it
/// that is not in it yet. `None` anywhere else.
pub(super) fn connect_still(
    path: &Path,
    flags: OpenFlags,
) -> Result<Option<Connection>, StoreError> {
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    let beside = |ending: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(ending);
        PathBuf::from(name)
    };
    let pending = beside("-wal").metadata().is_ok_and(|file| file.len() > 0);
    let Ok(system) = rustix::fs::statvfs(folder) else {
        return Ok(None);
    };
    let read_only = system
        .f_flag
        .contains(rustix::fs::StatVfsMountFlags::RDONLY);
    let may_write = rustix::fs::access(folder, rustix::fs::Access::WRITE_OK).is_ok();
    // Every writer holds the lock as long as it has the store open.
    let written = File::open(beside("-lock")).is_ok_and(|lock| lock.try_lock().is_err());
    let Ok(absolute) = path.canonicalize() else {
        return Ok(None);
    };
    let still = read_only || (!may_write && !written);
    if pending || !still {
        return Ok(None);
    }
    let name = absolute.to_string_lossy();
    let escaped = name
        .replace('%', "%25")
        .replace('?', "%3f")
        .replace('#', "%23");
    let uri = format!("file:{escaped}?immutable=1");
    let sqlite = |fault: rusqlite::Error| StoreError::sqlite(path, &fault);
    let flags = flags | OpenFlags::SQLITE_OPEN_URI;
    let connection = Connection::open_with_flags(uri, flags).map_err(sqlite)?;
    connection
        .pragma_update(None, "trusted_schema", false)
        .map_err(sqlite)?;
    Ok(Some(connection))
}

/// Makes the settings and reads each back.
fn set(connection: &Connection, path: &Path) -> Result<(), StoreError> {
    let sqlite = |fault: rusqlite::Error| StoreError::sqlite(path, &fault);
    connection
        .pragma_update_and_check(None, "journal_mode", "wal", |_| Ok(()))
        .map_err(sqlite)?;
    connection
        .pragma_update(None, "synchronous", "full")
        .map_err(sqlite)?;
    connection
        .pragma_update(None, "foreign_keys", true)
        .map_err(sqlite)?;
    let patience = PATIENCE.as_millis().to_string();
    for (name, wanted) in [
        ("journal_mode", "wal"),
        ("synchronous", "2"),
        ("foreign_keys", "1"),
        ("busy_timeout", patience.as_str()),
    ] {
        let found = setting(connection, name).map_err(sqlite)?;
        if found != wanted {
            return Err(StoreError::Setting {
                path: path.to_owned(),
                name,
                wanted: wanted.to_owned(),
                found,
            });
        }
    }
    Ok(())
}

/// A setting as text.
pub(super) fn setting(connection: &Connection, name: &str) -> rusqlite::Result<String> {
    connection.pragma_query_value(None, name, |row| {
        Ok(match row.get_ref(0)? {
            rusqlite::types::ValueRef::Integer(number) => number.to_string(),
            other => other.as_str().unwrap_or("?").to_owned(),
        })
    })
}

fn lock_file(path: &Path) -> Result<File, StoreError> {
    let mut name = path.as_os_str().to_owned();
    name.push("-lock");
    let name = PathBuf::from(name);
    OpenOptions::new()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&name)
        .map_err(|fault| StoreError::io(&name, &fault))
}

/// Holds the lock shared from now on.
fn share(lock: &File, path: &Path) -> Result<(), StoreError> {
    let start = Instant::now();
    loop {
        match lock.try_lock_shared() {
            Ok(()) => return Ok(()),
            Err(TryLockError::Error(fault)) => return Err(StoreError::io(path, &fault)),
            Err(TryLockError::WouldBlock) if start.elapsed() < PATIENCE => {
                std::thread::sleep(Duration::from_millis(10));
            }
            Err(TryLockError::WouldBlock) => {
                return Err(StoreError::Busy {
                    path: path.to_owned(),
                    seconds: PATIENCE.as_secs(),
                });
            }
        }
    }
}

/// Closes every run without an end as inconclusive, by new entries.
fn close_cut_off(
    connection: &mut Connection,
    path: &Path,
    now: jiff::Timestamp,
) -> Result<Vec<RunId>, StoreError> {
    let sqlite = |fault: rusqlite::Error| StoreError::sqlite(path, &fault);
    let open = open_runs(connection).map_err(sqlite)?;
    for run in &open {
        let items = closing(connection, run, now).map_err(sqlite)?;
        let items: Result<Vec<Item>, StoreError> = items
            .into_iter()
            .map(|line| {
                let text = line.text()?;
                let line = Box::new(line);
                Ok(Item::Line { line, text })
            })
            .collect();
        database::write(connection, &items?).map_err(sqlite)?;
    }
    Ok(open)
}

fn open_runs(connection: &Connection) -> rusqlite::Result<Vec<RunId>> {
    let mut statement = connection
        .prepare("SELECT run FROM runs WHERE finished IS NULL ORDER BY first LIMIT ?1")?;
    let runs = statement.query_map([MOST_CLOSED as i64], |row| row.get::<_, String>(0))?;
    runs.map(|run| run?.parse().map_err(database::not_ours))
        .collect()
}

/// The lines that close `run`: a trouble that says what happened, and the end.
/// They follow the last number in the store even where a text before them no
/// longer reads, so that a damaged run is closed too.
fn closing(
    connection: &Connection,
    run: &RunId,
    now: jiff::Timestamp,
) -> rusqlite::Result<Vec<Line>> {
    let mut statement = connection.prepare_cached(
        "SELECT sequence, text FROM lines WHERE run = ?1 AND kind = 'entry' ORDER BY sequence",
    )?;
    let mut rows = statement.query([run.as_str()])?;
    let mut fold = Fold::default();
    let mut last = (0, BenchInstant::ZERO);
    while let Some(row) = rows.next()? {
        let sequence = row.get::<_, i64>(0)?.max(0) as u64;
        last.0 = sequence;
        let line = Line::parse(row.get_ref(1)?.as_str().map_err(database::not_ours)?);
        if let Some(entry) = line.ok().as_ref().and_then(Line::entry) {
            last.1 = entry.bench;
            // What does not follow is left out of the digest; `verify` names it.
            let _ = fold.push(entry);
        }
    }
    let record = fold.record();
    let scenario = record.and_then(|record| {
        let running = record.scenarios.iter().rfind(|s| s.verdict.is_none());
        running.map(|scenario| scenario.name.clone())
    });
    let trouble = Trouble {
        what: "the run was cut off and found unfinished at a later start; whether the bench was \
               made safe is known only as far as the record says"
            .to_owned(),
        blame: Blame::Operator,
    };
    let end = Event::RunFinished {
        verdict: Verdict::Inconclusive,
        abort: Some(Abort::CutOff),
        measurement: record.map_or_else(|| Digest::of(b""), measurement_digest),
    };
    let (sequence, bench) = last;
    let line = |sequence, event| Line {
        run: run.clone(),
        content: Content::Entry(Entry {
            sequence,
            at: now,
            bench,
            event,
        }),
    };
    Ok(vec![
        line(sequence + 1, Event::Trouble { scenario, trouble }),
        line(sequence + 2, end),
    ])
}
