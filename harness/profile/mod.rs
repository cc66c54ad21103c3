//! How to talk to one model of instrument: line, commands, status bits,
//! ranges, accuracy and what makes it safe. It sends nothing.

mod argument;
mod needs;
mod parse;
mod parse_accuracy;
mod parse_argument;
mod parse_commands;
mod parse_line;
mod parse_reply;
mod parse_waveform;
mod range;
mod reply;
mod sound;
mod waveform;

pub use argument::{Form, Spelling};
pub use needs::{CommandNeed, EXTERNAL, RoleNeeds, by_hand, needs, read_back_by};
pub use parse::{parse, shipped, shipped_source};
pub use range::{CaptureRange, LoadRange, Range, SupplyRange, SwitchRange};
pub use reply::{Binary, Reply, VALUE, measured};
pub use waveform::{BlockCheck, Data, Place, Waveform};

use crate::checksum::LineCheck;
use crate::ident::Role;
use crate::template::{Argument, FillFault, Template};
use crate::units::{Dimension, Quantity as _, Ratio, Seconds};
use regex_lite::Regex;
use std::collections::BTreeMap;

/// The names of the profiles that come with the program: one for each role.
pub fn shipped_names() -> [&'static str; Role::ALL.len()] {
    Role::ALL.map(Role::word)
}

/// The longest line a profile may ask for, in bytes.
const LONGEST_LINE: usize = 1000;

/// The group in a console's pattern that is the board's revision.
const REVISION: &str = "revision";

/// A checked instrument profile. Every command its role needs is there, with
/// no other placeholders than that command offers.
#[derive(Clone, Debug)]
pub struct Profile {
    /// What a person calls it.
    pub name: String,
    /// What it is on the bench.
    pub role: Role,
    /// What its answer to `identify` must match. In a console's, the group
    /// `revision` is what the board says of its revision.
    pub identifies_as: Regex,
    /// The serial line.
    pub line: LineSettings,
    /// Command lines by name.
    pub commands: BTreeMap<String, Template>,
    /// How values are written, by command and gap, where not as they are.
    pub forms: BTreeMap<String, BTreeMap<String, Form>>,
    /// How answers are worded, by command, where they are no bare numbers.
    pub replies: BTreeMap<String, Reply>,
    /// How the end of an action is known.
    pub completion: Completion,
    /// How a capture device hands out its samples.
    pub waveform: Waveform,
    /// The line of the file in which each command stands, from one.
    pub written_at: BTreeMap<String, usize>,
    /// What makes it safe.
    pub safety: Safety,
    /// Weights of the bits in the answer to `condition`.
    pub condition: BTreeMap<String, u32>,
    /// Weights of the bits in the answer to `operation`.
    pub operation: BTreeMap<String, u32>,
    /// What it can do.
    pub range: Range,
    /// How well it does so, by what is done: `measure_voltage`, `channel`.
    pub accuracy: BTreeMap<String, Accuracy>,
}

impl Profile {
    /// The line that is sent for `command`, a character a byte, without its ending;
    /// `None` where the profile has no such command. A value that the command has
    /// no place for is left out.
    ///
    /// # Errors
    /// A [`FillFault`].
    pub fn line(
        &self,
        command: &str,
        arguments: &[(&str, Argument<'_>)],
    ) -> Option<Result<String, FillFault>> {
        let template = self.commands.get(command)?;
        Some(self.filled(template, command, arguments))
    }

    /// `template` filled as `command` is.
    ///
    /// # Errors
    /// A [`FillFault`].
    pub fn filled(
        &self,
        template: &Template,
        command: &str,
        arguments: &[(&str, Argument<'_>)],
    ) -> Result<String, FillFault> {
        let forms = self.forms.get(command);
        let mut written = Vec::with_capacity(arguments.len());
        for (name, value) in arguments {
            if !template.placeholders().any(|gap| gap == *name) {
                continue;
            }
            let form = forms.and_then(|forms| forms.get(*name));
            let text = form.map(|form| form.write(name, *value)).transpose()?;
            written.push((*name, *value, text));
        }
        let arguments: Vec<(&str, Argument<'_>)> = written
            .iter()
            .map(|(name, value, text)| match text {
                Some(text) => (*name, Argument::Bytes(text)),
                None => (*name, *value),
            })
            .collect();
        template.fill(&arguments)
    }

    /// The bytes of `line` as they go out: with its checksum and its ending.
    pub fn bytes_of(&self, line: &str) -> Vec<u8> {
        line_bytes(line, self.line.check.as_ref(), &self.line.ending)
    }

    /// The command under `name`.
    pub fn command(&self, name: &str) -> Option<&Template> {
        self.commands.get(name)
    }

    /// What a board says of its revision in `identity`, its console's answer
    /// to `identify`; `None` where the pattern names no such part or finds none.
    pub fn revision_in<'a>(&self, identity: &'a str) -> Option<&'a str> {
        let found = self.identifies_as.captures(identity)?;
        let told = found.name(REVISION)?.as_str().trim();
        (!told.is_empty()).then_some(told)
    }

    /// The end of the range of what is read or set by `command`, in SI units,
    /// where the profile states one that never changes.
    pub fn full_scale(&self, command: &str) -> Option<f64> {
        match (&self.range, command) {
            (Range::Supply(range), "measure_voltage") => Some(range.voltage.si()),
            (Range::Supply(range), "measure_current") => Some(range.current.si()),
            (Range::Load(range), "measure_voltage") => Some(range.voltage.si()),
            (Range::Load(range), "measure_current" | "set_current") => Some(range.current.si()),
            _ => None,
        }
    }

    /// The capture device's range.
    pub fn capture_range(&self) -> Option<&CaptureRange> {
        match &self.range {
            Range::Capture(range) => Some(range),
            _ => None,
        }
    }

    /// The supply's range.
    pub fn supply_range(&self) -> Option<&SupplyRange> {
        match &self.range {
            Range::Supply(range) => Some(range),
            _ => None,
        }
    }

    /// The load's range.
    pub fn load_range(&self) -> Option<&LoadRange> {
        match &self.range {
            Range::Load(range) => Some(range),
            _ => None,
        }
    }

    /// The switch's range.
    pub fn switch_range(&self) -> Option<&SwitchRange> {
        match &self.range {
            Range::Switch(range) => Some(range),
            _ => None,
        }
    }
}

/// How the end of an action is known, where the instrument is not trusted to have
/// done what it took.
#[derive(Clone, Debug, PartialEq)]
pub struct Completion {
    /// What `complete` answers when the action is over.
    pub answer: String,
    /// How often it is asked until then, and for how long at most; once where
    /// `None`.
    pub polls: Option<(Seconds, Seconds)>,
    /// The time that every action is given instead.
    pub wait: Option<Seconds>,
    /// The time that single actions are given.
    pub waits: BTreeMap<String, Seconds>,
}

impl Default for Completion {
    fn default() -> Self {
        Self {
            // IEEE 488.2, 10.19: the answer to *OPC?.
            answer: "1".to_owned(),
            polls: None,
            wait: None,
            waits: BTreeMap::new(),
        }
    }
}

/// The serial line: 8 data bits, no parity, one stop bit.
#[derive(Clone, Debug, PartialEq)]
pub struct LineSettings {
    /// Bits a second.
    pub speed: u32,
    /// The most bytes that are read at once where whole messages come.
    pub message_size: usize,
    /// What ends a line, both ways; empty where the length of every answer is known.
    pub ending: String,
    /// What the instrument takes for one command, in picoseconds of bench time.
    pub processing: crate::clock::BenchSpan,
    /// What the data-terminal-ready line should be; raising it resets some
    /// boards.
    pub dtr: bool,
    /// The longest that a complete answer may take, in wall time, beside what
    /// a block's bytes take on the line; the house's own where `None`.
    pub reply: Option<Seconds>,
    /// No byte for so long means that nothing more comes; the house's own
    /// where `None`.
    pub quiet: Option<Seconds>,
    /// The least time between an answer and the next line.
    pub gap: Option<Seconds>,
    /// It says each line back before it answers.
    pub echo: bool,
    /// What it sends when it is ready for the next line, a character a byte; empty
    /// for nothing.
    pub prompt: String,
    /// What it answers to a command that others leave silent, likewise.
    pub acknowledgement: Option<String>,
    /// The checksum behind each line, both ways.
    pub check: Option<LineCheck>,
}

/// What makes an instrument safe, blind and without an answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Safety {
    /// Bytes that make it drop a half-received command.
    pub abandon: String,
    /// Command lines, sent in this order.
    pub make_safe: Vec<String>,
}

/// The bytes of `line` as they go out: with its checksum and its ending.
pub fn line_bytes(line: &str, check: Option<&LineCheck>, ending: &str) -> Vec<u8> {
    let mut bytes = crate::template::bytes(line);
    if let Some(check) = check {
        check.append(&mut bytes);
    }
    bytes.extend_from_slice(ending.as_bytes());
    bytes
}

/// How well an instrument reads or sets: the larger of nothing and the sum of
/// a part of the reading, a part of the range and a fixed amount.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Accuracy {
    /// What is read or set.
    pub dimension: Dimension,
    /// Part of the reading.
    pub reading: Ratio,
    /// Fixed amount, in SI units of `dimension`.
    pub fixed: f64,
    /// Part of the range in use.
    pub fixed_of_range: Ratio,
    /// Smallest step of the result, in SI units of `dimension`; zero when it
    /// follows from the converter's bits.
    pub resolution: f64,
    /// How long one reading is taken over.
    pub integration: Seconds,
    /// Part of a time that the time base may be off.
    pub time_base: Ratio,
}

#[cfg(test)]
mod tests;
