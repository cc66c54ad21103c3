//! Everything that is known of one board, in the order in which it happened: its runs,
//! what failed, why it was tested again, remarks and papers. It judges nothing.

use super::hindrance::Hindrance;
use super::papers::headline;
use crate::ident::{RunId, Serial};
use crate::judgement::Verdict;
use crate::record::Record;
use crate::report::words::BENCH_IS_OFF;
use crate::store::{Filter, Reader, RunHeader};
use jiff::Timestamp;
use serde_json::{Value, json};

/// One thing that happened to a board.
#[derive(Clone, Debug)]
pub struct Happened {
    /// When.
    pub at: Timestamp,
    /// In which run, or after it.
    pub run: RunId,
    /// Its lines, the first beside the time.
    pub lines: Vec<String>,
    /// The same for a program.
    pub told: Value,
}

/// What happened to a board, the oldest first; nothing where no run of it is known.
///
/// # Errors
/// [`Hindrance::Store`] where it cannot be read.
pub fn history(reader: &Reader, serial: &Serial) -> Result<Vec<Happened>, Hindrance> {
    let filter = Filter {
        serial: Some(serial.clone()),
        ..Filter::default()
    };
    let mut all = Vec::new();
    for run in reader.runs(&filter) {
        happened(reader, &run?, &mut all)?;
    }
    // Stable: what a run says of one moment stays in its order.
    all.sort_by_key(|one| one.at);
    Ok(all)
}

fn happened(reader: &Reader, run: &RunHeader, all: &mut Vec<Happened>) -> Result<(), Hindrance> {
    let record = reader.record(&run.run)?;
    let record = record.ok_or_else(|| Hindrance::Store(format!("run {} has no entry", run.run)))?;
    let started = &record.started;
    let failed = failed(&record);
    let mut lines = vec![format!("{}  {}", headline(run), started.plan)];
    if let Some(lot) = &started.lot {
        lines.push(format!("lot {lot}"));
    }
    if let Some(why) = &started.retest {
        lines.push(format!("tested again: {why}"));
    }
    lines.extend(failed.iter().map(|what| format!("failed: {what}")));
    for omitted in &started.without {
        lines.push(format!(
            "not tested: {}: {}",
            omitted.scenario, omitted.reason
        ));
    }
    if let Some(operator) = &started.operator {
        lines.push(format!("by {operator}"));
    }
    lines.push(format!("run {}", run.run));
    all.push(Happened {
        at: run.started,
        run: run.run.clone(),
        lines,
        told: json!({
            "at": run.started, "what": "run", "run": run.run, "verdict": run.verdict,
            "model": run.model, "only": run.only, "lot": started.lot, "plan": started.plan,
            "operator": started.operator, "retest": started.retest, "failed": failed,
            "without": started.without,
        }),
    });
    for note in reader.notes(&run.run)? {
        let by = note.author.as_ref();
        let by = by.map_or(String::new(), |author| format!("  ({author})"));
        let mut lines = vec![format!("note: {}{by}", note.text)];
        lines.extend(note.bench_is_off.then(|| BENCH_IS_OFF.to_owned()));
        all.push(Happened {
            at: note.at,
            run: run.run.clone(),
            lines,
            told: json!({
                "at": note.at, "what": "note", "run": run.run, "text": note.text,
                "author": note.author, "bench_is_off": note.bench_is_off,
            }),
        });
    }
    for paper in reader.issued(&run.run)? {
        all.push(Happened {
            at: paper.at,
            run: run.run.clone(),
            lines: vec![format!("handed out: {}", paper.name)],
            told: json!({
                "at": paper.at, "what": "handed out", "run": run.run, "name": paper.name,
                "digest": paper.digest,
            }),
        });
    }
    Ok(())
}

/// The limits that a run failed.
fn failed(record: &Record) -> Vec<String> {
    let mut failed = Vec::new();
    for scenario in &record.scenarios {
        for judged in &scenario.metrics {
            if judged.verdict() == Some(Verdict::Fail) {
                let metric = &judged.metric;
                let at = match metric.at.as_str() {
                    "" => String::new(),
                    at => format!(" {at}"),
                };
                failed.push(format!(
                    "{}.{}{at}: {}",
                    scenario.name,
                    metric.key,
                    metric.finding.show(metric.dimension)
                ));
            }
        }
    }
    failed
}
