//! `bufferstop records export`: a run as one file that stands alone, or metrics
//! as rows for other programs. What the bytes look like, `report` says.

use super::filter::{Asked, open};
use super::outfile::{self, Existing, refused};
use super::{known, record};
use crate::cli::arguments::RecordsExport;
use crate::cli::exit::Exit;
use crate::cli::output::{self, Output};
use crate::cli::session::store_exit;
use crate::ident::{RunId, harmless};
use crate::report::{self, Bytes, MetricTable, TableFault};
use crate::store::{Reader, StoreError};
use serde_json::json;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// What the table names as its maker.
const VERSION: &str = env!("CARGO_PKG_VERSION");

pub(super) fn export(arguments: &RecordsExport, told: Output) -> Result<Exit, Exit> {
    let asked = Asked::of(&arguments.filter)?;
    let reader = open(&arguments.place)?;
    let which = arguments.which.as_deref();
    let run = which.map(|which| known(&reader, which)).transpose()?;
    let form = Form::of(arguments);
    let mut target = Target::open(arguments.file.as_deref())?;
    let count = match (run, form) {
        (Some(run), None) => {
            let text = bundle(&reader, &run)?;
            target.put(text.as_bytes())?;
            1
        }
        (run, form) => {
            let mut rows = Rows::begin(form.unwrap_or(Form::Csv), &asked, &mut target)?;
            let mut count = 0_u64;
            if let Some(run) = run {
                rows.run(&reader, &run)?;
                count += 1;
            } else {
                for run in asked.runs(&reader) {
                    rows.run(&reader, &run?.run)?;
                    count += 1;
                }
            }
            rows.finish()?;
            count
        }
    };
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

/// What rows look like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    Csv,
    JsonLines,
    Parquet,
}

impl Form {
    /// The form asked for; `None` where one run is to stand alone.
    fn of(arguments: &RecordsExport) -> Option<Self> {
        let asked = [
            (arguments.csv, Self::Csv),
            (arguments.json_lines, Self::JsonLines),
            (arguments.parquet, Self::Parquet),
        ];
        asked.into_iter().find_map(|(is, form)| is.then_some(form))
    }
}

/// Metrics as rows, run after run, so that a large store is never held whole.
struct Rows<'a> {
    form: Form,
    asked: &'a Asked,
    table: Option<MetricTable>,
    target: &'a mut Target,
}

impl<'a> Rows<'a> {
    fn begin(form: Form, asked: &'a Asked, target: &'a mut Target) -> Result<Self, Exit> {
        let mut table = None;
        match form {
            Form::Csv => target.put(report::csv_head().as_bytes())?,
            Form::JsonLines => {}
            Form::Parquet => table = Some(MetricTable::begin(VERSION).map_err(bug)?),
        }
        Ok(Self {
            form,
            asked,
            table,
            target,
        })
    }

    fn run(&mut self, reader: &Reader, run: &RunId) -> Result<(), Exit> {
        let record = self.asked.narrowed(record(reader, run)?);
        if let Some(table) = &mut self.table {
            let ready = table.add(&record).map_err(bug)?;
            return self.target.put(&ready);
        }
        if self.form == Form::Csv {
            return self.target.put(report::csv_rows(&record).as_bytes());
        }
        for row in report::json_rows(&record) {
            self.target.put(format!("{row}\n").as_bytes())?;
        }
        Ok(())
    }

    fn finish(self) -> Result<(), Exit> {
        match self.table {
            Some(table) => self.target.put(&table.finish().map_err(bug)?),
            None => Ok(()),
        }
    }
}

fn bug(fault: TableFault) -> Exit {
    anstream::eprintln!("a bug in bufferstop: {fault}");
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
