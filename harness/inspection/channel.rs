//! How an analogue channel lies: in a run's record, which says how far it can be
//! trusted, or in a file, which does not. It reads no sample.

use super::trip::{Trip, trip};
use super::voltage::Analogue;
use crate::track::Scale;
use crate::units::Quantity;
use crate::waveform::{Capture, Channel, ChannelAccuracy, Signal, Trace};

/// A file does not say how far its scale can be trusted.
const UNKNOWN: ChannelAccuracy = ChannelAccuracy {
    gain_u: 0.0,
    offset_u: 0.0,
};

impl Analogue {
    /// A channel of a capture, as it was recorded.
    pub fn recorded(capture: &Capture, channel: &Channel) -> Self {
        Self {
            period: capture.period.si(),
            scale: Scale::of(channel),
            codes: Some((f64::from(i16::MIN), f64::from(i16::MAX))),
            first: capture.first.si(),
            samples: capture.len() as u64,
            accuracy: channel.accuracy,
            time_base_u: capture.time_base_u,
        }
    }

    /// Volts as a table writes them: the first instant and the time between rows
    /// in seconds, the number of rows.
    pub const fn of_table(first: f64, period: f64, samples: u64) -> Self {
        Self {
            period,
            scale: Scale::VOLTS,
            codes: None,
            first,
            samples,
            accuracy: UNKNOWN,
            time_base_u: 0.0,
        }
    }

    /// Numbers that are `gain * number + offset` volts, `step` numbers apart at the
    /// finest, between `codes` where these end.
    pub const fn of_array(
        period: f64,
        (gain, offset, step): (f64, f64, f64),
        codes: Option<(f64, f64)>,
        samples: u64,
    ) -> Self {
        Self {
            period,
            scale: Scale { gain, offset, step },
            codes,
            first: 0.0,
            samples,
            accuracy: UNKNOWN,
            time_base_u: 0.0,
        }
    }
}

/// What the current `signal` of a recorded capture did from `onset` amperes on.
pub fn recorded_trip(capture: &Capture, signal: Signal, onset: f64) -> Trip {
    trip(Trace::of(capture, signal), onset, true)
}
