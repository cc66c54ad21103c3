//! The paper of a run out of what the store keeps of it: record, observations,
//! notes and signatures gathered. It writes no file and issues nothing.

use super::evaluated_again::marked;
use super::hindrance::Hindrance;
use super::left_on::was_looked_at;
use crate::handout::{BoardRun, Form, Handout, Letterhead, Sources, certificate};
use crate::ident::RunId;
use crate::judgement::Verdict;
use crate::record::Record;
use crate::record::seal::{Seal, statement};
use crate::store::{Filter, Reader, RunHeader, StoreError};

/// What a certificate is kept under in the store.
pub const PAPER: &str = "certificate";

/// What a signature is kept under.
const SIGNATURE: &str = "signature";

/// What the paper of that form is called.
pub fn paper_name(form: Form) -> String {
    format!("{PAPER}.{}", form.ending())
}

/// The certificate or test report of `record` from what the store keeps of it.
///
/// # Errors
/// [`Hindrance::Store`] where that cannot be read.
pub fn document(
    reader: &Reader,
    record: &Record,
    letterhead: Option<&Letterhead>,
) -> Result<Handout, Hindrance> {
    let mut seen = Vec::new();
    for scenario in &record.scenarios {
        for digest in &scenario.observations {
            let observation = reader.observation(digest)?;
            seen.extend(observation.map(|seen| (scenario.name.clone(), seen)));
        }
    }
    let run = &record.started.run;
    let notes = reader.notes(run)?;
    let runs = runs_of_board(reader, record)?;
    let seal = seal_of(reader, record)?;
    let record = &marked(record, &seen);
    Ok(certificate(&Sources {
        record,
        seal: seal.as_ref(),
        letterhead,
        runs: &runs,
        observations: &seen,
        notes: &notes,
        head: reader.closing_link(run)?,
    }))
}

/// Refuses a certificate for a run that left a bench of which nobody knows that it is
/// off, until somebody has looked and said so.
///
/// # Errors
/// [`Hindrance::Bench`], which says what to do; [`Hindrance::Store`].
pub fn is_wound_up(reader: &Reader, record: &Record) -> Result<(), Hindrance> {
    let run = &record.started.run;
    let passed = record.verdict() == Verdict::Pass;
    if !passed || !record.left_on() || was_looked_at(reader, run)? {
        return Ok(());
    }
    Err(Hindrance::Bench(format!(
        "the end of run {run} did not prove that the bench is off, so it has no certificate yet: look at the \
         bench, make sure that everything on it is off, and say so with `bufferstop records note {run} \"...\" \
         --author NAME --bench-is-off`"
    )))
}

/// A run's verdict as it may be shown.
pub fn headline(run: &RunHeader) -> String {
    let model = if run.model { "MODEL " } else { "" };
    let only = if run.only.is_some() { "DIAGNOSIS " } else { "" };
    format!(
        "{model}{only}{}",
        run.verdict.map_or("UNFINISHED", Verdict::word)
    )
}

fn runs_of_board(reader: &Reader, record: &Record) -> Result<Vec<BoardRun>, Hindrance> {
    let filter = Filter {
        serial: Some(record.started.serial.clone()),
        ..Filter::default()
    };
    let runs = reader.runs(&filter).map(|run| {
        let run = run?;
        Ok(BoardRun {
            headline: headline(&run),
            run: run.run,
            started: run.started,
            diagnosis: run.only.is_some(),
        })
    });
    runs.collect()
}

/// The last signature under a run that is valid.
///
/// # Errors
/// A [`StoreError`] where the run cannot be read.
pub fn seal_of(reader: &Reader, record: &Record) -> Result<Option<Seal>, StoreError> {
    let words = signed_words(reader, record)?;
    let seals = seals(reader, &record.started.run)?.into_iter().rev();
    let mut valid = seals
        .filter_map(|bytes| Seal::from_bytes(&bytes).ok())
        .filter(|seal| seal.check(words.as_deref()).is_ok());
    Ok(valid.next())
}

/// What a signature under a run signs; nothing where it has not ended.
///
/// # Errors
/// A [`StoreError`] where the run cannot be read.
pub fn signed_words(reader: &Reader, record: &Record) -> Result<Option<String>, StoreError> {
    let closing = reader.closing_link(&record.started.run)?;
    Ok(closing.and_then(|closing| statement(record, &closing)))
}

/// The signatures under a run, as they are kept.
///
/// # Errors
/// A [`StoreError`] where they cannot be read.
pub fn seals(reader: &Reader, run: &RunId) -> Result<Vec<Vec<u8>>, StoreError> {
    let issued = reader.issued(run)?;
    let signatures = issued.iter().filter(|issued| issued.kind == SIGNATURE);
    let bytes = signatures.map(|issued| reader.blob(&issued.digest));
    let bytes = bytes.collect::<Result<Vec<_>, _>>()?;
    Ok(bytes.into_iter().flatten().collect())
}
