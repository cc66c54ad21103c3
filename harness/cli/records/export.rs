//! `bufferstop records export`: a run as one file that stands alone, or metrics
//! as rows for other programs. What the bytes look like, `report` says.

use super::filter::Asked;
use super::outfile::{self, Existing, refused};
use super::stored::{known, open_checked, record};
use crate::cli::arguments::RecordsExport;
use crate::cli::exit::Exit;
use crate::cli::output::{self, Output};
use crate::cli::store_fault::store_exit;
use crate::ident::{RunId, harmless};
use crate::report::{self, Bytes, Made, RowsFault};
use crate::store::{Reader, StoreError};
use serde_json::json;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

pub(super) fn export(arguments: &RecordsExport, told: Output) -> Result<Exit, Exit> {
    let asked = Asked::of(&arguments.filter)?;
    let reader = open_checked(&arguments.place)?;
    if let Some(folder) = &arguments.folder {
        return into_folder(folder, arguments, &asked, &reader, told);
    }
    let which = arguments.which.as_deref();
    let run = which.map(|which| known(&reader, which)).transpose()?;
    let mut target = Target::open(arguments.out_file.as_deref())?;
    let mut count = 1_u64;
    let made = arguments.format.0.map(|format| format.made);
    match (run, made) {
        (Some(run), None) => target.put(bundle(&reader, &run)?.as_bytes())?,
        (Some(run), Some(Made::Whole(_, write))) => {
            target.put(write(&record(&reader, &run)?).as_bytes())?;
        }
        (run, Some(Made::Lines(begin) | Made::Table(begin))) => {
            let mut rows = begin().map_err(bug)?;
            let mut add = |run: &RunId| {
                let record = asked.narrowed(record(&reader, run)?);
                target.put(&rows.add(&record).map_err(bug)?)
            };
            if let Some(run) = run {
                add(&run)?;
            } else {
                count = 0;
                for run in asked.runs(&reader) {
                    add(&run?.run)?;
                    count += 1;
                }
            }
            target.put(&rows.finish().map_err(bug)?)?;
        }
        // The options ask for a run wherever a form holds only one.
        (None, None | Some(Made::Whole(..))) => return Err(Exit::Usage),
    }
    let Some(file) = target.finish()? else {
        return Ok(Exit::Pass);
    };
    if told.json {
        told.document(&json!({ "file": file, "runs": count }));
    } else {
        let runs = if count == 1 { "run" } else { "runs" };
        let file = harmless(&file.display().to_string());
        say_line!("{count} {runs} in {file}");
    }
    Ok(Exit::Pass)
}

/// A whole file for each run that was asked for.
fn into_folder(
    folder: &Path,
    arguments: &RecordsExport,
    asked: &Asked,
    reader: &Reader,
    told: Output,
) -> Result<Exit, Exit> {
    let made = arguments.format.0.map(|format| format.made);
    if let Some(Made::Lines(_) | Made::Table(_)) = made {
        warn_line!("--folder holds a file for each run; rows of many runs go into one --out-file");
        return Err(Exit::Usage);
    }
    std::fs::create_dir_all(folder).map_err(|fault| refused(folder, &fault))?;
    let mut files: Vec<PathBuf> = Vec::new();
    for run in asked.runs(reader) {
        let run = run?;
        let name = format!("{}-{}", run.serial, run.run);
        let (name, text) = match made {
            Some(Made::Whole(kind, write)) => {
                (format!("{name}-{kind}"), write(&record(reader, &run.run)?))
            }
            _ => (format!("{name}.json"), bundle(reader, &run.run)?),
        };
        let path = folder.join(name);
        outfile::whole(&path, text.as_bytes(), Existing::Stays)?;
        files.push(path);
    }
    let count = files.len();
    if told.json {
        told.document(&json!({ "files": files, "runs": count }));
    } else {
        let runs = if count == 1 { "run" } else { "runs" };
        say_line!(
            "{count} {runs} in {}",
            harmless(&folder.display().to_string())
        );
    }
    if count == 0 {
        warn_line!("no run is as the filters say: nothing was written");
        return Err(Exit::Usage);
    }
    Ok(Exit::Pass)
}

fn bundle(reader: &Reader, run: &RunId) -> Result<String, Exit> {
    let told = record(reader, run)?;
    let mut kept = Vec::new();
    for scenario in &told.scenarios {
        for digest in &scenario.observations {
            kept.push((format!("observation of {}", scenario.name), *digest));
        }
    }
    let read = || -> Result<String, StoreError> {
        for issued in reader.issued(run)? {
            kept.push((issued.name, issued.digest));
        }
        let bytes = kept.into_iter().map(|(name, digest)| {
            let bytes = reader.blob(&digest)?;
            Ok::<_, StoreError>(Bytes {
                name,
                digest,
                bytes,
            })
        });
        let bytes = bytes.collect::<Result<Vec<_>, _>>()?;
        let (notes, chain) = (reader.notes(run)?, reader.linked(run)?);
        let link = reader.closing_link(run)?;
        Ok(report::bundle(&told, &notes, &chain, link, &bytes))
    };
    read().map_err(|fault| store_exit(&fault))
}

fn bug(fault: RowsFault) -> Exit {
    warn_line!("a bug in bufferstop: {fault}");
    Exit::Bug
}

/// Where the bytes go: a file that is there whole or not at all, or standard
/// output.
enum Target {
    Screen(BufWriter<io::Stdout>),
    File {
        file: Box<BufWriter<NamedTempFile>>,
        path: PathBuf,
    },
}

impl Target {
    fn open(path: Option<&Path>) -> Result<Self, Exit> {
        let Some(path) = path else {
            return Ok(Self::Screen(BufWriter::new(io::stdout())));
        };
        outfile::free(path)?;
        let file = outfile::unfinished(path).map_err(|fault| refused(path, &fault))?;
        let file = Box::new(BufWriter::new(file));
        let path = path.to_owned();
        Ok(Self::File { file, path })
    }

    fn put(&mut self, bytes: &[u8]) -> Result<(), Exit> {
        match self {
            Self::Screen(out) => {
                output::written(out.write_all(bytes));
                // A reader that has gone away wants no more; what else it may
                // have been is told at the end.
                if output::unread() {
                    return Err(Exit::Pass);
                }
                Ok(())
            }
            Self::File { file, path } => {
                let written = file.write_all(bytes);
                written.map_err(|fault| refused(path, &fault))
            }
        }
    }

    /// The file's path, where it is one.
    fn finish(self) -> Result<Option<PathBuf>, Exit> {
        let (file, path) = match self {
            Self::Screen(mut out) => {
                output::written(out.flush());
                return Ok(None);
            }
            Self::File { file, path } => (file, path),
        };
        let placed = || -> io::Result<()> {
            let file = file.into_inner().map_err(io::IntoInnerError::into_error)?;
            outfile::finished(file, &path, Existing::Stays)?;
            Ok(())
        };
        match placed() {
            Ok(()) => Ok(Some(path)),
            Err(fault) => Err(refused(&path, &fault)),
        }
    }
}
