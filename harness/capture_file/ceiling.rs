//! Samples at one end of a channel's range: whether the signal was cut off there
//! or only rests there. It sees the samples that another hands it.

use super::spans::{Span, Spans};
use crate::waveform::crossing::Sample;
use serde::Serialize;

/// Fewest samples at a ceiling, one after the other, that are more than noise.
const FLAT: u64 = 4;
/// So often the signal must leave a ceiling and turn back, to be cut off by it
/// rather than at rest there (common practice, no source).
const OFTEN: u64 = 3;
/// Noise moves by more steps than this.
const STEPS: f64 = 3.0;
/// What lies this share of the range below a ceiling is still near it.
const NEAR: f64 = 0.25;
/// A peak of the signal's own is rounded: it is about twice as long in its last
/// step as in the step below (a parabola in steps). What is cut off is there far
/// longer.
const FLATTER: u64 = 4;

/// A channel that reached the end of its range.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Clipping {
    /// The reading there, in the file's units.
    pub level: f64,
    /// Whether it is the last code of the file's type. Otherwise the signal is
    /// flat there while it moves elsewhere.
    pub last_code: bool,
    /// Where, and how many samples; of a long capture that reaches its end all
    /// the time, in the first eight million samples.
    pub spans: Spans,
}

/// The highest samples; of the lowest, their negatives are.
#[derive(Clone, Debug)]
pub(super) struct Ceiling {
    pub(super) level: f64,
    /// The last code of the type.
    pub(super) rail: Option<f64>,
    /// Samples at the level since it was reached, and since when.
    run: u64,
    since: f64,
    last: f64,
    spans: Spans,
    /// The lowest since the level was left, while that is near.
    dip: Option<f64>,
    /// How often it was left and turned back to.
    turned: u64,
    /// Samples in the step below that lead up to the present one, and how many
    /// led up to the present run.
    beside: u64,
    entered: u64,
    /// A flat run that was left, and samples in the step below beside it.
    flat: Option<(u64, u64)>,
    /// Flat runs that are no rounded peak, and all of them.
    flatter: (u64, u64),
}

impl Default for Ceiling {
    fn default() -> Self {
        Self {
            level: f64::NEG_INFINITY,
            rail: None,
            run: 0,
            since: 0.0,
            last: 0.0,
            spans: Spans::default(),
            dip: None,
            turned: 0,
            beside: 0,
            entered: 0,
            flat: None,
            flatter: (0, 0),
        }
    }
}

impl Ceiling {
    /// Whether a sample changes anything: most are away from the level, where
    /// nothing is open.
    #[inline]
    pub(super) fn minds(&self, value: f64, grain: f64) -> bool {
        let open = (self.run > 0) | (self.beside > 0) | self.dip.is_some() | self.flat.is_some();
        open | (self.level - value < 1.5 * grain)
    }

    /// Takes a sample that it minds; `range` is the distance of the two ends.
    pub(super) fn push(&mut self, time: f64, value: f64, grain: f64, range: f64) {
        let near = NEAR * range;
        let below = value < self.level && self.level - value < 1.5 * grain;
        if value > self.level {
            *self = Self {
                level: value,
                rail: self.rail,
                run: 1,
                since: time,
                last: time,
                ..Self::default()
            };
        } else if value == self.level {
            self.turn(value, grain);
            self.dip = None;
            if self.run == 0 {
                self.since = time;
                self.vote();
                self.entered = std::mem::take(&mut self.beside);
            }
            self.run += 1;
            self.last = time;
        } else if self.run > 0 {
            let flat = self.run >= FLAT;
            self.end_run();
            self.dip = (flat && value >= self.level - near).then_some(value);
        } else if let Some(dip) = self.dip {
            if value < self.level - near {
                self.dip = None;
            } else if value < dip {
                self.dip = Some(value);
            } else {
                self.turn(value, grain);
            }
        }
        if below {
            self.beside += 1;
            if let Some((_, beside)) = &mut self.flat {
                *beside += 1;
            }
        } else {
            self.beside = 0;
            self.vote();
        }
    }

    /// Whether a batch with this end reaches the level in a way that counts: for
    /// a while, or at the last code of all.
    pub(super) fn touched<S: Sample>(&self, end: f64, list: &[S], code: f64) -> bool {
        if end < self.level {
            return false;
        }
        if self.rail == Some(self.level) {
            return true;
        }
        let Some(level) = S::at_least(code) else {
            return false;
        };
        // Of so many neighbours one has a number that is a multiple.
        let step = FLAT as usize;
        let places = (0..list.len()).step_by(step);
        let mut hits = places.filter(|&at| list[at] == level);
        hits.any(|at| {
            let before = list[..at].iter().rev().take_while(|&&s| s == level).count();
            let after = list[at..].iter().take_while(|&&s| s == level).count();
            before + after >= step
        })
    }

    /// A batch was passed over: what was open is not followed up.
    pub(super) fn leave(&mut self) {
        if self.run > 0 {
            self.end_run();
        }
        self.dip = None;
    }

    /// Counts a turn upwards of more than a few steps.
    fn turn(&mut self, value: f64, grain: f64) {
        if self.dip.is_some_and(|dip| value - dip >= STEPS * grain) {
            self.turned += 1;
            self.dip = None;
        }
    }

    /// A flat run was left for good.
    fn vote(&mut self) {
        if let Some((run, beside)) = self.flat.take() {
            self.flatter.0 += u64::from(run >= FLATTER * beside);
            self.flatter.1 += 1;
        }
    }

    fn end_run(&mut self) {
        if self.run >= FLAT {
            self.flat = Some((self.run, self.entered));
        }
        let at_rail = self.rail == Some(self.level);
        if self.run >= FLAT || at_rail {
            let (from, to) = (self.since, self.last);
            self.spans.push(Span { from, to }, self.run);
        }
        self.run = 0;
    }

    /// `unit` is the lowest bit that codes have: they may stand to the left in
    /// a wider type, whose last code they then never reach.
    pub(super) fn clipping(mut self, unit: i64, sign: f64) -> Option<Clipping> {
        if self.run > 0 {
            self.end_run();
        }
        let last_code = self
            .rail
            .is_some_and(|rail| rail - self.level < unit.max(1) as f64);
        self.vote();
        let (flatter, all) = self.flatter;
        let cut = self.turned >= OFTEN && flatter >= OFTEN && 2 * flatter > all;
        ((last_code || cut) && !self.spans.is_empty()).then_some(Clipping {
            level: sign * self.level,
            last_code,
            spans: self.spans,
        })
    }
}
