//! Where a reading beyond a limit lies, and whether a glitch lies there too. It
//! finds none itself.

use crate::clock::{BenchInstant, BenchSpan};
use crate::track::{SignalReport, Violation};
use crate::units::Quantity;
use serde::Serialize;

/// A reading beyond a limit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Place {
    /// When it began, s.
    pub at_s: f64,
    /// The reading.
    pub value: f64,
    /// Whether it is beyond the limit by more than its uncertainty.
    pub decided: bool,
    /// Whether a glitch lies within it or next to it.
    pub glitch: bool,
    #[serde(skip)]
    pub(super) at: BenchInstant,
}

/// Beside a glitch is closer than this: the longest glitch.
const BESIDE: BenchSpan = BenchSpan::from_microseconds(20);

impl Place {
    /// A reading at an instant.
    pub(super) fn new(at: BenchInstant, value: f64, decided: bool) -> Self {
        Self {
            at_s: at.since_zero().si(),
            value,
            decided,
            glitch: false,
            at,
        }
    }

    /// A reading of a time or of bits.
    pub(super) fn of(violation: &Violation) -> Self {
        Self::new(violation.at, violation.value, violation.decided)
    }

    /// Notes whether a glitch lies from its beginning to `length` s later.
    pub(super) fn beside(&mut self, signal: &SignalReport, length: f64) {
        let ps = |span: BenchSpan| span.picoseconds();
        let from = self.at.picoseconds() - ps(BESIDE);
        let to = self.at.picoseconds() + (length * 1e12) as i64 + ps(BESIDE);
        let glitches = &signal.glitches.first;
        self.glitch = glitches
            .iter()
            .any(|(at, length)| at.picoseconds() <= to && at.picoseconds() + ps(*length) >= from);
    }
}
