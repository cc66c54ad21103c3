//! One sitting at a bench: the store, the stop signals and the runs, one board
//! after another. It decides nothing about boards; it turns every way a run can
//! end into an exit status and a sentence.

use super::attendance::Attendance;
use super::exit::Exit;
use super::files::BenchFiles;
use super::mounting::{Mounted, next_bench, open_bench};
use super::output::{JsonLines, Output};
use super::store_fault::store_exit;
use super::{certificate, handing_out, left_on};
use crate::bench::Bench;
use crate::bench::guardian::Guardian;
use crate::clock::SystemClock;
use crate::console::{Expected, Live};
use crate::event::{Abort, FileFacts};
use crate::handout::Form;
use crate::ident::{RunId, harmless};
use crate::link::Person;
use crate::plan::Plan;
use crate::record::Record;
use crate::report;
use crate::runner::{Captures, Finished, Order, Particulars, RunFault, Sink, run};
use crate::store::{Durability, Reader, Store, StoreError, folder};
use crate::units::Seconds;
use std::io::{self, IsTerminal as _};
use std::path::{Path, PathBuf};

/// Everything that stays the same from board to board.
pub(super) struct Session<'a> {
    plan: &'a Plan,
    bench: &'a BenchFiles,
    facts: Vec<FileFacts>,
    out: PathBuf,
    output: Output,
    /// Only verdict lines, for a lot.
    brief: bool,
    store: Store,
    attendance: Attendance,
    /// Who does what the bench has no instrument for.
    person: Person,
    /// What one board takes, and how many of its lot come after it.
    expected: Seconds,
    to_come: Option<usize>,
    /// Real instruments, open for the whole sitting; models are made anew around
    /// each board.
    kept: Option<Bench>,
}

/// How one board's run ended.
pub(super) struct Outcome {
    /// The record.
    pub(super) record: Record,
    /// The status it asks for.
    pub(super) exit: Exit,
    /// Where its reports are.
    pub(super) folder: PathBuf,
}

impl<'a> Session<'a> {
    /// Opens a bench of ports, and then the store under `out` that its
    /// instruments belong to.
    ///
    /// # Errors
    /// The status, after saying why.
    pub(super) fn open(
        (attendance, person): (Attendance, Person),
        plan: &'a Plan,
        bench: &'a BenchFiles,
        facts: Vec<FileFacts>,
        out: &Path,
        output: Output,
        brief: bool,
    ) -> Result<Self, Exit> {
        let kept = if bench.bench.is_model() {
            None
        } else {
            let opened = open_bench(bench, plan, Mounted::Real, &person);
            Some(attendance.runtime.block_on(opened)?)
        };
        let model = kept.as_ref().is_none_or(Bench::is_model);
        let store = Store::for_run(out, model, Durability::EveryEvent, &SystemClock)
            .map_err(|fault| store_exit(&fault))?;
        for run in store.closed_cut_off() {
            warn_line!("run {run} was cut off; its record is closed as inconclusive");
        }
        // A model hurts nobody, and the system gives its ports' names away again.
        if let Some(bench) = kept.as_ref().filter(|bench| !bench.is_model()) {
            let reader = store.reader().map_err(|fault| store_exit(&fault))?;
            let ports = bench.identified().iter().map(|found| found.port.as_str());
            left_on::refuse(&reader, &ports.collect::<Vec<_>>())?;
        }
        Ok(Self {
            plan,
            bench,
            facts,
            out: out.to_owned(),
            output,
            brief,
            store,
            attendance,
            person,
            expected: Seconds::ZERO,
            to_come: None,
            kept,
        })
    }

    /// Says what one board is expected to take.
    pub(super) fn expects(&mut self, expected: Seconds) {
        self.expected = expected;
    }

    /// Says how many boards of the lot come after the next one.
    pub(super) fn comes_before(&mut self, boards: usize) {
        self.to_come = Some(boards);
    }

    /// Whether the person asked to stop.
    pub(super) fn stopped(&self) -> bool {
        self.attendance.stop.is_raised()
    }

    /// The next line of standard input, or none once it ended or the person
    /// asked to stop.
    ///
    /// # Errors
    /// The status, after saying why.
    pub(super) fn next_line(&mut self) -> Result<Option<String>, Exit> {
        self.attendance.next_line()
    }

    /// What the store holds already.
    ///
    /// # Errors
    /// The status, after saying why.
    pub(super) fn reader(&self) -> Result<Reader, Exit> {
        self.store.reader().map_err(|fault| store_exit(&fault))
    }

    /// Runs the plan on one board, the `index`-th of its lot on a model bench.
    ///
    /// # Errors
    /// The status, after saying why, where there is no complete record.
    pub(super) fn accept(
        &mut self,
        particulars: Particulars,
        mounted: Mounted,
    ) -> Result<Outcome, Exit> {
        let run_id: RunId = uuid::Uuid::now_v7()
            .to_string()
            .parse()
            .expect("an identifier is a plain name");
        let order = Order {
            run: run_id,
            particulars,
            plan: self.plan.clone(),
            bench: self.bench.bench.clone(),
            files: self.facts.clone(),
            captures: Captures::All,
        };
        let finished = self.finish(&order, mounted)?;
        let Finished { record, safe } = finished;
        let folder = self.hand_out(&record, safe)?;
        let mut exit = Exit::of(record.verdict());
        if record.abort() == Some(&Abort::Harness) {
            exit = exit.or(Exit::Bug);
        }
        if order.particulars.only.is_some() && exit == Exit::Pass {
            // A diagnosis never accepts.
            exit = Exit::Inconclusive;
        }
        if !safe && !matches!(exit, Exit::Bug | Exit::Store) {
            // A bench that may hurt outweighs what was found of the board.
            exit = Exit::Bench;
        }
        Ok(Outcome {
            record,
            exit,
            folder,
        })
    }

    /// The run's folder: its reports, and for one board its certificate; a whole
    /// lot's are issued by `records certificate` when they are wanted.
    fn hand_out(&self, record: &Record, safe: bool) -> Result<PathBuf, Exit> {
        let told = |fault: StoreError| store_exit(&fault);
        let reports = report::files();
        let mut files: Vec<(String, Vec<u8>)> = reports
            .map(|(name, write)| (name.to_owned(), write(record).into_bytes()))
            .collect();
        if !safe {
            // Verdict and end of the bench are one.
            warn_line!(
                "THE BENCH IS NOT PROVEN SAFE: NO CERTIFICATE. Switch its mains off, look at \
                 it, and test the board again"
            );
        } else if !self.brief {
            let reader = self.store.reader().map_err(told)?;
            let document = certificate::document(&reader, record)?;
            for form in Form::ALL {
                let bytes = handing_out::bytes(&document, form)?;
                files.push((certificate::name(form), bytes));
            }
        }
        let files = files
            .iter()
            .map(|(name, bytes)| (name.as_str(), bytes.as_slice()));
        let files: Vec<_> = files.collect();
        folder::write(&self.out, record, &files).map_err(told)
    }

    fn finish(&mut self, order: &Order, mounted: Mounted) -> Result<Finished, Exit> {
        let Self {
            bench,
            store,
            attendance,
            output,
            brief,
            person,
            expected,
            to_come,
            kept,
            ..
        } = self;
        let screen = output.screen();
        let out = if output.json {
            Stream::Error
        } else {
            Stream::Output
        };
        let mut live = if *brief {
            Live::brief(out.writer(), screen)
        } else {
            Live::new(out.writer(), screen)
        };
        if *expected > Seconds::ZERO {
            // At most some ten thousand boards: exact.
            let after = to_come.map(|boards| *expected * boards as f64);
            let board = *expected;
            live = live.expecting(Expected { board, after }, attendance.prompts.clone());
        }
        let mut json = JsonLines;
        let mut sinks: Vec<&mut dyn Sink> = Vec::new();
        // Beside JSON only a person who looks is told as well.
        if !output.json || std::io::stderr().is_terminal() {
            sinks.push(&mut live);
        }
        if output.json {
            sinks.push(&mut json);
        }
        let Attendance { runtime, stop, .. } = attendance;
        runtime.block_on(async {
            let mut bench = next_bench(kept.take(), bench, &order.plan, mounted, person).await?;
            let guardian = guardian(&bench);
            let stop = match &guardian {
                Some(guardian) => stop.clone().or_lapse(guardian.lapse()),
                None => stop.clone(),
            };
            let finished = run(order, &mut bench, store, &SystemClock, &mut sinks, stop).await;
            // What was done after the last step is the next board's no more.
            drop(bench.told());
            // The bench was made safe, or the record says that it was not and
            // the person has been told: either way nobody needs watching.
            if let Some(guardian) = guardian {
                guardian.dismiss();
            }
            if !bench.is_embedded() {
                *kept = Some(bench);
            }
            finished.map_err(|fault| match fault {
                RunFault::Store(fault) => store_exit(&fault),
                RunFault::Record(fault) => {
                    warn_line!("a bug in bufferstop: {fault}");
                    Exit::Bug
                }
            })
        })
    }
}

/// A guardian over real ports; the instruments of a model bench end with the
/// program itself. A bench without one still runs, and says so.
fn guardian(bench: &Bench) -> Option<Guardian> {
    if bench.is_embedded() {
        return None;
    }
    watching(|program| Guardian::start(bench, program))
}

/// The guardian that `start` starts from this program; where there is none, or where
/// it lacks a port, that is said.
pub(super) fn watching(start: impl FnOnce(&Path) -> io::Result<Guardian>) -> Option<Guardian> {
    match std::env::current_exe().and_then(|program| start(&program)) {
        Ok(guardian) => {
            for port in guardian.missing() {
                warn_line!(
                    "the guardian could not open {}: a killed or stalled program leaves \
                     what is there as it is",
                    harmless(port)
                );
            }
            tracing::info!(process = guardian.process(), "the guardian watches");
            Some(guardian)
        }
        Err(fault) => {
            warn_line!(
                "no guardian ({fault}): a killed or stalled program leaves the bench as it is"
            );
            None
        }
    }
}

/// Where the person's text goes.
enum Stream {
    Output,
    Error,
}

impl Stream {
    fn writer(&self) -> Box<dyn std::io::Write> {
        match self {
            Self::Output => Box::new(anstream::stdout()),
            Self::Error => Box::new(anstream::stderr()),
        }
    }
}
