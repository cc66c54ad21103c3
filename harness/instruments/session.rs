//! One instrument on its port: actions with their confirmation, questions with
//! their answer, errors read to the last. It knows command names, not what
//! they do.

use super::answer;
use super::confirmation::Confirmation;
use super::fault::InstrumentError;
use crate::ident::Role;
use crate::link::{Effect, LinkError, Port};
use crate::measurement::{Estimate, combined, rectangular, resolution};
use crate::profile::{Accuracy, Profile};
use crate::protocol::{Expect, Reading, ReplyFault};
use crate::template::{self, Argument, Template};
use std::collections::BTreeMap;
use std::sync::Arc;

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

/// An instrument on its port, driven by its profile.
#[derive(Clone, Debug)]
pub struct Session {
    pub(super) role: Role,
    pub(super) port: Port,
    pub(super) profile: Arc<Profile>,
    pub(super) confirmation: Confirmation,
}

impl Session {
    /// The instrument behind `port`.
    pub fn new(port: Port, profile: Arc<Profile>) -> Self {
        let confirmation = Confirmation::of(&profile);
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
    /// [`InstrumentError::WrongIdentity`] when another instrument answers.
    pub async fn identify(&self) -> Result<String, InstrumentError> {
        let identity = self.ask("identify", &[]).await?;
        if !self.profile.identifies_as.is_match(&identity) {
            return Err(InstrumentError::WrongIdentity {
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
        self.keeps(command, arguments).await
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
    pub(super) fn expected(&self, command: &str) -> (Expect, usize) {
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

    /// Whether what keeps its own time, a pulse or a ramp, is running.
    ///
    /// # Errors
    /// As for [`Session::number`].
    pub async fn running(&self) -> Result<bool, InstrumentError> {
        // Without a word for it nothing goes on by itself.
        if self.profile.command("operation").is_none() {
            return Ok(false);
        }
        let bits = self.bits("operation").await?;
        Ok(has_bit(&self.profile.operation, "running", bits))
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
        let mut block = Vec::new();
        for _ in 0..=REPEATS {
            block = self.repeated(&line, Expect::Block, bytes).await?;
            let Some(check) = &self.profile.waveform.check else {
                return Ok(block);
            };
            if let Some(data) = check.check.strip(block.clone()) {
                return Ok(data);
            }
            self.port.doubt();
        }
        let count = block.len();
        Err(self.data(format!(
            "the checksum of a block is missing or wrong ({count} bytes)"
        )))
    }

    /// Asks for `count` lines of about `bytes` bytes together.
    ///
    /// # Errors
    /// As for [`Session::ask`].
    pub(super) async fn lines(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
        count: usize,
        bytes: usize,
    ) -> Result<Vec<u8>, InstrumentError> {
        let line = self.line(command, arguments)?;
        self.repeated(&line, Expect::Lines(count), bytes).await
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
        InstrumentError::BeyondInstrument {
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

    pub(super) fn link_fault(&self, error: LinkError) -> InstrumentError {
        InstrumentError::Link {
            role: self.role,
            error,
        }
    }

    pub(super) fn line(
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
}

/// Whether the bit that a profile calls `name` is set in `bits`.
pub(super) fn has_bit(weights: &BTreeMap<String, u32>, name: &str, bits: u32) -> bool {
    weights.get(name).is_some_and(|weight| bits & weight != 0)
}

/// The text of an answer; of bytes, a character each.
pub(super) fn text_of(expect: Expect, answer: &[u8]) -> String {
    match expect {
        Expect::Bytes(_) => template::line_of(answer),
        // The port has checked it.
        Expect::Line | Expect::Lines(_) | Expect::Block => {
            String::from_utf8_lossy(answer).into_owned()
        }
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

pub(super) fn unexpected(expected: &'static str, found: &str) -> ReplyFault {
    let shown = format!("'{}'", found.escape_debug());
    ReplyFault::Unexpected { expected, shown }
}
