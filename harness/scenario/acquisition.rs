//! A capture as a scenario asks for it: how finely, how long, what starts it and
//! what it sees. It knows no device.

use crate::units::Seconds;
use crate::waveform::{Capture, LogicLine, Signal, shows_one_code};

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

    /// Whether `capture`, which this asked for, can have been triggered as asked: a
    /// channel that crossed a level within it does not show one code.
    pub fn can_have_come(&self, capture: &Capture) -> bool {
        match self.trigger {
            Trigger::Channel { signal, .. } if self.before_trigger > 0 => {
                !capture.channel(signal).is_some_and(shows_one_code)
            }
            _ => true,
        }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::seed::Seed;
    use crate::waveform::synthetic::{Flaws, Sampling};

    /// A channel that crossed a level has a sample on either side of it.
    #[test]
    fn what_triggered_a_capture_is_in_it() {
        const SAMPLING: Sampling = Sampling {
            first: -1e-3,
            period: 2e-6,
            count: 1000,
        };
        let flaws = Flaws {
            range: 40.0,
            noise: 0.0,
            gain_u: 0.0,
            offset_u: 0.0,
        };
        let mut chance = Seed(1).stream(&[1]);
        let signal = Signal::NodeVoltage;
        let mut rises = SAMPLING.capture();
        rises.channels =
            vec![SAMPLING.channel(
                signal,
                flaws,
                &mut chance,
                |t| {
                    if t < 0.0 { 0.0 } else { 18.0 }
                },
            )];
        let mut stands = rises.clone();
        stands.channels[0].codes.fill(0);
        let request = |before_trigger, trigger| CaptureRequest {
            period: Seconds::new(2e-6),
            length: 1000,
            before_trigger,
            trigger,
            channels: Vec::new(),
            lines: false,
        };
        let crossing = Trigger::Channel {
            signal,
            level: 4.5,
            rising: true,
        };
        assert!(request(500, crossing).can_have_come(&rises));
        assert!(!request(500, crossing).can_have_come(&stands));
        // From the crossing on it may stand.
        assert!(request(0, crossing).can_have_come(&stands));
        assert!(request(500, Trigger::Now).can_have_come(&stands));
    }
}
