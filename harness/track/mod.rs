//! The track signal of NMRA S-9.1 and S-9.2: patterns for the drive, and from
//! edges or samples back to half-bits, bits, packets, cutouts and what the
//! standards say of them. It opens no files and gives no verdict on a board.

mod analogue;
mod asymmetry;
mod channel;
mod checker;
mod decoder;
mod delay;
mod framing;
mod intervals;
mod packet;
mod pattern;
mod report;
mod rules;
mod settings;
mod spread;
mod uncertainty;
mod windows;

pub use crate::waveform::crossing::Polarity;
pub use analogue::{ChannelScan, ChannelSettings, Scale, Scanned};
pub use channel::{ChannelAnalyser, ScanDecoder};
pub use decoder::Decoder;
pub use delay::{DelayReport, DelaySettings, compare_edges};
pub use packet::{LONGEST_PACKET, Packet, PacketBytes, PacketKind, check_byte, speed_step};
pub use pattern::{CutoutTiming, DriveStep, PacketShape, Pattern, PatternFault};
pub use report::{
    Cutouts, Glitches, HalfBits, LevelFigures, PacketCounts, Shape, ShapeFigures, SignalReport,
};
pub use rules::{
    BitRules, Clause, ClauseFindings, Conformity, Findings, POWER_STATION, RECEIVER, Violation,
};
pub use settings::DecoderSettings;
pub use spread::{Figures, Worst, bias_of_maximum};
pub use uncertainty::{EdgeUncertainty, STRAIGHT, VerticalUncertainty};

use crate::clock::BenchInstant;

/// One change of the signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edge {
    /// When.
    pub at: BenchInstant,
    /// The polarity from here on.
    pub to: Polarity,
}

#[cfg(test)]
mod tests;
