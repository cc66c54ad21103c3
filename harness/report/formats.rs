//! Every form that records take as bytes, in one list: a run's folder, the
//! choices of `records export` and its help come from it. It writes no file.

use super::format::{Format, Made};
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

/// The files of a run's folder: the name of each, and what writes it.
pub fn files() -> impl Iterator<Item = (&'static str, fn(&Record) -> String)> {
    FORMATS.iter().filter_map(|format| match format.made {
        Made::Whole(file, write) => Some((file, write)),
        Made::Lines(_) | Made::Table(_) => None,
    })
}
