//! What the standards demand of the signal, clause by clause, and the counting
//! of what breaks it. It decides single readings, never a board.

use crate::clock::{BenchInstant, BenchSpan};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A demand of a standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Clause {
    /// Half of a 1, least.
    OneHalfShort,
    /// Half of a 1, most.
    OneHalfLong,
    /// Difference between the halves of a 1.
    OneHalvesDiffer,
    /// Half of a 0, least.
    ZeroHalfShort,
    /// Half of a 0, most.
    ZeroHalfLong,
    /// Both halves of a 0 together, most.
    ZeroBitLong,
    /// Bits of the preamble, least.
    PreambleShort,
    /// From one packet start bit to the next, most.
    StartBitsApart,
    /// Cutout start, least.
    CutoutStartEarly,
    /// Cutout start, most.
    CutoutStartLate,
    /// Cutout end, least.
    CutoutEndEarly,
    /// Cutout end, most.
    CutoutEndLate,
}

impl Clause {
    /// Demands of bit timing, which every signal must meet.
    pub const BITS: [Self; 6] = [
        Self::OneHalfShort,
        Self::OneHalfLong,
        Self::OneHalvesDiffer,
        Self::ZeroHalfShort,
        Self::ZeroHalfLong,
        Self::ZeroBitLong,
    ];
    /// Demands of packets.
    pub const PACKETS: [Self; 2] = [Self::PreambleShort, Self::StartBitsApart];
    /// Demands of cutouts, where there are any.
    pub const CUTOUTS: [Self; 4] = [
        Self::CutoutStartEarly,
        Self::CutoutStartLate,
        Self::CutoutEndEarly,
        Self::CutoutEndLate,
    ];

    /// Every one, in the order in which it is declared.
    pub(super) fn all() -> impl Iterator<Item = Self> {
        let packets = Self::PACKETS.into_iter().chain(Self::CUTOUTS);
        Self::BITS.into_iter().chain(packets)
    }

    /// Where it is written.
    pub const fn source(self) -> &'static str {
        match self {
            Self::OneHalfShort
            | Self::OneHalfLong
            | Self::OneHalvesDiffer
            | Self::ZeroHalfShort
            | Self::ZeroHalfLong
            | Self::ZeroBitLong => "NMRA S-9.1:2020 table 1",
            Self::PreambleShort => "NMRA S-9.2:2004 section A, RCN-211 with cutouts",
            Self::StartBitsApart => "NMRA S-9.2:2004 section C",
            Self::CutoutStartEarly
            | Self::CutoutStartLate
            | Self::CutoutEndEarly
            | Self::CutoutEndLate => "NMRA S-9.3.2, RCN-217",
        }
    }

    /// What is limited, in plain words.
    pub const fn describe(self) -> &'static str {
        match self {
            Self::OneHalfShort => "half of a 1 too short",
            Self::OneHalfLong => "half of a 1 too long",
            Self::OneHalvesDiffer => "halves of a 1 differ",
            Self::ZeroHalfShort => "half of a 0 too short",
            Self::ZeroHalfLong => "half of a 0 too long",
            Self::ZeroBitLong => "stretched 0 too long",
            Self::PreambleShort => "preamble too short",
            Self::StartBitsApart => "packet start bits too far apart",
            Self::CutoutStartEarly => "cutout starts too early",
            Self::CutoutStartLate => "cutout starts too late",
            Self::CutoutEndEarly => "cutout ends too early",
            Self::CutoutEndLate => "cutout ends too late",
        }
    }

    /// The limit, in seconds or bits; `rules` give those of bit timing. Behind
    /// cutouts fewer preamble bits than this are left to be seen.
    pub const fn limit(self, rules: &BitRules) -> f64 {
        let span = match self {
            Self::OneHalfShort => rules.one.0,
            Self::OneHalfLong => rules.one.1,
            Self::OneHalvesDiffer => rules.difference,
            Self::ZeroHalfShort => rules.zero.0,
            Self::ZeroHalfLong => rules.zero.1,
            Self::ZeroBitLong => rules.zero_bit,
            Self::PreambleShort => return PREAMBLE_SENT as f64,
            Self::StartBitsApart => START_BITS_APART,
            Self::CutoutStartEarly => CUTOUT_START.0,
            Self::CutoutStartLate => CUTOUT_START.1,
            Self::CutoutEndEarly => CUTOUT_END.0,
            Self::CutoutEndLate => CUTOUT_END.1,
        };
        span.picoseconds() as f64 / 1e12
    }

    /// Whether the limit is a lower one.
    pub const fn is_lower(self) -> bool {
        matches!(
            self,
            Self::OneHalfShort
                | Self::ZeroHalfShort
                | Self::PreambleShort
                | Self::CutoutStartEarly
                | Self::CutoutEndEarly
        )
    }

    /// Whether the value is a number of bits rather than a time.
    pub const fn counts_bits(self) -> bool {
        matches!(self, Self::PreambleShort)
    }
}

/// Limits of bit timing for one audience; spans from crossing to crossing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BitRules {
    /// For whom.
    pub name: &'static str,
    /// Half of a 1, least and most.
    pub one: (BenchSpan, BenchSpan),
    /// Difference of the halves of a 1, most.
    pub difference: BenchSpan,
    /// Half of a 0, least and most.
    pub zero: (BenchSpan, BenchSpan),
    /// A whole stretched 0, most.
    pub zero_bit: BenchSpan,
}

const fn us(microseconds: i64) -> BenchSpan {
    BenchSpan::from_microseconds(microseconds)
}

/// At a power station's output under load: NMRA S-9.1:2020 table 1; the longest
/// half of a 0 also NEM 670:2013.
pub const POWER_STATION: BitRules = BitRules {
    name: "power station output",
    one: (us(55), us(61)),
    difference: us(3),
    zero: (us(95), us(9_900)),
    zero_bit: us(12_000),
};

/// What a decoder must accept: NMRA S-9.1:2020 table 1.
pub const RECEIVER: BitRules = BitRules {
    name: "decoder input",
    one: (us(52), us(64)),
    difference: us(6),
    zero: (us(90), us(10_000)),
    zero_bit: us(12_000),
};

/// Packet start bits at least this often: NMRA S-9.2:2004 section C.
pub(super) const START_BITS_APART: BenchSpan = us(30_000);
/// Cutout start and end after the last edge of the packet end bit: NMRA
/// S-9.3.2, RCN-217.
pub(super) const CUTOUT_START: (BenchSpan, BenchSpan) = (us(26), us(32));
pub(super) const CUTOUT_END: (BenchSpan, BenchSpan) = (us(454), us(488));
/// Preamble bits that a command station sends: NMRA S-9.2:2004 section A. The
/// packet end bit of the packet before may be one of them.
pub(super) const PREAMBLE_SENT: u32 = 14;
/// Preamble bits to be seen after a cutout: the 17 of RCN-211, less the 5 that
/// a cutout covers at most.
pub(super) const PREAMBLE_AFTER_CUTOUT: u32 = 12;
/// Fewer preamble bits than this a decoder must refuse: NMRA S-9.2:2004.
pub(super) const PREAMBLE_REFUSED: u32 = 10;

/// A reading beyond a limit, or too near to tell. Values in seconds, or in
/// bits where the clause counts bits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Violation {
    /// When what was read began.
    pub at: BenchInstant,
    /// What was broken.
    pub clause: Clause,
    /// The reading.
    pub value: f64,
    /// The limit.
    pub limit: f64,
    /// Expanded uncertainty of the reading (k = 2).
    pub expanded: f64,
    /// True beyond the limit by more than the uncertainty of the worst of all
    /// readings checked; false beyond it by less, which decides nothing.
    pub decided: bool,
}

/// What many readings said of one clause.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ClauseFindings {
    /// Readings compared with the limit.
    pub checked: u64,
    /// Beyond the limit by more than the uncertainty of the worst of so many
    /// readings: violations. Of n readings just within a limit, noise alone
    /// carries a fortieth beyond it by more than U; none may be one.
    pub beyond: u64,
    /// Beyond the limit by no more than the uncertainty: undecided.
    pub undecided: u64,
    /// Within the limit by less than the uncertainty: undecided too, on the
    /// good side.
    pub near: u64,
    /// The worst reading beyond the limit.
    pub worst: Option<Violation>,
    /// The first readings beyond the limit; `beyond` and `undecided` count on.
    pub first: Vec<Violation>,
}

/// How a signal stands to a set of rules.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Conformity {
    /// Every reading is within its limit by at least the uncertainty.
    Kept,
    /// Some reading is too near its limit to tell.
    Undecided,
    /// Some reading is beyond its limit by more than the uncertainty.
    Violated,
}

/// What was found under one set of rules.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Findings {
    /// The rules' name.
    pub rules: String,
    /// Every clause that anything was compared with.
    pub clauses: BTreeMap<Clause, ClauseFindings>,
}

impl Findings {
    /// The standing over all clauses.
    pub fn conformity(&self) -> Conformity {
        let of = |found: &ClauseFindings| {
            if found.beyond > 0 {
                Conformity::Violated
            } else if found.undecided + found.near > 0 {
                Conformity::Undecided
            } else {
                Conformity::Kept
            }
        };
        self.clauses
            .values()
            .map(of)
            .max()
            .unwrap_or(Conformity::Kept)
    }

    /// How many readings were violations of `clause`.
    pub fn beyond(&self, clause: Clause) -> u64 {
        self.clauses.get(&clause).map_or(0, |found| found.beyond)
    }
}
