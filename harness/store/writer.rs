//! The one thread that writes: it gathers what may wait, commits what may not,
//! and answers. It makes no line and judges none.

use super::database;
use super::{Durability, StoreError};
use crate::digest::Digest;
use crate::ident::RunId;
use crate::record::Line;
use rusqlite::Connection;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender};
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

/// Requests that may wait for the thread; then senders wait.
pub(super) const QUEUE: usize = 64;

/// How long something that is not durable may wait for the disk.
const GROUP: Duration = Duration::from_millis(100);

/// Bytes that may wait for one commit.
const MOST_WAITING: usize = 32 * 1024 * 1024;

/// Something to be written.
#[derive(Debug)]
pub(super) enum Item {
    /// A line with its text.
    Line {
        /// The line.
        line: Box<Line>,
        /// Its text, as it is stored.
        text: String,
    },
    /// Bytes under their digest.
    Blob {
        /// The digest.
        digest: Digest,
        /// The bytes.
        bytes: Vec<u8>,
    },
}

impl Item {
    fn size(&self) -> usize {
        match self {
            Self::Line { text, .. } => text.len(),
            Self::Blob { bytes, .. } => bytes.len(),
        }
    }
}

/// Where an answer goes.
type Reply = SyncSender<Result<(), StoreError>>;

/// What the thread is asked for.
pub(super) enum Request {
    /// The first line of a run that must not be in the store.
    Begin {
        run: RunId,
        item: Item,
        durable: bool,
        reply: Reply,
    },
    /// Something that may wait.
    Later { item: Item },
    /// Something to be on disk before the answer.
    Durable { item: Item, reply: Reply },
    /// Lines for a run that must be in the store.
    Add {
        run: RunId,
        items: Vec<Item>,
        reply: Reply,
    },
    /// Everything that waits.
    Flush { reply: Reply },
    /// The end.
    Close,
    /// The end without writing what waits, as if the process were killed.
    #[cfg(test)]
    Die,
    /// Anything a test wants to do to the connection.
    #[cfg(test)]
    Do(Box<dyn FnOnce(&Connection) + Send>),
}

/// The thread's state.
pub(super) struct Writer {
    connection: Connection,
    path: PathBuf,
    durability: Durability,
    /// The first failed write; after it the store takes nothing more, since
    /// what follows a hole would tell another story.
    broken: Arc<OnceLock<StoreError>>,
    waiting: Vec<Item>,
    bytes: usize,
    deadline: Option<Instant>,
}

impl Writer {
    pub(super) fn new(
        connection: Connection,
        path: PathBuf,
        durability: Durability,
        broken: Arc<OnceLock<StoreError>>,
    ) -> Self {
        Self {
            connection,
            path,
            durability,
            broken,
            waiting: Vec::new(),
            bytes: 0,
            deadline: None,
        }
    }

    /// Serves until the end is asked for or nobody is left to ask.
    pub(super) fn run(mut self, requests: &Receiver<Request>) {
        loop {
            let request = match self.deadline {
                None => requests.recv().map_err(|_| RecvTimeoutError::Disconnected),
                Some(deadline) => {
                    requests.recv_timeout(deadline.saturating_duration_since(Instant::now()))
                }
            };
            match request {
                Ok(Request::Close) | Err(RecvTimeoutError::Disconnected) => {
                    // A failure here is kept for whoever still asks.
                    let _ = self.flush();
                    return;
                }
                #[cfg(test)]
                Ok(Request::Die) => return,
                Ok(request) => self.serve(request),
                Err(RecvTimeoutError::Timeout) => {
                    let _ = self.flush();
                }
            }
        }
    }

    fn serve(&mut self, request: Request) {
        // Who asked may be gone; the write is done all the same.
        match request {
            Request::Later { item } => self.wait(item),
            Request::Durable { item, reply } => {
                self.wait(item);
                let _ = reply.send(self.flush());
            }
            Request::Flush { reply } => {
                let _ = reply.send(self.flush());
            }
            Request::Begin {
                run,
                item,
                durable,
                reply,
            } => {
                let _ = reply.send(self.begin(&run, item, durable));
            }
            Request::Add { run, items, reply } => {
                let _ = reply.send(self.add(&run, items));
            }
            #[cfg(test)]
            Request::Do(act) => act(&self.connection),
            #[cfg(test)]
            Request::Die => {}
            Request::Close => {}
        }
    }

    fn begin(&mut self, run: &RunId, item: Item, durable: bool) -> Result<(), StoreError> {
        if self.knows(run)? {
            let run = run.to_string();
            return Err(StoreError::RunExists { run });
        }
        self.wait(item);
        if durable { self.flush() } else { self.state() }
    }

    fn add(&mut self, run: &RunId, items: Vec<Item>) -> Result<(), StoreError> {
        if !self.knows(run)? {
            let run = run.to_string();
            return Err(StoreError::NoSuchRun { run });
        }
        items.into_iter().for_each(|item| self.wait(item));
        self.flush()
    }

    /// Whether `run` is in the store or about to be.
    fn knows(&self, run: &RunId) -> Result<bool, StoreError> {
        self.state()?;
        let waits = |item: &Item| matches!(item, Item::Line { line, .. } if line.run == *run);
        if self.waiting.iter().any(waits) {
            return Ok(true);
        }
        database::has_run(&self.connection, run)
            .map_err(|fault| StoreError::sqlite(&self.path, &fault))
    }

    fn wait(&mut self, item: Item) {
        self.bytes += item.size();
        self.waiting.push(item);
        if self.bytes > MOST_WAITING {
            // The failure, if any, is told to the next who asks.
            let _ = self.flush();
        } else if self.durability == Durability::EveryEvent {
            self.deadline.get_or_insert_with(|| Instant::now() + GROUP);
        }
    }

    fn flush(&mut self) -> Result<(), StoreError> {
        self.deadline = None;
        self.bytes = 0;
        let items = std::mem::take(&mut self.waiting);
        self.state()?;
        if items.is_empty() {
            return Ok(());
        }
        database::write(&mut self.connection, &items).map_err(|fault| {
            let fault = StoreError::sqlite(&self.path, &fault);
            self.broken.get_or_init(|| fault).clone()
        })
    }

    fn state(&self) -> Result<(), StoreError> {
        self.broken.get().cloned().map_or(Ok(()), Err)
    }
}
