//! The loops that a board can be part of on its bench, as whoever provokes,
//! captures or evaluates them needs them. Nothing is permitted here.

use super::intent::{gap_branch, short_branch};
use super::surroundings::BoardFacts;
use crate::bench_file::{Bench, Closes, Loop};
use crate::plan::ShortPlace;
use crate::units::{Ohms, Quantity, Seconds, Volts};

/// The loops round one board on one bench.
#[derive(Clone, Copy, Debug)]
pub struct Loops<'a> {
    bench: &'a Bench,
    source_resistance: Ohms,
}

impl<'a> Loops<'a> {
    /// The loops of `bench` round `board`.
    pub fn new(bench: &'a Bench, board: BoardFacts) -> Self {
        Self {
            bench,
            source_resistance: board.source_resistance,
        }
    }

    /// The loop that `closes` closes while the board's rail is at `supply`;
    /// for a gap the one of opposite phase. `None` where the bench has no such
    /// branch, or nothing flows through it by itself.
    pub fn closed(&self, closes: Closes, supply: Volts) -> Option<Loop> {
        self.bench
            .closed_loop(closes, supply, self.source_resistance)
    }

    /// The loop of a short.
    pub fn short(&self, place: ShortPlace, supply: Volts) -> Option<Loop> {
        self.closed(short_branch(place), supply)
    }

    /// The loop of a gap in opposite phase.
    pub fn gap(&self, crossed: bool, supply: Volts) -> Option<Loop> {
        self.closed(gap_branch(crossed), supply)
    }

    /// The loop into the empty capacitor bank.
    pub fn bank(&self, supply: Volts) -> Option<Loop> {
        self.closed(Closes::CapacitorBank, supply)
    }

    /// How long the spikes last that two boosters in phase push through either
    /// gap at their edges; `None` where nothing flows through one. At an edge
    /// the board's diodes conduct, so its own resistance is left out.
    pub fn edge_spike(&self, supply: Volts) -> Option<Seconds> {
        [true, false]
            .into_iter()
            .filter_map(|crossed| {
                let gap = self.bench.mismatch(supply, gap_branch(crossed))?;
                Some(gap.edge_spike())
            })
            .reduce(|a, b| if b.si() > a.si() { b } else { a })
    }
}
