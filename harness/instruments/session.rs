//! One instrument on its port: actions with their confirmation, questions with
//! their answer, errors read to the last. It knows command names, not what
//! they do.

use super::answer;
use super::fault::InstrumentError;
use crate::ident::Role;
use crate::link::{Effect, LinkError, Port};
use crate::measurement::{Estimate, combined, rectangular, resolution};
use crate::profile::{Accuracy, Profile, read_back_by};
use crate::protocol::{self, DeviceError, Expect, Reading, ReplyFault};
use crate::template::{self, Argument, Template};
use crate::units::{Quantity as _, Seconds};
use std::sync::Arc;
use std::time::Duration;

/// The most errors read after one action; SCPI-1999 asks for at least two
/// places, instruments keep ten to thirty-two.
const MOST_ERRORS: usize = 32;

/// The shortest time between two questions whether an action is over.
const SHORTEST_POLL: Duration = Duration::from_millis(1);

/// A setting reads back within this part of itself (a house value: instruments that
/// keep three digits are the coarsest).
const KEPT_WITHIN: f64 = 1e-3;

/// How often a question that got no good answer is asked again.
const REPEATS: u32 = 1;

/// A reading with the trust that the profile puts in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// What the instrument said.
    pub reading: Reading,
    /// Standard uncertainty, in the reading's unit.
    pub u: f64,
}

impl Measured {
    /// Value and uncertainty, where the reading is a number.
    pub fn estimate(self) -> Option<Estimate> {
        let value = self.reading.value()?;
        Some(Estimate::new(value, self.u))
    }
}

/// How actions are confirmed.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Confirmation {
    /// In the action's own line, as IEEE 488.2 clause 7.4 allows: the words
    /// to put behind a sequential and behind an overlapped action.
    Joined {
        sequential: String,
        overlapped: String,
    },
    /// By lines of their own.
    Apart {
        complete: Option<String>,
        error: Option<String>,
    },
}

/// An instrument on its port, driven by its profile.
#[derive(Clone, Debug)]
pub struct Session {
    role: Role,
    port: Port,
    profile: Arc<Profile>,
    confirmation: Confirmation,
}

impl Session {
    /// The instrument behind `port`.
    pub fn new(port: Port, profile: Arc<Profile>) -> Self {
        // Neither has a gap, so each can be written out.
        let plain = |name: &str| profile.line(name, &[]).and_then(Result::ok);
        let (complete, error) = (plain("complete"), plain("error"));
        let usual = profile.completion == Default::default()
            && profile.line.acknowledgement.is_none()
            && ["complete", "error"]
                .iter()
                .all(|name| !profile.replies.contains_key(*name));
        // Common commands keep the path of the header before; the error query
        // goes back to the root by its leading colon (SCPI-1999 6.2.4).
        let confirmation = match (&complete, &error) {
            (Some(complete), Some(error))
                if usual
                    && complete.starts_with('*')
                    && error.starts_with(|c: char| c.is_alphabetic()) =>
            {
                Confirmation::Joined {
                    sequential: format!(";{complete};:{error}"),
                    overlapped: format!(";:{error}"),
                }
            }
            _ => Confirmation::Apart { complete, error },
        };
        Self {
            role: profile.role,
            port,
            profile,
            confirmation,
        }
    }

    /// What it is on the bench.
    pub fn role(&self) -> Role {
        self.role
    }

    /// Its port.
    pub fn port(&self) -> &Port {
        &self.port
    }

    /// Puts another port under the same instrument, after the old one went.
    pub fn replace_port(&mut self, port: Port) {
        self.port = port;
    }

    /// How it is talked to.
    pub fn profile(&self) -> &Arc<Profile> {
        &self.profile
    }

    /// Asks who it is and holds the answer against the profile; errors left
    /// over from before are cleared.
    ///
    /// # Errors
    /// [`InstrumentError::Stranger`] when another instrument answers.
    pub async fn identify(&self) -> Result<String, InstrumentError> {
        let identity = self.ask("identify", &[]).await?;
        if !self.profile.identifies_as.is_match(&identity) {
            return Err(InstrumentError::Stranger {
                role: self.role,
                identity: identity.escape_debug().to_string(),
                expected: self.profile.identifies_as.as_str().to_owned(),
            });
        }
        if self.profile.command("clear").is_some() {
            self.act("clear", &[]).await?;
        }
        Ok(identity)
    }

    /// Does a sequential action and awaits its end.
    ///
    /// # Errors
    /// An [`InstrumentError`]; [`InstrumentError::Refused`] with everything in
    /// the error queue.
    pub async fn act(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
    ) -> Result<(), InstrumentError> {
        let line = self.line(command, arguments)?;
        self.confirmed(&line, Some(command)).await?;
        self.read_back(command, arguments).await
    }

    /// Starts an overlapped action: confirmed by the error queue alone, since
    /// its completion would have to be awaited.
    ///
    /// # Errors
    /// As for [`Session::act`].
    pub async fn start(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
    ) -> Result<(), InstrumentError> {
        let line = self.line(command, arguments)?;
        match &self.confirmation {
            Confirmation::Joined { overlapped, .. } => {
                let entry = self.send_and_hear(&line, overlapped).await?;
                self.hold_against(&line, &entry).await
            }
            Confirmation::Apart { error, .. } => {
                self.plain(&line, Some(command)).await?;
                self.check_apart(&line, error.as_deref()).await
            }
        }
    }

    /// Sends a line that is written out in the profile, such as one that makes
    /// safe, and awaits its end like [`Session::act`].
    ///
    /// # Errors
    /// As for [`Session::act`].
    pub async fn order(&self, line: &str) -> Result<(), InstrumentError> {
        // What the profile says of a command holds for its line here as well.
        let mut commands = self.profile.commands.keys();
        let same = |name: &&String| {
            let own = self.profile.line(name, &[]);
            own.and_then(Result::ok).as_deref() == Some(line)
        };
        let command = commands.find(same).map(String::as_str);
        self.confirmed(line, command).await
    }

    /// Asks for a line.
    ///
    /// # Errors
    /// An [`InstrumentError`], after one more try where that is safe.
    pub async fn ask(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
    ) -> Result<String, InstrumentError> {
        let line = self.line(command, arguments)?;
        let (expect, about) = self.expected(command);
        let answer = self.repeated(&line, expect, about).await?;
        Ok(text_of(expect, &answer))
    }

    /// Asks a question that the profile states beside its commands, such as for a
    /// scale of a waveform.
    ///
    /// # Errors
    /// As for [`Session::ask`].
    pub(super) async fn ask_by(
        &self,
        query: &Template,
        arguments: &[(&str, Argument<'_>)],
    ) -> Result<String, InstrumentError> {
        let role = self.role;
        let line = self.profile.filled(query, "", arguments);
        let line = line.map_err(|fault| InstrumentError::Fill { role, fault })?;
        let answer = self.repeated(&line, Expect::Line, 0).await?;
        Ok(text_of(Expect::Line, &answer))
    }

    /// The form in which `command` is answered, and about how many bytes that takes
    /// beside an ordinary line.
    fn expected(&self, command: &str) -> (Expect, usize) {
        let reply = self.profile.replies.get(command);
        match reply.and_then(|reply| reply.bytes) {
            Some(count) => (Expect::Bytes(count), count),
            None => (Expect::Line, 0),
        }
    }

    /// Asks for an answer of about `bytes` bytes, once more where that is safe.
    async fn repeated(
        &self,
        line: &str,
        expect: Expect,
        bytes: usize,
    ) -> Result<Vec<u8>, InstrumentError> {
        let mut tries = 0;
        loop {
            match self.port.ask(line, Effect::Asks, expect, bytes).await {
                Ok(answer) => return Ok(answer),
                Err(error) if error.retry_is_safe() && tries < REPEATS => tries += 1,
                Err(error) => return Err(self.link_fault(error)),
            }
        }
    }

    /// Asks for a number.
    ///
    /// # Errors
    /// As for [`Session::ask`], and when the answer is none.
    pub async fn number(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
    ) -> Result<Reading, InstrumentError> {
        let answer = self.ask(command, arguments).await?;
        let read = answer::number(&self.profile, command, &answer);
        read.map_err(|fault| self.answer_fault(command, fault))
    }

    /// Asks for a number and adds what the profile says of its accuracy.
    ///
    /// # Errors
    /// As for [`Session::number`].
    pub async fn measure(&self, command: &'static str) -> Result<Measured, InstrumentError> {
        let reading = self.number(command, &[]).await?;
        let value = reading.value().unwrap_or(0.0);
        let accuracy = self.profile.accuracy.get(command);
        let full_scale = self.profile.full_scale(command);
        let u = accuracy.map_or(0.0, |accuracy| reading_u(accuracy, value, full_scale));
        Ok(Measured { reading, u })
    }

    /// Asks for a truth value of a channel.
    ///
    /// # Errors
    /// As for [`Session::ask`], and when the answer is none.
    pub async fn truth(
        &self,
        command: &'static str,
        channel: u32,
    ) -> Result<bool, InstrumentError> {
        let arguments = [("channel", Argument::Integer(channel.into()))];
        let answer = self.ask(command, &arguments).await?;
        let read = answer::truth(&self.profile, command, &answer, channel);
        read.map_err(|fault| self.answer_fault(command, fault))
    }

    /// Asks for a status register.
    ///
    /// # Errors
    /// As for [`Session::number`].
    pub async fn bits(&self, command: &'static str) -> Result<u32, InstrumentError> {
        let reading = self.number(command, &[]).await?;
        match reading.value() {
            // SCPI registers have sixteen bits.
            Some(value) if (0.0..65_536.0).contains(&value) && value.fract() == 0.0 => {
                Ok(value as u32)
            }
            _ => {
                let fault = unexpected("a status register", &format!("{reading:?}"));
                Err(self.answer_fault(command, fault))
            }
        }
    }

    /// Asks for a definite-length block of about `bytes` bytes.
    ///
    /// # Errors
    /// As for [`Session::ask`].
    pub async fn block(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
        bytes: usize,
    ) -> Result<Vec<u8>, InstrumentError> {
        let line = self.line(command, arguments)?;
        self.repeated(&line, Expect::Block, bytes).await
    }

    /// Asks for a line of about `bytes` bytes.
    ///
    /// # Errors
    /// As for [`Session::ask`].
    pub(super) async fn long_line(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
        bytes: usize,
    ) -> Result<String, InstrumentError> {
        let line = self.line(command, arguments)?;
        let answer = self.repeated(&line, Expect::Line, bytes).await?;
        Ok(text_of(Expect::Line, &answer))
    }

    /// An error about what the instrument or its wiring cannot do.
    pub(super) fn reach(&self, what: impl Into<String>) -> InstrumentError {
        InstrumentError::Reach {
            role: self.role,
            what: what.into(),
        }
    }

    /// An error about data that contradict each other.
    pub(super) fn data(&self, what: impl Into<String>) -> InstrumentError {
        InstrumentError::Data {
            role: self.role,
            what: what.into(),
        }
    }

    /// An answer in a form that its question never has: it may be another
    /// question's, so the port is put in doubt.
    pub(super) fn answer_fault(&self, command: &str, fault: ReplyFault) -> InstrumentError {
        self.port.doubt();
        let number = self.profile.written_at.get(command);
        let text = self.profile.command(command);
        let line = number.zip(text);
        InstrumentError::Answer {
            role: self.role,
            command: template::shown(command),
            line: line.map(|(number, text)| (*number, template::shown(text.source()))),
            fault,
        }
    }

    fn link_fault(&self, error: LinkError) -> InstrumentError {
        InstrumentError::Link {
            role: self.role,
            error,
        }
    }

    async fn confirmed(&self, line: &str, command: Option<&str>) -> Result<(), InstrumentError> {
        match &self.confirmation {
            Confirmation::Joined { sequential, .. } => {
                let answer = self.send_and_hear(line, sequential).await?;
                let (done, entry) = answer.split_once(';').unwrap_or((&answer, ""));
                if done.trim() != "1" {
                    let fault = unexpected("1 for completion", done);
                    return Err(self.answer_fault(line, fault));
                }
                self.hold_against(line, entry).await
            }
            Confirmation::Apart { complete, error } => {
                self.plain(line, command).await?;
                if let Some(complete) = complete {
                    self.await_completion(line, complete).await?;
                }
                let completion = &self.profile.completion;
                let own = command.and_then(|command| completion.waits.get(command));
                if let Some(wait) = own.or(completion.wait.as_ref()) {
                    tokio::time::sleep(duration(*wait)).await;
                }
                self.check_apart(line, error.as_deref()).await
            }
        }
    }

    /// Asks whether the action is over, as often as the profile says.
    async fn await_completion(&self, line: &str, complete: &str) -> Result<(), InstrumentError> {
        let completion = &self.profile.completion;
        let (every, within) = completion.polls.unwrap_or((Seconds::ZERO, Seconds::ZERO));
        let (expect, bytes) = self.expected("complete");
        let begun = tokio::time::Instant::now();
        loop {
            let answer = self.port.ask(complete, Effect::Acts, expect, bytes).await;
            let answer = text_of(expect, &answer.map_err(|error| self.link_fault(error))?);
            if answer.trim() == completion.answer {
                return Ok(());
            }
            if completion.polls.is_none() {
                let fault = ReplyFault::Unexpected {
                    expected: "the profile's answer for completion",
                    shown: format!("'{}'", template::shown(&answer)),
                };
                return Err(self.answer_fault(line, fault));
            }
            if begun.elapsed() >= duration(within) {
                return Err(InstrumentError::NotOver {
                    role: self.role,
                    command: template::shown(line),
                    seconds: within.si().to_string(),
                    answer: template::shown(&answer),
                });
            }
            tokio::time::sleep(duration(every).max(SHORTEST_POLL)).await;
        }
    }

    /// Where there is no error queue and the setting can be asked for, whether it is
    /// what was sent.
    async fn read_back(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
    ) -> Result<(), InstrumentError> {
        let query = read_back_by(command).filter(|query| {
            let asks = self.profile.command(query).is_some();
            asks && self.profile.command("error").is_none()
        });
        let (Some(query), [(name, value)]) = (query, arguments) else {
            return Ok(());
        };
        let sent = match value {
            Argument::Number(value) => *value,
            // Counts are far below 2^53.
            Argument::Integer(value) => *value as f64,
            Argument::Text(_) | Argument::Bytes(_) => return Ok(()),
        };
        let form = self.profile.forms.get(command);
        let form = form.and_then(|forms| forms.get(*name));
        let sent = form.and_then(|form| form.set_for(sent)).unwrap_or(sent);
        let step = form.map_or(0.0, |form| form.half_step());
        let read = self.number(query, &[]).await?;
        let near = |read: f64| (read - sent).abs() <= step + sent.abs() * KEPT_WITHIN + 1e-9;
        if read.value().is_some_and(near) {
            return Ok(());
        }
        Err(InstrumentError::ReadsBack {
            role: self.role,
            command: command.to_owned(),
            sent: sent.to_string(),
            read: read
                .value()
                .map_or("no number".to_owned(), |v| v.to_string()),
        })
    }

    fn line(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
    ) -> Result<String, InstrumentError> {
        let role = self.role;
        let filled = self.profile.line(command, arguments);
        filled
            .ok_or(InstrumentError::Lacks { role, command })?
            .map_err(|fault| InstrumentError::Fill { role, fault })
    }

    async fn send_and_hear(&self, line: &str, behind: &str) -> Result<String, InstrumentError> {
        let mut whole = String::with_capacity(line.len() + behind.len());
        whole.push_str(line);
        whole.push_str(behind);
        self.acting_query(&whole).await
    }

    async fn acting_query(&self, line: &str) -> Result<String, InstrumentError> {
        let answer = self.port.query(line, Effect::Acts).await;
        answer.map_err(|error| self.link_fault(error))
    }

    /// Sends a line that asks nothing, and hears what the profile says that it is
    /// answered with all the same.
    async fn plain(&self, line: &str, command: Option<&str>) -> Result<(), InstrumentError> {
        let reply = command.and_then(|command| self.profile.replies.get(command));
        let own = reply.and_then(|reply| reply.acknowledgement.as_ref());
        let expected = own.or(self.profile.line.acknowledgement.as_ref());
        let Some(expected) = expected.filter(|text| !text.is_empty()) else {
            let sent = self.port.send(line, Effect::Acts).await;
            return sent.map_err(|error| self.link_fault(error));
        };
        let expect = if self.profile.line.ending.is_empty() {
            Expect::Bytes(expected.chars().count())
        } else {
            Expect::Line
        };
        let answer = self.port.ask(line, Effect::Acts, expect, 0).await;
        let answer = answer.map_err(|error| self.link_fault(error))?;
        if template::bytes(expected) == answer.trim_ascii() || template::bytes(expected) == answer {
            return Ok(());
        }
        Err(InstrumentError::NotTaken {
            role: self.role,
            command: template::shown(line),
            answer: template::shown(&template::line_of(&answer)),
            expected: template::shown(expected),
        })
    }

    async fn check_apart(&self, line: &str, error: Option<&str>) -> Result<(), InstrumentError> {
        match error {
            None => Ok(()),
            Some(query) => {
                let entry = self.acting_query(query).await?;
                self.hold_against(line, &entry).await
            }
        }
    }

    /// An answer for which the profile has its own words: nought is no error.
    fn hold_against_number(&self, line: &str, entry: &str) -> Result<(), InstrumentError> {
        let read = answer::number(&self.profile, "error", entry);
        let read = read.map_err(|fault| self.answer_fault("error", fault))?;
        if read.value() == Some(0.0) {
            return Ok(());
        }
        let code = read.value().unwrap_or(f64::from(i32::MAX));
        Err(InstrumentError::Refused {
            role: self.role,
            command: template::shown(line),
            entries: vec![DeviceError {
                // A cast saturates.
                code: code as i32,
                text: template::shown(entry.trim()),
            }],
        })
    }

    /// Reads the error queue to its end when its first entry is an error.
    async fn hold_against(&self, line: &str, entry: &str) -> Result<(), InstrumentError> {
        if self.profile.replies.contains_key("error") {
            return self.hold_against_number(line, entry);
        }
        let read = |text: &str| {
            protocol::error_entry(text.as_bytes()).map_err(|fault| self.answer_fault(line, fault))
        };
        let mut next = read(entry)?;
        let mut entries: Vec<DeviceError> = Vec::new();
        while !next.is_none() && entries.len() < MOST_ERRORS {
            entries.push(next);
            next = read(&self.ask("error", &[]).await?)?;
        }
        if entries.is_empty() {
            return Ok(());
        }
        Err(InstrumentError::Refused {
            role: self.role,
            command: line.to_owned(),
            entries,
        })
    }
}

/// The text of an answer; of bytes, a character each.
fn text_of(expect: Expect, answer: &[u8]) -> String {
    match expect {
        Expect::Bytes(_) => template::line_of(answer),
        // The port has checked it.
        Expect::Line | Expect::Block => String::from_utf8_lossy(answer).into_owned(),
    }
}

fn duration(time: Seconds) -> Duration {
    Duration::try_from_secs_f64(time.si()).unwrap_or_default()
}

/// Standard uncertainty of a reading: a rectangle as wide as the stated
/// accuracy (GUM 4.3.7) and the resolution's.
fn reading_u(accuracy: &Accuracy, value: f64, full_scale: Option<f64>) -> f64 {
    let of_range = accuracy.fixed_of_range.si() * full_scale.unwrap_or(0.0);
    let half_width = accuracy.reading.si() * value.abs() + accuracy.fixed + of_range;
    combined([rectangular(half_width), resolution(accuracy.resolution)])
}

fn unexpected(expected: &'static str, found: &str) -> ReplyFault {
    let shown = format!("'{}'", found.escape_debug());
    ReplyFault::Unexpected { expected, shown }
}
