//! Whether a store is as it was written: the file's own structure, the chain,
//! the index made from it and the bytes it names. It mends nothing.

use super::{Filter, Reader, RunHeader};
use crate::digest::Digest;
use crate::event::Event;
use crate::ident::RunId;
use crate::record::chain::{self, ChainFault, Stored};
use crate::record::{Content, Line};
use crate::store::structure::fault_of;
use crate::store::{StoreError, database};
use std::collections::BTreeMap;

/// An intact store in numbers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verification {
    /// Lines in the chain.
    pub lines: u64,
    /// Runs.
    pub runs: u64,
    /// Runs without an end.
    pub open: u64,
    /// Blobs whose bytes were found right.
    pub blobs: u64,
    /// Observations that a run names and the store does not keep. Bulk suites
    /// keep those of failures only, so this is told, not judged.
    pub observations_not_kept: u64,
    /// The chain's head.
    pub head: Digest,
}

/// The first thing found to be altered.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Tampering {
    /// In the chain.
    #[error(transparent)]
    Chain(#[from] ChainFault),
    /// A line's row says something else than its text.
    #[error("line {position} is filed under another run or number than its text says")]
    Filed {
        /// Its place.
        position: u64,
    },
    /// A run's line in the list says something else than its entries.
    #[error("the list says something else of run {run} than its entries do")]
    Listed {
        /// The run.
        run: RunId,
    },
    /// Bytes that are not those they are named after.
    #[error("the kept bytes {digest} were changed")]
    Bytes {
        /// The name they have.
        digest: String,
    },
    /// A document that was handed out and is gone.
    #[error("the bytes of '{name}', handed out for run {run}, are missing")]
    IssuedGone {
        /// The run.
        run: RunId,
        /// The document.
        name: String,
    },
    /// The file's own structure.
    #[error("the file's structure is damaged: {what}")]
    Structure {
        /// The database's words.
        what: String,
    },
}

impl Reader {
    /// Checks everything in the store; with `head`, a link printed on a
    /// certificate, also that the chain still contains it.
    ///
    /// # Errors
    /// The first [`Tampering`] inside, a [`StoreError`] when the store cannot
    /// be read at all.
    pub fn verify(
        &self,
        head: Option<Digest>,
    ) -> Result<Result<Verification, Tampering>, StoreError> {
        let checked = || -> rusqlite::Result<Result<Verification, Tampering>> {
            // One view of the store while others write.
            let view = self.connection.unchecked_transaction()?;
            let checked = Check::default().all(self, head);
            view.finish()?;
            checked
        };
        checked().map_err(|fault| self.sqlite(&fault))
    }
}

/// What the walk along the chain gathers for the checks after it.
#[derive(Default)]
struct Check {
    /// Headers as the entries tell them.
    told: BTreeMap<RunId, RunHeader>,
    not_kept: u64,
    fault: Option<Tampering>,
}

type Checked<T> = rusqlite::Result<Result<T, Tampering>>;

impl Check {
    fn all(mut self, reader: &Reader, head: Option<Digest>) -> Checked<Verification> {
        if let Some(what) = fault_of(&reader.connection, &["integrity_check(1)"])? {
            return Ok(Err(Tampering::Structure { what }));
        }
        let intact = match self.walk(reader, head)? {
            Err(fault) => return Ok(Err(fault.into())),
            Ok(intact) => intact,
        };
        if let Some(fault) = self.fault.take() {
            return Ok(Err(fault));
        }
        let open = self.told.values().filter(|told| told.finished.is_none());
        let open = open.count() as u64;
        let runs = self.told.len() as u64;
        if let Err(fault) = self.lists(reader)? {
            return Ok(Err(fault));
        }
        let blobs = match blobs(reader)? {
            Err(fault) => return Ok(Err(fault)),
            Ok(blobs) => blobs,
        };
        Ok(Ok(Verification {
            lines: intact.lines,
            runs,
            open,
            blobs,
            observations_not_kept: self.not_kept,
            head: intact.head,
        }))
    }

    fn walk(
        &mut self,
        reader: &Reader,
        head: Option<Digest>,
    ) -> rusqlite::Result<Result<chain::Intact, ChainFault>> {
        let mut statement = reader.connection.prepare(
            "SELECT position, run, sequence, kind, text, link FROM lines ORDER BY position",
        )?;
        let mut rows = statement.query([])?;
        let lines = std::iter::from_fn(|| {
            let row = match rows.next() {
                Ok(row) => row?,
                Err(fault) => return Some(Err(fault)),
            };
            Some(self.look(reader, row))
        });
        chain::verify(lines, head)
    }

    /// Reads a row and compares it with what its text says.
    fn look(&mut self, reader: &Reader, row: &rusqlite::Row<'_>) -> rusqlite::Result<Stored> {
        let stored = Stored {
            position: row.get::<_, i64>(0)?.max(0) as u64,
            text: row.get(4)?,
            link: row.get(5)?,
        };
        // A text that does not read is the chain's to name.
        if let Ok(line) = Line::parse(&stored.text) {
            let run: String = row.get(1)?;
            let filed = (row.get::<_, String>(3)?, row.get::<_, Option<i64>>(2)?);
            let (kind, sequence) = database::columns(&line);
            if run != line.run.as_str() || filed != (kind.to_owned(), sequence) {
                let position = stored.position;
                self.fault.get_or_insert(Tampering::Filed { position });
            }
            self.tell(reader, line)?;
        }
        Ok(stored)
    }

    fn tell(&mut self, reader: &Reader, line: Line) -> rusqlite::Result<()> {
        let run = line.run;
        let entry = match line.content {
            Content::Entry(entry) => entry,
            Content::Note(_) => return Ok(()),
            Content::Issued(issued) => {
                if !kept(reader, &issued.digest)? {
                    let name = issued.name;
                    self.fault
                        .get_or_insert(Tampering::IssuedGone { run, name });
                }
                return Ok(());
            }
        };
        let to_microsecond = |at: jiff::Timestamp| {
            jiff::Timestamp::from_microsecond(at.as_microsecond()).map_err(database::not_ours)
        };
        match entry.event {
            Event::RunStarted(started) => {
                let header = RunHeader {
                    run: run.clone(),
                    serial: started.serial,
                    lot: started.lot,
                    plan: started.plan,
                    started: to_microsecond(entry.at)?,
                    only: started.only,
                    model: started.model,
                    verdict: None,
                    abort: None,
                    finished: None,
                };
                self.told.insert(run, header);
            }
            Event::RunFinished { verdict, abort, .. } => {
                if let Some(header) = self.told.get_mut(&run) {
                    header.verdict = Some(verdict);
                    header.abort = abort;
                    header.finished = Some(to_microsecond(entry.at)?);
                }
            }
            Event::Observed { digest, .. } if !kept(reader, &digest)? => self.not_kept += 1,
            _ => {}
        }
        Ok(())
    }

    /// Compares the list of runs with what the entries told.
    fn lists(&mut self, reader: &Reader) -> Checked<()> {
        for header in reader.runs(&Filter::default()) {
            let header = match header {
                Ok(header) => header,
                Err(fault) => {
                    let what = fault.to_string();
                    return Ok(Err(Tampering::Structure { what }));
                }
            };
            if self.told.remove(&header.run).as_ref() != Some(&header) {
                return Ok(Err(Tampering::Listed { run: header.run }));
            }
        }
        Ok(match self.told.pop_first() {
            Some((run, _)) => Err(Tampering::Listed { run }),
            None => Ok(()),
        })
    }
}

fn kept(reader: &Reader, digest: &Digest) -> rusqlite::Result<bool> {
    reader
        .connection
        .prepare_cached("SELECT 1 FROM blobs WHERE digest = ?1")?
        .exists([digest.to_string()])
}

/// Unpacks every blob and compares it with its name.
fn blobs(reader: &Reader) -> Checked<u64> {
    let mut statement = reader
        .connection
        .prepare("SELECT digest, size, packed FROM blobs ORDER BY digest")?;
    let mut rows = statement.query([])?;
    let mut count = 0;
    while let Some(row) = rows.next()? {
        let digest: String = row.get(0)?;
        let size: i64 = row.get(1)?;
        let packed = row.get_ref(2)?.as_blob().map_err(database::not_ours)?;
        let right = super::unpacked(packed).is_some_and(|bytes| {
            Digest::of(&bytes).to_string() == digest && i64::try_from(bytes.len()) == Ok(size)
        });
        if !right {
            return Ok(Err(Tampering::Bytes { digest }));
        }
        count += 1;
    }
    Ok(Ok(count))
}
