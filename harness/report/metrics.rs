//! The metrics of a record as rows for other programs: comma-separated values
//! (RFC 4180) and JSON. One row a metric; it judges and leaves out nothing.

use super::format::{Format, Made, Rows, RowsFault};
use crate::drawing::plain::plain;
use crate::measurement::Finding;
use crate::record::{JudgedMetric, Record, ScenarioRecord};
use serde_json::{Value, json};

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Holds {
    /// Text in every row.
    Text,
    /// Text, or nothing.
    MaybeText,
    /// A number in the SI unit that column `unit` names, or nothing.
    Number,
    /// A moment in UTC, to the microsecond.
    Moment,
    /// Yes or no.
    Flag,
}

/// Cells of a row.
pub(super) const ROW_LENGTH: usize = 22;

/// The columns in their order, and what each holds.
pub(super) const METRIC_COLUMNS: [(&str, Holds); ROW_LENGTH] = [
    ("run", Holds::Text),
    ("serial", Holds::Text),
    ("lot", Holds::MaybeText),
    ("started", Holds::Moment),
    ("model", Holds::Flag),
    ("headline", Holds::Text),
    ("plan", Holds::Text),
    ("scenario", Holds::Text),
    ("metric", Holds::Text),
    ("at", Holds::Text),
    ("is", Holds::Text),
    ("value", Holds::Number),
    ("standard_uncertainty", Holds::Number),
    ("unit", Holds::Text),
    ("lower", Holds::Number),
    ("upper", Holds::Number),
    ("rule", Holds::MaybeText),
    ("source", Holds::MaybeText),
    ("verdict", Holds::MaybeText),
    ("margin", Holds::Number),
    ("reason", Holds::Text),
    ("notes", Holds::Text),
];

/// Comma-separated values.
pub(super) const CSV: Format = Format {
    name: "csv",
    about: "Comma-separated values instead, a row a metric.",
    made: Made::Lines(|| Ok(lines(csv_head(), csv_rows))),
};

/// JSON lines.
pub(super) const JSON_LINES: Format = Format {
    name: "json-lines",
    about: "JSON lines instead, a line a metric.",
    made: Made::Lines(|| Ok(lines(String::new(), json_lines))),
};

/// Rows that are lines of text.
struct Lines {
    /// What comes before them all, until it has gone out.
    head: String,
    rows: fn(&Record) -> String,
}

fn lines(head: String, rows: fn(&Record) -> String) -> Box<dyn Rows> {
    Box::new(Lines { head, rows })
}

impl Rows for Lines {
    fn add(&mut self, record: &Record) -> Result<Vec<u8>, RowsFault> {
        let head = std::mem::take(&mut self.head);
        Ok((head + &(self.rows)(record)).into_bytes())
    }

    fn finish(self: Box<Self>) -> Result<Vec<u8>, RowsFault> {
        Ok(self.head.into_bytes())
    }
}

/// The first row of comma-separated values.
fn csv_head() -> String {
    let names: Vec<&str> = METRIC_COLUMNS.iter().map(|(name, _)| *name).collect();
    format!("{}\r\n", names.join(","))
}

/// A row for each metric of the record, each ending as RFC 4180 wants it.
///
/// Numbers are in SI units, as they are kept. Texts come from people: a text
/// that a spreadsheet would take for a formula gets an apostrophe in front, and
/// characters that steer terminals or turn the reading direction are shown as
/// their codes.
fn csv_rows(record: &Record) -> String {
    let mut out = String::new();
    for row in rows(record) {
        let cells: Vec<String> = row.iter().map(|(_, cell)| csv_cell(cell)).collect();
        out.push_str(&cells.join(","));
        out.push_str("\r\n");
    }
    out
}

/// The same rows as JSON objects, a line each.
fn json_lines(record: &Record) -> String {
    let lines = rows(record).map(|row| {
        let pairs = row.into_iter().map(|(name, cell)| (name.to_owned(), cell));
        format!("{}\n", Value::Object(pairs.collect()))
    });
    lines.collect()
}

/// A row for each metric, in the order of [`METRIC_COLUMNS`].
pub(super) fn rows(
    record: &Record,
) -> impl Iterator<Item = [(&'static str, Value); ROW_LENGTH]> + '_ {
    record.scenarios.iter().flat_map(move |scenario| {
        let metrics = scenario.metrics.iter();
        metrics.map(move |judged| row(record, scenario, judged))
    })
}

fn row(
    record: &Record,
    scenario: &ScenarioRecord,
    judged: &JudgedMetric,
) -> [(&'static str, Value); ROW_LENGTH] {
    let metric = &judged.metric;
    let (is, value, u) = match &metric.finding {
        Finding::Value(e) => ("value", Some(e.value), Some(e.u)),
        Finding::Above(e) => ("above", Some(e.value), Some(e.u)),
        Finding::Below(e) => ("below", Some(e.value), Some(e.u)),
        Finding::Unknown { .. } => ("unknown", None, None),
    };
    let limit = judged.limit.as_ref();
    let decision = judged.decision.as_ref();
    let reason = match (&metric.finding, decision) {
        (_, Some(decision)) => decision.reason.clone(),
        (Finding::Unknown { reason, .. }, None) => reason.clone(),
        _ => String::new(),
    };
    let cells = [
        json!(record.started.run),
        json!(record.started.serial),
        json!(record.started.lot),
        json!(record.started_at),
        json!(record.started.model),
        json!(record.headline()),
        json!(record.started.plan),
        json!(scenario.name),
        json!(metric.key),
        json!(metric.at),
        json!(is),
        json!(value),
        json!(u),
        json!(metric.dimension.unit()),
        json!(limit.and_then(|limit| limit.lower)),
        json!(limit.and_then(|limit| limit.upper)),
        json!(limit.map(|limit| limit.rule.to_string())),
        json!(limit.map(|limit| limit.source.clone())),
        json!(judged.verdict()),
        json!(decision.and_then(|decision| decision.margin)),
        json!(reason),
        json!(metric.notes.join("; ")),
    ];
    let mut names = METRIC_COLUMNS.iter();
    cells.map(|cell| (names.next().map_or("", |(name, _)| *name), cell))
}

fn csv_cell(cell: &Value) -> String {
    match cell {
        Value::Null => String::new(),
        Value::String(text) => csv_text(text),
        other => other.to_string(),
    }
}

/// A text as one cell: harmless to a spreadsheet and to a terminal, quoted
/// where RFC 4180 asks for it.
fn csv_text(text: &str) -> String {
    let mut cell = plain(text);
    // Spreadsheets skip blanks in front of a formula.
    if cell.trim_start().starts_with(['=', '+', '-', '@']) {
        cell.insert(0, '\'');
    }
    if cell.contains([',', '"']) || cell.starts_with(' ') || cell.ends_with(' ') {
        cell = format!("\"{}\"", cell.replace('"', "\"\""));
    }
    cell
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::samples;

    #[test]
    fn texts_are_harmless_to_spreadsheets_and_terminals() {
        for (text, cell) in [
            ("plain", "plain"),
            ("=1+1", "'=1+1"),
            ("  =1+1", "'  =1+1"),
            ("+1", "'+1"),
            ("-1", "'-1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("a,b", "\"a,b\""),
            ("say \"no\"", "\"say \"\"no\"\"\""),
            ("=A1,\"x\"", "\"'=A1,\"\"x\"\"\""),
            ("\u{1b}[2J", "\\u{1b}[2J"),
            ("a\nb", "a\\u{a}b"),
            ("\t=1", "\\u{9}=1"),
            ("\u{202e}fdp", "\\u{202e}fdp"),
            ("<b>", "<b>"),
        ] {
            assert_eq!(csv_text(text), cell, "{text:?}");
        }
    }

    #[test]
    fn a_row_for_each_metric_and_a_cell_for_each_name() {
        let started = samples::started("r-1", "GR-0042", false);
        let events = samples::events(started, samples::value(0.0084, 5e-6));
        let record = Record::fold(&samples::numbered(events)).expect("a run");
        let rows = csv_rows(&record);
        let names = csv_head().trim_end().split(',').count();
        // Two texts hold a comma, inside quotes.
        let cells = |line: &str| {
            let line = line.replace("\"data sheet, page 4\"", "x");
            let line = line.replace("\"guarded acceptance, 1 U\"", "x");
            line.split(',').count()
        };
        assert_eq!(rows.matches("\r\n").count(), 3);
        assert!(rows.lines().all(|line| cells(line) == names), "{rows}");
        let lines = json_lines(&record);
        let last = lines.lines().last().expect("rows");
        let row: Value = serde_json::from_str(last).expect("JSON");
        assert_eq!(
            (&row["value"], &row["verdict"]),
            (&json!(0.0084), &json!("pass"))
        );
        assert_eq!((&row["unit"], &row["upper"]), (&json!("s"), &json!(0.010)));
    }
}
