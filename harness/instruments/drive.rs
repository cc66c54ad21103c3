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

    /// Drives the brake line.
    pub async fn brake(&self, on: bool) -> Result<(), InstrumentError> {
        let state = [("state", Argument::Integer(on.into()))];
        self.session.act("set_brake", &state).await
    }
}
