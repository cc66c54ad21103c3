//! The board's own serial console: what it says of its current and state. It
//! takes no orders here.

use super::fault::InstrumentError;
use super::session::Session;
use crate::protocol::Reading;

/// The board's console.
#[derive(Clone, Copy, Debug)]
pub struct Console<'a> {
    session: &'a Session,
}

impl<'a> Console<'a> {
    /// The console behind `session`.
    pub const fn new(session: &'a Session) -> Self {
        Self { session }
    }

    /// Counts of the board's own current sensor.
    pub async fn sense(&self) -> Result<Reading, InstrumentError> {
        self.session.number("sense", &[]).await
    }

    /// The state in the board's own words.
    pub async fn state(&self) -> Result<String, InstrumentError> {
        self.session.ask("state", &[]).await
    }
}
