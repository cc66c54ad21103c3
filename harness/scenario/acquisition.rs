//! A capture as a scenario asks for it: how finely, how long, what starts it and
//! what it sees. It knows no device.

use crate::units::Seconds;
use crate::waveform::{LogicLine, Signal};

/// What starts a capture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trigger {
    /// An edge on a logic line.
    Line {
        /// The line.
        line: LogicLine,
        /// Upwards or downwards.
        rising: bool,
    },
    /// A signal crossing a level.
    Channel {
        /// The signal.
        signal: Signal,
        /// The level, in SI units of the signal.
        level: f64,
        /// Upwards or downwards.
        rising: bool,
    },
    /// At once.
    Now,
}

/// One channel of a capture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelRequest {
    /// What it measures.
    pub signal: Signal,
    /// Largest magnitude to be seen, in SI units.
    pub range: f64,
}

/// A capture to take.
#[derive(Clone, Debug, PartialEq)]
pub struct CaptureRequest {
    /// Time between samples.
    pub period: Seconds,
    /// Samples in all.
    pub length: u32,
    /// Samples of these before the trigger.
    pub before_trigger: u32,
    /// What starts it.
    pub trigger: Trigger,
    /// The channels; every one is read out.
    pub channels: Vec<ChannelRequest>,
    /// Whether the logic lines are read out as well.
    pub lines: bool,
}

impl CaptureRequest {
    /// The time from the trigger to the last sample.
    pub fn after_trigger(&self) -> Seconds {
        self.period * f64::from(self.length.saturating_sub(self.before_trigger))
    }

    /// The time before the trigger.
    pub fn before(&self) -> Seconds {
        self.period * f64::from(self.before_trigger)
    }
}

/// Which part of time a capture covers, and how finely.
#[derive(Clone, Copy, Debug)]
pub struct Window {
    /// Time between samples.
    pub period: Seconds,
    /// Before the trigger.
    pub before: Seconds,
    /// After it.
    pub after: Seconds,
}
