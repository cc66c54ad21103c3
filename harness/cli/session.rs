//! A sitting before a terminal: its runs shown line by line or as JSON, and every
//! way a run can end as an exit status and a sentence. It decides nothing about
//! boards.

use super::attendance::Attendance;
use super::exit::Exit;
use super::hindered::own_workshop;
use super::output::{JsonLines, Output};
use crate::console::{Expected, Live};
use crate::event::{Abort, FileFacts};
use crate::link::Person;
use crate::plan::Plan;
use crate::record::Record;
use crate::runner::{Particulars, Sink};
use crate::sitting::{self, BenchFiles, Mounted, Setting};
use crate::store::Reader;
use crate::units::Seconds;
use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};

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
        let sitting::Outcome {
            record,
            safe,
            folder,
        } = self.run(particulars, mounted)?;
        let mut exit = Exit::of(record.verdict());
        if record.abort() == Some(&Abort::Harness) {
            exit = exit.or(Exit::Bug);
        }
        if diagnosis && exit == Exit::Pass {
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
        let mut warn = |words: &str| warn_line!("{words}");
        let accepted = sitting.accept(particulars, mounted, stop, &mut sinks, &mut warn);
        Ok(runtime.block_on(accepted)?)
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
