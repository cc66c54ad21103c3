//! What of the samples of a channel are no readings and what lies at the end of
//! the converter's range, counted and located while they pass. It finds no
//! levels and no edges.

use super::ceiling::{Ceiling, Clipping};
use super::npy::Samples;
use super::spans::{Span, Spans};
use crate::waveform::crossing::Sample;
use crate::waveform::levels::BEYOND_READING;
use serde::Serialize;

/// Batches that are looked through sample by sample: whether a signal is cut off
/// or rests at its level shows in fewer, and a long capture is not held up.
const LOOKS: u32 = 512;

/// What must be known of the samples of a channel before they are believed.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct SampleFacts {
    /// All of them.
    pub samples: u64,
    /// Without a reading: not a number or an empty field. A stretch lasts from
    /// its first sample to the next reading.
    pub missing: Spans,
    /// Infinite ones, and larger ones than any instrument reads.
    pub infinite: Spans,
    /// The upper end of the range.
    pub high: Option<Clipping>,
    /// The lower end of the range.
    pub low: Option<Clipping>,
}

/// Looks at samples as they pass.
#[derive(Clone, Debug)]
pub struct Survey {
    /// The instant of sample 0 and the time between samples, s.
    first: f64,
    period: f64,
    samples: u64,
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
}

/// Leaves out what no instrument reads.
#[derive(Clone, Debug, Default)]
pub struct Readings {
    singles: Vec<f32>,
    doubles: Vec<f64>,
}

impl Readings {
    /// Whether some of the samples are to be left out.
    pub fn are_others_among(samples: Samples<'_>) -> bool {
        match samples {
            Samples::F32(list) => any(list, |x| x.abs() > BEYOND_READING as f32),
            Samples::F64(list) => any(list, |x| x.abs() > BEYOND_READING),
            // Codes are all read.
            _ => false,
        }
    }

    /// A sample, where it is one.
    pub fn of_one(volts: f64) -> f64 {
        if volts.abs() > BEYOND_READING {
            f64::NAN
        } else {
            volts
        }
    }

    /// The samples with those that are no reading turned into not a number.
    pub fn of<'a>(&'a mut self, samples: Samples<'a>) -> Samples<'a> {
        match samples {
            Samples::F32(list) => {
                let read = |&x: &f32| {
                    if x.abs() > BEYOND_READING as f32 {
                        f32::NAN
                    } else {
                        x
                    }
                };
                self.singles.clear();
                self.singles.extend(list.iter().map(read));
                Samples::F32(&self.singles)
            }
            Samples::F64(list) => {
                let read = |&x: &f64| {
                    if x.abs() > BEYOND_READING {
                        f64::NAN
                    } else {
                        x
                    }
                };
                self.doubles.clear();
                self.doubles.extend(list.iter().map(read));
                Samples::F64(&self.doubles)
            }
            codes => codes,
        }
    }
}

#[derive(Clone, Debug, Default)]
struct Gaps {
    spans: Spans,
    /// The instant of the first of them, and how many.
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
            missing: Gaps::default(),
            infinite: Gaps::default(),
            high: Ceiling::default(),
            low: Ceiling::default(),
            before: f64::NAN,
            grain: f64::INFINITY,
            bits: 0,
            looks: LOOKS,
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
        self.samples += 1;
        self.one(time, value);
    }

    /// Takes evenly spaced samples, of which these are the least and the greatest
    /// reading.
    pub fn push(&mut self, samples: Samples<'_>, ends: (f64, f64)) {
        match samples {
            Samples::I8(list) => self.list(list, ends),
            Samples::I16(list) => self.list(list, ends),
            Samples::I32(list) => self.list(list, ends),
            Samples::F32(list) => self.list(list, ends),
            Samples::F64(list) => self.list(list, ends),
        }
    }

    /// What was found, up to the end of the last sample, s.
    pub fn finish(mut self, end: f64) -> SampleFacts {
        self.missing.close(end);
        self.infinite.close(end);
        // A converter of fewer bits than its type may stand to the left in it;
        // it has eight at least.
        let rails = self.high.rail.zip(self.low.rail);
        let widest = rails.map_or(1.0, |(high, low)| (high + low + 1.0) / 256.0);
        let unit = (self.bits & self.bits.wrapping_neg()).min(widest as i64);
        SampleFacts {
            samples: self.samples,
            missing: self.missing.spans,
            infinite: self.infinite.spans,
            high: self.high.clipping(unit, 1.0),
            low: self.low.clipping(unit, -1.0),
        }
    }

    /// A batch in which nothing is new is passed over at once.
    fn list<S: Sample>(&mut self, list: &[S], (least, greatest): (f64, f64)) {
        let floats = self.high.rail.is_none();
        let open = self.missing.open.is_some() || self.infinite.open.is_some();
        let strange = |s: &S| s.number().is_nan() | (s.number().abs() > BEYOND_READING);
        let strange = open || (floats && any(list, strange));
        let new = greatest > self.high.level || -least > self.low.level;
        if !strange && !new {
            let near = self.high.touched(greatest, list, greatest)
                || self.low.touched(-least, list, least);
            if !near || self.looks == 0 {
                self.samples += list.len() as u64;
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
            if strange {
                self.one(time, sample.number());
            } else {
                self.reading(time, sample.number());
            }
        }
    }

    fn instant(&self, index: u64) -> f64 {
        self.first + index as f64 * self.period
    }

    fn one(&mut self, time: f64, value: f64) {
        if value.is_nan() {
            self.infinite.close(time);
            self.missing.open(time);
            return;
        }
        self.missing.close(time);
        if value.abs() > BEYOND_READING {
            self.infinite.open(time);
            return;
        }
        self.infinite.close(time);
        self.reading(time, value);
    }

    #[inline]
    fn reading(&mut self, time: f64, value: f64) {
        let step = (value - self.before).abs();
        if step > 0.0 && step < self.grain {
            self.grain = step;
        }
        self.before = value;
        if self.high.rail.is_some() {
            // `as` is exact: these are codes.
            self.bits |= value as i64;
        }
        // Both ends as they were before it.
        let (grain, range) = (self.grain, self.high.level + self.low.level);
        if self.high.minds(value, grain) {
            self.high.push(time, value, grain, range);
        }
        if self.low.minds(-value, grain) {
            self.low.push(time, -value, grain, range);
        }
    }
}

/// Whether any is, looked at without a branch for each.
fn any<S>(list: &[S], is: impl Fn(&S) -> bool) -> bool {
    list.iter().fold(false, |any, sample| any | is(sample))
}
