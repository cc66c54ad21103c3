//! Under which conditions a run was made, for its measurement sheet: what was
//! run, where, by whom and with which instruments. It judges nothing.

use super::block::{Block, Fact};
use crate::bench_file::Standing;
use crate::record::Record;
use crate::report::words;
use jiff::civil::Date;
use jiff::tz::TimeZone;

/// What was run.
pub(super) fn identity(record: &Record) -> Vec<Fact> {
    let started = &record.started;
    let (lot, ended) = (started.lot.as_ref(), record.ended.as_ref());
    let board = format!("{}, revision {}", started.family, started.revision);
    let only = started.only.as_ref();
    let planted = (!started.planted.is_empty()).then(|| started.planted.join(", "));
    let facts = [
        ("Serial number", Some(started.serial.to_string())),
        ("Lot", Some(lot.map_or("none".into(), ToString::to_string))),
        ("Board", Some(board)),
        ("Plan", Some(started.plan.clone())),
        ("Run", Some(started.run.to_string())),
        ("Started", Some(time(record.started_at))),
        (
            "Ended",
            Some(ended.map_or("not ended".into(), |e| time(e.at))),
        ),
        ("Tested again", started.retest.clone()),
        ("Label", words::label_scale(record)),
        ("Planted defects", planted),
        ("Not tested", not_tested(record)),
        (
            "Diagnosis",
            only.map(|only| format!("only scenario {only}; accepts nothing")),
        ),
    ];
    let stated = facts
        .into_iter()
        .filter_map(|(label, text)| Some((label, text?)));
    stated.collect()
}

/// What was left out of the run, and why.
pub(super) fn not_tested(record: &Record) -> Option<String> {
    let omitted = record.started.without.iter();
    let words = omitted.map(|omitted| format!("{} ({})", omitted.scenario, omitted.reason));
    let words: Vec<String> = words.collect();
    (!words.is_empty()).then(|| words.join("; "))
}

pub(super) fn time(at: jiff::Timestamp) -> String {
    at.strftime("%Y-%m-%d %H:%M:%S UTC").to_string()
}

pub(super) fn conditions(record: &Record) -> Vec<Fact> {
    let started = &record.started;
    let stated = |text: Option<String>| text.unwrap_or_else(|| "not stated".into());
    let mut facts = vec![
        ("Ambient", stated(started.ambient_words())),
        ("Operator", stated(started.operator.clone())),
        ("Program", format!("bufferstop {}", started.version)),
    ];
    if let Some(reason) = &started.overdue_calibration {
        facts.push(("Overdue calibrations", format!("used because: {reason}")));
    }
    for missing in &started.missing_safety {
        facts.push(("Safety", missing.clone()));
    }
    if let (true, Some(seed)) = (started.model, started.seed) {
        facts.push(("Model bench", format!("seed {}", seed.0)));
    }
    facts
}

/// Role, identity and calibration of each instrument.
pub(super) fn instruments(record: &Record) -> Block {
    if record.instruments.is_empty() {
        return Block::text("None had answered.");
    }
    let stated = |text: Option<String>| text.unwrap_or_else(|| "not stated".to_owned());
    let rows = record.instruments.iter().map(|instrument| {
        vec![
            instrument.role.to_string(),
            instrument.identity.clone(),
            stated(instrument.calibrated.clone()),
            stated(instrument.certificate.clone()),
            stated(instrument.due.map(|due| until(record, due))),
        ]
    });
    Block::table(
        "Instrument | Identity | Calibrated | Calibration certificate | Due",
        rows,
    )
}

/// When a calibration is due, and whether it was before the run.
fn until(record: &Record, due: Date) -> String {
    let day = TimeZone::UTC.to_datetime(record.started_at).date();
    match Standing::of(due, day) {
        // A model is not calibrated.
        Standing::Overdue(_) if !record.started.model => format!("{due}, overdue"),
        _ => due.to_string(),
    }
}
