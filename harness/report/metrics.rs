//! The metrics of a record as rows for other programs: comma-separated values
//! (RFC 4180) and JSON. One row a metric; it judges and leaves out nothing.

use super::plain::plain;
use crate::measurement::Finding;
use crate::record::{JudgedMetric, Record, ScenarioRecord};
use serde_json::{Value, json};

/// The first row.
pub const CSV_HEAD: &str = "run,serial,lot,started,headline,plan,scenario,metric,at,is,value,\
standard_uncertainty,unit,lower,upper,rule,source,verdict,margin,reason,notes\r\n";

/// A row for each metric of the record, each ending as RFC 4180 wants it.
///
/// Numbers are in SI units, as they are kept. Texts come from people: a text
/// that a spreadsheet would take for a formula gets an apostrophe in front, and
/// characters that steer terminals or turn the reading direction are shown as
/// their codes.
pub fn csv_rows(record: &Record) -> String {
    let mut out = String::new();
    for (scenario, judged) in metrics(record) {
        let row = row(record, scenario, judged);
        let cells: Vec<String> = row.iter().map(|(_, cell)| csv_cell(cell)).collect();
        out.push_str(&cells.join(","));
        out.push_str("\r\n");
    }
    out
}

/// The same rows as JSON objects.
pub fn json_rows(record: &Record) -> Vec<Value> {
    metrics(record)
        .map(|(scenario, judged)| {
            let row = row(record, scenario, judged);
            let pairs = row.into_iter().map(|(name, cell)| (name.to_owned(), cell));
            Value::Object(pairs.collect())
        })
        .collect()
}

fn metrics(record: &Record) -> impl Iterator<Item = (&ScenarioRecord, &JudgedMetric)> {
    let scenarios = record.scenarios.iter();
    scenarios.flat_map(|scenario| scenario.metrics.iter().map(move |m| (scenario, m)))
}

fn row(
    record: &Record,
    scenario: &ScenarioRecord,
    judged: &JudgedMetric,
) -> [(&'static str, Value); 21] {
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
    [
        ("run", json!(record.started.run)),
        ("serial", json!(record.started.serial)),
        ("lot", json!(record.started.lot)),
        ("started", json!(record.started_at)),
        ("headline", json!(record.headline())),
        ("plan", json!(record.started.plan)),
        ("scenario", json!(scenario.name)),
        ("metric", json!(metric.key)),
        ("at", json!(metric.at)),
        ("is", json!(is)),
        ("value", json!(value)),
        ("standard_uncertainty", json!(u)),
        ("unit", json!(metric.dimension.unit())),
        ("lower", json!(limit.and_then(|limit| limit.lower))),
        ("upper", json!(limit.and_then(|limit| limit.upper))),
        ("rule", json!(limit.map(|limit| limit.rule.to_string()))),
        ("source", json!(limit.map(|limit| limit.source.clone()))),
        ("verdict", json!(judged.verdict())),
        (
            "margin",
            json!(decision.and_then(|decision| decision.margin)),
        ),
        ("reason", json!(reason)),
        ("notes", json!(metric.notes.join("; "))),
    ]
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
        let names = CSV_HEAD.trim_end().split(',').count();
        // Two texts hold a comma, inside quotes.
        let cells = |line: &str| {
            let line = line.replace("\"data sheet, page 4\"", "x");
            let line = line.replace("\"guarded acceptance, 1 U\"", "x");
            line.split(',').count()
        };
        assert_eq!(rows.matches("\r\n").count(), 3);
        assert!(rows.lines().all(|line| cells(line) == names), "{rows}");
        let row = json_rows(&record).pop().expect("rows");
        assert_eq!(
            (&row["value"], &row["verdict"]),
            (&json!(0.0084), &json!("pass"))
        );
        assert_eq!((&row["unit"], &row["upper"]), (&json!("s"), &json!(0.010)));
    }
}
