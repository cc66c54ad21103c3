//! Where a command's words go: one JSON document or JSON lines on standard
//! output when asked for, text for people otherwise. It formats nothing.

use crate::console::Screen;
use crate::event::Entry;
use crate::runner::Sink;
use std::io::{IsTerminal, Write};

/// What was asked for on the command line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Output {
    /// JSON on standard output.
    pub(super) json: bool,
}

impl Output {
    /// Prints one JSON document.
    pub(super) fn document(self, document: &serde_json::Value) {
        anstream::println!("{document:#}");
    }

    /// Prints one line of JSON.
    pub(super) fn line(self, document: &serde_json::Value) {
        let mut out = std::io::stdout().lock();
        // A reader that has gone away does not stop what is being done.
        let _ = writeln!(out, "{document}");
        let _ = out.flush();
    }

    /// What the person's screen can show: standard output, or standard error
    /// while JSON goes to standard output.
    pub(super) fn screen(self) -> Screen {
        let terminal = if self.json {
            std::io::stderr().is_terminal()
        } else {
            std::io::stdout().is_terminal()
        };
        let width = terminal_size::terminal_size().map_or(100, |(width, _)| usize::from(width.0));
        if terminal {
            Screen { live: true, width }
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
        let _ = writeln!(out, "{line}");
        let _ = out.flush();
    }
}
