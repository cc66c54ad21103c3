//! Edges to intervals of one polarity, with glitches taken out and counted. It
//! does not know what an interval means.

use super::{Edge, Polarity};
use crate::clock::{BenchInstant, BenchSpan};

/// A stretch of one polarity between two edges that are no glitches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Interval {
    pub(super) polarity: Polarity,
    pub(super) from: BenchInstant,
    pub(super) to: BenchInstant,
    /// Whether both ends were seen; the first one begins with the capture.
    pub(super) whole: bool,
    /// Whether it went over into joined rails, not to the other polarity.
    pub(super) cut: bool,
}

impl Interval {
    pub(super) fn length(&self) -> BenchSpan {
        self.to - self.from
    }
}

/// A stretch too short to be anything.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Glitch {
    pub(super) at: BenchInstant,
    pub(super) length: BenchSpan,
}

/// What one edge brought to light.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Found {
    pub(super) interval: Option<Interval>,
    pub(super) glitch: Option<Glitch>,
}

/// Puts intervals together; each is told once the next has lasted longer than
/// a glitch.
#[derive(Clone, Debug)]
pub(super) struct IntervalFilter {
    glitch: BenchSpan,
    current: Option<Stretch>,
    candidate: Option<Stretch>,
    last: BenchInstant,
    out_of_order: u64,
}

#[derive(Clone, Copy, Debug)]
struct Stretch {
    polarity: Polarity,
    since: BenchInstant,
    whole: bool,
}

impl IntervalFilter {
    /// Stretches shorter than `glitch` are glitches.
    pub(super) fn new(glitch: BenchSpan) -> Self {
        Self {
            glitch,
            current: None,
            candidate: None,
            last: BenchInstant::from_picoseconds(i64::MIN),
            out_of_order: 0,
        }
    }

    /// The polarity and the instant from which it is known.
    pub(super) fn begin(&mut self, at: BenchInstant, polarity: Polarity) {
        self.current = Some(Stretch {
            polarity,
            since: at,
            whole: false,
        });
        self.candidate = None;
        self.last = at;
    }

    /// Edges that went back in time and were passed over.
    pub(super) const fn out_of_order(&self) -> u64 {
        self.out_of_order
    }

    #[inline]
    pub(super) fn edge(&mut self, edge: Edge) -> Found {
        if edge.at < self.last {
            self.out_of_order += 1;
            return Found::default();
        }
        self.last = edge.at;
        let next = Stretch {
            polarity: edge.to,
            since: edge.at,
            whole: true,
        };
        let Some(current) = self.current else {
            self.current = Some(next);
            return Found::default();
        };
        let Some(candidate) = self.candidate else {
            if edge.to != current.polarity {
                self.candidate = Some(next);
            }
            return Found::default();
        };
        if edge.to == candidate.polarity {
            return Found::default();
        }
        let length = edge.at - candidate.since;
        if length >= self.glitch {
            self.current = Some(candidate);
            self.candidate = Some(next);
            return Found {
                interval: Some(ended(current, candidate)),
                glitch: None,
            };
        }
        self.short(current, candidate, next, length)
    }

    /// The candidate was too short: either nothing happened after all, or it
    /// was the way through zero to the other polarity.
    #[cold]
    fn short(
        &mut self,
        current: Stretch,
        candidate: Stretch,
        next: Stretch,
        length: BenchSpan,
    ) -> Found {
        let glitch = Some(Glitch {
            at: candidate.since,
            length,
        });
        if next.polarity == current.polarity {
            self.candidate = None;
            return Found {
                interval: None,
                glitch,
            };
        }
        // Both lines low between two polarities: the voltage crosses zero
        // somewhere in there, the middle is the best guess. Out of zero: the
        // rest of a half-bit that a cutout covered, and zero ended with it.
        let half = BenchSpan::from_picoseconds(length.picoseconds() / 2);
        let (since, glitch) = match (current.polarity, candidate.polarity) {
            (_, Polarity::Zero) => (candidate.since + half, None),
            (Polarity::Zero, _) => (candidate.since, None),
            _ => (next.since, glitch),
        };
        self.candidate = Some(Stretch { since, ..next });
        Found {
            interval: None,
            glitch,
        }
    }

    /// The end of the capture: the last interval whose end was seen.
    pub(super) fn finish(&mut self) -> Option<Interval> {
        // Whether the last edge was a glitch nobody will know; that there was
        // an edge is more likely.
        let (current, candidate) = (self.current.take(), self.candidate.take());
        Some(ended(current?, candidate?))
    }
}

#[inline]
fn ended(stretch: Stretch, next: Stretch) -> Interval {
    Interval {
        polarity: stretch.polarity,
        from: stretch.since,
        to: next.since,
        whole: stretch.whole,
        cut: next.polarity == Polarity::Zero,
    }
}
