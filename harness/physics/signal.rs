//! The input signal as what two lines carry: held, stopped or a repeating list
//! of half-bits and cutouts. What the bits mean is decided elsewhere.

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

/// What the two input lines carry for a while.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Phase {
    /// One line high, the other low.
    Half(Polarity),
    /// Both lines low, for a cutout.
    Cutout,
}

impl Phase {
    /// The levels of lines A and B.
    pub(super) const fn levels(self) -> [bool; 2] {
        match self {
            Self::Half(Polarity::Positive) => [true, false],
            Self::Half(Polarity::Negative) => [false, true],
            Self::Cutout => [false, false],
        }
    }
}

/// One stretch of a pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// How long.
    pub span: BenchSpan,
    /// What the lines carry.
    pub phase: Phase,
}

/// A repeating list of stretches of the input signal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pattern(Arc<[Stretch]>);

/// Shortest stretch a pattern may hold, in picoseconds: far below anything the
/// track signal allows (S-9.1 names 52 us as the least a receiver must take).
const SHORTEST: i64 = 1_000_000;
/// Longest stretch, in picoseconds, and most stretches in one list.
const LONGEST: i64 = 100_000_000_000;
const MOST: usize = 65_536;

impl Pattern {
    /// The pattern of these stretches. `None` if the list is empty or beyond
    /// 65,536 entries, or a stretch is outside 1 us to 100 ms.
    pub fn new(stretches: Vec<Stretch>) -> Option<Self> {
        let sound = !stretches.is_empty()
            && stretches.len() <= MOST
            && stretches
                .iter()
                .all(|stretch| (SHORTEST..=LONGEST).contains(&stretch.span.picoseconds()));
        sound.then(|| Self(stretches.into()))
    }

    /// Half-bits in turn, the first one positive; of an odd number the list is
    /// taken twice, so that it keeps alternating. `None` as for
    /// [`Pattern::new`].
    pub fn of_half_bits(half_bits: &[BenchSpan]) -> Option<Self> {
        let turns = 1 + half_bits.len() % 2;
        let spans = half_bits.iter().cycle().take(half_bits.len() * turns);
        let mut next = Polarity::Negative;
        let stretches = spans.map(|&span| {
            next = next.opposite();
            Stretch {
                span,
                phase: Phase::Half(next),
            }
        });
        Self::new(stretches.collect())
    }

    /// Nothing but ones: halves of 58 us (NMRA S-9.1, nominal).
    pub fn ones() -> Self {
        let half = |polarity| Stretch {
            span: BenchSpan::from_microseconds(58),
            phase: Phase::Half(polarity),
        };
        Self(Arc::new([
            half(Polarity::Positive),
            half(Polarity::Negative),
        ]))
    }

    /// The stretches, in order.
    pub fn stretches(&self) -> &[Stretch] {
        &self.0
    }
}

/// One of the two input lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum InputLine {
    /// High in the positive half.
    A,
    /// High in the negative half.
    B,
}

/// What the signal input receives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DriveSignal {
    /// No edges any more; the last phase stays on the lines.
    Stopped,
    /// One phase held for good; it counts as a signal.
    Held(Polarity),
    /// A repeating pattern.
    Alternating(Pattern),
}
