//! The care of a store: is it as it was written, a remark beside a run, a safe
//! copy. Nothing here changes or removes a line.

use super::signing::{NAME as SIGNATURE, Signed, public};
use super::stored::{known, open, open_as_found, path};
use crate::cli::arguments::{RecordsBackup, RecordsNote, RecordsVerify};
use crate::cli::exit::Exit;
use crate::cli::output::Output;
use crate::cli::store_fault::store_exit;
use crate::clock::{SystemClock, WallClock};
use crate::digest::Digest;
use crate::ident::harmless;
use crate::record::Note;
use crate::record::seal::{PublicKey, statement};
use crate::report::check_bundle;
use crate::report::words::counted;
use crate::sitting::plain_file;
use crate::store::{Durability, Reader, Store, StoreError};
use serde_json::json;
use std::io::Read as _;
use std::path::Path;

/// The longest remark kept, in characters; more belongs into a document.
const LONGEST_NOTE: usize = 4000;

pub(super) fn verify(arguments: &RecordsVerify, output: Output) -> Result<Exit, Exit> {
    let head = arguments.head.as_deref().map(head).transpose()?;
    let key = arguments.key.as_deref().map(public).transpose()?;
    if let Some(file) = &arguments.file {
        return alone(file, key.as_ref(), output);
    }
    let (path, _) = path(&arguments.place)?;
    let reader = open_as_found(&arguments.place)?;
    let checked = match reader.verify(head) {
        Ok(checked) => checked.map_err(|fault| fault.to_string()),
        // A file that the database itself finds damaged was altered too.
        Err(StoreError::Damaged { what, .. }) => Err(what),
        Err(fault) => return Err(store_exit(&fault)),
    };
    let file = harmless(&path.display().to_string());
    let mut signed = None;
    let checked = match (checked, &key) {
        (Ok(found), Some(key)) => Signed::count(&reader, key, arguments.signed)?.map(|count| {
            signed = Some(count);
            found
        }),
        (checked, _) => checked,
    };
    match checked {
        Ok(found) => {
            if output.json {
                output.document(&json!({
                    "intact": true, "file": path, "lines": found.lines, "runs": found.runs, "open": found.open,
                    "blobs": found.blobs, "observations_not_kept": found.observations_not_kept,
                    "head": found.head, "head_asked_for": head, "signed": signed,
                }));
                return Ok(Exit::Pass);
            }
            let mut lines = vec![
                format!(
                    "INTACT  {file}: {} of {}, {} kept captures and documents",
                    counted(found.lines, "line"),
                    counted(found.runs, "run"),
                    found.blobs
                ),
                format!("head    {}", found.head),
                if head.is_some() {
                    "        the given head is in the chain".to_owned()
                } else {
                    "        without --head a cut end cannot be found: give one from a certificate"
                        .to_owned()
                },
            ];
            lines.extend(signed.map(|signed| format!("        {}", signed.line())));
            if found.observations_not_kept > 0 {
                lines.push(format!(
                    "        {} captures were not kept, as bulk runs do",
                    found.observations_not_kept
                ));
            }
            say_line!("{}", output.fitted(&lines.join("\n")));
            Ok(Exit::Pass)
        }
        Err(fault) => {
            if output.json {
                output.document(&json!({ "intact": false, "file": path, "fault": fault, "head_asked_for": head }));
            } else {
                let altered = format!("ALTERED  {file}: {}", harmless(&fault));
                say_line!("{}", output.fitted(&altered));
                say_line!("         keep the file as it is, and compare it with a backup");
            }
            Ok(Exit::Fail)
        }
    }
}

/// A file of `records export`.
fn alone(path: &Path, key: Option<&PublicKey>, output: Output) -> Result<Exit, Exit> {
    let file = harmless(&path.display().to_string());
    let text = plain_file::open(path).and_then(|mut file| {
        let mut text = String::new();
        file.read_to_string(&mut text).map(|_| text)
    });
    let text = text.map_err(|fault| {
        warn_line!("{file} cannot be read: {fault}");
        Exit::Usage
    })?;
    let checked = check_bundle(&text).map_err(|fault| fault.to_string());
    let checked = checked.and_then(|whole| {
        let seals = whole.bytes.iter().filter(|(name, _)| name == SIGNATURE);
        let seals: Vec<Vec<u8>> = seals.map(|(_, bytes)| bytes.clone()).collect();
        let closing = whole.closing_link.as_ref();
        let words = closing.and_then(|closing| statement(&whole.record, closing));
        let signed = key.map(|key| Signed::of_one(&seals, words.as_deref(), key));
        Ok((whole, signed.transpose()?))
    });
    match checked {
        Ok((whole, signed)) => {
            let headline = whole.record.headline();
            let serial = &whole.record.started.serial;
            if output.json {
                output.document(&json!({
                    "intact": true, "file": path, "serial": serial, "headline": headline,
                    "lines": whole.lines, "closing_link": whole.closing_link, "signed": signed,
                }));
                return Ok(Exit::Pass);
            }
            let count = counted(whole.lines as u64, "line");
            let intact = format!("INTACT  {file}: board {serial}, {headline}, {count}");
            say_line!("{}", output.fitted(&intact));
            if let Some(link) = whole.closing_link {
                say_line!("closing {link}");
                say_line!("        compare it with the chain head on a certificate");
            }
            if let Some(signed) = signed {
                say_line!("        {}", signed.line());
            }
            Ok(Exit::Pass)
        }
        Err(fault) => {
            if output.json {
                output.document(&json!({ "intact": false, "file": path, "fault": fault }));
            } else {
                let altered = format!("ALTERED  {file}: {}", harmless(&fault));
                say_line!("{}", output.fitted(&altered));
            }
            Ok(Exit::Fail)
        }
    }
}

fn head(text: &str) -> Result<Digest, Exit> {
    text.parse().map_err(|_| {
        warn_line!(
            "--head {}: write the 64 hexadecimal digits of a link",
            harmless(text)
        );
        Exit::Usage
    })
}

pub(super) fn note(arguments: &RecordsNote, output: Output) -> Result<Exit, Exit> {
    let text = arguments.text.trim();
    if text.is_empty() || text.chars().count() > LONGEST_NOTE {
        warn_line!("a note has between 1 and {LONGEST_NOTE} characters");
        return Err(Exit::Usage);
    }
    let reader = open(&arguments.place)?;
    let run = known(&reader, &arguments.which)?;
    drop(reader);
    let (path, kind) = path(&arguments.place)?;
    let store = Store::open(&path, kind, Durability::EveryEvent, &SystemClock)
        .map_err(|fault| store_exit(&fault))?;
    for run in store.closed_cut_off() {
        warn_line!("run {run} was cut off; its record is closed as inconclusive");
    }
    let note = Note {
        at: SystemClock.now(),
        author: arguments.author.clone(),
        text: text.to_owned(),
        bench_is_off: arguments.bench_is_off,
    };
    store
        .note(&run, note.clone())
        .map_err(|fault| store_exit(&fault))?;
    if output.json {
        output.document(&json!({ "run": run, "note": note }));
    } else {
        say_line!("noted with run {run}");
    }
    Ok(Exit::Pass)
}

pub(super) fn backup(arguments: &RecordsBackup, output: Output) -> Result<Exit, Exit> {
    let reader = open(&arguments.place)?;
    let target = &arguments.file;
    let copied = reader
        .backup(target)
        .and_then(|()| Reader::open(target)?.head());
    let head = copied.map_err(|fault| store_exit(&fault))?;
    if output.json {
        output.document(&json!({ "file": target, "head": head }));
    } else {
        let file = harmless(&target.display().to_string());
        say_line!("copied to {file}\nhead      {head}");
    }
    Ok(Exit::Pass)
}
