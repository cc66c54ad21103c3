//! The texts a record keeps of its plan, bench and lot, as checked values
//! again. It reads no file: a record stands alone.

use crate::bench_file::{self, Bench};
use crate::document::{Fault, Source};
use crate::event::RunStarted;
use crate::plan;
use crate::plan::{LONGEST_CHAIN, Lot, Plan};

/// Why the kept texts cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KeptFault {
    /// The record keeps no such text.
    #[error("the record keeps no {0}")]
    Absent(&'static str),
    /// This version does not understand the text.
    #[error("the kept {what} cannot be used: {fault}")]
    Faulty {
        /// Which text.
        what: &'static str,
        /// The first fault in it.
        fault: String,
    },
}

/// The files of a run, the plan first, as they were read.
#[derive(Clone, Debug)]
pub struct KeptFiles {
    sources: Vec<Source>,
}

impl KeptFiles {
    /// The files of a run.
    pub fn of(started: &RunStarted) -> Self {
        let files = started.files.iter();
        Self {
            sources: files
                .map(|file| Source::new(file.name.clone(), file.text.clone()))
                .collect(),
        }
    }

    /// The plan the run followed, with what it extends: those texts follow it
    /// in the order in which they were read.
    ///
    /// # Errors
    /// [`KeptFault`].
    pub fn plan(&self) -> Result<Plan, KeptFault> {
        let what = "plan";
        let first = self.sources.first().ok_or(KeptFault::Absent(what))?;
        let mut chain = vec![first.clone()];
        let mut rest = self.sources[1..].iter();
        while plan::extends(&chain[0])
            .map_err(|faults| faulty(what, &faults))?
            .is_some()
        {
            let base = rest.next().filter(|_| chain.len() < LONGEST_CHAIN);
            chain.insert(0, base.ok_or(KeptFault::Absent("base plan"))?.clone());
        }
        plan::parse(&chain)
            .map(|(plan, _)| plan)
            .map_err(|faults| faulty(what, &faults))
    }

    /// How many of the files are the plan and what it extends; one where that
    /// cannot be told.
    pub fn plan_count(&self) -> usize {
        let mut count = 0;
        for source in self.sources.iter().take(LONGEST_CHAIN) {
            count += 1;
            if !matches!(plan::extends(source), Ok(Some(_))) {
                break;
            }
        }
        count
    }

    /// The bench it was on.
    ///
    /// # Errors
    /// [`KeptFault::Absent`].
    pub fn bench(&self) -> Result<Bench, KeptFault> {
        let mut benches = self.sources.iter().filter_map(|source| {
            let parsed = bench_file::parse(source).ok();
            parsed.map(|(bench, _)| bench)
        });
        benches.next().ok_or(KeptFault::Absent("bench"))
    }

    /// The text of that bench, for telling whether two are the same.
    pub fn bench_text(&self) -> Option<&str> {
        let mut sources = self.sources.iter();
        let found = sources.find(|source| bench_file::parse(source).is_ok());
        found.map(|source| source.text.as_str())
    }

    /// The lot file, where one was given.
    pub fn lot(&self) -> Option<Lot> {
        let mut lots = self.sources.iter().filter_map(|source| {
            let parsed = plan::parse_lot(source).ok();
            parsed.map(|(lot, _)| lot)
        });
        lots.next()
    }
}

fn faulty(what: &'static str, faults: &[Fault]) -> KeptFault {
    let fault = faults.first().map_or_else(String::new, |fault| {
        format!("{}:{}: {}", fault.file, fault.line, fault.message)
    });
    KeptFault::Faulty { what, fault }
}
