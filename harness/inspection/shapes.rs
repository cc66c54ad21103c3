//! The level of every half-bit and the shape of every crossing of a voltage,
//! read off the samples around its edges. It knows no limit and decides nothing.

use super::tallies::{Levels, Slopes};
use crate::clock::BenchInstant;
use crate::track::{Edge, Polarity, SLEW_LEVEL, Scale};
use crate::units::Quantity;
use crate::waveform::crossing::Sample;
use std::collections::VecDeque;

/// Distortion is allowed from -2 V to +2 V: NMRA S-9.1:2020 table 2.
const ALLOWED: f64 = 2.0;
/// Shorter stretches are no half-bit: what the decoder calls a glitch, s.
const SHORTEST: f64 = 20e-6;
/// Two halves farther apart are not joined by one crossing, s: longer than 8 V
/// take at a tenth of the slew that is demanded.
const LONGEST_CROSSING: f64 = 40e-6;
/// Samples kept from piece to piece, and looked at on either side of a crossing.
const KEPT: usize = 1 << 16;
const REACH: u64 = 4_000;
/// Samples that tell the level of a half: their median withstands ringing.
const LOOKS: u64 = 9;
/// For so long behind the slew levels, s, and for what fraction of the half, it
/// still belongs to a crossing what runs back into it.
const SETTLING: (f64, f64) = (5e-6, 0.25);

/// A half-bit between two edges, by the numbers of samples.
#[derive(Clone, Copy, Debug)]
struct Half {
    polarity: Polarity,
    from: f64,
    to: f64,
}

/// Looks at evenly spaced samples around edges.
#[derive(Clone, Debug)]
pub(super) struct Shapes {
    first: f64,
    period: f64,
    scale: Scale,
    tail: Vec<f64>,
    /// The number of the sample behind the tail.
    next: u64,
    waiting: VecDeque<(f64, Polarity)>,
    before: Option<Half>,
    /// Of positive and of negative halves, magnitudes.
    pub(super) levels: [Levels; 2],
    /// Of crossings upwards and downwards.
    pub(super) slopes: [Slopes; 2],
}

/// Samples by number, as far as they are still there.
struct View<'a, S> {
    tail: &'a [f64],
    start: u64,
    samples: &'a [S],
    scale: Scale,
}

impl<S: Sample> View<'_, S> {
    fn volts(&self, number: u64) -> Option<f64> {
        let index = usize::try_from(number.checked_sub(self.start)?).ok()?;
        let raw = match self.tail.get(index) {
            Some(raw) => *raw,
            None => self.samples.get(index - self.tail.len())?.number(),
        };
        let volts = raw * self.scale.gain + self.scale.offset;
        volts.is_finite().then_some(volts)
    }
}

impl Shapes {
    /// Before the first sample, at the instant `first`, s.
    pub(super) fn new(first: f64, period: f64, scale: Scale) -> Self {
        Self {
            first,
            period,
            scale,
            tail: Vec::new(),
            next: 0,
            waiting: VecDeque::new(),
            before: None,
            levels: [const { Levels::new() }; 2],
            slopes: [const { Slopes::new() }; 2],
        }
    }

    /// Takes a piece of samples with the edges that were found in it.
    pub(super) fn take<S: Sample>(&mut self, samples: &[S], edges: &[Edge]) {
        let number = |edge: &Edge| {
            let at = (edge.at.since_zero().si() - self.first) / self.period;
            (at.max(0.0), edge.to)
        };
        self.waiting.extend(edges.iter().map(number));
        let tail = std::mem::take(&mut self.tail);
        let view = View {
            tail: &tail,
            start: self.next - tail.len() as u64,
            samples,
            scale: self.scale,
        };
        while let (Some(&(from, polarity)), Some(&(to, _))) =
            (self.waiting.front(), self.waiting.get(1))
        {
            self.waiting.pop_front();
            let long = (to - from) * self.period >= SHORTEST;
            if polarity != Polarity::Zero && long {
                self.half(Half { polarity, from, to }, &view);
            }
        }
        self.keep(tail, samples);
    }

    /// Keeps what the next piece may ask for.
    fn keep<S: Sample>(&mut self, mut tail: Vec<f64>, samples: &[S]) {
        let end = self.next + samples.len() as u64;
        let open = self.waiting.front().map_or(end as f64, |edge| edge.0);
        let since = self.before.map_or(open, |half| half.to.min(open));
        let wanted = (end.saturating_sub(since as u64) + REACH).min(KEPT as u64) as usize;
        if samples.len() >= wanted {
            tail.clear();
        } else {
            let surplus = (tail.len() + samples.len()).saturating_sub(wanted);
            tail.drain(..surplus.min(tail.len()));
        }
        let fresh = &samples[samples.len().saturating_sub(wanted)..];
        tail.extend(fresh.iter().map(|sample| sample.number()));
        self.tail = tail;
        self.next = end;
    }

    fn half<S: Sample>(&mut self, half: Half, view: &View<'_, S>) {
        let length = half.to - half.from;
        let (from, to) = (half.from + 0.25 * length, half.from + 0.75 * length);
        let step = (to - from) / (LOOKS - 1) as f64;
        let looks = (0..LOOKS).filter_map(|n| view.volts((from + n as f64 * step) as u64));
        let mut looks: Vec<f64> = looks.collect();
        looks.sort_by(f64::total_cmp);
        let sign = usize::from(half.polarity == Polarity::Negative);
        let at = self.instant(half.from);
        if let (Some(level), Some(least), Some(most)) =
            (looks.get(looks.len() / 2), looks.first(), looks.last())
        {
            self.levels[sign].push(level.abs(), at, (*least, *most));
        }
        let before = self.before.replace(half);
        if let Some(before) = before.filter(|before| before.polarity != half.polarity)
            && (half.from - before.to) * self.period <= LONGEST_CROSSING
        {
            self.crossing(before, half, view);
        }
    }

    fn instant(&self, number: f64) -> BenchInstant {
        let seconds = self.first + number * self.period;
        BenchInstant::from_picoseconds(libm::round(seconds * 1e12) as i64)
    }

    /// From the last sample beyond -4 V to the first beyond +4 V, or the other
    /// way round, wherever the halves on both sides were seen to end and begin;
    /// then on until the new level is reached.
    fn crossing<S: Sample>(&mut self, before: Half, after: Half, view: &View<'_, S>) {
        let rising = after.polarity == Polarity::Positive;
        let sign = if rising { 1.0 } else { -1.0 };
        let at = |number: u64| view.volts(number).map(|volts| sign * volts);
        let (leaves, arrives) = (before.to as u64, after.from as u64 + 1);
        let least = (before.from as u64).max(leaves.saturating_sub(REACH));
        let most = (after.to as u64).min(arrives + REACH);
        let end = (leaves..=most).find(|&n| at(n).is_some_and(|volts| volts >= SLEW_LEVEL));
        let start = (least..=end.unwrap_or(leaves))
            .rev()
            .find(|&n| at(n).is_some_and(|volts| volts <= -SLEW_LEVEL));
        let instant = self.instant(before.to);
        let slopes = &mut self.slopes[usize::from(!rising)];
        let (Some(start), Some(end)) = (start, end) else {
            slopes.unreached += 1;
            return;
        };
        let part = SETTLING.1 * (after.to - after.from);
        let settled = end + part.min(SETTLING.0 / self.period) as u64;
        // Of a crossing that was not read as a whole there is no shape.
        if (start..=settled.min(most)).any(|n| at(n).is_none()) {
            return;
        }
        let place = |low: u64, level: f64| {
            let (a, b) = (at(low)?, at(low + 1)?);
            Some(low as f64 + if b > a { (level - a) / (b - a) } else { 0.0 })
        };
        let ends = place(start, -SLEW_LEVEL).zip(place(end - 1, SLEW_LEVEL));
        // Where it turned back in between, no one slope belongs to it.
        let turned = self.period * (after.from - before.to) > 0.0
            && (start + 1..end).any(|n| {
                at(n)
                    .zip(at(n + 1))
                    .is_some_and(|(a, b)| a - b > SLEW_LEVEL)
            });
        if let (Some((from, to)), false) = (ends, turned) {
            slopes.slope(
                2.0 * SLEW_LEVEL,
                (to - from) * self.period,
                self.period,
                instant,
            );
        }
        let inside = end.saturating_sub(start + 1);
        let found = reversal((start, end, settled.min(most)), at);
        slopes.shape(found, inside, instant);
    }
}

/// The deepest stretch that falls on a way that should only rise: its depth, and
/// its largest magnitude. From `end` on, where the slew levels are passed, only
/// what runs back into the crossing counts.
fn reversal(
    (start, end, settled): (u64, u64, u64),
    at: impl Fn(u64) -> Option<f64>,
) -> Option<(f64, f64)> {
    let mut peak = f64::NEG_INFINITY;
    let mut worst: Option<(f64, f64)> = None;
    for number in start..=settled {
        let Some(volts) = at(number) else { continue };
        let depth = peak - volts;
        let counts = number <= end || volts < ALLOWED;
        if counts && depth > worst.map_or(0.0, |worst| worst.0) {
            worst = Some((depth, volts.abs().max(peak.abs())));
        }
        peak = peak.max(volts);
    }
    worst
}
