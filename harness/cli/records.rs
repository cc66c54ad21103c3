//! `bufferstop records`: finds runs and tells them again. It reads the store
//! and changes nothing.

use super::arguments::{RecordsList, RecordsShow, StorePlace};
use super::exit::Exit;
use super::output::Output;
use super::session::store_exit;
use crate::ident::{LotName, RunId, Serial, harmless};
use crate::judgement::Verdict;
use crate::report;
use crate::store::{Filter, Kind, Reader, RunHeader, StoreError};
use serde_json::json;
use std::str::FromStr;

pub(super) fn list(arguments: &RecordsList, output: Output) -> Exit {
    match listed(arguments, output) {
        Ok(exit) | Err(exit) => exit,
    }
}

pub(super) fn show(arguments: &RecordsShow, output: Output) -> Exit {
    match shown(arguments, output) {
        Ok(exit) | Err(exit) => exit,
    }
}

pub(super) fn open(place: &StorePlace) -> Result<Reader, Exit> {
    let kind = if place.model {
        Kind::Model
    } else {
        Kind::Records
    };
    Reader::open(&place.out.join(kind.file_name())).map_err(|fault| {
        let exit = store_exit(&fault);
        if matches!(fault, StoreError::Absent { .. }) && !place.model {
            anstream::eprintln!("runs on the model bench are in a store of their own: add --model");
        }
        exit
    })
}

fn listed(arguments: &RecordsList, output: Output) -> Result<Exit, Exit> {
    let filter = Filter {
        serial: arguments
            .serial
            .as_deref()
            .map(|text| named::<Serial>("--serial", text))
            .transpose()?,
        lot: arguments
            .lot
            .as_deref()
            .map(|text| named::<LotName>("--lot", text))
            .transpose()?,
        verdict: arguments.verdict.as_deref().map(verdict).transpose()?,
        ..Filter::default()
    };
    let reader = open(&arguments.place)?;
    let mut count = 0_u64;
    for run in reader.runs(&filter) {
        let run = run.map_err(|fault| store_exit(&fault))?;
        count += 1;
        if output.json {
            output.line(&row(&run));
        } else {
            if count == 1 {
                anstream::println!(
                    "{:<20}  {:<16} {:<14} {:<20} run",
                    "started",
                    "serial",
                    "lot",
                    "verdict"
                );
            }
            anstream::println!("{}", line(&run));
        }
    }
    if !output.json {
        match count {
            0 => anstream::println!("no run matches"),
            1 => anstream::println!("1 run"),
            count => anstream::println!("{count} runs"),
        }
    }
    Ok(Exit::Pass)
}

fn headline(run: &RunHeader) -> String {
    let model = if run.model { "MODEL " } else { "" };
    let only = if run.only.is_some() { "DIAGNOSIS " } else { "" };
    format!(
        "{model}{only}{}",
        run.verdict.map_or("UNFINISHED", Verdict::word)
    )
}

fn line(run: &RunHeader) -> String {
    let started = run.started.strftime("%Y-%m-%d %H:%M:%SZ").to_string();
    let lot = run.lot.as_ref().map_or("-", |lot| lot.as_str());
    format!(
        "{started:<20}  {:<16} {lot:<14} {:<20} {}",
        run.serial,
        headline(run),
        run.run
    )
}

fn row(run: &RunHeader) -> serde_json::Value {
    json!({
        "run": run.run, "serial": run.serial, "lot": run.lot, "plan": run.plan, "started": run.started,
        "finished": run.finished, "model": run.model, "only": run.only, "verdict": run.verdict, "abort": run.abort,
    })
}

fn shown(arguments: &RecordsShow, output: Output) -> Result<Exit, Exit> {
    let reader = open(&arguments.place)?;
    let Some(run) = find(&reader, &arguments.which)? else {
        anstream::eprintln!(
            "no run and no board is called {}",
            harmless(&arguments.which)
        );
        return Err(Exit::Usage);
    };
    let record = reader.record(&run).map_err(|fault| store_exit(&fault))?;
    let Some(record) = record else {
        anstream::eprintln!("run {run} has no entry");
        return Err(Exit::Store);
    };
    if output.json {
        anstream::print!("{}", report::json(&record));
    } else {
        anstream::print!("{}", report::summary(&record));
    }
    Ok(Exit::Pass)
}

/// The run of that identifier, else the last run of that board.
pub(super) fn find(reader: &Reader, which: &str) -> Result<Option<RunId>, Exit> {
    if let Ok(run) = which.parse::<RunId>()
        && reader
            .header(&run)
            .map_err(|fault| store_exit(&fault))?
            .is_some()
    {
        return Ok(Some(run));
    }
    let Ok(serial) = which.parse::<Serial>() else {
        return Ok(None);
    };
    let filter = Filter {
        serial: Some(serial),
        newest_first: true,
        ..Filter::default()
    };
    match reader.runs(&filter).next() {
        Some(Ok(header)) => Ok(Some(header.run)),
        Some(Err(fault)) => Err(store_exit(&fault)),
        None => Ok(None),
    }
}

fn named<N: FromStr<Err: std::fmt::Display>>(option: &str, text: &str) -> Result<N, Exit> {
    text.parse().map_err(|fault: N::Err| {
        anstream::eprintln!("{option} cannot be used: {fault}");
        Exit::Usage
    })
}

fn verdict(text: &str) -> Result<Verdict, Exit> {
    match text {
        "pass" => Ok(Verdict::Pass),
        "fail" => Ok(Verdict::Fail),
        "inconclusive" => Ok(Verdict::Inconclusive),
        other => {
            anstream::eprintln!(
                "--verdict {}: use pass, fail or inconclusive",
                harmless(other)
            );
            Err(Exit::Usage)
        }
    }
}
