//! `bufferstop records label`: which boards get one, and the file. What stands
//! on a label, `handout` says.

use super::filter::named;
use super::outfile::{Existing, whole};
use super::stored::{open_checked, record};
use crate::cli::arguments::RecordsLabel;
use crate::cli::exit::Exit;
use crate::cli::hindered::own_workshop;
use crate::cli::output::Output;
use crate::cli::store_fault::store_exit;
use crate::handout::{LabelSheet, StatedSheet, labels, may_have_label};
use crate::ident::{LotName, Serial, harmless};
use crate::report::words::counted;
use crate::store::{Filter, RunHeader};
use serde_json::json;
use std::collections::BTreeMap;

pub(super) fn label(arguments: &RecordsLabel, output: Output) -> Result<Exit, Exit> {
    if arguments.place.model && !arguments.specimen {
        warn_line!(
            "a run on the model bench measures no real board and never enters a label; \
             --specimen shows what one looks like"
        );
        return Err(Exit::Usage);
    }
    let sheet = sheet(arguments)?;
    let own = own_workshop()?;
    let reader = open_checked(&arguments.place)?;
    let filter = Filter {
        lot: named::<LotName>("--lot", arguments.lot.as_deref())?,
        serial: named::<Serial>("--serial", arguments.serial.as_deref())?,
        diagnosis: Some(false),
        ..Filter::default()
    };
    // The last whole run of each board decides.
    let mut last: BTreeMap<Serial, RunHeader> = BTreeMap::new();
    for run in reader.runs(&filter) {
        let run = run.map_err(|fault| store_exit(&fault))?;
        last.insert(run.serial.clone(), run);
    }
    let (mut records, mut left_out) = (Vec::new(), Vec::new());
    for (serial, run) in last {
        let record = record(&reader, &run.run)?;
        match may_have_label(&record, arguments.specimen) {
            Ok(()) => records.push(record),
            Err(why) => {
                warn_line!("no label for {serial}: {why}");
                left_out.push(json!({ "serial": serial, "why": why.to_string() }));
            }
        }
    }
    if records.is_empty() {
        warn_line!("no board gets a label, so no file was written");
        return Err(Exit::Inconclusive);
    }
    let maker = own
        .workshop
        .issuer
        .as_ref()
        .map(|issuer| issuer.name.as_str());
    let bytes = labels(&records, &sheet, maker, arguments.specimen).map_err(|fault| {
        warn_line!("a bug in bufferstop: {fault}");
        Exit::Bug
    })?;
    let path = &arguments.out_file;
    let shown = harmless(&path.display().to_string());
    whole(path, &bytes, Existing::Stays)?;
    if output.json {
        let serials: Vec<&Serial> = records.iter().map(|r| &r.started.serial).collect();
        output.document(&json!({ "file": path, "labels": serials, "left_out": left_out }));
    } else {
        say_line!(
            "{} in {shown}, {} without",
            counted(records.len() as u64, "label"),
            counted(left_out.len() as u64, "board")
        );
    }
    Ok(Exit::Pass)
}

/// How the labels stand on the sheet.
fn sheet(arguments: &RecordsLabel) -> Result<LabelSheet, Exit> {
    let mut common = LabelSheet::COMMON.into_iter();
    let named = common.find(|(name, _)| *name == arguments.sheet);
    let stated = StatedSheet {
        columns: arguments.columns,
        rows: arguments.rows,
        width: arguments.label_width,
        height: arguments.label_height,
        left: arguments.margin_left,
        top: arguments.margin_top,
        across: arguments.gap_across,
        down: arguments.gap_down,
    };
    let (_, grid) = named.expect("clap takes the names of the common grids only");
    let sheet = grid.with(&stated).map_err(|fault| {
        warn_line!("records label: {fault}");
        Exit::Usage
    })?;
    Ok(LabelSheet {
        skip: arguments.skip,
        ..sheet
    })
}
