//! A capture: several channels and logic lines sampled together, kept as the
//! codes that the instrument sent so that nothing is lost by storing them.

use crate::units::{Dimension, Quantity, Seconds};
use serde::{Deserialize, Serialize};
use std::fmt;

/// What an analogue channel measures on the node.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Signal {
    /// Rail-to-rail voltage at the node.
    NodeVoltage,
    /// Current in one output wire of the board.
    OutputCurrent,
    /// The board's supply rail.
    BoardSupply,
    /// Current through the section gap.
    GapCurrent,
    /// Output voltage of the upstream source.
    UpstreamVoltage,
}

impl Signal {
    /// Every signal, in channel order.
    pub const ALL: [Self; 5] = [
        Self::NodeVoltage,
        Self::OutputCurrent,
        Self::BoardSupply,
        Self::GapCurrent,
        Self::UpstreamVoltage,
    ];

    /// The words used in files and on screens.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NodeVoltage => "node voltage",
            Self::OutputCurrent => "output current",
            Self::BoardSupply => "board supply",
            Self::GapCurrent => "gap current",
            Self::UpstreamVoltage => "upstream voltage",
        }
    }

    /// Voltage or current.
    pub const fn dimension(self) -> Dimension {
        match self {
            Self::OutputCurrent | Self::GapCurrent => Dimension::Current,
            Self::NodeVoltage | Self::BoardSupply | Self::UpstreamVoltage => Dimension::Voltage,
        }
    }
}

impl fmt::Display for Signal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.words())
    }
}

/// What a logic line shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LogicLine {
    /// The board's first input line.
    SignalA,
    /// The board's second input line.
    SignalB,
    /// The board's fault output.
    Fault,
    /// Marker of the near short's switch.
    NearMarker,
    /// Marker of the far short's switch.
    FarMarker,
    /// Marker of the gap switch.
    GapMarker,
    /// Pilot current through the near short's contact and fuse.
    NearPilot,
    /// Pilot current through the far short's contact and fuse.
    FarPilot,
}

impl LogicLine {
    /// Every line, in bit order of the shipped capture profile.
    pub const ALL: [Self; 8] = [
        Self::SignalA,
        Self::SignalB,
        Self::Fault,
        Self::NearMarker,
        Self::FarMarker,
        Self::GapMarker,
        Self::NearPilot,
        Self::FarPilot,
    ];

    /// The words used in files and on screens.
    pub const fn words(self) -> &'static str {
        match self {
            Self::SignalA => "signal a",
            Self::SignalB => "signal b",
            Self::Fault => "fault",
            Self::NearMarker => "near marker",
            Self::FarMarker => "far marker",
            Self::GapMarker => "gap marker",
            Self::NearPilot => "near pilot",
            Self::FarPilot => "far pilot",
        }
    }
}

impl fmt::Display for LogicLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.words())
    }
}

/// How far a channel's numbers can be trusted, from the profile and the wiring.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChannelAccuracy {
    /// Relative standard uncertainty of the gain, sensor included.
    pub gain_u: f64,
    /// Standard uncertainty of the offset, in the channel's SI unit.
    pub offset_u: f64,
}

/// One analogue channel: `value = offset + scale * code`, in SI units.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Channel {
    /// What it measures.
    pub signal: Signal,
    /// Samples as the instrument sent them.
    pub codes: Vec<i16>,
    /// SI units per code.
    pub scale: f64,
    /// SI units at code zero.
    pub offset: f64,
    /// Whether a sample reached the end of the range.
    pub clipped: bool,
    /// Trust in the numbers.
    pub accuracy: ChannelAccuracy,
}

/// One logic line as its level at the first sample and the samples at which it
/// changed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LogicTrack {
    /// What it shows.
    pub line: LogicLine,
    /// Level at sample 0.
    pub initial: bool,
    /// Samples that differ from the one before, rising order.
    pub changes: Vec<u32>,
}

impl LogicTrack {
    /// Packs a level per sample.
    pub fn from_levels(line: LogicLine, levels: impl IntoIterator<Item = bool>) -> Self {
        let mut levels = levels.into_iter();
        let initial = levels.next().unwrap_or(false);
        let mut now = initial;
        let mut changes = Vec::new();
        for (index, level) in (1_u32..).zip(levels) {
            if level != now {
                changes.push(index);
                now = level;
            }
        }
        Self {
            line,
            initial,
            changes,
        }
    }

    /// The tracks of `lines`, each with its bit in `words`, a word a sample.
    /// One pass for all, since words that repeat the one before say nothing.
    pub fn from_words(lines: &[(LogicLine, u16)], words: &[u16]) -> Vec<Self> {
        let first = words.first().copied().unwrap_or(0);
        let mut tracks: Vec<Self> = lines
            .iter()
            .map(|&(line, bit)| Self {
                line,
                initial: first & bit != 0,
                changes: Vec::new(),
            })
            .collect();
        for (index, pair) in (1_u32..).zip(words.windows(2)) {
            let flipped = pair[0] ^ pair[1];
            if flipped != 0 {
                for (track, (_, bit)) in tracks.iter_mut().zip(lines) {
                    if flipped & bit != 0 {
                        track.changes.push(index);
                    }
                }
            }
        }
        tracks
    }

    /// The level at sample `index`.
    pub fn level(&self, index: usize) -> bool {
        let flips = self
            .changes
            .partition_point(|&change| change as usize <= index);
        self.initial ^ (flips % 2 == 1)
    }
}

/// Channels and lines sampled together around a trigger.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Capture {
    /// What it was taken for, such as `short near, pulse 1`.
    pub label: String,
    /// Time between samples.
    pub period: Seconds,
    /// Time of sample 0 relative to the trigger, negative before it.
    pub first: Seconds,
    /// Relative standard uncertainty of the time base.
    pub time_base_u: f64,
    /// Analogue channels, all of one length.
    pub channels: Vec<Channel>,
    /// Logic lines.
    pub lines: Vec<LogicTrack>,
}

/// A capture whose parts do not fit together.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CaptureFault {
    /// Channels of different lengths.
    #[error("channel {signal} has {found} samples where others have {wanted}")]
    Lengths {
        /// The odd one.
        signal: Signal,
        /// Its length.
        found: usize,
        /// The first channel's length.
        wanted: usize,
    },
    /// A period of zero or less.
    #[error("the sampling period is not positive")]
    Period,
    /// A line's changes are not in rising order inside the capture.
    #[error("line {0} changes out of order")]
    Order(LogicLine),
}

impl Capture {
    /// Checks that the parts fit together.
    ///
    /// # Errors
    /// The first [`CaptureFault`] met.
    pub fn checked(self) -> Result<Self, CaptureFault> {
        if self.period.si() <= 0.0 {
            return Err(CaptureFault::Period);
        }
        let wanted = self.len();
        if let Some(odd) = self
            .channels
            .iter()
            .find(|channel| channel.codes.len() != wanted)
        {
            let found = odd.codes.len();
            return Err(CaptureFault::Lengths {
                signal: odd.signal,
                found,
                wanted,
            });
        }
        let disordered = |track: &&LogicTrack| {
            track.changes.windows(2).any(|pair| pair[0] >= pair[1])
                || track
                    .changes
                    .last()
                    .is_some_and(|&last| last as usize >= wanted)
        };
        match self.lines.iter().find(disordered) {
            Some(track) => Err(CaptureFault::Order(track.line)),
            None => Ok(self),
        }
    }

    /// Samples in each channel.
    pub fn len(&self) -> usize {
        self.channels
            .first()
            .map_or(0, |channel| channel.codes.len())
    }

    /// Whether it holds no sample.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The channel that measures `signal`.
    pub fn channel(&self, signal: Signal) -> Option<&Channel> {
        self.channels
            .iter()
            .find(|channel| channel.signal == signal)
    }

    /// The track of `line`.
    pub fn line(&self, line: LogicLine) -> Option<&LogicTrack> {
        self.lines.iter().find(|track| track.line == line)
    }

    /// Time of sample `index` relative to the trigger, in seconds.
    pub fn time(&self, index: f64) -> f64 {
        self.first.si() + index * self.period.si()
    }
}
