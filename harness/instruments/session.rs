//! One instrument on its port: actions with their confirmation, questions with
//! their answer, errors read to the last. It knows command names, not what
//! they do.

use super::answer;
use super::fault::InstrumentError;
use crate::ident::Role;
use crate::link::{Effect, LinkError, Port};
use crate::measurement::{Estimate, combined, rectangular, resolution};
use crate::profile::{Accuracy, Profile};
use crate::protocol::{self, DeviceError, Reading, ReplyFault};
use crate::template::{Argument, Template};
use std::sync::Arc;

/// The most errors read after one action; SCPI-1999 asks for at least two
/// places, instruments keep ten to thirty-two.
const MOST_ERRORS: usize = 32;

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
        let source = |name: &str| profile.command(name).map(|t| t.source().to_owned());
        let (complete, error) = (source("complete"), source("error"));
        // Common commands keep the path of the header before; the error query
        // goes back to the root by its leading colon (SCPI-1999 6.2.4).
        let confirmation = match (&complete, &error) {
            (Some(complete), Some(error))
                if complete.starts_with('*') && error.starts_with(|c: char| c.is_alphabetic()) =>
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
        self.confirmed(&line).await
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
                self.plain(&line).await?;
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
        self.confirmed(line).await
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
        let mut tries = 0;
        loop {
            match self.port.query(&line, Effect::Asks).await {
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

    /// Asks for a truth value.
    ///
    /// # Errors
    /// As for [`Session::ask`], and when the answer is none.
    pub async fn truth(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
    ) -> Result<bool, InstrumentError> {
        let answer = self.ask(command, arguments).await?;
        let read = answer::truth(&self.profile, command, &answer);
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
        let mut tries = 0;
        loop {
            match self.port.query_block(&line, bytes).await {
                Ok(data) => return Ok(data),
                Err(error) if error.retry_is_safe() && tries < REPEATS => tries += 1,
                Err(error) => return Err(self.link_fault(error)),
            }
        }
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
        InstrumentError::Answer {
            role: self.role,
            command: command.to_owned(),
            fault,
        }
    }

    fn link_fault(&self, error: LinkError) -> InstrumentError {
        InstrumentError::Link {
            role: self.role,
            error,
        }
    }

    async fn confirmed(&self, line: &str) -> Result<(), InstrumentError> {
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
                self.plain(line).await?;
                if let Some(complete) = complete {
                    let done = self.acting_query(complete).await?;
                    if done.trim() != "1" {
                        let fault = unexpected("1 for completion", &done);
                        return Err(self.answer_fault(line, fault));
                    }
                }
                self.check_apart(line, error.as_deref()).await
            }
        }
    }

    fn line(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
    ) -> Result<String, InstrumentError> {
        let role = self.role;
        let template: &Template = self
            .profile
            .command(command)
            .ok_or(InstrumentError::Lacks { role, command })?;
        template
            .fill(arguments)
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

    async fn plain(&self, line: &str) -> Result<(), InstrumentError> {
        let sent = self.port.send(line, Effect::Acts).await;
        sent.map_err(|error| self.link_fault(error))
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

    /// Reads the error queue to its end when its first entry is an error.
    async fn hold_against(&self, line: &str, entry: &str) -> Result<(), InstrumentError> {
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

/// Standard uncertainty of a reading: a rectangle as wide as the stated
/// accuracy (GUM 4.3.7) and the resolution's.
fn reading_u(accuracy: &Accuracy, value: f64, full_scale: Option<f64>) -> f64 {
    use crate::units::Quantity as _;
    let of_range = accuracy.fixed_of_range.si() * full_scale.unwrap_or(0.0);
    let half_width = accuracy.reading.si() * value.abs() + accuracy.fixed + of_range;
    combined([rectangular(half_width), resolution(accuracy.resolution)])
}

fn unexpected(expected: &'static str, found: &str) -> ReplyFault {
    let shown = format!("'{}'", found.escape_debug());
    ReplyFault::Unexpected { expected, shown }
}
