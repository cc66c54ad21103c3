//! Patterns for the drive: packets to bits to half-bits with their durations,
//! preamble, stretched zero and cutout included. How they reach a board is not
//! its matter.

use super::Polarity;
use super::packet::{LONGEST_PACKET, check_byte};
use super::rules::{CUTOUT_END, CUTOUT_START};
use crate::clock::BenchSpan;
use serde::{Deserialize, Serialize};

/// One step of a pattern: a polarity held for a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DriveStep {
    /// What the rails are driven to; zero joins them.
    pub polarity: Polarity,
    /// For how long.
    pub duration: BenchSpan,
}

/// Where a cutout lies, counted from the last edge of the packet end bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CutoutTiming {
    /// Its start.
    pub start: BenchSpan,
    /// Its end.
    pub end: BenchSpan,
}

impl CutoutTiming {
    /// 29 and 471 us, the nominal values of S-9.3.2 and RCN-217.
    pub const NOMINAL: Self = Self {
        start: BenchSpan::from_microseconds(29),
        end: BenchSpan::from_microseconds(471),
    };
}

/// How packets are put on the track.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PacketShape {
    /// Half of a 1.
    pub one: BenchSpan,
    /// Half of a 0.
    pub zero: BenchSpan,
    /// Whole 1 bits before the packet start bit, those under a cutout counted.
    pub preamble: u32,
    /// A cutout behind the packet end bit.
    pub cutout: Option<CutoutTiming>,
    /// Length of the second half of the packet start bit where that 0 is to be
    /// stretched.
    pub stretched: Option<BenchSpan>,
}

impl PacketShape {
    /// Halves of 58 and 100 us and a preamble of 14 bits (S-9.1, S-9.2).
    pub const PLAIN: Self = Self {
        one: BenchSpan::from_microseconds(58),
        zero: BenchSpan::from_microseconds(100),
        preamble: 14,
        cutout: None,
        stretched: None,
    };

    /// The same with a nominal cutout and the 17 preamble bits that RCN-211
    /// then asks for.
    pub const WITH_CUTOUT: Self = Self {
        preamble: 17,
        cutout: Some(CutoutTiming::NOMINAL),
        ..Self::PLAIN
    };
}

/// Why a pattern cannot be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PatternFault {
    /// No byte, or more than can be read back.
    #[error("a packet has 1 to 15 bytes before its check byte, not {0}")]
    Length(usize),
    /// A half-bit without length.
    #[error("a half-bit must last longer than nothing")]
    Duration,
    /// The cutout does not leave the preamble that decoders need.
    #[error("the cutout covers {covered} of {preamble} preamble bits; 12 must remain")]
    CutoutTooLong {
        /// Bits covered, in whole or in part.
        covered: u32,
        /// Bits sent.
        preamble: u32,
    },
    /// Start at or after the end.
    #[error("the cutout ends before it starts")]
    CutoutOrder,
}

/// Steps to be repeated without end. They begin positive and end so that the
/// repetition goes on with an edge.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pattern {
    /// The steps.
    pub steps: Vec<DriveStep>,
}

impl Pattern {
    /// One 1 bit, to be repeated: a square wave.
    pub fn ones(half: BenchSpan) -> Self {
        let mut steps = Vec::new();
        push_bit(&mut steps, half, half);
        Self { steps }
    }

    /// The idle packet FF 00 FF (S-9.2:2004 section B).
    ///
    /// # Errors
    /// As [`Pattern::packet`].
    pub fn idle(shape: &PacketShape) -> Result<Self, PatternFault> {
        Self::packet(&[0xFF, 0x00], shape)
    }

    /// The reset packet 00 00 00 (S-9.2:2004 section B).
    ///
    /// # Errors
    /// As [`Pattern::packet`].
    pub fn reset(shape: &PacketShape) -> Result<Self, PatternFault> {
        Self::packet(&[0x00, 0x00], shape)
    }

    /// Address 55, forward, step 6: 37 74 43 (S-9.2:2004 figure 1).
    ///
    /// # Errors
    /// As [`Pattern::packet`].
    pub fn address_55_step_6(shape: &PacketShape) -> Result<Self, PatternFault> {
        Self::packet(&[0x37, 0x74], shape)
    }

    /// Any packet: `bytes` without the check byte, which is appended. Preamble
    /// first; a cutout lies in the preamble's beginning, since the pattern
    /// repeats and its end bit comes just before.
    ///
    /// # Errors
    /// A [`PatternFault`] saying what does not fit.
    pub fn packet(bytes: &[u8], shape: &PacketShape) -> Result<Self, PatternFault> {
        if bytes.is_empty() || bytes.len() >= LONGEST_PACKET {
            return Err(PatternFault::Length(bytes.len()));
        }
        let second = shape.stretched.unwrap_or(shape.zero);
        if [shape.one, shape.zero, second]
            .iter()
            .any(|&half| half <= BenchSpan::ZERO)
        {
            return Err(PatternFault::Duration);
        }
        let mut steps = Vec::new();
        match shape.cutout {
            None => (0..shape.preamble).for_each(|_| push_bit(&mut steps, shape.one, shape.one)),
            Some(cutout) => push_cutout_preamble(&mut steps, shape, cutout)?,
        }
        for (index, bit) in packet_bits(bytes).enumerate() {
            match (index, bit) {
                (0, _) => push_bit(&mut steps, shape.zero, second),
                (_, false) => push_bit(&mut steps, shape.zero, shape.zero),
                (_, true) => push_bit(&mut steps, shape.one, shape.one),
            }
        }
        Ok(Self { steps })
    }

    /// Several patterns one behind the other.
    pub fn sequence(patterns: impl IntoIterator<Item = Self>) -> Self {
        let steps = patterns.into_iter().flat_map(|p| p.steps).collect();
        Self { steps }
    }

    /// The pattern as a drive is told it: spans separated by commas, the first
    /// positive, then negative and positive by turns; `CUT` before a span makes
    /// it a cutout, and the half after it is positive again.
    pub fn text(&self) -> String {
        let spans = self.steps.iter().map(|step| {
            let cut = if step.polarity == Polarity::Zero {
                "CUT,"
            } else {
                ""
            };
            let microseconds = step.duration.picoseconds() as f64 / 1e6;
            format!("{cut}{microseconds}US")
        });
        spans.collect::<Vec<_>>().join(",")
    }

    /// How long one repetition lasts.
    pub fn duration(&self) -> BenchSpan {
        let spans = self.steps.iter().map(|step| step.duration);
        spans.fold(BenchSpan::ZERO, |sum, span| sum + span)
    }
}

/// Start bit, bytes with the most significant bit first, each behind a 0, the
/// check byte, and the packet end bit (S-9.2:2004 section A).
pub(super) fn packet_bits(bytes: &[u8]) -> impl Iterator<Item = bool> + '_ {
    let check = check_byte(bytes);
    bytes
        .iter()
        .copied()
        .chain([check])
        .flat_map(|byte| {
            std::iter::once(false).chain((0..8).rev().map(move |place| byte >> place & 1 == 1))
        })
        .chain([true])
}

fn push_bit(steps: &mut Vec<DriveStep>, first: BenchSpan, second: BenchSpan) {
    for (polarity, duration) in [(Polarity::Positive, first), (Polarity::Negative, second)] {
        steps.push(DriveStep { polarity, duration });
    }
}

/// The preamble with its first bits cut out: what the ones would have been,
/// with the stretch from start to end joined to zero.
fn push_cutout_preamble(
    steps: &mut Vec<DriveStep>,
    shape: &PacketShape,
    cutout: CutoutTiming,
) -> Result<(), PatternFault> {
    if cutout.start >= cutout.end || cutout.start < BenchSpan::ZERO {
        return Err(PatternFault::CutoutOrder);
    }
    let bit = 2 * shape.one.picoseconds();
    let (start, end) = (cutout.start.picoseconds(), cutout.end.picoseconds());
    let covered =
        u32::try_from(end.div_euclid(bit) + i64::from(end % bit != 0)).unwrap_or(u32::MAX);
    let remaining = shape.preamble.saturating_sub(covered);
    if remaining < super::rules::PREAMBLE_AFTER_CUTOUT {
        return Err(PatternFault::CutoutTooLong {
            covered,
            preamble: shape.preamble,
        });
    }
    let mut pieces = Vec::new();
    let half = shape.one.picoseconds();
    for index in 0..i64::from(2 * shape.preamble) {
        let polarity = if index % 2 == 0 {
            Polarity::Positive
        } else {
            Polarity::Negative
        };
        let (from, to) = (index * half, (index + 1) * half);
        pieces.push((polarity, from, to.min(start)));
        pieces.push((Polarity::Zero, from.max(start), to.min(end)));
        pieces.push((polarity, from.max(end), to));
    }
    for (polarity, from, to) in pieces.into_iter().filter(|&(_, from, to)| to > from) {
        let duration = BenchSpan::from_picoseconds(to - from);
        match steps.last_mut() {
            Some(last) if last.polarity == polarity => last.duration = last.duration + duration,
            _ => steps.push(DriveStep { polarity, duration }),
        }
    }
    Ok(())
}

impl CutoutTiming {
    /// Whether both instants lie within S-9.3.2 and RCN-217.
    pub fn is_standard(self) -> bool {
        let within = |value, (least, most)| value >= least && value <= most;
        within(self.start, CUTOUT_START) && within(self.end, CUTOUT_END)
    }
}
