//! Pieces of waveform around transitions, kept evenly over a capture of any
//! length in bounded memory. It measures nothing.

use crate::waveform::crossing::Sample;
use std::collections::VecDeque;

/// Windows kept of each direction; on reaching it every second one is dropped
/// and from then on every second transition is passed over.
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
    kept: Vec<Window>,
    seen: u64,
    every_log2: u32,
}

impl Keeper {
    /// Whether the next transition is one to keep.
    fn wants(&mut self) -> bool {
        let wanted = self.seen.is_multiple_of(1 << self.every_log2);
        self.seen += 1;
        wanted
    }

    fn keep(&mut self, window: Window) {
        self.kept.push(window);
        if self.kept.len() >= KEPT {
            let mut index = 0;
            self.kept.retain(|_| {
                index += 1;
                index % 2 == 1
            });
            self.every_log2 += 1;
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
    pending: VecDeque<(f64, bool)>,
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
        if !keeper.wants() {
            return;
        }
        if self.pending.len() == PENDING {
            self.cut(samples);
        }
        if self.pending.len() < PENDING {
            self.pending.push_back((position, rising));
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

    /// Kept windows, falling and rising, with how many transitions there were
    /// of each.
    pub(super) fn kept(&self, rising: bool) -> &[Window] {
        if rising {
            &self.rising.kept
        } else {
            &self.falling.kept
        }
    }

    fn cut<S: Sample>(&mut self, samples: &[S]) {
        let start = self.next;
        let end = start + samples.len() as u64;
        while let Some(&(position, rising)) = self.pending.front() {
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
                self.rising.keep(window);
            } else {
                self.falling.keep(window);
            }
        }
    }
}
