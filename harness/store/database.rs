//! The file's layout and what is written into it. It knows no threads and no
//! queue.
//!
//! `lines` is the truth, in one order, tied together by the chain; `runs` is an
//! index over it that can be made again from it; `blobs` holds bytes under
//! their digest. `verify` checks the last two against the first.

use super::fault::StoreError;
use super::item::{Blob, Item};
use super::kind::Kind;
use crate::digest::Digest;
use crate::event::{Entry, Event};
use crate::ident::RunId;
use crate::judgement::Verdict;
use crate::record::{Content, Line, chain};
use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior, params};
use std::path::Path;

/// The layout this version writes, kept as the file's `user_version`.
pub(super) const LAYOUT: i64 = 1;

/// What makes the tables.
pub(super) const SCHEMA: &str = "
CREATE TABLE runs (
    run      TEXT PRIMARY KEY,
    first    INTEGER NOT NULL UNIQUE,
    serial   TEXT NOT NULL,
    lot      TEXT,
    plan     TEXT NOT NULL,
    started  INTEGER NOT NULL,
    only_one TEXT,
    verdict  TEXT CHECK (verdict IN ('pass', 'inconclusive', 'fail')),
    abort    TEXT,
    finished INTEGER
) STRICT;
CREATE INDEX runs_by_serial ON runs (serial, first);
CREATE INDEX runs_by_lot ON runs (lot, first);
CREATE INDEX runs_open ON runs (first) WHERE finished IS NULL;
CREATE TABLE lines (
    position INTEGER PRIMARY KEY,
    run      TEXT NOT NULL REFERENCES runs (run),
    sequence INTEGER,
    kind     TEXT NOT NULL CHECK (kind IN ('entry', 'note', 'issued')),
    text     TEXT NOT NULL,
    link     TEXT NOT NULL
) STRICT;
CREATE UNIQUE INDEX lines_by_run ON lines (run, sequence, position);
CREATE TABLE blobs (
    digest TEXT PRIMARY KEY,
    size   INTEGER NOT NULL,
    packed BLOB NOT NULL
) STRICT;
";

/// The number in the file's header that says what it holds ("BSPR", "BSPM").
pub(super) const fn application_id(kind: Kind) -> i64 {
    match kind {
        Kind::Records => 0x4253_5052,
        Kind::Model => 0x4253_504D,
    }
}

/// What the file holds, after checking that this program may read it; `None`
/// for an empty file.
pub(super) fn kind_of(connection: &Connection, path: &Path) -> Result<Option<Kind>, StoreError> {
    // As it was at one moment: another process may just be making the tables.
    let moment = connection.is_autocommit();
    let moment = moment.then(|| connection.unchecked_transaction());
    let _moment = moment
        .transpose()
        .map_err(|fault| StoreError::sqlite(path, &fault))?;
    let read = |name| {
        connection
            .pragma_query_value(None, name, |row| row.get::<_, i64>(0))
            .map_err(|fault| StoreError::sqlite(path, &fault))
    };
    let (layout, id) = (read("user_version")?, read("application_id")?);
    let kind = [Kind::Records, Kind::Model]
        .into_iter()
        .find(|kind| application_id(*kind) == id);
    let path = path.to_owned();
    match (kind, layout) {
        (Some(kind), LAYOUT) => Ok(Some(kind)),
        (Some(_), found) if found > LAYOUT => Err(StoreError::Newer {
            path,
            found,
            known: LAYOUT,
        }),
        (Some(_), found) => Err(StoreError::Damaged {
            path,
            what: format!("layout {found} was never written"),
        }),
        (None, 0) if id == 0 => {
            let tables: i64 = connection
                .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
                .map_err(|fault| StoreError::sqlite(&path, &fault))?;
            if tables == 0 {
                Ok(None)
            } else {
                Err(StoreError::NotAStore { path })
            }
        }
        (None, _) => Err(StoreError::NotAStore { path }),
    }
}

/// Makes the tables in an empty file, unless another process was faster.
pub(super) fn create(
    connection: &mut Connection,
    path: &Path,
    kind: Kind,
) -> Result<(), StoreError> {
    let sqlite = |fault: rusqlite::Error| StoreError::sqlite(path, &fault);
    let transaction = immediate(connection).map_err(sqlite)?;
    if kind_of(&transaction, path)?.is_none() {
        transaction.execute_batch(SCHEMA).map_err(sqlite)?;
        for (name, value) in [
            ("application_id", application_id(kind)),
            ("user_version", LAYOUT),
        ] {
            transaction
                .pragma_update(None, name, value)
                .map_err(sqlite)?;
        }
    }
    transaction.commit().map_err(sqlite)
}

/// Writes `items` in order, all or none, and returns once they are on disk.
pub(super) fn write(connection: &mut Connection, items: &[Item]) -> rusqlite::Result<()> {
    let transaction = immediate(connection)?;
    // Read inside the transaction: another process may have appended.
    let (mut position, mut link) = head(&transaction)?;
    for item in items {
        match item {
            Item::Blob(blob) => write_blob(&transaction, blob)?,
            Item::Line { line, text } => {
                position += 1;
                link = chain::next(&link, text);
                write_line(&transaction, position, line, text, &link)?;
            }
        }
    }
    transaction.commit()
}

/// Place and link of the last line; zero and the chain's start in an empty
/// store.
pub(super) fn head(connection: &Connection) -> rusqlite::Result<(i64, Digest)> {
    let mut statement = connection
        .prepare_cached("SELECT position, link FROM lines ORDER BY position DESC LIMIT 1")?;
    let last = statement.query_row([], |row| {
        Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?))
    });
    Ok(match last.optional()? {
        None => (0, chain::start()),
        Some((position, link)) => (position, digest(&link)?),
    })
}

/// A digest from a column.
pub(super) fn digest(text: &str) -> rusqlite::Result<Digest> {
    text.parse().map_err(not_ours)
}

/// A column's value that this program never wrote.
pub(super) fn not_ours(fault: impl std::error::Error + Send + Sync + 'static) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(0, rusqlite::types::Type::Text, Box::new(fault))
}

/// The word for a verdict in a column.
pub(super) const fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::Inconclusive => "inconclusive",
        Verdict::Fail => "fail",
    }
}

/// Whether `run` is in the store.
pub(super) fn has_run(connection: &Connection, run: &RunId) -> rusqlite::Result<bool> {
    connection
        .prepare_cached("SELECT 1 FROM runs WHERE run = ?1")?
        .exists([run.as_str()])
}

fn immediate(connection: &mut Connection) -> rusqlite::Result<Transaction<'_>> {
    connection.transaction_with_behavior(TransactionBehavior::Immediate)
}

fn write_blob(transaction: &Transaction<'_>, blob: &Blob) -> rusqlite::Result<()> {
    let name = blob.bytes.digest().to_string();
    let known = transaction
        .prepare_cached("SELECT 1 FROM blobs WHERE digest = ?1")?
        .exists([&name])?;
    if known {
        return Ok(());
    }
    let packed = blob
        .packed()
        .map_err(|fault| rusqlite::Error::ToSqlConversionFailure(fault.into()))?;
    let size = blob.bytes.bytes().len() as i64;
    transaction
        .prepare_cached("INSERT INTO blobs (digest, size, packed) VALUES (?1, ?2, ?3)")?
        .execute(params![name, size, packed])?;
    Ok(())
}

fn write_line(
    transaction: &Transaction<'_>,
    position: i64,
    line: &Line,
    text: &str,
    link: &Digest,
) -> rusqlite::Result<()> {
    let (kind, sequence) = columns(line);
    if let Some(entry) = line.entry() {
        index_start(transaction, position, line, entry)?;
    }
    transaction
        .prepare_cached(
            "INSERT INTO lines (position, run, sequence, kind, text, link)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![
            position,
            line.run.as_str(),
            sequence,
            kind,
            text,
            link.to_string()
        ])?;
    if let Some(entry) = line.entry() {
        index_end(transaction, line, entry)?;
    }
    Ok(())
}

/// What stands beside a line's text in its row.
pub(super) fn columns(line: &Line) -> (&'static str, Option<i64>) {
    match &line.content {
        Content::Entry(entry) => ("entry", i64::try_from(entry.sequence).ok()),
        Content::Note(_) => ("note", None),
        Content::Issued(_) => ("issued", None),
    }
}

fn index_start(
    transaction: &Transaction<'_>,
    position: i64,
    line: &Line,
    entry: &Entry,
) -> rusqlite::Result<()> {
    let Event::RunStarted(started) = &entry.event else {
        return Ok(());
    };
    transaction
        .prepare_cached(
            "INSERT INTO runs (run, first, serial, lot, plan, started, only_one)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        )?
        .execute(params![
            line.run.as_str(),
            position,
            started.serial.as_str(),
            started.lot.as_ref().map(|lot| lot.as_str()),
            started.plan,
            entry.at.as_microsecond(),
            started.only,
        ])?;
    Ok(())
}

fn index_end(transaction: &Transaction<'_>, line: &Line, entry: &Entry) -> rusqlite::Result<()> {
    let Event::RunFinished { verdict, abort, .. } = &entry.event else {
        return Ok(());
    };
    let abort = abort.as_ref().map(abort_word);
    transaction
        .prepare_cached("UPDATE runs SET verdict = ?2, abort = ?3, finished = ?4 WHERE run = ?1")?
        .execute(params![
            line.run.as_str(),
            verdict_word(*verdict),
            abort,
            entry.at.as_microsecond()
        ])?;
    Ok(())
}

/// The word for an abort in a column.
pub(super) const fn abort_word(abort: &crate::event::Abort) -> &'static str {
    use crate::event::Abort;
    match abort {
        Abort::Operator => "operator",
        Abort::Bench => "bench",
        Abort::Store => "store",
        Abort::Harness => "harness",
        Abort::CutOff => "cut_off",
    }
}
