//! A sitting before a terminal: its runs shown line by line or as JSON, and every
//! way a run can end as an exit status and a sentence. It decides nothing about
//! boards.

use super::attendance::Attendance;
use super::audience::Audience;
use super::exit::Exit;
use super::hindered::own_workshop;
use super::lanes::{Drawn, Lanes};
use super::output::Output;
use crate::console::Expected;
use crate::event::{Abort, FileFacts};
use crate::ident::Serial;
use crate::link::Person;
use crate::parallel::cores;
use crate::plan::Plan;
use crate::record::Record;
use crate::runner::{Particulars, Sink, Stop};
use crate::sitting::{self, BenchFiles, Mounted, Setting};
use crate::store::Reader;
use crate::units::Seconds;
use std::path::{Path, PathBuf};
use tracing::level_filters::LevelFilter;

/// A sitting and who sits there.
pub(super) struct Session {
    sitting: sitting::Session,
    output: Output,
    /// Only verdict lines, for a lot.
    brief: bool,
    attendance: Attendance,
    /// What one board takes, and how many of its lot come after it.
    expected: Seconds,
    to_come: Option<usize>,
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

impl Outcome {
    /// What a run's end asks for; a `diagnosis` never accepts.
    pub(super) fn of(ended: sitting::Outcome, diagnosis: bool) -> Self {
        let sitting::Outcome {
            record,
            safe,
            folder,
        } = ended;
        let mut exit = Exit::of(record.verdict());
        if record.abort() == Some(&Abort::Harness) {
            exit = exit.or(Exit::Bug);
        }
        if diagnosis && exit == Exit::Pass {
            exit = Exit::Inconclusive;
        }
        if !safe && !matches!(exit, Exit::Bug | Exit::Store) {
            // A bench that may hurt outweighs what was found of the board.
            exit = Exit::Bench;
        }
        Self {
            record,
            exit,
            folder,
        }
    }
}

impl Session {
    /// Opens a bench of ports, and then the store under `out` that its
    /// instruments belong to.
    ///
    /// # Errors
    /// The status, after saying why.
    pub(super) fn open(
        (attendance, person): (Attendance, Person),
        plan: &Plan,
        bench: &BenchFiles,
        facts: Vec<FileFacts>,
        out: &Path,
        output: Output,
        brief: bool,
    ) -> Result<Self, Exit> {
        let letterhead = if brief {
            None
        } else {
            own_workshop()?.letterhead()?
        };
        let setting = Setting {
            plan: plan.clone(),
            bench: bench.clone(),
            facts,
            out: out.to_owned(),
            papers: !brief,
            letterhead,
            person,
        };
        let sitting = attendance
            .runtime
            .block_on(sitting::Session::open(setting))?;
        for run in sitting.closed_cut_off() {
            warn_line!("run {run} was cut off; its record is closed as inconclusive");
        }
        Ok(Self {
            sitting,
            output,
            brief,
            attendance,
            expected: Seconds::ZERO,
            to_come: None,
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
        Ok(self.sitting.reader()?)
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
        let diagnosis = particulars.only.is_some();
        Ok(Outcome::of(self.run(particulars, mounted)?, diagnosis))
    }

    /// Runs the plan on the boards that `next` gives from the lines of standard input
    /// or on its own, each on an embedded model bench of its own, as many at a time as
    /// there are cores; records, reports and words come one after another, in the
    /// order of the boards, as if each were run alone; `each` is told then, with the
    /// serial number of a board that ran, and says whether the lot goes on. Once it
    /// does not, what `next` was handed is raised.
    pub(super) fn accept_side_by_side(
        &mut self,
        mut next: impl FnMut(&mut Attendance, &mut Stop) -> Option<Drawn> + Send,
        each: impl FnMut(Option<Serial>, Result<Outcome, Exit>) -> bool + Send,
    ) {
        let attendance = &mut self.attendance;
        let stop = attendance.stop.clone();
        let lanes = Lanes {
            acceptance: self.sitting.acceptance(),
            output: self.output,
            brief: self.brief,
            stop: &stop,
            threads: lanes(),
        };
        lanes.run(|over| next(attendance, over), each);
    }

    fn run(
        &mut self,
        particulars: Particulars,
        mounted: Mounted,
    ) -> Result<sitting::Outcome, Exit> {
        let Self {
            sitting,
            attendance,
            output,
            brief,
            expected,
            to_come,
        } = self;
        let expected = (*expected > Seconds::ZERO).then(|| {
            // At most some ten thousand boards: exact.
            let after = to_come.map(|boards| *expected * boards as f64);
            let board = *expected;
            (Expected { board, after }, attendance.prompts.clone())
        });
        let mut audience = Audience::of(*output, *brief, expected);
        let mut sinks: [&mut dyn Sink; 1] = [&mut audience];
        let Attendance { runtime, stop, .. } = attendance;
        let mut warn = |words: &str| warn_line!("{words}");
        let accepted = sitting.accept(particulars, mounted, stop, &mut sinks, &mut warn);
        Ok(runtime.block_on(accepted)?)
    }
}

/// Boards at a time on embedded benches: one where somebody follows what goes over the
/// wires, lest two are told at once.
fn lanes() -> usize {
    match LevelFilter::current() {
        LevelFilter::OFF => cores(),
        _ => 1,
    }
}
