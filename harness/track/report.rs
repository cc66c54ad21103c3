//! Everything that was found out about one channel, ready to be written down.
//! It computes nothing.

use super::packet::{Packet, PacketKind};
use super::rules::{Conformity, Findings};
use super::spread::{Figures, Worst};
use super::uncertainty::EdgeUncertainty;
use crate::clock::{BenchInstant, BenchSpan};
use crate::measurement::Estimate;
use crate::waveform::levels::StateLevels;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The half-bits of one kind. Times in seconds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HalfBits {
    /// All of them.
    pub all: Option<Figures>,
    /// The positive ones.
    pub positive: Option<Figures>,
    /// The negative ones.
    pub negative: Option<Figures>,
}

/// Packets by number.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PacketCounts {
    /// Framed, right or wrong check byte.
    pub all: u64,
    /// With a wrong check byte.
    pub wrong_check: u64,
    /// Begun and broken off by a half-bit that fits nothing.
    pub broken: u64,
    /// When the first of those broke.
    pub first_broken: Option<BenchInstant>,
    /// Start bits refused because of too short a preamble.
    pub refused: u64,
    /// How many of each kind.
    pub kinds: BTreeMap<PacketKind, u64>,
    /// The shortest preamble that was seen whole, the packet end bit before it
    /// included.
    pub shortest_preamble: Option<u32>,
    /// The first packets.
    pub first: Vec<Packet>,
    /// The first packets with a wrong check byte.
    pub first_wrong: Vec<Packet>,
    /// From one packet start bit to the next.
    pub start_to_start: Option<Figures>,
}

/// Cutouts, timed from the last edge of the packet end bit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Cutouts {
    /// How many.
    pub count: u64,
    /// Those whose start the line did not show.
    pub start_hidden: u64,
    /// Start.
    pub start: Option<Figures>,
    /// End.
    pub end: Option<Figures>,
}

/// Stretches too short for any half-bit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Glitches {
    /// How many.
    pub count: u64,
    /// The longest of them, in seconds.
    pub longest: Option<Worst>,
    /// The first: when, and how long.
    pub first: Vec<(BenchInstant, BenchSpan)>,
}

/// State levels of an analogue channel, in volts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LevelFigures {
    /// By IEEE 181.
    pub states: StateLevels,
    /// The positive level.
    pub positive: Estimate,
    /// The negative level, as a magnitude.
    pub negative: Estimate,
    /// Peak amplitude: the mean of both.
    pub amplitude: Estimate,
    /// Positive less negative amplitude.
    pub symmetry: Estimate,
    /// The lowest level of a positive half, and when that half ended.
    pub lowest_positive: Option<(Estimate, BenchInstant)>,
    /// The highest of them.
    pub highest_positive: Option<(Estimate, BenchInstant)>,
    /// The lowest level of a negative half as a magnitude, and when it ended.
    pub lowest_negative: Option<(Estimate, BenchInstant)>,
    /// The highest of them.
    pub highest_negative: Option<(Estimate, BenchInstant)>,
    /// Least and maximum sample.
    pub extremes: (f64, f64),
    /// Where the converter's range cuts the waveform off.
    pub clipped: Clipped,
}

/// Where tops are flat because the range of the converter ends there: what lies
/// beyond is only known to be at least that.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Clipped {
    /// The voltage that no sample exceeds and at which positive halves stay.
    pub positive: Option<f64>,
    /// The same of negative halves.
    pub negative: Option<f64>,
}

impl Clipped {
    /// Whether either polarity is cut off.
    pub const fn any(&self) -> bool {
        self.positive.is_some() || self.negative.is_some()
    }
}

/// Transitions of one direction. Times in seconds, slopes in V/s.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ShapeFigures {
    /// Transitions measured, spread evenly over the capture.
    pub measured: u64,
    /// 10 % to 90 %.
    pub duration: Option<Estimate>,
    /// The longest duration.
    pub longest: Option<Estimate>,
    /// Slew between -4 V and +4 V. Where `slew_bounded` is not zero, a bound
    /// from below.
    pub slew: Option<Estimate>,
    /// The least slew.
    pub slowest: Option<Estimate>,
    /// Transitions that all together take less than a sample between the slew
    /// levels, or a time not longer than four of its standard uncertainties: their
    /// slew is only known to be at least what was taken.
    pub slew_bounded: u64,
    /// Overshoot as a share of the amplitude, mean and maximum.
    pub overshoot: Option<(Estimate, Estimate)>,
    /// Samples are too few, or always at the same places of an edge: overshoot
    /// and preshoot are at least what they show.
    pub overshoot_bounded: bool,
    /// Preshoot likewise.
    pub preshoot: Option<(Estimate, Estimate)>,
    /// Transitions that ran backwards for a while.
    pub distorted: u64,
    /// Lowest and highest voltage at which one did.
    pub distortion: Option<(f64, f64)>,
    /// Standard uncertainty of those.
    pub distortion_u: f64,
    /// Reversals of less than this, V, are taken for noise.
    pub reversal: f64,
}

impl ShapeFigures {
    /// The same without what needs the state levels.
    pub(super) fn without_levels(&mut self) {
        (self.duration, self.longest) = (None, None);
        (self.overshoot, self.preshoot) = (None, None);
    }
}

/// Transitions of both directions.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Shape {
    /// Upwards.
    pub rising: ShapeFigures,
    /// Downwards.
    pub falling: ShapeFigures,
}

/// Everything about one channel. Times in seconds unless they are instants.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SignalReport {
    /// From the first known instant to the last.
    pub from: BenchInstant,
    /// The end of the capture.
    pub to: BenchInstant,
    /// Edges taken, those of glitches included.
    pub edges: u64,
    /// Edges that went back in time and were passed over; not zero only when
    /// the source lies.
    pub out_of_order: u64,
    /// How well edges are known, part by part.
    pub edge: EdgeUncertainty,
    /// Halves of 1.
    pub ones: HalfBits,
    /// Halves of 0 that are not stretched.
    pub zeros: HalfBits,
    /// Halves of 0 longer than 150 us (our own border, no source).
    pub stretched: Option<Figures>,
    /// Half-bits by whole microseconds, and how many.
    pub histogram: Vec<(u32, u64)>,
    /// Half-bits of 512 us and more.
    pub histogram_beyond: u64,
    /// Half-bits that are neither a 1's nor a 0's even to a decoder.
    pub neither: u64,
    /// Whole 1 bits, those of preambles included.
    pub one_bits: u64,
    /// Whole 0 bits inside packets.
    pub zero_bits: u64,
    /// Positive half less negative half of every 1.
    pub asymmetry: Option<Figures>,
    /// Difference of the halves of every 1 without its sign.
    pub difference: Option<Figures>,
    /// Packets.
    pub packets: PacketCounts,
    /// Cutouts.
    pub cutouts: Cutouts,
    /// Glitches.
    pub glitches: Glitches,
    /// Both rails joined or dead, other than in a cutout.
    pub dead: Option<Figures>,
    /// Stretches of more than 30 ms without an edge, and the longest stretch
    /// of all.
    pub silences: u64,
    /// The longest stretch without an edge.
    pub longest_silence: BenchSpan,
    /// Bit timing at a power station's output.
    pub power_station: Findings,
    /// Bit timing that a decoder must accept.
    pub receiver: Findings,
    /// Preambles, intervals of packets and cutouts.
    pub packet_rules: Findings,
    /// State levels, where the channel is analogue and has two.
    pub levels: Option<LevelFigures>,
    /// Transitions, where the channel is analogue.
    pub shape: Option<Shape>,
}

impl SignalReport {
    /// How well edges taken for `edge` are known, where halves of ones of one
    /// polarity scatter more than that explains; `None` where they do not.
    pub fn scattered(&self, edge: &EdgeUncertainty) -> Option<EdgeUncertainty> {
        let signs = [&self.ones.positive, &self.ones.negative];
        let deviations = signs.into_iter().flatten().map(|f| f.deviation);
        edge.scattered(deviations.reduce(f64::max)?)
    }

    /// The standing against the rules for a power station's output and for
    /// packets together.
    pub fn conformity(&self) -> Conformity {
        self.power_station
            .conformity()
            .max(self.packet_rules.conformity())
    }
}
