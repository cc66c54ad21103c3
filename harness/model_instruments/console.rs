//! The model board's own console as it remembers: who it is, what it did not
//! understand, how often it looked. It answers nothing: see `console_panel`.

use super::settings::WorldSettings;
use crate::protocol::ErrorQueue;

/// What the board says it is, and the console's memory: lines it did not understand, and how often it looked
/// at its converter.
#[derive(Clone, Debug)]
pub(super) struct Console {
    pub(super) identity: String,
    pub(super) errors: ErrorQueue,
    pub(super) noise: f64,
    pub(super) readings: u64,
}

impl Console {
    pub(super) fn new(settings: &WorldSettings) -> Self {
        Self {
            identity: settings.identity.clone(),
            errors: ErrorQueue::default(),
            noise: settings.converter_noise,
            readings: 0,
        }
    }
}
