//! How an action is known to have been taken and to be over: by the error queue and a
//! question, by an acknowledgement, by a stated time, or by reading a setting back. It
//! knows no command's meaning.

use super::answer;
use super::fault::InstrumentError;
use super::session::{Session, text_of, unexpected};
use crate::link::Effect;
use crate::profile::{Profile, read_back_by};
use crate::protocol::{self, DeviceError, Expect, Reading, ReplyFault};
use crate::template::{self, Argument};
use crate::units::{Quantity as _, Seconds};
use std::time::Duration;

/// The most errors read after one action; SCPI-1999 asks for at least two
/// places, instruments keep ten to thirty-two.
const MOST_ERRORS: usize = 32;

/// The shortest time between two questions whether an action is over.
const SHORTEST_POLL: Duration = Duration::from_millis(1);

/// A setting reads back within this part of itself (a house value: instruments that
/// keep three digits are the coarsest).
pub(super) const KEPT_WITHIN: f64 = 1e-3;

/// How actions are confirmed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Confirmation {
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

impl Confirmation {
    /// The one that a profile asks for.
    pub(super) fn of(profile: &Profile) -> Self {
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
        match (&complete, &error) {
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
        }
    }
}

impl Session {
    /// Whether an action that goes on by itself is known to have been taken.
    pub(super) fn confirms_a_start(&self) -> bool {
        let silent = matches!(self.confirmation, Confirmation::Apart { error: None, .. });
        !silent || self.profile.line.acknowledgement.is_some()
    }

    pub(super) async fn confirmed(
        &self,
        line: &str,
        command: Option<&str>,
    ) -> Result<(), InstrumentError> {
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

    /// Whether the setting that `command` made with `arguments` is what the
    /// instrument says that it is, where its profile can ask. An error queue that is
    /// empty says only that nothing was refused.
    pub(super) async fn keeps(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
    ) -> Result<(), InstrumentError> {
        let asks = |query: &str| self.profile.command(query).is_some();
        if !read_back_by(command).is_some_and(asks) {
            return Ok(());
        }
        self.kept_setting(command, arguments).await.map(drop)
    }

    /// Asks for the setting that `command` made with `arguments`, which must be what
    /// was sent.
    pub(super) async fn kept_setting(
        &self,
        command: &'static str,
        arguments: &[(&str, Argument<'_>)],
    ) -> Result<Reading, InstrumentError> {
        let role = self.role;
        let query = read_back_by(command).ok_or(InstrumentError::Lacks { role, command })?;
        let read = self.number(query, &[]).await?;
        let [(name, value)] = arguments else {
            return Ok(read);
        };
        let sent = match value {
            Argument::Number(value) => *value,
            // Counts are far below 2^53.
            Argument::Integer(value) => *value as f64,
            Argument::Text(_) | Argument::Bytes(_) => return Ok(read),
        };
        self.same(command, (name, sent), read.value())?;
        Ok(read)
    }

    /// Whether `read` is what `command` was sent as its argument `name`, as its form
    /// writes it.
    pub(super) fn same(
        &self,
        command: &'static str,
        (name, sent): (&str, f64),
        read: Option<f64>,
    ) -> Result<(), InstrumentError> {
        let form = self.profile.forms.get(command);
        let form = form.and_then(|forms| forms.get(name));
        let sent = form.and_then(|form| form.set_for(sent)).unwrap_or(sent);
        let step = form.map_or(0.0, |form| form.half_step(sent));
        let near = |read: f64| (read - sent).abs() <= step + sent.abs() * KEPT_WITHIN + 1e-9;
        if read.is_some_and(near) {
            return Ok(());
        }
        Err(InstrumentError::ReadsBack {
            role: self.role,
            command: command.to_owned(),
            sent: sent.to_string(),
            read: read.map_or("no number".to_owned(), |v| v.to_string()),
        })
    }

    pub(super) async fn send_and_hear(
        &self,
        line: &str,
        behind: &str,
    ) -> Result<String, InstrumentError> {
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
    pub(super) async fn plain(
        &self,
        line: &str,
        command: Option<&str>,
    ) -> Result<(), InstrumentError> {
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

    pub(super) async fn check_apart(
        &self,
        line: &str,
        error: Option<&str>,
    ) -> Result<(), InstrumentError> {
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
    pub(super) async fn hold_against(
        &self,
        line: &str,
        entry: &str,
    ) -> Result<(), InstrumentError> {
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

fn duration(time: Seconds) -> Duration {
    Duration::try_from_secs_f64(time.si()).unwrap_or_default()
}
