//! Reading a store: runs, their entries, what they saw and what was added
//! later. It changes nothing.

mod check;
mod runs;

pub use check::{Tampering, Verification};
pub use runs::{Filter, LotHeader, RunHeader, Runs};

use super::database::{self, not_ours};
use super::opening::{connect, connect_still};
use super::structure::fault_of;
use super::{Kind, StoreError};
use crate::digest::Digest;
use crate::event::{Entry, Event, RunStarted};
use crate::ident::RunId;
use crate::record::chain::{self, Linked};
use crate::record::{
    Content, Excerpt, Issued, LONGEST_OBSERVATION, Line, LineFault, Note, ObservationFault, Record,
    from_bytes,
};
use crate::scenario::Observation;
use rusqlite::{Connection, OpenFlags, OptionalExtension};
use std::io::Read as _;
use std::path::{Path, PathBuf};

/// A store opened for reading. It needs no lock and may be used beside any
/// number of writers.
#[derive(Debug)]
pub struct Reader {
    connection: Connection,
    path: PathBuf,
    kind: Kind,
}

impl Reader {
    /// Opens the store at `path` for reading, if its list of runs can be trusted.
    ///
    /// # Errors
    /// A [`StoreError`] saying what is wrong with the file.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        let reader = Self::open_as_found(path)?;
        // The list of runs is short, and everything is found by it.
        reader.check(&["integrity_check(runs)"])?;
        Ok(reader)
    }

    /// The same for a store that is about to be verified.
    ///
    /// # Errors
    /// A [`StoreError`] saying why the file is no store that can be read.
    pub fn open_as_found(path: &Path) -> Result<Self, StoreError> {
        if !path.exists() {
            let path = path.to_owned();
            return Err(StoreError::Absent { path });
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = connect(path, flags)?;
        let (connection, kind) = match database::kind_of(&connection, path) {
            Ok(kind) => (connection, kind),
            // The database keeps a file beside its own while it reads, which a
            // read-only medium does not take.
            Err(fault) => {
                let still = connect_still(path, flags)?.ok_or(fault)?;
                let kind = database::kind_of(&still, path)?;
                (still, kind)
            }
        };
        let path = path.to_owned();
        let Some(kind) = kind else {
            return Err(StoreError::NotAStore { path });
        };
        Ok(Self {
            connection,
            path,
            kind,
        })
    }

    /// Whether lines are found where they are looked for: an index that leaves some
    /// of them out would hide a remark or a failure from what is handed out. Kept
    /// bytes and the chain are for [`Reader::verify`].
    ///
    /// # Errors
    /// [`StoreError::Damaged`] when an index and its table differ.
    pub fn check_indexes(&self) -> Result<(), StoreError> {
        self.check(&["integrity_check(lines)"])
    }

    fn check(&self, checks: &[&str]) -> Result<(), StoreError> {
        let found = fault_of(&self.connection, checks).map_err(|fault| self.sqlite(&fault))?;
        found.map_or(Ok(()), |what| {
            Err(StoreError::Damaged {
                path: self.path.clone(),
                what,
            })
        })
    }

    /// What the store holds.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// The headers of the runs that `filter` asks for, fetched as they are
    /// taken.
    pub fn runs<'a>(&'a self, filter: &Filter) -> Runs<'a> {
        Runs::new(self, filter)
    }

    /// The header of one run.
    ///
    /// # Errors
    /// A [`StoreError`] when the store cannot be read.
    pub fn header(&self, run: &RunId) -> Result<Option<RunHeader>, StoreError> {
        let sql = format!("{} WHERE run = ?1", runs::HEADER);
        let found = self
            .connection
            .query_row(&sql, [run.as_str()], |row| runs::header_of(row, self.kind));
        let found = found.optional().map_err(|fault| self.sqlite(&fault))?;
        Ok(found.map(|(_, header)| header))
    }

    /// The entries of a run in order; none where the run is not in the store.
    ///
    /// # Errors
    /// A [`StoreError`] when the store or a line cannot be read.
    pub fn entries(&self, run: &RunId) -> Result<Vec<Entry>, StoreError> {
        let lines = self.lines(run, "entry")?;
        Ok(lines
            .into_iter()
            .filter_map(|line| match line.content {
                Content::Entry(entry) => Some(entry),
                Content::Note(_) | Content::Issued(_) => None,
            })
            .collect())
    }

    /// The record of a run; `None` where the run is not in the store.
    ///
    /// # Errors
    /// A [`StoreError`] when it cannot be read or tells no run.
    pub fn record(&self, run: &RunId) -> Result<Option<Record>, StoreError> {
        let entries = self.entries(run)?;
        if entries.is_empty() {
            return Ok(None);
        }
        Ok(Some(Record::fold(&entries)?))
    }

    /// How a run began; `None` where the run is not in the store.
    ///
    /// # Errors
    /// A [`StoreError`] when the store or the line cannot be read.
    pub fn started(&self, run: &RunId) -> Result<Option<Box<RunStarted>>, StoreError> {
        let sql = "SELECT text FROM lines WHERE run = ?1 AND kind = 'entry' AND sequence = 1";
        let text: Option<String> = self
            .connection
            .query_row(sql, [run.as_str()], |row| row.get(0))
            .optional()
            .map_err(|fault| self.sqlite(&fault))?;
        let Some(text) = text else { return Ok(None) };
        Ok(match Line::parse(&text)?.content {
            Content::Entry(Entry {
                event: Event::RunStarted(started),
                ..
            }) => Some(started),
            _ => None,
        })
    }

    /// Hands the excerpts of a run's lines to `each`, in order and without
    /// keeping any.
    ///
    /// # Errors
    /// A [`StoreError`] when the store or a line cannot be read.
    pub fn excerpts(
        &self,
        run: &RunId,
        mut each: impl FnMut(Excerpt<'_>),
    ) -> Result<(), StoreError> {
        let sql = "SELECT text FROM lines WHERE run = ?1 AND kind = 'entry' ORDER BY sequence";
        let mut read = || -> rusqlite::Result<Result<(), LineFault>> {
            let mut statement = self.connection.prepare_cached(sql)?;
            let mut rows = statement.query([run.as_str()])?;
            while let Some(row) = rows.next()? {
                let text = row.get_ref(0)?.as_str().map_err(not_ours)?;
                match Excerpt::read(text) {
                    Ok(excerpt) => each(excerpt),
                    Err(fault) => return Ok(Err(fault)),
                }
            }
            Ok(Ok(()))
        };
        Ok(read().map_err(|fault| self.sqlite(&fault))??)
    }

    /// The remarks on a run in order.
    ///
    /// # Errors
    /// A [`StoreError`] when the store or a line cannot be read.
    pub fn notes(&self, run: &RunId) -> Result<Vec<Note>, StoreError> {
        let lines = self.lines(run, "note")?;
        Ok(lines
            .into_iter()
            .filter_map(|line| match line.content {
                Content::Note(note) => Some(note),
                Content::Entry(_) | Content::Issued(_) => None,
            })
            .collect())
    }

    /// The documents handed out for a run in order.
    ///
    /// # Errors
    /// A [`StoreError`] when the store or a line cannot be read.
    pub fn issued(&self, run: &RunId) -> Result<Vec<Issued>, StoreError> {
        let lines = self.lines(run, "issued")?;
        Ok(lines
            .into_iter()
            .filter_map(|line| match line.content {
                Content::Issued(issued) => Some(issued),
                Content::Entry(_) | Content::Note(_) => None,
            })
            .collect())
    }

    /// Bytes by their digest; `None` where they were not kept.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] when they are not those bytes any more.
    pub fn blob(&self, digest: &Digest) -> Result<Option<Vec<u8>>, StoreError> {
        let sql = "SELECT packed FROM blobs WHERE digest = ?1";
        let packed = self
            .connection
            .query_row(sql, [digest.to_string()], |row| row.get::<_, Vec<u8>>(0))
            .optional()
            .map_err(|fault| self.sqlite(&fault))?;
        let Some(packed) = packed else {
            return Ok(None);
        };
        match unpacked(&packed) {
            Some(bytes) if Digest::of(&bytes) == *digest => Ok(Some(bytes)),
            _ => Err(self.damaged(format!("the bytes of {} changed", digest.short()))),
        }
    }

    /// An observation by its digest; `None` where it was not kept.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] when its bytes changed or say nothing.
    pub fn observation(&self, digest: &Digest) -> Result<Option<Observation>, StoreError> {
        let Some(bytes) = self.blob(digest)? else {
            return Ok(None);
        };
        let told = |fault: ObservationFault| self.damaged(fault.to_string());
        from_bytes(&bytes).map(Some).map_err(told)
    }

    /// The chain's head: the link of the last line.
    ///
    /// # Errors
    /// A [`StoreError`] when the store cannot be read.
    pub fn head(&self) -> Result<Digest, StoreError> {
        let head = database::head(&self.connection).map_err(|fault| self.sqlite(&fault))?;
        Ok(head.1)
    }

    /// The link of the run's last entry, which is what its certificate prints;
    /// `None` where the run is not in the store.
    ///
    /// # Errors
    /// A [`StoreError`] when the store cannot be read.
    pub fn closing_link(&self, run: &RunId) -> Result<Option<Digest>, StoreError> {
        let sql = "SELECT link FROM lines WHERE run = ?1 AND kind = 'entry'
                   ORDER BY sequence DESC LIMIT 1";
        self.connection
            .query_row(sql, [run.as_str()], |row| {
                database::digest(&row.get::<_, String>(0)?)
            })
            .optional()
            .map_err(|fault| self.sqlite(&fault))
    }

    /// Every line of a run, entries and what was added later, each with the
    /// link before it.
    ///
    /// # Errors
    /// A [`StoreError`] when the store cannot be read.
    pub fn linked(&self, run: &RunId) -> Result<Vec<Linked>, StoreError> {
        let sql = "SELECT a.position, b.link, a.text, a.link FROM lines a
                   LEFT JOIN lines b ON b.position = a.position - 1
                   WHERE a.run = ?1 ORDER BY a.position";
        let read = || -> rusqlite::Result<Vec<Linked>> {
            let mut statement = self.connection.prepare_cached(sql)?;
            let rows = statement.query_map([run.as_str()], |row| {
                let position: i64 = row.get(0)?;
                let previous: Option<String> = row.get(1)?;
                Ok(Linked {
                    position: position.unsigned_abs(),
                    previous: previous.unwrap_or_else(|| chain::start().to_string()),
                    text: row.get(2)?,
                    link: row.get(3)?,
                })
            })?;
            rows.collect()
        };
        read().map_err(|fault| self.sqlite(&fault))
    }

    /// Copies the store to `target`, whole and consistent also while others
    /// write; on disk when it returns.
    ///
    /// # Errors
    /// [`StoreError::TargetExists`], or whatever kept the copy from the disk.
    pub fn backup(&self, target: &Path) -> Result<(), StoreError> {
        if target.symlink_metadata().is_ok() {
            let path = target.to_owned();
            return Err(StoreError::TargetExists { path });
        }
        let folder = match target.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        let io = |fault: std::io::Error| StoreError::io(target, &fault);
        // Under its own name only once it is whole.
        let copy = super::folder::scratch(folder).map_err(io)?;
        let name = copy.path().to_str().ok_or_else(|| StoreError::FileName {
            name: target.display().to_string(),
        })?;
        self.connection
            .execute("VACUUM INTO ?1", [name])
            .map_err(|fault| StoreError::sqlite(target, &fault))?;
        copy.as_file().sync_all().map_err(io)?;
        copy.persist_noclobber(target)
            .map_err(|fault| io(fault.error))?;
        super::folder::sync(folder).map_err(io)
    }

    fn lines(&self, run: &RunId, kind: &str) -> Result<Vec<Line>, StoreError> {
        let sql = "SELECT text FROM lines WHERE run = ?1 AND kind = ?2 ORDER BY position";
        let read = || -> rusqlite::Result<Vec<Result<Line, _>>> {
            let mut statement = self.connection.prepare_cached(sql)?;
            let rows = statement.query_map([run.as_str(), kind], |row| {
                let text = row.get_ref(0)?.as_str().map_err(not_ours)?;
                Ok(Line::parse(text))
            })?;
            rows.collect()
        };
        let lines = read().map_err(|fault| self.sqlite(&fault))?;
        Ok(lines.into_iter().collect::<Result<_, _>>()?)
    }

    fn sqlite(&self, fault: &rusqlite::Error) -> StoreError {
        StoreError::sqlite(&self.path, fault)
    }

    fn damaged(&self, what: String) -> StoreError {
        let path = self.path.clone();
        StoreError::Damaged { path, what }
    }
}

/// The bytes that were packed, never more than an observation may have.
fn unpacked(packed: &[u8]) -> Option<Vec<u8>> {
    let reader = zstd::stream::read::Decoder::new(packed).ok()?;
    let mut bytes = Vec::new();
    let most = LONGEST_OBSERVATION as u64 + 1;
    reader.take(most).read_to_end(&mut bytes).ok()?;
    (bytes.len() <= LONGEST_OBSERVATION).then_some(bytes)
}
