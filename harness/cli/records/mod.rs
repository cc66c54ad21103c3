//! `bufferstop records`: finds runs, tells them again, adds remarks, checks the
//! store and copies it. It changes nothing that was ever written.

mod export;
mod filter;
mod history;
mod keeping;
mod label;
mod outfile;
mod signing;
mod stored;

pub(super) use filter::named;
pub(super) use outfile::{Existing, whole};

pub(super) use stored::{
    find, folder, known, last_of_lot, open, open_checked, path as place, record,
};

use super::arguments::{Records, RecordsList, RecordsShow};
use super::exit::Exit;
use super::output::{Output, unread};
use super::store_fault::store_exit;
use super::{certificate, lot};
use crate::console::folded;
use crate::report;
use crate::sitting::headline;
use crate::store::RunHeader;
use filter::Asked;
use serde_json::json;

pub(super) fn records(records: &Records, output: Output) -> Exit {
    let done = match records {
        Records::Backup(backup) => keeping::backup(backup, output),
        Records::Certificate(asked) => certificate::issued(asked, output),
        Records::Export(export) => export::export(export, output),
        Records::History(asked) => history::history(asked, output),
        Records::Key(key) => signing::key(key, output),
        Records::Label(label) => label::label(label, output),
        Records::List(list) => listed(list, output),
        Records::Lot(asked) => lot::summed_up(asked, output),
        Records::Note(note) => keeping::note(note, output),
        Records::Show(show) => shown(show, output),
        Records::Sign(sign) => signing::sign(sign, output),
        Records::Verify(verify) => keeping::verify(verify, output),
    };
    match done {
        Ok(exit) | Err(exit) => exit,
    }
}

fn listed(arguments: &RecordsList, output: Output) -> Result<Exit, Exit> {
    let asked = Asked::of(&arguments.filter)?;
    let reader = open(&arguments.place)?;
    let mut count = 0_u64;
    for run in asked.runs(&reader) {
        let run = run?;
        count += 1;
        if unread() {
            break;
        }
        if output.json {
            output.line(&row(&run));
        } else {
            let room = output.room();
            if count == 1 {
                let head = ["started", "serial", "lot", "verdict", "run"];
                say_line!("{}", cells(head, room));
            }
            say_line!("{}", line(&run, room));
        }
    }
    if !output.json {
        match count {
            0 => say_line!("no run matches"),
            1 => say_line!("1 run"),
            count => say_line!("{count} runs"),
        }
    }
    Ok(Exit::Pass)
}

fn line(run: &RunHeader, room: usize) -> String {
    let started = run.started.strftime("%Y-%m-%d %H:%M:%SZ").to_string();
    let lot = run.lot.as_ref().map_or("-", |lot| lot.as_str());
    let (serial, verdict) = (run.serial.as_str(), headline(run));
    cells([&started, serial, lot, &verdict, run.run.as_str()], room)
}

/// The cells of a run in a line; its identifier on a line of its own where a
/// screen of `room` columns has none left for it.
fn cells([started, serial, lot, verdict, run]: [&str; 5], room: usize) -> String {
    let head = format!("{started:<20}  {serial:<16} {lot:<14} {verdict:<20}");
    if room >= RUN_BESIDE {
        return format!("{head} {run}");
    }
    let mut lines = folded(head.trim_end(), room, 2);
    lines.push(format!("  {run}"));
    lines.join("\n")
}

/// Columns in which a run's identifier, of 36 signs, stands beside the rest.
const RUN_BESIDE: usize = 111;

fn row(run: &RunHeader) -> serde_json::Value {
    json!({
        "run": run.run, "serial": run.serial, "lot": run.lot, "plan": run.plan, "started": run.started,
        "finished": run.finished, "model": run.model, "only": run.only, "verdict": run.verdict, "abort": run.abort,
    })
}

fn shown(arguments: &RecordsShow, output: Output) -> Result<Exit, Exit> {
    let reader = open_checked(&arguments.place)?;
    let run = known(&reader, &arguments.which)?;
    let record = record(&reader, &run)?;
    let notes = reader.notes(&run).map_err(|fault| store_exit(&fault))?;
    if output.json {
        let issued = reader.issued(&run).map_err(|fault| store_exit(&fault))?;
        say!("{}", report::json_with_later(&record, &notes, &issued));
    } else {
        let text = format!("{}{}", report::summary(&record), report::notes(&notes));
        say!("{}", output.fitted(&text));
    }
    Ok(Exit::Pass)
}
