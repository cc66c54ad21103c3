//! Where records are kept: one SQLite file, into which every line is tied by
//! the hash chain, and which says when it is on disk. It judges nothing and
//! knows no scenario.

pub mod folder;

mod database;
mod durability;
mod fault;
mod item;
mod kind;
mod opening;
mod reader;
mod structure;
mod writer;

pub use durability::Durability;
pub use fault::StoreError;
pub use kind::Kind;
pub use reader::{Filter, LotHeader, Reader, RunHeader, Runs, Tampering, Verification};

use crate::clock::WallClock;
use crate::digest::{Digest, Hashed};
use crate::event::{Entry, Event};
use crate::ident::RunId;
use crate::record::{Content, Fold, Issued, LONGEST_OBSERVATION, Line, Note, Record};
use item::Item;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::JoinHandle;
use writer::Writer;

/// An open store. Dropping it writes what waits and ends its thread.
#[derive(Debug)]
pub struct Store {
    path: PathBuf,
    kind: Kind,
    durability: Durability,
    writer: Arc<Writer>,
    thread: Option<JoinHandle<()>>,
    closed_cut_off: Vec<RunId>,
    /// Shared while a store is open for writing, see [`opening`].
    _lock: File,
}

impl Store {
    /// Opens or creates the store in the reports folder `folder`.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn for_run(
        folder: &Path,
        model: bool,
        durability: Durability,
        clock: &dyn WallClock,
    ) -> Result<Self, StoreError> {
        let kind = if model { Kind::Model } else { Kind::Records };
        std::fs::create_dir_all(folder).map_err(|fault| StoreError::io(folder, &fault))?;
        Self::open(&folder.join(kind.file_name()), kind, durability, clock)
    }

    /// Opens or creates the store at `path`. Where no other process has it
    /// open, runs that were cut off are closed as inconclusive first.
    ///
    /// # Errors
    /// A [`StoreError`] saying what is wrong with the file and what to do.
    pub fn open(
        path: &Path,
        kind: Kind,
        durability: Durability,
        clock: &dyn WallClock,
    ) -> Result<Self, StoreError> {
        let opened = opening::open(path, kind, clock)?;
        let writer = Arc::new(Writer::new(opened.connection, path.to_owned(), durability));
        let serving = Arc::clone(&writer);
        let thread = std::thread::Builder::new()
            .name("store".to_owned())
            .spawn(move || serving.serve())
            .map_err(|fault| StoreError::io(path, &fault))?;
        Ok(Self {
            path: path.to_owned(),
            kind,
            durability,
            writer,
            thread: Some(thread),
            closed_cut_off: opened.closed,
            _lock: opened.lock,
        })
    }

    /// The runs that were found cut off at opening and closed.
    pub fn closed_cut_off(&self) -> &[RunId] {
        &self.closed_cut_off
    }

    /// Where the store is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Begins a run; `entry` is its start, number one, and durable when this
    /// returns (except with [`Durability::AtEnd`]).
    ///
    /// # Errors
    /// [`StoreError::OtherKind`] for a model run among records or the reverse,
    /// [`StoreError::RunExists`], [`StoreError::Order`] when the entry is no
    /// start, or whatever kept it from the disk.
    pub fn begin(&self, entry: &Entry) -> Result<RunWriter, StoreError> {
        let mut fold = Fold::default();
        fold.push(entry)?;
        let Event::RunStarted(started) = &entry.event else {
            unreachable!("a fold begins with nothing else");
        };
        let wanted = if started.model {
            Kind::Model
        } else {
            Kind::Records
        };
        if wanted != self.kind {
            return Err(StoreError::OtherKind {
                path: self.path.clone(),
                found: self.kind,
                wanted,
            });
        }
        let run = RunWriter {
            run: started.run.clone(),
            fold,
            durability: self.durability,
            writer: Arc::clone(&self.writer),
        };
        let durable = self.durability == Durability::EveryEvent;
        let item = run.item(entry)?;
        self.writer.begin(&run.run, item, durable)?;
        Ok(run)
    }

    /// Adds a remark to a run that is in the store; on disk when it returns.
    ///
    /// # Errors
    /// [`StoreError::NoSuchRun`], or whatever kept it from the disk.
    pub fn note(&self, run: &RunId, note: Note) -> Result<(), StoreError> {
        self.add(run, Content::Note(note), None)
    }

    /// Keeps the bytes of a document that is handed out, and that it was; on
    /// disk when it returns.
    ///
    /// # Errors
    /// [`StoreError::NoSuchRun`], or whatever kept it from the disk.
    pub fn issue(
        &self,
        run: &RunId,
        at: jiff::Timestamp,
        kind: &str,
        name: &str,
        bytes: Vec<u8>,
    ) -> Result<Digest, StoreError> {
        let bytes = Hashed::of(bytes);
        let digest = bytes.digest();
        let issued = Issued {
            at,
            kind: kind.to_owned(),
            name: name.to_owned(),
            digest,
        };
        let blob = Some(Item::blob(bytes));
        self.add(run, Content::Issued(issued), blob)?;
        Ok(digest)
    }

    fn add(&self, run: &RunId, content: Content, blob: Option<Item>) -> Result<(), StoreError> {
        let line = Box::new(Line {
            run: run.clone(),
            content,
        });
        let text = line.text()?;
        let items = blob.into_iter().chain([Item::Line { line, text }]);
        self.writer.add(run, items)
    }

    /// Writes everything that waits; on disk when it returns.
    ///
    /// # Errors
    /// Whatever kept it from the disk.
    pub fn flush(&self) -> Result<(), StoreError> {
        self.writer.flush()
    }

    /// Takes so many commits more and fails at each one after, as on a disk that
    /// is full then: for trying out what becomes of a run.
    pub fn fills_up_after(&self, commits: u64) {
        self.writer.fills_up_after(commits);
    }

    /// A reader of this store, of everything appended so far.
    ///
    /// # Errors
    /// As [`Store::flush`] and [`Reader::open`].
    pub fn reader(&self) -> Result<Reader, StoreError> {
        self.flush()?;
        Reader::open(&self.path)
    }
}

impl Drop for Store {
    fn drop(&mut self) {
        // A failure here is kept for whoever still asks.
        let _ = self.writer.flush();
        self.writer.close();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// The one hand that appends to one run.
#[derive(Debug)]
pub struct RunWriter {
    run: RunId,
    fold: Fold,
    durability: Durability,
    writer: Arc<Writer>,
}

impl RunWriter {
    /// Appends the next entry. A durable one is on disk when this returns;
    /// another follows within 100 ms or with the next durable one. With
    /// [`Durability::AtEnd`] only the run's end is waited for.
    ///
    /// It blocks for the length of a commit: some milliseconds on a good disk.
    /// Once a write has failed, every later call fails with the same error.
    ///
    /// # Errors
    /// [`StoreError::Order`] when the entry cannot follow (nothing is
    /// appended), or whatever kept it, or one before it, from the disk.
    pub fn append(&mut self, entry: &Entry, durable: bool) -> Result<(), StoreError> {
        let item = self.item(entry)?;
        self.fold.push(entry)?;
        let last = matches!(entry.event, Event::RunFinished { .. });
        if last || (durable && self.durability == Durability::EveryEvent) {
            self.writer.durable(item)
        } else {
            self.writer.later(item)
        }
    }

    /// Keeps the bytes of an observation under their digest; they are packed
    /// from now on and reach the disk no later than the next entry.
    ///
    /// # Errors
    /// [`StoreError::TooLong`] for bytes that would never be read again, or
    /// whatever kept something before them from the disk.
    pub fn put_observation(&mut self, bytes: Hashed) -> Result<(), StoreError> {
        let size = bytes.bytes().len();
        if size > LONGEST_OBSERVATION {
            return Err(StoreError::TooLong { bytes: size });
        }
        self.writer.later(Item::blob(bytes))
    }

    /// The record so far.
    pub fn record(&self) -> &Record {
        self.fold.record().expect("a run begins with its start")
    }

    fn item(&self, entry: &Entry) -> Result<Item, StoreError> {
        let line = Box::new(Line {
            run: self.run.clone(),
            content: Content::Entry(entry.clone()),
        });
        let text = line.text()?;
        Ok(Item::Line { line, text })
    }
}

#[cfg(test)]
mod tests;
