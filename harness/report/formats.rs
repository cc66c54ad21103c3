//! Every form that records take as bytes, in one list: a run's folder, the
//! choices of `records export` and its help come from it. It writes no file.

use super::{junit, metrics, record_json, summary, table};
use crate::record::Record;

/// Every form. A new one is a file beside this and a line here.
pub const FORMATS: &[Format] = &[
    record_json::FORMAT,
    junit::FORMAT,
    summary::FORMAT,
    metrics::CSV,
    metrics::JSON_LINES,
    table::FORMAT,
];

/// One form.
#[derive(Clone, Copy, Debug)]
pub struct Format {
    /// What asks for it: `csv`.
    pub name: &'static str,
    /// What it is, for somebody who chooses.
    pub about: &'static str,
    /// How it is made.
    pub made: Made,
}

/// How a form is made.
#[derive(Clone, Copy, Debug)]
pub enum Made {
    /// One record as a whole, kept under that name in the run's folder.
    Whole(&'static str, fn(&Record) -> String),
    /// A row a metric, of as many records as there are.
    Lines(Begin),
    /// The same for programs only: no screen shows it.
    Table(Begin),
}

/// Begins rows.
type Begin = fn() -> Result<Box<dyn Rows>, RowsFault>;

/// Records that become rows one after another, so that a large store is never
/// held whole.
pub trait Rows {
    /// Adds the metrics of `record`; returns the bytes that are ready to go
    /// out, none of them twice.
    ///
    /// # Errors
    /// A [`RowsFault`], which is a bug here.
    fn add(&mut self, record: &Record) -> Result<Vec<u8>, RowsFault>;

    /// The rest of the bytes.
    ///
    /// # Errors
    /// A [`RowsFault`], which is a bug here.
    fn finish(self: Box<Self>) -> Result<Vec<u8>, RowsFault>;
}

/// Why no rows came out: a bug here, never the records.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the metrics cannot be written as rows: {0}")]
pub struct RowsFault(pub(super) String);

/// The files of a run's folder: the name of each, and what writes it.
pub fn files() -> impl Iterator<Item = (&'static str, fn(&Record) -> String)> {
    FORMATS.iter().filter_map(|format| match format.made {
        Made::Whole(file, write) => Some((file, write)),
        Made::Lines(_) | Made::Table(_) => None,
    })
}
