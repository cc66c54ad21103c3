//! The track signal of NMRA S-9.1 and S-9.2:2004: patterns for the drive, and from
//! edges or samples back to half-bits, bits, packets, cutouts and what the
//! standards say of them. It opens no files and gives no verdict on a board.

mod analogue;
mod asymmetry;
mod bit_checks;
mod channel;
mod checker;
mod clearance;
mod decoder;
mod delay;
mod extremes;
mod fits;
mod framing;
mod half_lengths;
mod half_levels;
mod intervals;
mod noise;
mod overlay;
mod packet;
mod pattern;
mod peak;
mod places;
mod plan;
mod profile;
mod report;
mod residues;
mod rules;
mod settings;
mod shape;
mod spread;
mod timing;
mod uncertainty;
mod windows;

pub use crate::waveform::crossing::Polarity;
pub use analogue::{
    ChannelScan, ChannelSettings, CrossingSearch, EdgeTiming, Found, Ruler, Scale, Scanned,
};
pub use channel::{ChannelAnalyser, ScanDecoder};
pub use decoder::Decoder;
pub use delay::{DelayReport, DelaySettings, compare_edges};
pub use packet::{LONGEST_PACKET, Packet, PacketBytes, PacketKind, check_byte, speed_step};
pub use pattern::{CutoutTiming, DriveStep, PacketShape, Pattern, PatternFault};
pub use report::{
    Clipped, Cutouts, Glitches, HalfBits, LevelFigures, PacketCounts, Shape, ShapeFigures,
    SignalReport,
};
pub use rules::{
    BitRules, Clause, ClauseFindings, Conformity, Findings, POWER_STATION, RECEIVER, Violation,
};
pub use settings::DecoderSettings;
pub use shape::SLEW_LEVEL;
pub use spread::{Figures, Worst};
pub use uncertainty::EdgeUncertainty;

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
