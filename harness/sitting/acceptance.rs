//! What the boards of one sitting have in common, from plan to store, and what is
//! made of a run that is over. It opens no bench and runs nothing.

use super::files::BenchFiles;
use super::hindrance::Hindrance;
use super::papers::{document, paper_name};
use crate::event::FileFacts;
use crate::handout::{Form, Letterhead};
use crate::ident::RunId;
use crate::link::Person;
use crate::plan::Plan;
use crate::record::Record;
use crate::report;
use crate::runner::{Captures, Finished, Order, Particulars, RunFault};
use crate::store::{Store, StoreError, folder};
use std::path::PathBuf;

/// Everything that stays the same from board to board.
#[derive(Debug)]
pub struct Setting {
    /// What is run.
    pub plan: Plan,
    /// On what.
    pub bench: BenchFiles,
    /// Every file behind both.
    pub facts: Vec<FileFacts>,
    /// The folder of the records.
    pub out: PathBuf,
    /// Whether each board's paper is written beside its reports.
    pub papers: bool,
    /// Who issues the papers.
    pub letterhead: Option<Letterhead>,
    /// Who does what the bench has no instrument for.
    pub person: Person,
}

/// A setting and where its records go.
pub struct Acceptance {
    /// What stays the same.
    pub setting: Setting,
    /// Where the records go.
    pub store: Store,
}

/// How one board's run ended.
#[derive(Debug)]
pub struct Outcome {
    /// The record.
    pub record: Record,
    /// Whether the bench is proven off.
    pub safe: bool,
    /// Where its reports are.
    pub folder: PathBuf,
}

/// Says what the person should know and nothing waits for.
pub type Warn<'a> = dyn FnMut(&str) + 'a;

impl Acceptance {
    /// What is to be done with one board.
    pub fn order(&self, particulars: Particulars) -> Order {
        let run: RunId = uuid::Uuid::now_v7()
            .to_string()
            .parse()
            .expect("an identifier is a plain name");
        Order {
            run,
            particulars,
            plan: self.setting.plan.clone(),
            bench: self.setting.bench.bench.clone(),
            files: self.setting.facts.clone(),
            captures: Captures::All,
        }
    }

    /// What came of a run, its reports written.
    ///
    /// # Errors
    /// A [`Hindrance`] where there is no complete record.
    pub fn outcome(
        &self,
        finished: Result<Finished, RunFault>,
        warn: &mut Warn<'_>,
    ) -> Result<Outcome, Hindrance> {
        let Finished { record, safe } = finished.map_err(|fault| match fault {
            RunFault::Store(fault) => fault.into(),
            RunFault::Record(_) | RunFault::Withdrawn(_) => Hindrance::Bug(fault.to_string()),
        })?;
        let folder = self.hand_out(&record, safe, warn)?;
        Ok(Outcome {
            record,
            safe,
            folder,
        })
    }

    /// The run's folder: its reports, and for one board its certificate; a whole
    /// lot's are issued by `records certificate` when they are wanted.
    fn hand_out(
        &self,
        record: &Record,
        safe: bool,
        warn: &mut Warn<'_>,
    ) -> Result<PathBuf, Hindrance> {
        let reports = report::files();
        let mut files: Vec<(String, Vec<u8>)> = reports
            .map(|(name, write)| (name.to_owned(), write(record).into_bytes()))
            .collect();
        if !safe {
            // Verdict and end of the bench are one.
            warn(
                "THE BENCH IS NOT PROVEN SAFE: NO CERTIFICATE. Switch its mains off, look at \
                 it, and test the board again",
            );
        } else if self.setting.papers {
            let letterhead = self.setting.letterhead.as_ref();
            let document = document(&self.store.reader()?, record, letterhead)?;
            for form in Form::ALL {
                let bytes = document.bytes(form);
                let bytes = bytes.map_err(|fault| Hindrance::Bug(fault.to_string()))?;
                files.push((paper_name(form), bytes));
            }
        }
        let files = files
            .iter()
            .map(|(name, bytes)| (name.as_str(), bytes.as_slice()));
        let files: Vec<_> = files.collect();
        let written: Result<PathBuf, StoreError> = folder::write(&self.setting.out, record, &files);
        Ok(written?)
    }
}
