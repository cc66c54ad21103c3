//! One sitting at a bench: the store, the open instruments and the runs, one board
//! after another. It decides nothing about boards and shows nothing: sinks do.

use super::files::BenchFiles;
use super::hindrance::Hindrance;
use super::left_on;
use super::mounting::{Mounted, next_bench, open_bench};
use super::papers::{document, paper_name};
use crate::bench::guardian::Guardian;
use crate::bench::{Bench, Shown};
use crate::clock::SystemClock;
use crate::event::FileFacts;
use crate::handout::{Form, Letterhead};
use crate::ident::{RunId, harmless};
use crate::link::Person;
use crate::plan::Plan;
use crate::record::Record;
use crate::report;
use crate::runner::{Captures, Finished, Order, Particulars, RunFault, Sink, Stop, run};
use crate::store::{Durability, Reader, Store, StoreError, folder};
use std::io;
use std::path::{Path, PathBuf};
use tokio::sync::broadcast;

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

/// A sitting that is open.
pub struct Session {
    setting: Setting,
    store: Store,
    /// Real instruments, open for the whole sitting; models are made anew around
    /// each board.
    kept: Option<Bench>,
    /// Who is shown what the meters read.
    shown: Option<broadcast::Sender<Shown>>,
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
type Warn<'a> = dyn FnMut(&str) + 'a;

impl Session {
    /// Opens a bench of ports, and then the store that its instruments belong to.
    ///
    /// # Errors
    /// A [`Hindrance`]: nothing was energised.
    pub async fn open(setting: Setting) -> Result<Self, Hindrance> {
        let Setting {
            plan,
            bench,
            person,
            ..
        } = &setting;
        let kept = if bench.bench.is_model() {
            None
        } else {
            Some(open_bench(bench, plan, Mounted::Real, person).await?)
        };
        let model = kept.as_ref().is_none_or(Bench::is_model);
        let store = Store::for_run(&setting.out, model, Durability::EveryEvent, &SystemClock)?;
        // A model hurts nobody, and the system gives its ports' names away again.
        if let Some(bench) = kept.as_ref().filter(|bench| !bench.is_model()) {
            let ports = bench.identified().iter().map(|found| found.port.as_str());
            left_on::refuse(&store.reader()?, &ports.collect::<Vec<_>>())?;
        }
        Ok(Self {
            setting,
            store,
            kept,
            shown: None,
        })
    }

    /// What is run, on what, by whom.
    pub fn setting(&self) -> &Setting {
        &self.setting
    }

    /// Shows `shown` what the meters read while the bench is watched.
    pub fn show_meters_to(&mut self, shown: broadcast::Sender<Shown>) {
        self.shown = Some(shown);
    }

    /// Runs that were found cut off and closed as inconclusive.
    pub fn closed_cut_off(&self) -> &[RunId] {
        self.store.closed_cut_off()
    }

    /// What the store holds already.
    ///
    /// # Errors
    /// [`Hindrance::Store`].
    pub fn reader(&self) -> Result<Reader, Hindrance> {
        Ok(self.store.reader()?)
    }

    /// Runs the plan on one board, shown to `sinks`, and writes its reports.
    ///
    /// # Errors
    /// A [`Hindrance`] where there is no complete record; a bench that was opened
    /// was made safe.
    pub async fn accept(
        &mut self,
        particulars: Particulars,
        mounted: Mounted,
        stop: &Stop,
        sinks: &mut [&mut dyn Sink],
        warn: &mut Warn<'_>,
    ) -> Result<Outcome, Hindrance> {
        let run_id: RunId = uuid::Uuid::now_v7()
            .to_string()
            .parse()
            .expect("an identifier is a plain name");
        let order = Order {
            run: run_id,
            particulars,
            plan: self.setting.plan.clone(),
            bench: self.setting.bench.bench.clone(),
            files: self.setting.facts.clone(),
            captures: Captures::All,
        };
        let Finished { record, safe } = self.finish(&order, mounted, stop, sinks, warn).await?;
        let folder = self.hand_out(&record, safe, warn)?;
        Ok(Outcome {
            record,
            safe,
            folder,
        })
    }

    async fn finish(
        &mut self,
        order: &Order,
        mounted: Mounted,
        stop: &Stop,
        sinks: &mut [&mut dyn Sink],
        warn: &mut Warn<'_>,
    ) -> Result<Finished, Hindrance> {
        let Setting { bench, person, .. } = &self.setting;
        let kept = self.kept.take();
        let mut bench = next_bench(kept, bench, &order.plan, mounted, person).await?;
        if let Some(shown) = &self.shown {
            bench.show_meters_to(shown.clone());
        }
        let guardian = guardian(&bench, warn);
        let stop = match &guardian {
            Some(guardian) => stop.clone().or_lapse(guardian.lapse()),
            None => stop.clone(),
        };
        let finished = run(order, &mut bench, &self.store, &SystemClock, sinks, stop).await;
        // What was done after the last step is the next board's no more.
        drop(bench.told());
        // The bench was made safe, or the record says that it was not and
        // the person has been told: either way nobody needs watching.
        if let Some(guardian) = guardian {
            guardian.dismiss();
        }
        if !bench.is_embedded() {
            self.kept = Some(bench);
        }
        finished.map_err(|fault| match fault {
            RunFault::Store(fault) => fault.into(),
            RunFault::Record(fault) => Hindrance::Bug(fault.to_string()),
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

/// A guardian over real ports; the instruments of a model bench end with the
/// program itself. A bench without one still runs, and says so.
fn guardian(bench: &Bench, warn: &mut Warn<'_>) -> Option<Guardian> {
    if bench.is_embedded() {
        return None;
    }
    watching(|program| Guardian::start(bench, program), warn)
}

/// The guardian that `start` starts from this program; where there is none, or where
/// it lacks a port, that is said.
pub fn watching(
    start: impl FnOnce(&Path) -> io::Result<Guardian>,
    warn: &mut Warn<'_>,
) -> Option<Guardian> {
    match std::env::current_exe().and_then(|program| start(&program)) {
        Ok(guardian) => {
            for port in guardian.missing() {
                warn(&format!(
                    "the guardian could not open {}: a killed or stalled program leaves \
                     what is there as it is",
                    harmless(port)
                ));
            }
            tracing::info!(process = guardian.process(), "the guardian watches");
            Some(guardian)
        }
        Err(fault) => {
            warn(&format!(
                "no guardian ({fault}): a killed or stalled program leaves the bench as it is"
            ));
            None
        }
    }
}
