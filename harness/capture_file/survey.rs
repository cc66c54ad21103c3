//! What of the samples of a channel are no readings and what lies at the end of
//! the converter's range, counted and located while they pass. It finds no
//! levels and no edges.

use super::ceiling::{Ceiling, Clipping};
use super::npy::Samples;
use super::spans::{Span, Spans};
use crate::waveform::crossing::Sample;
use serde::Serialize;

/// Batches that are looked through sample by sample: whether a signal is cut off
/// or rests at its level shows in fewer, and a long capture is not held up.
const LOOKS: u32 = 512;

/// Where zero lies between the steps of a converter. A reading of zero stands
/// for a voltage of either sign in the one case, for neither in the other.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ZeroPlace {
    /// The readings are numbers without steps.
    #[default]
    Continuous,
    /// A step is centred on zero (mid-tread): samples at it have no sign, and
    /// the voltage passes zero in the middle of them.
    OnStep,
    /// Zero is where two steps meet (mid-rise): every sample has a sign.
    BetweenSteps,
    /// Zero is inside a step, but not in its middle.
    InsideStep,
}

impl ZeroPlace {
    /// Of `volts = gain * code + offset`, a code standing for the middle of its
    /// step.
    pub fn of(gain: f64, offset: f64) -> Self {
        let code = -offset / gain;
        let beside = (code - libm::round(code)).abs();
        if !code.is_finite() {
            Self::Continuous
        } else if beside < 0.01 {
            Self::OnStep
        } else if beside > 0.49 {
            Self::BetweenSteps
        } else {
            Self::InsideStep
        }
    }
}

/// What must be known of the samples of a channel before they are believed.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct SampleFacts {
    /// All of them.
    pub samples: u64,
    /// Without a reading: not a number, an empty field, x or z, a dump switched
    /// off. A stretch lasts from the reading before to the reading after.
    pub missing: Spans,
    /// Infinite ones.
    pub infinite: Spans,
    /// The upper end of the range.
    pub high: Option<Clipping>,
    /// The lower end of the range.
    pub low: Option<Clipping>,
    /// Where zero lies.
    pub zero: ZeroPlace,
}

impl SampleFacts {
    /// The time of which nothing is known, s.
    pub fn unknown(&self) -> f64 {
        self.missing.total + self.infinite.total
    }

    /// The stretches of which nothing is known, in order.
    pub fn unknown_spans(&self) -> Vec<Span> {
        self.missing.joined(&self.infinite)
    }
}

/// Looks at samples as they pass.
#[derive(Clone, Debug)]
pub struct Survey {
    /// The instant of sample 0 and the time between samples, s.
    first: f64,
    period: f64,
    samples: u64,
    last: f64,
    missing: Gaps,
    infinite: Gaps,
    high: Ceiling,
    low: Ceiling,
    before: f64,
    /// The smallest step between neighbours.
    grain: f64,
    /// All bits that codes had.
    bits: i64,
    /// Batches that may still be looked through for a flat end of the range.
    looks: u32,
    clean: Clean,
}

/// Samples without the infinite ones.
#[derive(Clone, Debug, Default)]
struct Clean {
    singles: Vec<f32>,
    doubles: Vec<f64>,
}

#[derive(Clone, Debug, Default)]
struct Gaps {
    spans: Spans,
    /// The instant of the last reading before, and samples since.
    open: Option<(f64, u64)>,
}

impl Gaps {
    fn open(&mut self, since: f64) {
        self.open.get_or_insert((since, 0)).1 += 1;
    }

    fn close(&mut self, at: f64) {
        if let Some((from, samples)) = self.open.take() {
            self.spans.push(Span { from, to: at }, samples);
        }
    }
}

impl Survey {
    /// Before the first of evenly spaced samples: its instant and the time to
    /// the next, s.
    pub fn new(first: f64, period: f64) -> Self {
        Self {
            first,
            period,
            samples: 0,
            last: first,
            missing: Gaps::default(),
            infinite: Gaps::default(),
            high: Ceiling::default(),
            low: Ceiling::default(),
            before: f64::NAN,
            grain: f64::INFINITY,
            bits: 0,
            looks: LOOKS,
            clean: Clean::default(),
        }
    }

    /// The survey of codes that lie between these two, the ends of their range.
    #[must_use]
    pub fn coded(mut self, range: Option<(f64, f64)>) -> Self {
        if let Some((least, greatest)) = range {
            self.high.rail = Some(greatest);
            self.low.rail = Some(-least);
        }
        self
    }

    /// Takes one sample at an instant, s.
    pub fn push_at(&mut self, time: f64, value: f64) {
        if self.samples == 0 {
            self.last = time;
        }
        self.samples += 1;
        self.one(time, value);
    }

    /// Takes evenly spaced samples and returns them with those that are
    /// infinite turned into none.
    pub fn push<'a>(&'a mut self, samples: Samples<'a>) -> Samples<'a> {
        match samples {
            Samples::I8(list) => self.list(list),
            Samples::I16(list) => self.list(list),
            Samples::I32(list) => self.list(list),
            Samples::F32(list) => {
                if list.iter().fold(0, |n, x| n + u32::from(x.is_infinite())) > 0 {
                    let mut clean = std::mem::take(&mut self.clean.singles);
                    clean.clear();
                    let finite = |&x: &f32| if x.is_infinite() { f32::NAN } else { x };
                    clean.extend(list.iter().map(finite));
                    self.list(list);
                    self.clean.singles = clean;
                    return Samples::F32(&self.clean.singles);
                }
                self.list(list);
            }
            Samples::F64(list) => {
                if list.iter().fold(0, |n, x| n + u32::from(x.is_infinite())) > 0 {
                    let mut clean = std::mem::take(&mut self.clean.doubles);
                    clean.clear();
                    let finite = |&x: &f64| if x.is_infinite() { f64::NAN } else { x };
                    clean.extend(list.iter().map(finite));
                    self.list(list);
                    self.clean.doubles = clean;
                    return Samples::F64(&self.clean.doubles);
                }
                self.list(list);
            }
        }
        samples
    }

    /// What was found.
    pub fn finish(mut self, zero: ZeroPlace) -> SampleFacts {
        let end = self.last;
        self.missing.close(end);
        self.infinite.close(end);
        let unit = self.bits & self.bits.wrapping_neg();
        SampleFacts {
            samples: self.samples,
            missing: self.missing.spans,
            infinite: self.infinite.spans,
            high: self.high.clipping(unit, 1.0),
            low: self.low.clipping(unit, -1.0),
            zero,
        }
    }

    /// A batch in which nothing is new is passed over at once.
    fn list<S: Sample>(&mut self, list: &[S]) {
        let (least, greatest) = S::extremes(list);
        let floats = self.high.rail.is_none();
        let open = self.missing.open.is_some() || self.infinite.open.is_some();
        let finite = |s: &S| u32::from(!s.number().is_finite());
        let strange = open || (floats && list.iter().map(finite).sum::<u32>() > 0);
        let new = greatest > self.high.level || -least > self.low.level;
        if !strange && !new {
            let near = self.high.touched(greatest, list, greatest)
                || self.low.touched(-least, list, least);
            if !near || self.looks == 0 {
                self.samples += list.len() as u64;
                self.last = self.instant(self.samples.saturating_sub(1));
                self.before = f64::NAN;
                self.high.leave();
                self.low.leave();
                return;
            }
            self.looks -= 1;
        }
        for sample in list {
            let time = self.instant(self.samples);
            self.samples += 1;
            self.one(time, sample.number());
        }
    }

    fn instant(&self, index: u64) -> f64 {
        self.first + index as f64 * self.period
    }

    fn one(&mut self, time: f64, value: f64) {
        let since = std::mem::replace(&mut self.last, time);
        if value.is_nan() {
            self.infinite.close(time);
            self.missing.open(since);
            return;
        }
        self.missing.close(time);
        if value.is_infinite() {
            self.infinite.open(since);
            return;
        }
        self.infinite.close(time);
        let step = (value - self.before).abs();
        if step > 0.0 && step < self.grain {
            self.grain = step;
        }
        self.before = value;
        if self.high.rail.is_some() {
            // `as` is exact: these are codes.
            self.bits |= value as i64;
        }
        let (high, low) = (self.high.level, self.low.level);
        let range = high + low;
        self.high.push(time, value, self.grain, range);
        self.low.push(time, -value, self.grain, range);
    }
}
