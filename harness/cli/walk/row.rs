//! What a trial shows of each command, and what it sums up at its end. It sends
//! nothing and decides nothing.

use crate::cli::output::Output;
use crate::ident::harmless;
use crate::link::{Listener, Way, shortened};
use crate::template;
use serde_json::{Value, json};
use std::sync::{Arc, Mutex, PoisonError};

/// Bytes that went one way.
type Passed = (Way, Vec<u8>);

/// What passed over the wire since it was asked last.
#[derive(Clone, Default)]
pub(super) struct Heard(Arc<Mutex<Vec<Passed>>>);

impl Heard {
    pub(super) fn listener(&self) -> Listener {
        let own = self.clone();
        Listener::new(move |way, bytes| {
            let mut heard = own.0.lock().unwrap_or_else(PoisonError::into_inner);
            match heard.last_mut() {
                Some((last, together)) if *last == way => together.extend_from_slice(bytes),
                _ => heard.push((way, bytes.to_vec())),
            }
        })
    }

    pub(super) fn take(&self) -> Vec<Passed> {
        let mut heard = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        std::mem::take(&mut *heard)
    }
}

/// One row of what was tried.
pub(super) struct Row {
    pub(super) command: String,
    pub(super) found: Result<String, String>,
    pub(super) passed: Vec<Passed>,
}

impl Row {
    pub(super) fn shown(&self, output: Output) {
        if output.json {
            let (said, fault) = match &self.found {
                Ok(said) => (Some(said), None),
                Err(fault) => (None, Some(fault)),
            };
            let passed = self.passed.iter().map(|(way, bytes)| {
                let bytes = template::shown(&template::line_of(bytes));
                json!({ way.word(): bytes })
            });
            let passed: Vec<Value> = passed.collect();
            output.line(&json!({
                "command": self.command, "found": said, "fault": fault, "passed": passed,
            }));
            return;
        }
        match &self.found {
            Ok(said) => say_line!("  {:<20} {}", self.command, harmless(said)),
            Err(fault) => say_line!("  {:<20} DOES NOT FIT: {}", self.command, harmless(fault)),
        }
        for (way, bytes) in &self.passed {
            let mark = match way {
                Way::Sent => '>',
                Way::Received => '<',
            };
            say_line!("      {mark} {}", shortened(bytes));
        }
    }
}

/// A command that was left out, and why.
struct LeftOut {
    command: &'static str,
    why: String,
}

/// What there is to say at the end.
#[derive(Default)]
pub(super) struct Summary {
    /// Exchanges that do not fit.
    pub(super) unfit: usize,
    /// Commands that the profile does not have.
    missing: Vec<&'static str>,
    left_out: Vec<LeftOut>,
    /// Whether the person ended it before everything was tried.
    pub(super) stopped: bool,
}

impl Summary {
    pub(super) fn lacks(&mut self, command: &'static str) {
        if !self.missing.contains(&command) {
            self.missing.push(command);
        }
    }

    pub(super) fn leaves_out(&mut self, command: &'static str, why: impl Into<String>) {
        let why = why.into();
        let again = |one: &LeftOut| one.command == command && one.why == why;
        if !self.left_out.iter().any(again) {
            self.left_out.push(LeftOut { command, why });
        }
    }

    pub(super) fn told(&self, output: Output) {
        if output.json {
            let left_out = self.left_out.iter();
            let left_out = left_out.map(|one| json!({"command": one.command, "why": one.why}));
            let left_out: Vec<Value> = left_out.collect();
            output.line(&json!({
                "unfit": self.unfit, "missing": self.missing, "left_out": left_out,
                "stopped": self.stopped,
            }));
            return;
        }
        say_line!();
        if !self.missing.is_empty() {
            say_line!("not in the profile: {}", self.missing.join(", "));
        }
        for one in &self.left_out {
            say_line!("left out: {} ({})", one.command, harmless(&one.why));
        }
        if self.stopped {
            say_line!("stopped before everything was tried");
        }
        match self.unfit {
            0 => say_line!("everything that was tried fits"),
            1 => say_line!("one exchange does not fit"),
            count => say_line!("{count} exchanges do not fit"),
        }
    }
}
