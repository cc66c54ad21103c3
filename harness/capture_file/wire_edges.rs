//! Values of one wire or of a pair to edges of the track signal. It decodes
//! nothing.

use super::vcd::{Change, Value};
use crate::track::{Edge, Polarity};

/// Which wires make the signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WirePair {
    /// One wire: high is positive.
    Single,
    /// Two wires, the first less the second: equal ones are zero.
    Difference,
}

/// Makes edges. Values that are neither high nor low are passed over and
/// counted; reals count by their sign, vectors by being zero or not.
#[derive(Clone, Debug)]
pub struct WireEdges {
    pair: WirePair,
    levels: [Option<bool>; 2],
    initial: Option<Edge>,
    /// The polarity up to the present instant.
    settled: Option<Polarity>,
    /// The present instant's polarity, which another value may still change.
    present: Option<Edge>,
    unknown: u64,
}

impl WireEdges {
    /// Edges of the wires numbered 0, or 0 and 1, of a reader.
    pub const fn new(pair: WirePair) -> Self {
        Self {
            pair,
            levels: [None; 2],
            initial: None,
            settled: None,
            present: None,
            unknown: 0,
        }
    }

    /// The polarity that was known first, and since when; no edge led to it.
    /// Known at the latest when the first edge is told.
    pub const fn initial(&self) -> Option<Edge> {
        self.initial
    }

    /// Values passed over.
    pub const fn unknown(&self) -> u64 {
        self.unknown
    }

    /// Takes a change; tells the edge before it, if there was one. Edges come
    /// one instant late, since both wires may change at the same instant.
    pub fn push(&mut self, change: Change) -> Option<Edge> {
        let level = match change.value {
            Value::Low => false,
            Value::High => true,
            Value::Real(value) => value > 0.0,
            Value::Vector(value) => value != 0,
            Value::Unknown | Value::HighImpedance => {
                self.unknown += 1;
                return None;
            }
        };
        *self.levels.get_mut(change.wire)? = Some(level);
        let to = match (self.pair, self.levels) {
            (WirePair::Single, [Some(true), _]) => Polarity::Positive,
            (WirePair::Single, [Some(false), _]) => Polarity::Negative,
            (WirePair::Difference, [Some(a), Some(b)]) => match (a, b) {
                (true, false) => Polarity::Positive,
                (false, true) => Polarity::Negative,
                _ => Polarity::Zero,
            },
            _ => return None,
        };
        let present = Edge { at: change.at, to };
        if self.present.is_some_and(|edge| edge.at == change.at) {
            self.present = Some(present);
            return None;
        }
        let told = self.finish();
        self.present = Some(present);
        told
    }

    /// The edge still held back, if there is one.
    pub fn finish(&mut self) -> Option<Edge> {
        let edge = self.present.take()?;
        match self.settled.replace(edge.to) {
            None => {
                self.initial = Some(edge);
                None
            }
            Some(before) => (before != edge.to).then_some(edge),
        }
    }
}
