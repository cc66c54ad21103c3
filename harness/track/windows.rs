//! Pieces of waveform around transitions, kept evenly over a capture of any
//! length in bounded memory. It measures nothing.

use crate::waveform::crossing::Sample;
use std::collections::VecDeque;

/// Windows kept of each direction; on reaching it only transitions of an even
/// number are kept from then on, and so on: which ones are kept depends on
/// their numbers alone, not on how the samples were cut in pieces.
const KEPT: usize = 256;
/// Transitions whose window is not yet complete.
const PENDING: usize = 64;

/// One window: raw samples, and where in them the crossing lies.
#[derive(Clone, Debug)]
pub(super) struct Window {
    pub(super) samples: Vec<f64>,
    pub(super) crossing: f64,
}

/// Windows of one direction.
#[derive(Clone, Debug, Default)]
struct Keeper {
    /// Number of the transition, and its window.
    kept: Vec<(u64, Window)>,
    seen: u64,
    wanted: usize,
    every_log2: u32,
}

impl Keeper {
    fn keeps(&self, number: u64) -> bool {
        number.is_multiple_of(1 << self.every_log2)
    }

    /// The number of the next transition, if it is one to keep.
    fn next(&mut self) -> Option<u64> {
        let number = self.seen;
        self.seen += 1;
        if !self.keeps(number) {
            return None;
        }
        self.wanted += 1;
        if self.wanted == KEPT {
            self.wanted = KEPT / 2;
            self.every_log2 += 1;
        }
        Some(number)
    }

    fn keep(&mut self, number: u64, window: Window) {
        if self.kept.len() >= KEPT {
            let every = 1_u64 << self.every_log2;
            self.kept.retain(|(number, _)| number.is_multiple_of(every));
        }
        if self.keeps(number) && self.kept.len() < KEPT {
            self.kept.push((number, window));
        }
    }
}

/// Cuts windows out of a stream of samples.
#[derive(Clone, Debug)]
pub(super) struct Windows {
    /// Samples either side of a crossing.
    reach: usize,
    /// The last samples of earlier pieces.
    tail: Vec<f64>,
    /// Number of the sample after the tail.
    next: u64,
    pending: VecDeque<(f64, bool, u64)>,
    falling: Keeper,
    rising: Keeper,
}

impl Windows {
    pub(super) fn new(reach: usize) -> Self {
        Self {
            reach,
            tail: Vec::new(),
            next: 0,
            pending: VecDeque::new(),
            falling: Keeper::default(),
            rising: Keeper::default(),
        }
    }

    /// Notes a crossing of the piece that [`Windows::take`] gets next.
    pub(super) fn note(&mut self, position: f64, rising: bool, samples: &[impl Sample]) {
        let keeper = if rising {
            &mut self.rising
        } else {
            &mut self.falling
        };
        let Some(number) = keeper.next() else {
            return;
        };
        if self.pending.len() == PENDING {
            self.cut(samples);
        }
        if self.pending.len() < PENDING {
            self.pending.push_back((position, rising, number));
        }
    }

    /// Cuts all windows that `samples` completes, and remembers its tail.
    pub(super) fn take<S: Sample>(&mut self, samples: &[S]) {
        self.cut(samples);
        let wanted = 2 * self.reach + 2;
        if samples.len() < wanted {
            let surplus = (self.tail.len() + samples.len()).saturating_sub(wanted);
            self.tail.drain(..surplus);
        } else {
            self.tail.clear();
        }
        let fresh = &samples[samples.len().saturating_sub(wanted)..];
        self.tail.extend(fresh.iter().map(|s| s.number()));
        self.next += samples.len() as u64;
    }

    /// The windows of one direction, spread evenly.
    pub(super) fn kept(&self, rising: bool) -> impl Iterator<Item = &Window> {
        let keeper = if rising { &self.rising } else { &self.falling };
        let even = keeper
            .kept
            .iter()
            .filter(|(number, _)| keeper.keeps(*number));
        even.map(|(_, window)| window)
    }

    fn cut<S: Sample>(&mut self, samples: &[S]) {
        let start = self.next;
        let end = start + samples.len() as u64;
        while let Some(&(position, rising, number)) = self.pending.front() {
            let middle = libm::floor(position) as u64;
            if middle + self.reach as u64 >= end {
                return;
            }
            self.pending.pop_front();
            let tail_start = start - self.tail.len() as u64;
            let Some(from) = middle.checked_sub(self.reach as u64) else {
                continue;
            };
            if from < tail_start {
                continue;
            }
            let value = |index: u64| {
                if index < start {
                    self.tail[(index - tail_start) as usize]
                } else {
                    samples[(index - start) as usize].number()
                }
            };
            let window = Window {
                samples: (from..=middle + self.reach as u64).map(value).collect(),
                crossing: position - from as f64,
            };
            if rising {
                self.rising.keep(number, window);
            } else {
                self.falling.keep(number, window);
            }
        }
    }
}
