//! What of a capture is no reading, which end of the range was reached, and from
//! edges, how long there was no signal. It finds no levels and judges nothing.

use crate::capture_file::{Clipping, Span, Spans};
use crate::clock::{BenchInstant, BenchSpan};
use crate::track::{Edge, Polarity, Scale};
use crate::units::Quantity;
use serde::Serialize;

/// Longer than a cutout (488 us: NMRA S-9.3.2, RCN-217) the rails are never
/// joined, and longer than a stretched 0 (12 ms: NMRA S-9.1:2020 table 1) no
/// signal stays as it is.
const LONGEST_JOINED: BenchSpan = BenchSpan::from_microseconds(500);
const LONGEST_STATE: BenchSpan = BenchSpan::from_microseconds(12_000);

/// What of a capture is no reading.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Unread {
    /// Samples that are not a number or empty; values that are neither high nor
    /// low; a dump switched off.
    pub missing: Spans,
    /// Samples that are infinite or larger than any instrument reads.
    pub infinite: Spans,
    /// Stretches without a signal: the rails joined for longer than a cutout, or
    /// no edge for longer than a stretched 0.
    pub silent: Spans,
    /// Where the range cuts positive and negative halves off.
    pub clipped: [Option<CutOff>; 2],
}

/// An end of the range that the voltage reached.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CutOff {
    /// The reading there, V.
    pub level: f64,
    /// Whether it is the last code of the file's type. Otherwise the signal is
    /// flat there while it moves elsewhere.
    pub last_code: bool,
    /// Where, as far as it was looked for.
    pub spans: Spans,
}

impl CutOff {
    /// Of an end of the range in the file's own units.
    pub(super) fn of(clipping: Clipping, scale: &Scale) -> Self {
        Self {
            level: clipping.level * scale.gain + scale.offset,
            last_code: clipping.last_code,
            spans: clipping.spans,
        }
    }

    /// Where halves are flat and nothing more is known.
    pub(super) fn flat(level: f64) -> Self {
        Self {
            level,
            last_code: false,
            spans: Spans::default(),
        }
    }
}

/// Adds up how long there was no signal, from its edges.
#[derive(Clone, Debug, Default)]
pub(super) struct Silence {
    last: Option<Edge>,
    silent: Spans,
}

impl Silence {
    /// An edge; the first tells what was before it.
    pub(super) fn push(&mut self, from: BenchInstant, edge: Edge) {
        let before = self.last.replace(edge);
        let begun = before.map_or(from, |before| before.at);
        let joined = before.is_some_and(|before| before.to == Polarity::Zero);
        self.state(begun, edge.at, joined);
    }

    /// From here on nothing is known until the next edge.
    pub(super) fn lose(&mut self, from: BenchInstant, at: BenchInstant) {
        let joined = self.joined();
        let begun = self.last.take().map_or(from, |last| last.at);
        self.state(begun, at, joined);
    }

    /// The end of the capture.
    pub(super) fn finish(mut self, from: BenchInstant, end: BenchInstant) -> Spans {
        let joined = self.joined();
        let begun = self.last.map_or(from, |last| last.at);
        self.state(begun, end, joined);
        self.silent
    }

    fn joined(&self) -> bool {
        self.last.is_some_and(|last| last.to == Polarity::Zero)
    }

    fn state(&mut self, from: BenchInstant, to: BenchInstant, joined: bool) {
        let most = if joined {
            LONGEST_JOINED
        } else {
            LONGEST_STATE
        };
        if to - from > most {
            let [from, to] = [from, to].map(|at| at.since_zero().si());
            self.silent.push(Span { from, to }, 0);
        }
    }
}
