//! What writes: it gathers what may wait, commits what may not, and packs
//! captures ahead of their commit. It makes no line and judges none.
//!
//! Who needs something on disk commits it, in its own thread: handing it to
//! another and waiting for the answer costs as much as the commit. One thread
//! more packs captures as soon as they are there and writes what nobody waits
//! for.

use super::database;
use super::durability::Durability;
use super::fault::StoreError;
use super::item::{Blob, Item};
use crate::ident::RunId;
use rusqlite::Connection;
use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{Duration, Instant};

/// How long something that is not durable may wait for the disk.
const GROUP: Duration = Duration::from_millis(100);

/// Bytes that may wait for one commit.
const MOST_WAITING: usize = 32 * 1024 * 1024;

/// What all hands of one store share.
#[derive(Debug)]
pub(super) struct Writer {
    path: PathBuf,
    durability: Durability,
    /// The first failed write; after it the store takes nothing more, since
    /// what follows a hole would tell another story.
    broken: OnceLock<StoreError>,
    /// Commits that the disk still takes; for tests of a disk that fills up.
    commits_left: AtomicU64,
    /// Locked for moments only, and after the connection where both are.
    queue: Mutex<Queue>,
    /// Told when there is something to pack, a deadline, or the end.
    wake: Condvar,
    /// Whoever holds it may take what waits, in order, and commit it.
    connection: Mutex<Connection>,
}

#[derive(Debug, Default)]
struct Queue {
    waiting: Vec<Item>,
    bytes: usize,
    to_pack: VecDeque<Arc<Blob>>,
    deadline: Option<Instant>,
    /// The thread waits without a deadline.
    idle: bool,
    closed: bool,
}

impl Writer {
    pub(super) fn new(connection: Connection, path: PathBuf, durability: Durability) -> Self {
        Self {
            path,
            durability,
            broken: OnceLock::new(),
            commits_left: AtomicU64::new(u64::MAX),
            queue: Mutex::default(),
            wake: Condvar::new(),
            connection: Mutex::new(connection),
        }
    }

    /// Packs and writes what nobody waits for, until the store is closed.
    pub(super) fn serve(&self) {
        let mut queue = self.queue();
        loop {
            if queue.closed {
                return;
            }
            if let Some(blob) = queue.to_pack.pop_front() {
                drop(queue);
                // What cannot be packed is told by the commit.
                let _ = blob.packed();
                queue = self.queue();
                continue;
            }
            let now = Instant::now();
            queue = match queue.deadline.map(|at| at.saturating_duration_since(now)) {
                None => {
                    queue.idle = true;
                    let woken = self.wake.wait(queue);
                    let mut queue = woken.unwrap_or_else(PoisonError::into_inner);
                    queue.idle = false;
                    queue
                }
                Some(Duration::ZERO) => {
                    drop(queue);
                    // A failure is kept for the next who asks.
                    let _ = self.flush();
                    self.queue()
                }
                Some(left) => {
                    let waited = self.wake.wait_timeout(queue, left);
                    waited.unwrap_or_else(PoisonError::into_inner).0
                }
            };
        }
    }

    /// Takes the first line of a run that must not be in the store.
    pub(super) fn begin(&self, run: &RunId, item: Item, durable: bool) -> Result<(), StoreError> {
        let connection = self.connection()?;
        if self.knows(&connection, run)? {
            let run = run.to_string();
            return Err(StoreError::RunExists { run });
        }
        self.push(item, false)?;
        drop(connection);
        if durable { self.flush() } else { self.state() }
    }

    /// Takes lines for a run that must be in the store, and writes them.
    pub(super) fn add(
        &self,
        run: &RunId,
        items: impl IntoIterator<Item = Item>,
    ) -> Result<(), StoreError> {
        let connection = self.connection()?;
        if !self.knows(&connection, run)? {
            let run = run.to_string();
            return Err(StoreError::NoSuchRun { run });
        }
        for item in items {
            self.push(item, false)?;
        }
        drop(connection);
        self.flush()
    }

    /// Takes something that may wait.
    pub(super) fn later(&self, item: Item) -> Result<(), StoreError> {
        if self.push(item, true)? > MOST_WAITING {
            return self.flush();
        }
        Ok(())
    }

    /// Takes something and returns when it, and all before it, is on disk.
    pub(super) fn durable(&self, item: Item) -> Result<(), StoreError> {
        self.push(item, false)?;
        self.flush()
    }

    /// Writes everything that waits.
    pub(super) fn flush(&self) -> Result<(), StoreError> {
        let mut connection = self.connection()?;
        let items = {
            let mut queue = self.queue();
            queue.deadline = None;
            queue.bytes = 0;
            std::mem::take(&mut queue.waiting)
        };
        self.state()?;
        if items.is_empty() {
            return Ok(());
        }
        // Nobody else counts: the connection is locked.
        let left = self.commits_left.load(Ordering::Relaxed);
        if left == 0 {
            let path = self.path.clone();
            let full = self.broken.get_or_init(|| StoreError::Full { path });
            return Err(full.clone());
        }
        self.commits_left
            .store(left.saturating_sub(1), Ordering::Relaxed);
        database::write(&mut connection, &items).map_err(|fault| {
            let fault = StoreError::sqlite(&self.path, &fault);
            self.broken.get_or_init(|| fault).clone()
        })
    }

    /// Takes so many commits more, then fails as on a full disk.
    pub(super) fn fills_up_after(&self, commits: u64) {
        self.commits_left.store(commits, Ordering::Relaxed);
    }

    /// Ends the thread; nothing more is taken.
    pub(super) fn close(&self) {
        self.queue().closed = true;
        self.wake.notify_all();
    }

    /// Forgets what waits, as if the process were killed.
    #[cfg(test)]
    pub(super) fn forget(&self) {
        self.queue().waiting.clear();
    }

    /// Anything a test wants to do to the connection.
    #[cfg(test)]
    pub(super) fn act(&self, act: impl FnOnce(&Connection)) {
        act(&self.connection().expect("nothing has failed"));
    }

    /// Whether `run` is in the store or about to be.
    fn knows(&self, connection: &Connection, run: &RunId) -> Result<bool, StoreError> {
        self.state()?;
        let waits = |item: &Item| matches!(item, Item::Line { line, .. } if line.run == *run);
        if self.queue().waiting.iter().any(waits) {
            return Ok(true);
        }
        database::has_run(connection, run).map_err(|fault| StoreError::sqlite(&self.path, &fault))
    }

    /// Takes `item`; where it `stays`, the thread writes it in time, otherwise
    /// the caller does at once. Returns how many bytes wait.
    fn push(&self, item: Item, stays: bool) -> Result<usize, StoreError> {
        self.state()?;
        let mut queue = self.queue();
        if queue.closed {
            return Err(StoreError::Closed);
        }
        let mut wake = false;
        if let Item::Blob(blob) = &item {
            queue.to_pack.push_back(Arc::clone(blob));
            wake = true;
        }
        queue.bytes += item.size();
        queue.waiting.push(item);
        if stays && self.durability == Durability::EveryEvent && queue.deadline.is_none() {
            queue.deadline = Some(Instant::now() + GROUP);
            // Otherwise it looks again by itself, no later than that.
            wake |= queue.idle;
        }
        let bytes = queue.bytes;
        drop(queue);
        if wake {
            self.wake.notify_one();
        }
        Ok(bytes)
    }

    fn queue(&self) -> MutexGuard<'_, Queue> {
        // Nothing that is done to it can be left half done.
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The connection; a commit that panicked may have lost lines, so none
    /// follows it.
    fn connection(&self) -> Result<MutexGuard<'_, Connection>, StoreError> {
        let lost = |_| self.broken.get_or_init(|| StoreError::Closed).clone();
        self.connection.lock().map_err(lost)
    }

    fn state(&self) -> Result<(), StoreError> {
        self.broken.get().cloned().map_or(Ok(()), Err)
    }
}
