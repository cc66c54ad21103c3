//! `bufferstop records history`: everything that is known of one board, in the order
//! in which it happened: its runs, what failed, why it was tested again, remarks and
//! papers. It judges nothing.

use super::stored::{open_checked, record};
use crate::cli::arguments::RecordsHistory;
use crate::cli::exit::Exit;
use crate::cli::output::Output;
use crate::cli::store_fault::store_exit;
use crate::ident::{Serial, harmless};
use crate::judgement::Verdict;
use crate::record::Record;
use crate::report::words::BENCH_IS_OFF;
use crate::sitting::headline;
use crate::store::{Filter, Reader, RunHeader};
use jiff::Timestamp;
use serde_json::{Value, json};

/// One thing that happened to a board.
struct Happened {
    at: Timestamp,
    /// Its lines, the first beside the time.
    lines: Vec<String>,
    told: Value,
}

pub(super) fn history(arguments: &RecordsHistory, output: Output) -> Result<Exit, Exit> {
    let serial: Serial = arguments.serial.parse().map_err(|fault| {
        warn_line!("{}: {fault}", harmless(&arguments.serial));
        Exit::Usage
    })?;
    let reader = open_checked(&arguments.place)?;
    let filter = Filter {
        serial: Some(serial.clone()),
        ..Filter::default()
    };
    let mut all = Vec::new();
    let mut runs = 0_u64;
    for run in reader.runs(&filter) {
        let run = run.map_err(|fault| store_exit(&fault))?;
        runs += 1;
        happened(&reader, &run, &mut all)?;
    }
    if runs == 0 {
        warn_line!("no board is called {serial}");
        return Err(Exit::Usage);
    }
    // Stable: what a run says of one moment stays in its order.
    all.sort_by_key(|one| one.at);
    if output.json {
        let told: Vec<&Value> = all.iter().map(|one| &one.told).collect();
        output.document(&json!({ "serial": serial, "history": told }));
        return Ok(Exit::Pass);
    }
    say_line!("{serial}");
    for one in &all {
        let at = one.at.strftime("%Y-%m-%d %H:%M:%SZ").to_string();
        for (index, line) in one.lines.iter().enumerate() {
            let at = if index == 0 { at.as_str() } else { "" };
            let line = format!("  {at:<20}  {}", harmless(line));
            say_line!("{}", output.fitted(&line));
        }
    }
    Ok(Exit::Pass)
}

fn happened(reader: &Reader, run: &RunHeader, all: &mut Vec<Happened>) -> Result<(), Exit> {
    let record = record(reader, &run.run)?;
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
        lines,
        told: json!({
            "at": run.started, "what": "run", "run": run.run, "verdict": run.verdict,
            "model": run.model, "only": run.only, "lot": started.lot, "plan": started.plan,
            "operator": started.operator, "retest": started.retest, "failed": failed,
            "without": started.without,
        }),
    });
    for note in reader.notes(&run.run).map_err(|fault| store_exit(&fault))? {
        let by = note.author.as_ref();
        let by = by.map_or(String::new(), |author| format!("  ({author})"));
        let mut lines = vec![format!("note: {}{by}", note.text)];
        lines.extend(note.bench_is_off.then(|| BENCH_IS_OFF.to_owned()));
        all.push(Happened {
            at: note.at,
            lines,
            told: json!({
                "at": note.at, "what": "note", "run": run.run, "text": note.text,
                "author": note.author, "bench_is_off": note.bench_is_off,
            }),
        });
    }
    for paper in reader
        .issued(&run.run)
        .map_err(|fault| store_exit(&fault))?
    {
        all.push(Happened {
            at: paper.at,
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
