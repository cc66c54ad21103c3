//! The signal source on the board's inputs: track signal, held polarity, and
//! the enable and brake lines.

use super::fault::InstrumentError;
use super::session::Session;
use crate::template::Argument;

use crate::scenario::session::InputLine;

/// A track signal source.
#[derive(Clone, Copy, Debug)]
pub struct Drive<'a> {
    session: &'a Session,
}

impl<'a> Drive<'a> {
    /// The source behind `session`.
    pub const fn new(session: &'a Session) -> Self {
        Self { session }
    }

    /// Repeats `pattern`, a word that the source knows.
    pub async fn pattern(&self, pattern: &str) -> Result<(), InstrumentError> {
        let pattern = [("pattern", Argument::Text(pattern))];
        self.session.act("pattern", &pattern).await
    }

    /// Breaks one input line of the board; `None` mends it.
    pub async fn break_line(&self, line: Option<InputLine>) -> Result<(), InstrumentError> {
        let word = match line {
            None => "NONE",
            Some(InputLine::A) => "A",
            Some(InputLine::B) => "B",
        };
        let line = [("input", Argument::Text(word))];
        self.session.act("break_line", &line).await
    }

    /// Holds the output in one polarity.
    pub async fn hold(&self, positive: bool) -> Result<(), InstrumentError> {
        let word = if positive { "POS" } else { "NEG" };
        let polarity = [("polarity", Argument::Text(word))];
        self.session.act("hold", &polarity).await
    }

    /// Lets the signal through.
    pub async fn signal_on(&self) -> Result<(), InstrumentError> {
        self.session.act("signal_on", &[]).await
    }

    /// Stops the signal.
    pub async fn signal_off(&self) -> Result<(), InstrumentError> {
        self.session.act("signal_off", &[]).await
    }

    /// Drives the enable line.
    pub async fn enable(&self, on: bool) -> Result<(), InstrumentError> {
        let state = [("state", Argument::Integer(on.into()))];
        self.session.act("set_enable", &state).await
    }

    /// Whether it says that the board is enabled, where its profile can ask.
    pub(crate) async fn enable_setting(&self) -> Result<Option<bool>, InstrumentError> {
        self.setting("enable_setting").await
    }

    /// Whether it says that the signal is let through, likewise.
    pub(crate) async fn signal_setting(&self) -> Result<Option<bool>, InstrumentError> {
        self.setting("signal_setting").await
    }

    async fn setting(&self, command: &'static str) -> Result<Option<bool>, InstrumentError> {
        if self.session.profile().command(command).is_none() {
            return Ok(None);
        }
        self.session.truth(command, 0).await.map(Some)
    }

    /// Drives the brake line.
    pub async fn brake(&self, on: bool) -> Result<(), InstrumentError> {
        let state = [("state", Argument::Integer(on.into()))];
        self.session.act("set_brake", &state).await
    }
}
