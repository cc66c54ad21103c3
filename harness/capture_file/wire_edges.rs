//! Values of one wire or of a pair to edges of the track signal, and to the
//! stretches in which the values do not say what the signal was. It decodes
//! nothing.

use super::spans::{Span, Spans};
use super::vcd::Change;
use super::vcd_value::Value;
use crate::clock::BenchInstant;
use crate::track::{Edge, Polarity};
use crate::units::Quantity;

/// Which wires make the signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WirePair {
    /// One wire: high is positive.
    Single,
    /// Two wires, the first less the second: equal ones are zero.
    Difference,
}

/// What the wires say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WireEvent {
    /// The polarity is known from here on; no edge led to it.
    Known(Edge),
    /// From one polarity to the other.
    Edge(Edge),
    /// From here on the polarity is not known.
    Lost(BenchInstant),
}

/// Makes edges. Values that are neither high nor low leave the polarity unknown
/// until the next that is; reals count by their sign, vectors by being zero or
/// not.
#[derive(Clone, Debug)]
pub struct WireEdges {
    pair: WirePair,
    levels: [Option<bool>; 2],
    /// The polarity up to the present instant, where it is known.
    settled: Option<Polarity>,
    /// The present instant and its polarity, which another value may still
    /// change.
    present: Option<(BenchInstant, Option<Polarity>)>,
    /// Values that were neither high nor low, and since when it is not known.
    unknown: u64,
    counted: u64,
    lost: Option<BenchInstant>,
    spans: Spans,
}

impl WireEdges {
    /// Edges of the wires numbered 0, or 0 and 1, of a reader.
    pub const fn new(pair: WirePair) -> Self {
        Self {
            pair,
            levels: [None; 2],
            settled: None,
            present: None,
            unknown: 0,
            counted: 0,
            lost: None,
            spans: Spans {
                count: 0,
                samples: 0,
                total: 0.0,
                longest: None,
                first: Vec::new(),
            },
        }
    }

    /// Values that were neither high nor low.
    pub const fn unknown(&self) -> u64 {
        self.unknown
    }

    /// The polarity up to the present instant, where it is known.
    pub const fn polarity(&self) -> Option<Polarity> {
        self.settled
    }

    /// The stretches of which the polarity is not known, the last one up to
    /// `end`.
    pub fn unknown_spans(mut self, end: BenchInstant) -> Spans {
        if let Some(from) = self.lost {
            self.close(from, end);
        }
        self.spans
    }

    /// Takes a change; tells what became of the instant before it. Events come
    /// one instant late, since both wires may change at the same instant.
    #[inline]
    pub fn push(&mut self, change: Change) -> Option<WireEvent> {
        let level = match change.value {
            Value::Low => Some(false),
            Value::High => Some(true),
            Value::Real(value) => Some(value > 0.0),
            Value::Vector(value) => Some(value != 0),
            Value::Unknown | Value::HighImpedance => {
                self.unknown += 1;
                None
            }
        };
        *self.levels.get_mut(change.wire)? = level;
        let polarity = match (self.pair, self.levels) {
            (WirePair::Single, [level, _]) => level.map(|high| match high {
                true => Polarity::Positive,
                false => Polarity::Negative,
            }),
            (WirePair::Difference, [Some(a), Some(b)]) => Some(match (a, b) {
                (true, false) => Polarity::Positive,
                (false, true) => Polarity::Negative,
                _ => Polarity::Zero,
            }),
            (WirePair::Difference, _) => None,
        };
        let told = match self.present {
            Some((at, _)) if at == change.at => None,
            _ => self.finish(),
        };
        self.present = Some((change.at, polarity));
        told
    }

    /// What is still held back, if anything.
    #[inline]
    pub fn finish(&mut self) -> Option<WireEvent> {
        let (at, polarity) = self.present.take()?;
        let before = std::mem::replace(&mut self.settled, polarity);
        match (before, polarity) {
            (Some(before), Some(to)) => (before != to).then_some(WireEvent::Edge(Edge { at, to })),
            (None, Some(to)) => {
                self.found(at);
                Some(WireEvent::Known(Edge { at, to }))
            }
            (Some(_), None) => {
                self.lost = Some(at);
                Some(WireEvent::Lost(at))
            }
            (None, None) => {
                // Values that never were any leave a stretch too.
                self.lost.get_or_insert(at);
                None
            }
        }
    }

    #[cold]
    fn found(&mut self, at: BenchInstant) {
        if let Some(from) = self.lost.take() {
            self.close(from, at);
        }
    }

    fn close(&mut self, from: BenchInstant, to: BenchInstant) {
        let values = self.unknown - std::mem::replace(&mut self.counted, self.unknown);
        let seconds = |at: BenchInstant| at.since_zero().si();
        let span = Span {
            from: seconds(from),
            to: seconds(to),
        };
        self.spans.push(span, values);
    }
}
