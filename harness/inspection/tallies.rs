//! What was read off many half-bits and crossings, in bounded memory: counts by
//! level, extremes, and where the first of the low, high, slow and distorted ones
//! are. It knows no uncertainty.

use crate::clock::BenchInstant;

/// Peak amplitude, least and most over all scales: NMRA S-9.1:2020 table 3.
pub(super) const AMPLITUDE: (f64, f64) = (8.5, 22.0);
/// Slew between -4 V and +4 V, at least: NMRA S-9.1:2020.
pub(super) const SLEW: f64 = 2.4e6;
/// Places of a sort that are kept.
pub(super) const PLACES: usize = 256;
/// Width of a bin of levels, V, and bins.
const BIN: f64 = 0.02;
const BINS: usize = 4_000;
/// Reversals that are kept; beyond them the shallowest give way.
const REVERSALS: usize = 4_096;
/// Depths below this are kept by no crossing, V.
const SHALLOW: f64 = 0.05;

/// Where something was read, and what.
pub(super) type Read = (BenchInstant, f64);

/// Levels of the halves of one polarity, magnitudes in V.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Levels {
    pub(super) count: u64,
    bins: Vec<u64>,
    pub(super) lowest: Option<Read>,
    pub(super) highest: Option<Read>,
    /// The first that are lower or higher than any scale has them.
    pub(super) low: Vec<Read>,
    pub(super) high: Vec<Read>,
    /// Least and most of all looks at halves, and halves that were flat there.
    extremes: Option<(f64, f64)>,
    flat: [u64; 2],
    moving: u64,
}

impl Levels {
    pub(super) const fn new() -> Self {
        Self {
            count: 0,
            bins: Vec::new(),
            lowest: None,
            highest: None,
            low: Vec::new(),
            high: Vec::new(),
            extremes: None,
            flat: [0; 2],
            moving: 0,
        }
    }

    /// A half of that level, and the least and most that was seen of it.
    pub(super) fn push(&mut self, level: f64, at: BenchInstant, (least, most): (f64, f64)) {
        self.count += 1;
        if self.bins.is_empty() {
            self.bins = vec![0; BINS];
        }
        let bin = ((level / BIN) as usize).min(BINS - 1);
        self.bins[bin] += 1;
        if self.lowest.is_none_or(|(_, known)| level < known) {
            self.lowest = Some((at, level));
        }
        if self.highest.is_none_or(|(_, known)| level > known) {
            self.highest = Some((at, level));
        }
        if level < AMPLITUDE.0 && self.low.len() < PLACES {
            self.low.push((at, level));
        }
        if level > AMPLITUDE.1 && self.high.len() < PLACES {
            self.high.push((at, level));
        }
        let (low, high) = self.extremes.unwrap_or((least, most));
        for (end, seen, known) in [(0, least, low), (1, -most, -high)] {
            if seen < known {
                self.flat[end] = 0;
            }
            self.flat[end] += u64::from(least == most && seen <= known);
        }
        self.moving += u64::from(least < most);
        self.extremes = Some((low.min(least), high.max(most)));
    }

    /// How many are beyond the limit by more than `expanded`, and how many are
    /// nearer to it.
    pub(super) fn against(&self, limit: f64, lower: bool, expanded: f64) -> (u64, u64) {
        let (mut beyond, mut near) = (0, 0);
        for (bin, &count) in self.bins.iter().enumerate() {
            let level = (bin as f64 + 0.5) * BIN;
            let excess = if lower { limit - level } else { level - limit };
            if excess > expanded {
                beyond += count;
            } else if excess > -expanded {
                near += count;
            }
        }
        (beyond, near)
    }

    /// Where all halves end flat at the very same voltage.
    pub(super) fn flat_at(&self) -> Option<f64> {
        let (low, high) = self.extremes?;
        let outer = usize::from(high > -low);
        let flat = self.count >= 10 && self.flat[outer] * 10 >= self.count * 9;
        flat.then_some(if outer == 1 { high } else { low })
    }

    /// Whether halves of this polarity are not flat, so that flat ones of the
    /// other are no property of the source.
    pub(super) const fn moves(&self) -> bool {
        self.count >= 10 && self.moving * 2 >= self.count
    }
}

/// Crossings of one direction.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Slopes {
    /// Slopes read, with a sample between the levels.
    pub(super) count: u64,
    /// The slowest: when, V/s, and its standard uncertainty by sampling alone.
    pub(super) slowest: Option<(BenchInstant, f64, f64)>,
    pub(super) slow: Vec<Read>,
    pub(super) slow_count: u64,
    /// Crossings of which an end never got to the slew levels.
    pub(super) unreached: u64,
    /// Crossings looked at for reversals, their samples between the levels, and
    /// crossings with too few of them.
    pub(super) looked: u64,
    pub(super) samples: u64,
    pub(super) blind: u64,
    /// Reversals: when, depth and the largest magnitude of it, V.
    pub(super) reversals: Vec<(BenchInstant, f64, f64)>,
    /// Those that were not kept.
    pub(super) lost: u64,
}

impl Slopes {
    pub(super) const fn new() -> Self {
        Self {
            count: 0,
            slowest: None,
            slow: Vec::new(),
            slow_count: 0,
            unreached: 0,
            looked: 0,
            samples: 0,
            blind: 0,
            reversals: Vec::new(),
            lost: 0,
        }
    }

    /// A crossing that took `span` seconds for `volts`, sampled every `period`.
    pub(super) fn slope(&mut self, volts: f64, span: f64, period: f64, at: BenchInstant) {
        // Within a period it is a bound, which says nothing of the slowest.
        if span < period {
            return;
        }
        self.count += 1;
        let slope = volts / span;
        // Two ends, each known to a period at worst (GUM 4.3.7).
        let u = slope * (period / span) / libm::sqrt(6.0);
        if self.slowest.is_none_or(|(_, known, _)| slope < known) {
            self.slowest = Some((at, slope, u));
        }
        if slope < SLEW {
            self.slow_count += 1;
            if self.slow.len() < PLACES {
                self.slow.push((at, slope));
            }
        }
    }

    /// The deepest reversal of a crossing, and how many samples it holds.
    pub(super) fn shape(&mut self, found: Option<(f64, f64)>, inside: u64, at: BenchInstant) {
        self.looked += 1;
        self.samples += inside;
        self.blind += u64::from(inside == 0);
        let Some((depth, size)) = found.filter(|found| found.0 > SHALLOW) else {
            return;
        };
        if self.reversals.len() < REVERSALS {
            self.reversals.push((at, depth, size));
            return;
        }
        // The shallowest gives way.
        let least = (0..REVERSALS).min_by(|&a, &b| {
            let [a, b] = [a, b].map(|index| self.reversals[index].1);
            a.total_cmp(&b)
        });
        self.lost += 1;
        if let Some(least) = least.filter(|&least| self.reversals[least].1 < depth) {
            self.reversals[least] = (at, depth, size);
        }
    }
}
