//! What a report about lots consists of, whichever form it takes. It knows no
//! page and no markup.

use crate::drawing::Drawing;

/// A whole report.
pub(super) struct Content {
    /// What it is, in small letters at the top.
    pub(super) kind: &'static str,
    /// What it comes to, in large ones.
    pub(super) headline: String,
    /// What it is about.
    pub(super) about: String,
    /// No real board was measured.
    pub(super) model: bool,
    /// What tells this report from others.
    pub(super) identity: String,
    /// The end of what it is about: a report knows no clock.
    pub(super) at: jiff::Timestamp,
    /// Its parts in order.
    pub(super) blocks: Vec<Block>,
}

/// A part of a report.
pub(super) enum Block {
    /// A heading.
    Heading(String),
    /// A paragraph.
    Text(String),
    /// Lines that a reader must not miss, in a frame.
    Framed(Vec<String>),
    /// Rows below their headings.
    Table(Table),
    /// Pictures two beside each other.
    Pair(Vec<Picture>),
    /// A picture across the page.
    Wide(Picture),
}

/// A drawing with the words that stand for it.
pub(super) struct Picture {
    pub(super) drawing: Drawing,
    pub(super) words: String,
}

/// Rows below their headings; a heading that starts with `>` puts its column to
/// the right. A row of one cell heads those that follow.
pub(super) struct Table {
    pub(super) headings: Vec<&'static str>,
    pub(super) rows: Vec<Vec<String>>,
}

/// Whether that row runs across the table and heads those that follow.
pub(super) fn across(table: &Table, row: &[String]) -> bool {
    row.len() == 1 && table.headings.len() > 1
}

/// Rows under the name of the scenario that they begin with, said once.
pub(super) fn grouped<'a>(
    rows: impl IntoIterator<Item = (&'a str, Vec<String>)>,
) -> Vec<Vec<String>> {
    let mut grouped = Vec::new();
    let mut scenario = "";
    for (name, row) in rows {
        if name != scenario {
            scenario = name;
            grouped.push(vec![name.to_owned()]);
        }
        grouped.push(row);
    }
    grouped
}

/// What must be said of lots on the model bench.
pub(super) const MODEL: &str = "MODEL BENCH: no real board was measured";
