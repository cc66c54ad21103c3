//! Reading a store: runs by what is asked of them, their entries, what they
//! saw, and whether all of it is as it was written. It changes nothing.

mod check;

pub use check::{Tampering, Verification};

use super::database::{self, not_ours};
use super::opening::connect;
use super::{Kind, StoreError};
use crate::digest::Digest;
use crate::event::{Abort, Entry};
use crate::ident::{LotName, RunId, Serial};
use crate::judgement::Verdict;
use crate::observation::Observation;
use crate::record::{
    Content, Issued, LONGEST_OBSERVATION, Line, Note, ObservationFault, Record, from_bytes,
};
use rusqlite::types::Value;
use rusqlite::{Connection, OpenFlags, OptionalExtension, Row, params_from_iter};
use std::collections::VecDeque;
use std::io::Read as _;
use std::path::{Path, PathBuf};

/// Run headers fetched at a time.
const PAGE: usize = 256;

/// A store opened for reading. It needs no lock and may be used beside any
/// number of writers.
#[derive(Debug)]
pub struct Reader {
    connection: Connection,
    path: PathBuf,
    kind: Kind,
}

/// What is asked of runs; what is `None` is not asked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filter {
    /// Of this board.
    pub serial: Option<Serial>,
    /// Of boards of this lot.
    pub lot: Option<LotName>,
    /// With this verdict.
    pub verdict: Option<Verdict>,
    /// Started at this moment or later.
    pub from: Option<jiff::Timestamp>,
    /// Started before this moment.
    pub until: Option<jiff::Timestamp>,
    /// Diagnoses of one scenario (`true`) or whole runs (`false`).
    pub diagnosis: Option<bool>,
    /// Unfinished (`true`) or finished (`false`).
    pub open: Option<bool>,
    /// The newest first instead of the oldest.
    pub newest_first: bool,
}

/// What a list shows of a run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunHeader {
    /// The run.
    pub run: RunId,
    /// The board.
    pub serial: Serial,
    /// Its lot.
    pub lot: Option<LotName>,
    /// The plan.
    pub plan: String,
    /// When it started, to the microsecond.
    pub started: jiff::Timestamp,
    /// Set when only one scenario was asked for.
    pub only: Option<String>,
    /// Whether it was on the model bench.
    pub model: bool,
    /// The verdict over all; `None` while it is open.
    pub verdict: Option<Verdict>,
    /// Why it ended early.
    pub abort: Option<Abort>,
    /// When it ended, to the microsecond.
    pub finished: Option<jiff::Timestamp>,
}

impl Reader {
    /// Opens the store at `path` for reading.
    ///
    /// # Errors
    /// A [`StoreError`] saying what is wrong with the file.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        if !path.exists() {
            let path = path.to_owned();
            return Err(StoreError::Absent { path });
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = connect(path, flags)?;
        let kind = database::kind_of(&connection, path)?;
        let path = path.to_owned();
        match kind {
            Some(kind) => Ok(Self {
                connection,
                path,
                kind,
            }),
            None => Err(StoreError::NotAStore { path }),
        }
    }

    /// What the store holds.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// The headers of the runs that `filter` asks for, fetched as they are
    /// taken.
    pub fn runs<'a>(&'a self, filter: &Filter) -> Runs<'a> {
        Runs {
            reader: self,
            filter: filter.clone(),
            page: VecDeque::new(),
            last: None,
            done: false,
        }
    }

    /// The header of one run.
    ///
    /// # Errors
    /// A [`StoreError`] when the store cannot be read.
    pub fn header(&self, run: &RunId) -> Result<Option<RunHeader>, StoreError> {
        let sql = format!("{HEADER} WHERE run = ?1");
        let found = self
            .connection
            .query_row(&sql, [run.as_str()], |row| header_of(row, self.kind));
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

/// An iterator over run headers that holds one page of them.
#[derive(Debug)]
pub struct Runs<'a> {
    reader: &'a Reader,
    filter: Filter,
    page: VecDeque<(i64, RunHeader)>,
    last: Option<i64>,
    done: bool,
}

impl Iterator for Runs<'_> {
    type Item = Result<RunHeader, StoreError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.page.is_empty() && !self.done {
            match self.fetch() {
                Ok(page) => {
                    self.done = page.len() < PAGE;
                    self.page = page;
                }
                Err(fault) => {
                    self.done = true;
                    return Some(Err(self.reader.sqlite(&fault)));
                }
            }
        }
        let (first, header) = self.page.pop_front()?;
        self.last = Some(first);
        Some(Ok(header))
    }
}

impl Runs<'_> {
    fn fetch(&self) -> rusqlite::Result<VecDeque<(i64, RunHeader)>> {
        let mut clauses = vec!["1".to_owned()];
        let mut values = Vec::new();
        let mut ask = |clause: &str, value: Option<Value>| {
            if let Some(value) = value {
                values.push(value);
                clauses.push(format!("{clause} ?{}", values.len()));
            }
        };
        let text = |text: &str| Value::from(text.to_owned());
        let filter = &self.filter;
        let moment = |at: jiff::Timestamp| Value::from(at.as_microsecond());
        let serial = filter.serial.as_ref();
        ask("serial =", serial.map(|serial| text(serial.as_str())));
        ask("lot =", filter.lot.as_ref().map(|lot| text(lot.as_str())));
        let verdict = filter.verdict.map(database::verdict_word);
        ask("verdict =", verdict.map(text));
        ask("started >=", filter.from.map(moment));
        ask("started <", filter.until.map(moment));
        ask(
            "(only_one IS NOT NULL) =",
            filter.diagnosis.map(Value::from),
        );
        ask("(finished IS NULL) =", filter.open.map(Value::from));
        let (after, order) = if filter.newest_first {
            ("first <", "DESC")
        } else {
            ("first >", "ASC")
        };
        ask(after, self.last.map(Value::from));
        let clauses = clauses.join(" AND ");
        let sql = format!("{HEADER} WHERE {clauses} ORDER BY first {order} LIMIT {PAGE}");
        let mut statement = self.reader.connection.prepare_cached(&sql)?;
        let kind = self.reader.kind;
        let rows = statement.query_map(params_from_iter(values), |row| header_of(row, kind))?;
        rows.collect()
    }
}

const HEADER: &str = "SELECT first, run, serial, lot, plan, started, only_one, verdict, abort,
                      finished FROM runs";

fn header_of(row: &Row<'_>, kind: Kind) -> rusqlite::Result<(i64, RunHeader)> {
    let text = |index| row.get::<_, Option<String>>(index);
    let moment = |microseconds| jiff::Timestamp::from_microsecond(microseconds).map_err(not_ours);
    let verdict = match text(7)?.as_deref() {
        None => None,
        Some("pass") => Some(Verdict::Pass),
        Some("inconclusive") => Some(Verdict::Inconclusive),
        Some("fail") => Some(Verdict::Fail),
        Some(_) => return Err(not_ours(std::fmt::Error)),
    };
    let aborts = [
        Abort::Operator,
        Abort::Bench,
        Abort::Store,
        Abort::Harness,
        Abort::CutOff,
    ];
    let abort = match text(8)? {
        None => None,
        Some(word) => {
            let mut known = aborts.into_iter();
            let found = known.find(|abort| database::abort_word(abort) == word);
            Some(found.ok_or_else(|| not_ours(std::fmt::Error))?)
        }
    };
    let lot = text(3)?.map(|lot| lot.parse().map_err(not_ours));
    let finished = row.get::<_, Option<i64>>(9)?.map(moment);
    let header = RunHeader {
        run: row.get::<_, String>(1)?.parse().map_err(not_ours)?,
        serial: row.get::<_, String>(2)?.parse().map_err(not_ours)?,
        lot: lot.transpose()?,
        plan: row.get(4)?,
        started: moment(row.get(5)?)?,
        only: text(6)?,
        model: kind == Kind::Model,
        verdict,
        abort,
        finished: finished.transpose()?,
    };
    Ok((row.get(0)?, header))
}
