//! Whose demands on the signal are in force. It judges nothing.

use crate::track::{BitRules, POWER_STATION, RECEIVER};
use serde::Serialize;

/// Where the signal was captured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Audience {
    /// At a power station's output.
    Station,
    /// At a decoder's input.
    Receiver,
}

impl Audience {
    /// The limits of bit timing there.
    pub const fn rules(self) -> &'static BitRules {
        match self {
            Self::Station => &POWER_STATION,
            Self::Receiver => &RECEIVER,
        }
    }
}
