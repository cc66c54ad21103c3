//! The person at the bench: the signals that ask to stop, the lines they type,
//! and their word that a real bench may be opened. It opens nothing.

use super::exit::Exit;
use super::output::Output;
use super::stopping::{Lines, Listening, runtime, stopping};
use crate::bench_file::{Bench, Port};
use crate::console::{Prompts, cautions};
use crate::ident::{Role, harmless};
use crate::link::{Asked, Person as Asking};
use crate::runner::Stop;
use std::io::{IsTerminal as _, Write as _};
use std::sync::Arc;
use tokio::runtime::Runtime;
use tokio::sync::{Mutex, mpsc};

/// What a command waits with for a person and for a bench.
pub(super) struct Attendance {
    /// The one thread that waits.
    pub(super) runtime: Runtime,
    /// Raised when the person asks to stop.
    pub(super) stop: Stop,
    /// The same lines for every question: who reads ahead keeps what was typed.
    input: Input,
    /// Whether a question stands on the screen.
    pub(super) prompts: Prompts,
    /// Hears the signals, whatever the one thread does meanwhile.
    _listening: Listening,
}

/// Standard input, once a line of it was wanted.
type Input = Arc<Mutex<Option<Lines>>>;

impl Attendance {
    /// Listens for the signals that ask to stop.
    ///
    /// # Errors
    /// The status, after saying why.
    pub(super) fn begin() -> Result<Self, Exit> {
        let runtime = runtime()?;
        let (stop, listening) = stopping()?;
        Ok(Self {
            runtime,
            stop,
            input: Input::default(),
            prompts: Prompts::default(),
            _listening: listening,
        })
    }

    /// The next line of standard input, or none once it ended or the person
    /// asked to stop.
    ///
    /// # Errors
    /// The status, after saying why, where standard input cannot be read.
    pub(super) fn next_line(&mut self) -> Result<Option<String>, Exit> {
        let mut end = self.stop.clone();
        self.next_line_before(&mut end)
    }

    /// The same, or none once `end` was raised.
    ///
    /// # Errors
    /// As for [`Attendance::next_line`].
    pub(super) fn next_line_before(&mut self, end: &mut Stop) -> Result<Option<String>, Exit> {
        let Self {
            runtime,
            stop,
            input,
            ..
        } = self;
        runtime.block_on(async {
            let mut held = input.lock().await;
            let lines = match &mut *held {
                Some(lines) => lines,
                none => none.insert(Lines::of_standard_input()?),
            };
            tokio::select! {
                biased;
                () = end.raised() => Ok(None),
                line = lines.next(stop) => Ok(line),
            }
        })
    }

    /// Who does and reads what `bench` has no instrument for. With `assumed` every
    /// step is taken for done; nobody is asked for anything on a bench of instruments.
    ///
    /// # Errors
    /// The status, after saying why, where nobody can be asked.
    pub(super) fn person(
        &self,
        bench: &Bench,
        assumed: bool,
        output: Output,
    ) -> Result<Asking, Exit> {
        let by_hand = bench.instruments.iter().filter(|i| i.port == Port::Person);
        let roles: Vec<Role> = by_hand.map(|instrument| instrument.role).collect();
        let Some(first) = roles.first() else {
            return Ok(Asking::assumed());
        };
        if assumed {
            return match roles.iter().find(|role| **role != Role::Drive) {
                None => Ok(Asking::assumed()),
                Some(read) => {
                    warn_line!(
                        "--assume-operator takes steps for done and types no reading: the \
                         {read} is read by a person, on a terminal"
                    );
                    Err(Exit::Usage)
                }
            };
        }
        if !std::io::stdin().is_terminal() {
            warn_line!(
                "a person works the {first}, and standard input is no terminal: nobody can be \
                 asked, and nothing was opened; a script whose bench is prepared gives \
                 --assume-operator"
            );
            return Err(Exit::Usage);
        }
        let (person, asked) = Asking::at_the_bench();
        self.runtime.spawn(attend(
            asked,
            Arc::clone(&self.input),
            self.prompts.clone(),
            output,
        ));
        Ok(person)
    }

    /// The thread that waits, and the person who is asked while it waits for a bench.
    pub(super) fn parts(&mut self) -> (&Runtime, Person<'_>) {
        let Self {
            runtime,
            stop,
            input,
            ..
        } = self;
        (runtime, Person { stop, input })
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
    input: &'a Input,
}

impl Person<'_> {
    /// The next line that the person types, or none once the input ended, the person
    /// asked to stop, or another program is in front of the terminal.
    ///
    /// # Errors
    /// The status, after saying why, where standard input cannot be read.
    pub(super) async fn next_line(&mut self) -> Result<Option<String>, Exit> {
        let mut held = self.input.lock().await;
        let lines = match &mut *held {
            Some(lines) => lines,
            none => none.insert(Lines::of_attended_input()?),
        };
        Ok(lines.next(self.stop).await)
    }
}

/// Asks the person for what has no instrument, one thing after another.
async fn attend(mut asked: mpsc::Receiver<Asked>, input: Input, prompts: Prompts, output: Output) {
    while let Some(mut asking) = asked.recv().await {
        let what = harmless(&asking.what);
        let patience = asking.patience.as_secs();
        let how = if asking.is_reading {
            "type it and Enter"
        } else {
            "Enter when it is done, n if it is not"
        };
        prompts.turn();
        shown(
            &format!("\n  >> {what}\n     {how} [{patience} s]: "),
            output,
        );
        let mut held = input.lock().await;
        let lines = match &mut *held {
            Some(lines) => lines,
            none => match Lines::of_attended_input() {
                Ok(lines) => none.insert(lines),
                Err(_) => return,
            },
        };
        tokio::select! {
            biased;
            // Whoever asked has given up.
            () = asking.answer.closed() => shown("too late\n", output),
            typed = lines.typed() => drop(asking.answer.send(typed)),
        }
        prompts.turn();
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
