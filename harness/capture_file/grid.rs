//! The grid on which the edges of a recorded wire lie: how they were sampled,
//! whatever unit of time the file has. It needs no more than the lengths between
//! edges.

use super::lengths::{Length, Lengths};
use super::wire_edges::WireEvent;
use crate::clock::BenchInstant;
use crate::track::Edge;

/// Fewest stretches from which a grid is concluded.
const FEWEST: u64 = 50;
/// Lengths seen less often say nothing of how others flicker.
const OFTEN: u64 = 3;
/// A period that instants are rounded from is told from chance by so many units
/// of the file's time.
const WELL_APART: f64 = 20.0;
/// So many stretches may lie off the grid: a trigger, a dropped sample.
const ASTRAY: f64 = 0.01;

/// Collects lengths between edges.
#[derive(Clone, Debug, Default)]
pub struct Grid {
    last: Option<BenchInstant>,
    events: u64,
    count: u64,
    divisor: i64,
    lengths: Lengths,
}

/// What was found of a grid, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FoundGrid {
    /// The step by which lengths of one polarity flicker and on which all of
    /// them lie: the signal was sampled so.
    pub sampled: Option<f64>,
    /// The greatest common divisor of the lengths, to the picosecond, where
    /// there are enough: a signal may have round lengths without being sampled.
    pub divisor: Option<f64>,
    /// The file's unit of time.
    pub tick: f64,
}

impl Grid {
    /// Takes what became of a wire. Where its polarity was not known before, or is
    /// not from here on, the stretch up to the next edge says nothing. With the first
    /// `enough` of all, and what came along with them, it tells what those lie on.
    pub fn take(&mut self, events: &[WireEvent], enough: u64, tick: f64) -> Option<FoundGrid> {
        let before = self.events;
        self.events += events.len() as u64;
        for &event in events {
            match event {
                WireEvent::Edge(edge) => self.edge(edge),
                WireEvent::Known(_) | WireEvent::Lost(_) => self.last = None,
            }
        }
        let now = before < enough && enough <= self.events;
        now.then(|| self.found(tick))
    }

    /// Takes an edge.
    #[inline]
    pub fn edge(&mut self, edge: Edge) {
        let Some(last) = self.last.replace(edge.at) else {
            return;
        };
        let length = (edge.at - last).picoseconds();
        self.count += 1;
        let new = self.lengths.count((edge.to, length));
        // Nothing divides less than 1.
        if new && self.divisor != 1 {
            self.divisor = divisor(self.divisor, length);
        }
    }

    /// What the lengths lie on, the file's unit of time being `tick` s.
    pub fn found(&self, tick: f64) -> FoundGrid {
        let enough = self.count >= FEWEST && self.divisor > 0;
        let lengths = self.lengths.sorted();
        FoundGrid {
            sampled: self.sampled(&lengths, tick).filter(|_| enough),
            divisor: enough.then_some(self.divisor as f64 * 1e-12),
            tick,
        }
    }

    /// The step of neighbouring lengths, if all lie on its multiples. Instants
    /// are rounded to the file's unit, so that a length errs by one at most.
    fn sampled(&self, all: &[(Length, u64)], tick: f64) -> Option<f64> {
        let tick = (tick * 1e12).max(1.0);
        let often = all.iter().filter(|(_, count)| *count >= OFTEN);
        let often: Vec<Length> = often.map(|(length, _)| *length).collect();
        // Steps within the rounding belong to one length.
        let steps = often.windows(2).filter(|pair| pair[0].0 == pair[1].0);
        let steps = steps.map(|pair| (pair[1].1 - pair[0].1) as f64);
        let mut steps: Vec<f64> = steps.filter(|step| *step > 2.0 * tick).collect();
        steps.sort_by(f64::total_cmp);
        steps.dedup();
        let mut lengths: Vec<f64> = often.iter().map(|key| key.1 as f64).collect();
        lengths.sort_by(f64::total_cmp);
        lengths.truncate(64);
        let near = |step: f64| scanned(step, tick, &lengths);
        let found = steps
            .into_iter()
            .take(8)
            .find_map(|step| fitted(all, near(step), tick))?;
        // Where the lengths are exact multiples the period is exact too.
        let exact = self.divisor as f64 * 1e-12;
        if (found - exact).abs() <= 1e-6 * exact {
            return Some(exact);
        }
        // Within a few units of time everything fits some period.
        (found * 1e12 > WELL_APART * tick).then_some(found)
    }
}

/// The period near `step` of which the lengths are multiples.
fn fitted(lengths: &[(Length, u64)], step: f64, tick: f64) -> Option<f64> {
    let mut period = step;
    let (mut fitting, mut all) = (0, 0);
    // Short lengths first: each makes the period known well enough for the
    // next to be counted in it.
    let by_length = lengths.iter().map(|(key, count)| (key.1, *count));
    let mut by_length: Vec<(i64, u64)> = by_length.collect();
    by_length.sort_unstable();
    let (mut products, mut squares) = (0.0, 0.0);
    for (length, count) in by_length {
        let (length, count_f) = (length as f64, count as f64);
        let periods = libm::round(length / period);
        all += count;
        if (length - periods * period).abs() > 1.01 * tick || periods == 0.0 {
            continue;
        }
        fitting += count;
        products += count_f * length * periods;
        squares += count_f * periods * periods;
        period = products / squares;
    }
    let share = fitting as f64 / all.max(1) as f64;
    (share >= 1.0 - ASTRAY && period > 2.0 * tick).then_some(period * 1e-12)
}

/// The period within the rounding of `step` of which most of these lengths are
/// multiples.
fn scanned(step: f64, tick: f64, lengths: &[f64]) -> f64 {
    let longest = lengths.last().copied().unwrap_or(step);
    let periods = libm::ceil(longest / step).clamp(1.0, 10_000.0);
    let reach = (4.0 * periods) as i64;
    // As many as fit, if more than `least` do; `least` of others.
    let fitting = |period: f64, least: usize| {
        let off = |length: f64| (length - nearest(length / period) * period).abs();
        let mut more = (lengths.len() - least) as u64;
        for some in lengths.chunks(8) {
            let misfits: u64 = some.iter().map(|&l| u64::from(off(l) > 1.01 * tick)).sum();
            more = more.saturating_sub(misfits);
            if more == 0 {
                break;
            }
        }
        least + more as usize
    };
    let mut best = (fitting(step, 0), step);
    for place in 1..=reach {
        let off = 1.5 * tick * place as f64 / reach as f64;
        for period in [step - off, step + off] {
            let found = fitting(period, best.0);
            if found > best.0 {
                best = (found, period);
            }
        }
    }
    best.1
}

/// The nearest whole number to one below 2^51, quickly: beyond 2^52 there are only
/// whole ones.
fn nearest(number: f64) -> f64 {
    const WHOLE: f64 = (1_u64 << 52) as f64;
    (number.abs() + WHOLE - WHOLE).copysign(number)
}

fn divisor(a: i64, b: i64) -> i64 {
    let (mut a, mut b) = (a.unsigned_abs(), b.unsigned_abs());
    while b != 0 {
        (a, b) = (b, a % b);
    }
    i64::try_from(a).unwrap_or(i64::MAX)
}
