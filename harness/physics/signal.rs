//! The input signal as a sequence of phase edges: held, stopped or a repeating
//! list of half-bits. What the bits mean is decided elsewhere.

use crate::clock::BenchSpan;
use std::sync::Arc;

/// Which of the two wires is positive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Polarity {
    /// The first wire.
    Positive,
    /// The second wire.
    Negative,
}

impl Polarity {
    /// The other one.
    pub const fn opposite(self) -> Self {
        match self {
            Self::Positive => Self::Negative,
            Self::Negative => Self::Positive,
        }
    }

    /// Plus or minus one.
    pub const fn sign(self) -> f64 {
        match self {
            Self::Positive => 1.0,
            Self::Negative => -1.0,
        }
    }

    /// The polarity of a number; zero counts as positive.
    pub(super) fn of(value: f64) -> Self {
        if value < 0.0 {
            Self::Negative
        } else {
            Self::Positive
        }
    }

    /// The same polarity, or the opposite one.
    pub(super) const fn flipped_if(self, flip: bool) -> Self {
        if flip { self.opposite() } else { self }
    }
}

/// A repeating list of half-bit durations; the first half is positive.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pattern(Arc<[BenchSpan]>);

/// Shortest half-bit a pattern may hold, in picoseconds: far below anything the
/// track signal allows (S-9.1 names 52 us as the least a receiver must take).
const SHORTEST_HALF_BIT: i64 = 1_000_000;
/// Longest half-bit, in picoseconds, and most half-bits in one list.
const LONGEST_HALF_BIT: i64 = 100_000_000_000;
const MOST_HALF_BITS: usize = 65_536;

impl Pattern {
    /// The pattern of these half-bits. `None` if the list is empty or beyond
    /// 65,536 entries, or a half-bit is outside 1 us to 100 ms.
    pub fn new(half_bits: Vec<BenchSpan>) -> Option<Self> {
        let sound = !half_bits.is_empty()
            && half_bits.len() <= MOST_HALF_BITS
            && half_bits
                .iter()
                .all(|half| (SHORTEST_HALF_BIT..=LONGEST_HALF_BIT).contains(&half.picoseconds()));
        sound.then(|| Self(half_bits.into()))
    }

    /// Nothing but ones: halves of 58 us (NMRA S-9.1, nominal).
    pub fn ones() -> Self {
        Self(Arc::new([BenchSpan::from_microseconds(58)]))
    }

    /// The half-bits, in order.
    pub fn half_bits(&self) -> &[BenchSpan] {
        &self.0
    }
}

/// What the signal input receives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DriveSignal {
    /// No edges any more; the last phase stays on the lines.
    Stopped,
    /// One phase held for good; it counts as a signal.
    Held(Polarity),
    /// A repeating pattern, starting with a positive half.
    Alternating(Pattern),
}
