//! Where a command's words go: one JSON document or JSON lines on standard
//! output when asked for, text for people otherwise. It formats nothing.

use super::exit::Exit;
use crate::console::{Screen, fitted};
use crate::document::Fault;
use crate::event::Entry;
use crate::runner::Sink;
use serde_json::json;
use std::io::{self, IsTerminal, Write};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

/// Why standard output took no more, from the first failure on.
static FAILED: OnceLock<io::Error> = OnceLock::new();

/// Writes to standard output, unless it took no more before.
pub(super) fn said(words: std::fmt::Arguments<'_>) {
    written(anstream::stdout().lock().write_fmt(words));
}

/// Whether standard error speaks JSON as well.
static JSON: AtomicBool = AtomicBool::new(false);

/// From here on each message is a line of JSON.
pub(super) fn speak_json() {
    JSON.store(true, Ordering::Relaxed);
}

/// Says something on standard error: a line for a person, or with `--json` an
/// object of one `message`.
pub(super) fn warned(words: std::fmt::Arguments<'_>) {
    let mut out = anstream::stderr().lock();
    // There is nowhere left to say that nothing can be said.
    let _ = if JSON.load(Ordering::Relaxed) {
        let text = words.to_string();
        writeln!(out, "{}", json!({ "message": text.trim() }))
    } else if let Some((width, _)) = terminal_size_of_errors() {
        writeln!(out, "{}", fitted(&words.to_string(), width))
    } else {
        writeln!(out, "{words}")
    };
}

/// Columns and lines of the terminal that standard error is, where it is one.
fn terminal_size_of_errors() -> Option<(usize, usize)> {
    let size = terminal_size::terminal_size_of(io::stderr());
    size.map(|(width, height)| (usize::from(width.0), usize::from(height.0)))
}

/// Faults of files on standard error: `rendered` for a person, or with `--json` an
/// object of all.
pub(super) fn complained(faults: &[Fault], rendered: &str) {
    let mut out = anstream::stderr().lock();
    let _ = if JSON.load(Ordering::Relaxed) {
        writeln!(out, "{}", json!({ "faults": faults }))
    } else {
        write!(out, "{rendered}")
    };
}

/// Notes how a write to standard output went.
pub(super) fn written(done: io::Result<()>) {
    if let Err(fault) = done {
        let _ = FAILED.set(fault);
    }
}

/// Whether nobody reads standard output any more.
pub(super) fn unread() -> bool {
    FAILED.get().is_some()
}

/// How it went with standard output as a whole. A reader that went away has
/// seen what it wanted; a full disk has not.
pub(super) fn finished() -> Exit {
    written(io::stdout().flush());
    match FAILED.get() {
        Some(fault) if fault.kind() != io::ErrorKind::BrokenPipe => {
            warn_line!("standard output cannot be written: {fault}");
            Exit::Store
        }
        _ => Exit::Pass,
    }
}

/// What was asked for on the command line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Output {
    /// JSON on standard output.
    pub(super) json: bool,
}

impl Output {
    /// Prints one JSON document.
    pub(super) fn document(self, document: &serde_json::Value) {
        say_line!("{document:#}");
    }

    /// Prints one line of JSON.
    pub(super) fn line(self, document: &serde_json::Value) {
        let mut out = std::io::stdout().lock();
        // A reader that has gone away does not stop what is being done.
        written(writeln!(out, "{document}").and_then(|()| out.flush()));
    }

    /// Columns for what is read on a terminal; without one, a line is never cut.
    pub(super) fn room(self) -> usize {
        let screen = self.screen();
        if screen.live {
            screen.width
        } else {
            usize::MAX
        }
    }

    /// Each line of `text` in lines that fit the terminal, where there is one.
    pub(super) fn fitted(self, text: &str) -> String {
        fitted(text, self.room())
    }

    /// What the person's screen can show: standard output, or standard error
    /// while JSON goes to standard output.
    pub(super) fn screen(self) -> Screen {
        let terminal = if self.json {
            std::io::stderr().is_terminal()
        } else {
            std::io::stdout().is_terminal()
        };
        let size = terminal_size::terminal_size();
        let (width, height) = size.map_or((100, Screen::PLAIN.height), |(width, height)| {
            (usize::from(width.0), usize::from(height.0))
        });
        if terminal {
            Screen {
                live: true,
                width,
                height,
            }
        } else {
            Screen::PLAIN
        }
    }
}

/// Each entry as a line of JSON on standard output.
pub(super) struct JsonLines;

impl Sink for JsonLines {
    fn entry(&mut self, entry: &Entry) {
        let line = serde_json::to_string(entry).expect("an event is plain data");
        let mut out = std::io::stdout().lock();
        written(writeln!(out, "{line}").and_then(|()| out.flush()));
    }
}
