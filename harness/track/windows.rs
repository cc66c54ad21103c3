//! Pieces of waveform around transitions, kept evenly over a capture of any
//! length in bounded memory, and the last samples before a piece. It measures
//! nothing.

use crate::waveform::crossing::Sample;

/// Windows kept of each direction; on reaching it only transitions of an even
/// number are kept from then on, and so on: which ones are kept depends on
/// their numbers alone, not on how the samples were cut in pieces.
const KEPT: usize = 256;

/// One window: raw samples, and where in them the crossing lies.
#[derive(Clone, Debug)]
pub(super) struct Window {
    pub(super) samples: Vec<f64>,
    pub(super) crossing: f64,
    /// Samples between the first and the last passing of zero.
    pub(super) ambiguity: f64,
    /// Samples to the crossing before it and to the one after it, as far as
    /// these are known; infinite where there is none.
    pub(super) apart: (f64, f64),
}

/// The last samples before a piece, and the piece: what is at hand.
#[derive(Clone, Debug)]
pub(super) struct History {
    wanted: usize,
    tail: Vec<f64>,
    /// Number of the sample after the tail.
    next: u64,
}

impl History {
    /// Remembers at least `wanted` samples.
    pub(super) const fn new(wanted: usize) -> Self {
        Self {
            wanted,
            tail: Vec::new(),
            next: 0,
        }
    }

    /// The number of the sample after those of `piece`.
    pub(super) const fn end<S>(&self, piece: &[S]) -> u64 {
        self.next + piece.len() as u64
    }

    /// Puts the samples from `from` up to `to` into `found`, if they are all at
    /// hand.
    pub(super) fn copy<S: Sample>(
        &self,
        piece: &[S],
        (from, to): (i64, i64),
        found: &mut Vec<f64>,
    ) -> bool {
        let start = self.next as i64;
        let earliest = start - self.tail.len() as i64;
        if from < earliest || to > start + piece.len() as i64 || from > to {
            return false;
        }
        found.clear();
        if from < start {
            let until = to.min(start);
            let part = (from - earliest) as usize..(until - earliest) as usize;
            found.extend_from_slice(&self.tail[part]);
        }
        if to > start {
            let part = (from.max(start) - start) as usize..(to - start) as usize;
            found.extend(piece[part].iter().map(|s| s.number()));
        }
        true
    }

    /// What is at hand of the samples from `from` up to `to`.
    pub(super) fn at_hand<S>(&self, piece: &[S], (from, to): (i64, i64)) -> (i64, i64) {
        let earliest = self.next as i64 - self.tail.len() as i64;
        (from.max(earliest), to.min(self.end(piece) as i64))
    }

    /// Remembers the end of a piece.
    pub(super) fn take<S: Sample>(&mut self, piece: &[S]) {
        if piece.len() < self.wanted {
            let surplus = (self.tail.len() + piece.len()).saturating_sub(self.wanted);
            self.tail.drain(..surplus);
        } else {
            self.tail.clear();
        }
        let fresh = &piece[piece.len().saturating_sub(self.wanted)..];
        self.tail.extend(fresh.iter().map(|s| s.number()));
        self.next += piece.len() as u64;
    }
}

/// Windows of one direction.
#[derive(Clone, Debug, Default)]
pub(super) struct Keeper {
    /// Number of the transition, and its window.
    kept: Vec<(u64, Window)>,
    seen: u64,
    every_log2: u32,
}

impl Keeper {
    fn keeps(&self, number: u64) -> bool {
        number.is_multiple_of(1 << self.every_log2)
    }

    /// The number of the next transition, if it is one to keep.
    pub(super) fn next(&mut self) -> Option<u64> {
        let number = self.seen;
        self.seen += 1;
        self.keeps(number).then_some(number)
    }

    pub(super) fn keep(&mut self, number: u64, window: Window) {
        if self.kept.len() >= KEPT {
            self.every_log2 += 1;
            let every = 1_u64 << self.every_log2;
            self.kept.retain(|(number, _)| number.is_multiple_of(every));
        }
        if self.keeps(number) {
            self.kept.push((number, window));
        }
    }

    /// The windows, spread evenly.
    pub(super) fn windows(&self) -> impl Iterator<Item = &Window> {
        self.kept.iter().map(|(_, window)| window)
    }
}
