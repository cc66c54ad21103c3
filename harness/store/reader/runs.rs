//! The list of runs: what may be asked of it and what it shows of each. It
//! holds one page at a time and reads no entry.

use super::Reader;
use crate::event::Abort;
use crate::ident::{LotName, RunId, Serial};
use crate::judgement::Verdict;
use crate::store::database::{self, not_ours};
use crate::store::{Kind, StoreError};
use rusqlite::types::Value;
use rusqlite::{Row, params_from_iter};
use std::collections::VecDeque;

/// Run headers fetched at a time.
const PAGE: usize = 256;

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

impl<'a> Runs<'a> {
    pub(super) fn new(reader: &'a Reader, filter: &Filter) -> Self {
        Self {
            reader,
            filter: filter.clone(),
            page: VecDeque::new(),
            last: None,
            done: false,
        }
    }

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

/// A lot as the list of lots shows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LotHeader {
    /// Its name.
    pub lot: LotName,
    /// Runs of its boards.
    pub runs: u64,
    /// When the last of them started.
    pub last: jiff::Timestamp,
}

impl Reader {
    /// The lots, the one that was run last first; no more than `most`.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn lots(&self, most: u32) -> Result<Vec<LotHeader>, StoreError> {
        // The index of lots answers all but the time, which is looked up a lot.
        let sql = "SELECT lot, n, (SELECT started FROM runs WHERE first = latest) FROM
                   (SELECT lot, count(*) AS n, max(first) AS latest FROM runs
                    WHERE lot IS NOT NULL GROUP BY lot) ORDER BY latest DESC LIMIT ?1";
        let read = || -> rusqlite::Result<Vec<LotHeader>> {
            let mut statement = self.connection.prepare_cached(sql)?;
            let rows = statement.query_map([most], |row| {
                let runs: i64 = row.get(1)?;
                let last = jiff::Timestamp::from_microsecond(row.get(2)?).map_err(not_ours)?;
                Ok(LotHeader {
                    lot: row.get::<_, String>(0)?.parse().map_err(not_ours)?,
                    runs: runs.unsigned_abs(),
                    last,
                })
            })?;
            rows.collect()
        };
        read().map_err(|fault| self.sqlite(&fault))
    }
}

pub(super) const HEADER: &str =
    "SELECT first, run, serial, lot, plan, started, only_one, verdict, abort,
                      finished FROM runs";

pub(super) fn header_of(row: &Row<'_>, kind: Kind) -> rusqlite::Result<(i64, RunHeader)> {
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
