//! The switch that closes the short, the bus and the section gap for a time
//! that it keeps by itself.

use super::fault::InstrumentError;
use super::session::Session;
use crate::template::Argument;
use crate::units::{Quantity, Seconds};

/// A switch card.
#[derive(Clone, Copy, Debug)]
pub struct Switch<'a> {
    session: &'a Session,
}

impl<'a> Switch<'a> {
    /// The switch behind `session`.
    pub const fn new(session: &'a Session) -> Self {
        Self { session }
    }

    /// Closes `channel` for `duration`. Called by the bench on a permit only.
    pub(crate) async fn pulse(
        &self,
        channel: u32,
        duration: Seconds,
    ) -> Result<(), InstrumentError> {
        let arguments = [
            ("channel", Argument::Integer(channel.into())),
            ("seconds", Argument::Number(duration.si())),
        ];
        self.session.start("pulse", &arguments).await
    }

    /// Opens `channel`.
    pub async fn open(&self, channel: u32) -> Result<(), InstrumentError> {
        let channel = [("channel", Argument::Integer(channel.into()))];
        self.session.act("open", &channel).await
    }

    /// Opens every channel.
    pub async fn open_all(&self) -> Result<(), InstrumentError> {
        self.session.act("open_all", &[]).await
    }

    /// Whether a timed closure is running.
    pub async fn running(&self) -> Result<bool, InstrumentError> {
        self.session.running().await
    }

    /// Whether the switch takes `channel` for closed.
    pub async fn closed(&self, channel: u32) -> Result<bool, InstrumentError> {
        self.session.truth("closed", channel).await
    }

    /// Whether the channel's fuse conducts; `None` where the switch cannot
    /// tell.
    pub async fn continuity(&self, channel: u32) -> Result<Option<bool>, InstrumentError> {
        if self.session.profile().command("continuity").is_none() {
            return Ok(None);
        }
        self.session.truth("continuity", channel).await.map(Some)
    }
}
