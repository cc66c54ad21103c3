//! The level of every half-bit and the shape of every crossing of a voltage,
//! read off the samples around its edges. It knows no limit and decides nothing.

use super::tallies::{Levels, Slopes};
use super::view::{ALLOWED, LOOKS, View};
use crate::clock::{BenchInstant, BenchSpan};
use crate::track::{Polarity, SLEW_LEVEL, Scale};
use crate::waveform::crossing::Sample;
use std::collections::VecDeque;

/// Shorter stretches are no half-bit: what the decoder calls a glitch, s.
const SHORTEST: f64 = 20e-6;
/// Two halves farther apart are not joined by one crossing, s: longer than 8 V
/// take at a tenth of the slew that is demanded.
const LONGEST_CROSSING: f64 = 40e-6;
/// Samples kept from piece to piece, and looked at on either side of a crossing.
const KEPT: usize = 1 << 16;
const REACH: u64 = 4_000;
/// Parts of a sample that looks are spread by.
const PARTS: u32 = 20;
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
    /// Room for the samples of a crossing.
    way: Vec<f64>,
    /// Of positive and of negative halves, magnitudes.
    pub(super) levels: [Levels; 2],
    /// Of crossings upwards and downwards.
    pub(super) slopes: [Slopes; 2],
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
            way: Vec::new(),
            levels: [const { Levels::new() }; 2],
            slopes: [const { Slopes::new() }; 2],
        }
    }

    /// Notes a crossing of the piece that [`Shapes::take`] gets next.
    pub(super) fn crossed(&mut self, place: f64, to: Polarity) {
        self.waiting.push_back((place, to));
    }

    /// Takes a piece of samples.
    pub(super) fn take<S: Sample>(&mut self, samples: &[S]) {
        let tail = std::mem::take(&mut self.tail);
        let start = self.next - tail.len() as u64;
        let view = View::of(&tail, start, samples, self.scale);
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
        let wanted = end.saturating_sub(self.asked_from(end)).min(KEPT as u64) as usize;
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

    /// The number of the first sample that may still be asked for: of the half that
    /// has begun, or of the one before it, whose crossing comes with the next.
    fn asked_from(&self, end: u64) -> u64 {
        let Some(&(open, _)) = self.waiting.front() else {
            // The first crossing may have begun before it was found.
            return end.saturating_sub(REACH);
        };
        let crossing = self.before.as_ref().map_or(u64::MAX, crossing_from);
        crossing.min(open as u64)
    }

    fn half<S: Sample>(&mut self, half: Half, view: &View<'_, S>) {
        let length = half.to - half.from;
        let (from, to) = (half.from + 0.25 * length, half.from + 0.75 * length);
        let parts = |samples: f64| (samples * f64::from(1_u32 << PARTS)) as u64;
        let (from, step) = (parts(from), parts((to - from) / (LOOKS - 1) as f64));
        let (looks, seen) = view.looks(|n| (from + n as u64 * step) >> PARTS);
        let sign = usize::from(half.polarity == Polarity::Negative);
        let at = self.instant(half.from);
        if let Some((least, level, most)) = least_median_most(looks, seen) {
            self.levels[sign].push(level.abs(), at, (least, most));
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
        BenchInstant::ZERO + BenchSpan::nearest(seconds * 1e12)
    }

    /// From the last sample beyond -4 V to the first beyond +4 V, or the other
    /// way round, wherever the halves on both sides were seen to end and begin;
    /// then on until the new level is reached.
    fn crossing<S: Sample>(&mut self, before: Half, after: Half, view: &View<'_, S>) {
        let rising = after.polarity == Polarity::Positive;
        let sign = if rising { 1.0 } else { -1.0 };
        let (leaves, arrives) = (before.to as u64, after.from as u64 + 1);
        let least = crossing_from(&before);
        let most = (after.to as u64).min(arrives + REACH);
        let end = view.find((leaves, most), false, |volts| sign * volts >= SLEW_LEVEL);
        let until = end.unwrap_or(leaves);
        let start = view.find((least, until), true, |volts| sign * volts <= -SLEW_LEVEL);
        let instant = self.instant(before.to);
        let slopes = &mut self.slopes[usize::from(!rising)];
        let (Some(start), Some(end)) = (start, end) else {
            slopes.unreached += 1;
            return;
        };
        let part = SETTLING.1 * (after.to - after.from);
        let settled = end + part.min(SETTLING.0 / self.period) as u64;
        // Of a crossing that was not read as a whole there is no shape.
        let (way, last) = (&mut self.way, settled.min(most));
        // Where nothing runs back, what lies behind is not looked at.
        let looked_at = if view.clearly((end + 1, last), rising) {
            end
        } else {
            match view.least((end + 1, last), sign) {
                Some(least) if least < ALLOWED => last,
                Some(_) => end,
                None => return,
            }
        };
        if view.read((start, looked_at), sign, way).is_none() {
            return;
        }
        let behind = (end - start) as usize;
        let place = |low: usize, level: f64| {
            let (a, b) = (way[low], way[low + 1]);
            low as f64 + if b > a { (level - a) / (b - a) } else { 0.0 }
        };
        // Where it turned back in between, no one slope belongs to it.
        let turned = self.period * (after.from - before.to) > 0.0
            && way[1..=behind].windows(2).any(|p| p[0] - p[1] > SLEW_LEVEL);
        if !turned {
            let (from, to) = (place(0, -SLEW_LEVEL), place(behind - 1, SLEW_LEVEL));
            slopes.slope(
                2.0 * SLEW_LEVEL,
                (to - from) * self.period,
                self.period,
                instant,
            );
        }
        slopes.shape(reversal(way, behind), behind as u64 - 1, instant);
    }
}

/// The number of the first sample that is looked at where a half ends.
fn crossing_from(half: &Half) -> u64 {
    (half.from as u64).max((half.to as u64).saturating_sub(REACH))
}

/// Least, median and most of the first `seen` of some finite values.
fn least_median_most(mut looks: [f64; LOOKS], seen: usize) -> Option<(f64, f64, f64)> {
    if seen < LOOKS {
        let looks = &mut looks[..seen];
        looks.sort_unstable_by(f64::total_cmp);
        let middle = looks.get(seen / 2)?;
        return Some((*looks.first()?, *middle, *looks.last()?));
    }
    // Three rows, each in order: the median of nine is that of the most of their
    // first, the median of their second and the least of their third, since four
    // are no more and four no less. There is no branch that noise decides.
    let [a, b, c, d, e, f, g, h, i] = looks;
    let (one, two, three) = (in_order(a, b, c), in_order(d, e, f), in_order(g, h, i));
    let (least, _, low) = in_order(one.0, two.0, three.0);
    let (_, middle, _) = in_order(one.1, two.1, three.1);
    let (high, _, most) = in_order(one.2, two.2, three.2);
    Some((least, in_order(low, middle, high).1, most))
}

fn in_order(a: f64, b: f64, c: f64) -> (f64, f64, f64) {
    let order = |a, b| if b < a { (b, a) } else { (a, b) };
    let (a, b) = order(a, b);
    let (b, c) = order(b, c);
    let (a, b) = order(a, b);
    (a, b, c)
}

/// The deepest stretch that falls on a way that should only rise: its depth, and
/// its largest magnitude. From `end` on, where the slew levels are passed, only
/// what runs back into the crossing counts.
fn reversal(way: &[f64], end: usize) -> Option<(f64, f64)> {
    let mut peak = f64::NEG_INFINITY;
    let mut worst: Option<(f64, f64)> = None;
    let mut look = |volts: f64, counts: bool| {
        let depth = peak - volts;
        if counts && depth > worst.map_or(0.0, |worst| worst.0) {
            worst = Some((depth, volts.abs().max(peak.abs())));
        }
        peak = peak.max(volts);
    };
    let (crossing, behind) = way.split_at(end + 1);
    crossing.iter().for_each(|&volts| look(volts, true));
    behind
        .iter()
        .for_each(|&volts| look(volts, volts < ALLOWED));
    worst
}

#[cfg(test)]
mod tests {
    //! The median of nine against sorting, and the last samples of pieces of any
    //! length against one piece.

    use super::*;

    proptest::proptest! {
        #[test]
        fn least_median_and_most_are_those_of_a_sorted_list(
            looks: [i8; LOOKS],
            seen in 0..=LOOKS,
        ) {
            let looks = looks.map(f64::from);
            let mut sorted = looks[..seen].to_vec();
            sorted.sort_by(f64::total_cmp);
            let known = (seen > 0).then(|| (sorted[0], sorted[seen / 2], sorted[seen - 1]));
            proptest::prop_assert_eq!(least_median_most(looks, seen), known);
        }
    }
}
