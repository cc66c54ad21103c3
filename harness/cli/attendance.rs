//! The person at the bench: the signals that ask to stop, the lines they type,
//! and their word that a real bench may be opened. It opens nothing.

use super::exit::Exit;
use super::output::Output;
use super::stopping::{Lines, listening, runtime};
use crate::console::cautions;
use crate::runner::Stop;
use std::io::{IsTerminal as _, Write as _};
use tokio::runtime::Runtime;

/// What a command waits with for a person and for a bench.
pub(super) struct Attendance {
    /// The one thread that waits.
    pub(super) runtime: Runtime,
    /// Raised when the person asks to stop.
    pub(super) stop: Stop,
    /// Standard input, once a line of it was wanted.
    lines: Option<Lines>,
}

impl Attendance {
    /// Listens for the signals that ask to stop.
    ///
    /// # Errors
    /// The status, after saying why.
    pub(super) fn begin() -> Result<Self, Exit> {
        let runtime = runtime()?;
        let stop = listening(&runtime)?;
        Ok(Self {
            runtime,
            stop,
            lines: None,
        })
    }

    /// The next line of standard input, or none once it ended or the person
    /// asked to stop.
    ///
    /// # Errors
    /// The status, after saying why, where standard input cannot be read.
    pub(super) fn next_line(&mut self) -> Result<Option<String>, Exit> {
        let lines = match &mut self.lines {
            Some(lines) => lines,
            none => none.insert(Lines::of_standard_input()?),
        };
        Ok(self.runtime.block_on(lines.next(&mut self.stop)))
    }

    /// The thread that waits, and the person who is asked while it waits for a bench.
    pub(super) fn parts(&mut self) -> (&Runtime, Person<'_>) {
        let Self {
            runtime,
            stop,
            lines,
        } = self;
        (runtime, Person { stop, lines })
    }

    /// Shows the cautions of a real bench and waits until a person confirms
    /// them, unless `ready` says that one did.
    ///
    /// # Errors
    /// The status, after saying why, where nobody confirms.
    pub(super) fn confirm(&mut self, ready: bool, output: Output) -> Result<(), Exit> {
        caution(output);
        if ready {
            return Ok(());
        }
        if !std::io::stdin().is_terminal() {
            warn_line!(
                "nobody has confirmed the cautions: nothing was opened; confirm them on a \
                 terminal, or give --ready in a script whose bench is attended"
            );
            return Err(Exit::Usage);
        }
        shown("All of this is so? Enter goes on, Ctrl-C ends: ", output);
        match self.next_line()? {
            Some(_) => Ok(()),
            None => Err(Exit::Inconclusive),
        }
    }
}

/// The person at the bench, while something else is waited for as well.
pub(super) struct Person<'a> {
    /// Raised when the person asks to stop.
    pub(super) stop: &'a mut Stop,
    /// The same lines for every question: who reads ahead keeps what was typed.
    lines: &'a mut Option<Lines>,
}

impl Person<'_> {
    /// The next line that the person types, or none once the input ended, the person
    /// asked to stop, or another program is in front of the terminal.
    ///
    /// # Errors
    /// The status, after saying why, where standard input cannot be read.
    pub(super) async fn next_line(&mut self) -> Result<Option<String>, Exit> {
        let lines = match &mut *self.lines {
            Some(lines) => lines,
            none => none.insert(Lines::of_attended_input()?),
        };
        Ok(lines.next(self.stop).await)
    }
}

/// Shows the cautions of a real bench.
pub(super) fn caution(output: Output) {
    shown(&cautions(output.screen()), output);
}

/// Shows a person `text`, beside JSON on standard error.
fn shown(text: &str, output: Output) {
    if output.json {
        // Without a terminal nobody reads it.
        if std::io::stderr().is_terminal() {
            warn_text!("{text}");
        }
    } else {
        say!("{text}");
        // A prompt that cannot be shown is one that nobody waits for.
        let _ = std::io::stdout().flush();
    }
}
