//! `bufferstop records certificate`: renders a run's certificate from the store,
//! keeps the issued bytes there and writes them to a file. The same certificate
//! comes out again byte for byte.

use super::arguments::RecordsCertificate;
use super::exit::Exit;
use super::handing_out;
use super::hindered::own_workshop;
use super::output::Output;
use super::records::{Existing, find, folder, last_of_lot, open_checked, whole};
use super::store_fault::store_exit;
use crate::clock::{SystemClock, WallClock};
use crate::handout::Form;
use crate::ident::{RunId, harmless};
use crate::sitting::{PAPER as KIND, document, is_wound_up, paper_name as name};
use crate::store::{Durability, Reader, Store};
use serde_json::json;
use std::path::Path;

pub(super) fn issued(arguments: &RecordsCertificate, output: Output) -> Result<Exit, Exit> {
    let reader = open_checked(&arguments.place)?;
    if let (Some(lot), Some(folder)) = (&arguments.lot, &arguments.folder) {
        std::fs::create_dir_all(folder).map_err(|fault| {
            let folder = harmless(&folder.display().to_string());
            warn_line!("{folder} cannot be made: {fault}");
            Exit::Store
        })?;
        for (serial, run) in last_of_lot(&reader, lot)? {
            let path = folder.join(format!("{serial}.pdf"));
            hand_out(arguments, &reader, &run, &path, output)?;
        }
        return Ok(Exit::Pass);
    }
    let which = arguments.which.as_deref().unwrap_or_default();
    let Some(run) = find(&reader, which)? else {
        warn_line!("no run and no board is called {}", harmless(which));
        return Err(Exit::Usage);
    };
    hand_out(arguments, &reader, &run, &arguments.out_file, output)?;
    Ok(Exit::Pass)
}

/// One paper to one file.
fn hand_out(
    arguments: &RecordsCertificate,
    reader: &Reader,
    run: &RunId,
    path: &Path,
    output: Output,
) -> Result<(), Exit> {
    let form = handing_out::form(path)?;
    let bytes = match kept(reader, run, &name(form))? {
        Some(bytes) => bytes,
        None => issue(arguments, reader, run, form)?,
    };
    whole(path, &bytes, Existing::MakesWay)?;
    if output.json {
        let digest = crate::digest::Digest::of(&bytes);
        output.line(&json!({"run": run, "file": path, "digest": digest}));
    } else {
        say_line!("{}", harmless(&path.display().to_string()));
    }
    Ok(())
}

/// The bytes handed out last under that name, unless a note or a signature came
/// after them.
fn kept(reader: &Reader, run: &RunId, name: &str) -> Result<Option<Vec<u8>>, Exit> {
    let told = |fault| store_exit(&fault);
    let issued = reader.issued(run).map_err(told)?;
    let at = issued
        .iter()
        .rposition(|i| i.kind == KIND && i.name == name);
    let Some(at) = at else { return Ok(None) };
    let last = &issued[at];
    if issued[at..].iter().any(|later| later.kind == "signature") {
        return Ok(None);
    }
    let notes = reader.notes(run).map_err(told)?;
    if notes.iter().any(|note| note.at > last.at) {
        return Ok(None);
    }
    reader.blob(&last.digest).map_err(told)
}

fn issue(
    arguments: &RecordsCertificate,
    reader: &Reader,
    run: &RunId,
    form: Form,
) -> Result<Vec<u8>, Exit> {
    let told = |fault| store_exit(&fault);
    let Some(record) = reader.record(run).map_err(told)? else {
        warn_line!("run {run} has no entry");
        return Err(Exit::Store);
    };
    is_wound_up(reader, &record)?;
    let letterhead = own_workshop()?.letterhead()?;
    let document = document(reader, &record, letterhead.as_ref())?;
    let bytes = handing_out::bytes(&document, form)?;
    let place = &arguments.place;
    let store = Store::for_run(
        &folder(place)?,
        place.model,
        Durability::EveryEvent,
        &SystemClock,
    )
    .map_err(told)?;
    store
        .issue(run, SystemClock.now(), KIND, &name(form), bytes.clone())
        .map_err(told)?;
    Ok(bytes)
}
