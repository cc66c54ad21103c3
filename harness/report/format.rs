//! One form that records take as bytes: its name, what it is, and how it is
//! made. Which there are is listed in `formats`.

use crate::record::Record;

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
