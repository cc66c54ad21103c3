//! Who is told of a run as it goes: a person before a terminal, a program that reads
//! JSON, or both. It decides nothing.

use super::output::{JsonLines, Output};
use crate::console::{Expected, Live, Prompts};
use crate::digest::Hashed;
use crate::event::Entry;
use crate::runner::Sink;
use std::io::{IsTerminal as _, Write};

/// A person, a program, or both.
pub(super) struct Audience {
    live: Option<Live<Box<dyn Write>>>,
    lines: Option<JsonLines>,
}

impl Audience {
    /// Of one run, with what is expected of it; `brief` says only how it ended.
    pub(super) fn of(output: Output, brief: bool, expected: Option<(Expected, Prompts)>) -> Self {
        let Output { json } = output;
        let out: Box<dyn Write> = if json {
            Box::new(anstream::stderr())
        } else {
            Box::new(anstream::stdout())
        };
        let screen = output.screen();
        let live = if brief {
            Live::brief(out, screen)
        } else {
            Live::new(out, screen)
        };
        let live = match expected {
            Some((expected, prompts)) => live.expecting(expected, prompts),
            None => live,
        };
        // Beside JSON only a person who looks is told as well.
        let looks = !json || std::io::stderr().is_terminal();
        Self {
            live: looks.then_some(live),
            lines: json.then_some(JsonLines),
        }
    }

    fn sinks(&mut self) -> impl Iterator<Item = &mut dyn Sink> {
        let live = self.live.as_mut().map(|live| live as &mut dyn Sink);
        let lines = self.lines.as_mut().map(|lines| lines as &mut dyn Sink);
        live.into_iter().chain(lines)
    }
}

impl Sink for Audience {
    fn entry(&mut self, entry: &Entry) {
        self.sinks().for_each(|sink| sink.entry(entry));
    }

    fn observed(&mut self, scenario: &str, bytes: &Hashed) {
        self.sinks().for_each(|sink| sink.observed(scenario, bytes));
    }

    fn second(&mut self) {
        self.sinks().for_each(Sink::second);
    }
}
