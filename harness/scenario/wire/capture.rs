//! What most scenarios see: captures, how the output was driven, a reading.
//! A capture is checked as soon as it is read.

use super::form::{Format1, WireFault, fields, numbered};
use crate::measurement::Estimate;
use crate::scenario::take::{Proof, Take};
use crate::scenario::terms::Polarity;
use crate::units::Seconds;
use crate::waveform::{Capture, Channel, ChannelAccuracy, LogicLine, LogicTrack, Signal};

fields! { Take {
    capture: Capture,
    pulse: Seconds,
    load_protected: bool,
    supply_protected: bool,
    fuse_intact: Option<bool>,
    proof: Proof,
} }

impl Format1 for Capture {
    fn put(&self, bytes: &mut Vec<u8>) {
        let Self {
            label,
            period,
            first,
            time_base_u,
            channels,
            lines,
        } = self;
        label.put(bytes);
        period.put(bytes);
        first.put(bytes);
        time_base_u.put(bytes);
        channels.put(bytes);
        lines.put(bytes);
    }

    fn take(bytes: &mut &[u8]) -> Result<Self, WireFault> {
        let capture = Self {
            label: String::take(bytes)?,
            period: Seconds::take(bytes)?,
            first: Seconds::take(bytes)?,
            time_base_u: f64::take(bytes)?,
            channels: Vec::<Channel>::take(bytes)?,
            lines: Vec::<LogicTrack>::take(bytes)?,
        };
        Ok(capture.checked()?)
    }
}

fields! { Channel {
    signal: Signal,
    codes: Vec<i16>,
    scale: f64,
    offset: f64,
    clipped: bool,
    accuracy: ChannelAccuracy,
} }

fields! { ChannelAccuracy {
    gain_u: f64,
    offset_u: f64,
} }

fields! { LogicTrack {
    line: LogicLine,
    initial: bool,
    changes: Vec<u32>,
} }

fields! { Estimate {
    value: f64,
    u: f64,
} }

numbered! { Signal, "signal" {
    0 = NodeVoltage,
    1 = OutputCurrent,
    2 = BoardSupply,
    3 = GapCurrent,
    4 = UpstreamVoltage,
} }

numbered! { LogicLine, "logic line" {
    0 = SignalA,
    1 = SignalB,
    2 = Fault,
    3 = NearMarker,
    4 = FarMarker,
    5 = GapMarker,
    6 = NearPilot,
    7 = FarPilot,
} }

numbered! { Proof, "proof" {
    0 = None,
    1 = Marker,
    2 = SecondPole,
    3 = PilotCurrent,
    4 = Load,
} }

numbered! { Polarity, "drive" {
    0 = Positive,
    1 = Negative,
    2 = Alternating,
} }
