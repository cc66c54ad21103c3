//! What of the samples is no reading, and which end of the range was reached;
//! and of edges, how long there was no signal. It finds no levels and judges
//! nothing.

use crate::capture_file::Samples;
use crate::clock::{BenchInstant, BenchSpan};
use crate::track::{Edge, Polarity};
use crate::units::Quantity;
use crate::waveform::levels::BEYOND_READING;
use serde::Serialize;

/// Longer than a cutout (488 us: NMRA S-9.3.2, RCN-217) the rails are never
/// joined, and longer than a stretched 0 (12 ms: NMRA S-9.1:2020 table 1) no
/// signal stays as it is.
const LONGEST_JOINED: BenchSpan = BenchSpan::from_microseconds(500);
const LONGEST_STATE: BenchSpan = BenchSpan::from_microseconds(12_000);

/// Stretches of one sort.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Stretches {
    /// How many.
    pub count: u64,
    /// Their length together, s.
    pub total: f64,
    /// The longest, s.
    pub longest: f64,
    /// When the first began, s.
    pub first: Option<f64>,
}

impl Stretches {
    /// Adds one that begins there and is so long, s.
    pub fn push(&mut self, from: f64, length: f64) {
        self.count += 1;
        self.total += length;
        self.longest = self.longest.max(length);
        self.first.get_or_insert(from);
    }
}

/// What of a capture is no reading.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Unread {
    /// Samples that are not a number, empty, or neither high nor low.
    pub missing: Stretches,
    /// Samples that are infinite or larger than any instrument reads.
    pub infinite: Stretches,
    /// Stretches without a signal: the rails joined for longer than a cutout, or
    /// no edge for longer than a stretched 0.
    pub silent: Stretches,
    /// The voltage at which positive and negative halves are cut off.
    pub clipped: [Option<f64>; 2],
}

/// Looks at samples as they pass, and takes out what is no reading.
#[derive(Clone, Debug)]
pub(super) struct Readable {
    first: f64,
    period: f64,
    next: u64,
    /// Since when, and whether infinite.
    open: Option<(f64, bool)>,
    singles: Vec<f32>,
    doubles: Vec<f64>,
    /// The last code of the type was reached twice running, above and below.
    pub(super) last_code: [bool; 2],
    pub(super) unread: Unread,
}

impl Readable {
    pub(super) fn new(first: f64, period: f64) -> Self {
        Self {
            first,
            period,
            next: 0,
            open: None,
            singles: Vec::new(),
            doubles: Vec::new(),
            last_code: [false; 2],
            unread: Unread::default(),
        }
    }

    /// The samples with what is no reading turned into not a number.
    pub(super) fn clean<'a>(&'a mut self, samples: Samples<'a>) -> Samples<'a> {
        match samples {
            Samples::I8(list) => self.codes(list, (i8::MIN, i8::MAX)),
            Samples::I16(list) => self.codes(list, (i16::MIN, i16::MAX)),
            Samples::I32(list) => self.codes(list, (i32::MIN, i32::MAX)),
            Samples::F32(list) => {
                let strange = |x: &f32| x.is_nan() || x.abs() > BEYOND_READING as f32;
                if self.passes(list.len(), any(list, strange)) {
                    return samples;
                }
                let mut clean = std::mem::take(&mut self.singles);
                clean.clear();
                clean.extend(list.iter().map(|&x| self.one(f64::from(x)) as f32));
                self.singles = clean;
                return Samples::F32(&self.singles);
            }
            Samples::F64(list) => {
                let strange = |x: &f64| x.is_nan() || x.abs() > BEYOND_READING;
                if self.passes(list.len(), any(list, strange)) {
                    return samples;
                }
                let mut clean = std::mem::take(&mut self.doubles);
                clean.clear();
                clean.extend(list.iter().map(|&x| self.one(x)));
                self.doubles = clean;
                return Samples::F64(&self.doubles);
            }
        }
        samples
    }

    /// One sample at its own time.
    pub(super) fn at(&mut self, time: f64, value: f64) -> f64 {
        self.seen(time, value)
    }

    /// The end of the samples, s.
    pub(super) fn finish(&mut self, end: f64) {
        self.seen(end, 0.0);
    }

    fn codes<S: Copy + PartialEq>(&mut self, list: &[S], (least, most): (S, S)) {
        for (end, code) in [(0, most), (1, least)] {
            if !self.last_code[end] && any(list, |x| *x == code) {
                let twice = |pair: &[S]| pair[0] == code && pair[1] == code;
                self.last_code[end] = list.windows(2).any(twice);
            }
        }
        self.next += list.len() as u64;
    }

    /// Whether a piece needs no look at its samples.
    fn passes(&mut self, count: usize, strange: bool) -> bool {
        let passes = !strange && self.open.is_none();
        if passes {
            self.next += count as u64;
        }
        passes
    }

    fn one(&mut self, value: f64) -> f64 {
        let time = self.first + self.next as f64 * self.period;
        self.next += 1;
        self.seen(time, value)
    }

    fn seen(&mut self, time: f64, value: f64) -> f64 {
        let infinite = value.abs() > BEYOND_READING;
        let now = (value.is_nan() || infinite).then_some(infinite);
        if let Some((since, kind)) = self.open.filter(|open| Some(open.1) != now) {
            let sort = if kind {
                &mut self.unread.infinite
            } else {
                &mut self.unread.missing
            };
            sort.push(since, time - since);
            self.open = None;
        }
        match now {
            Some(kind) => {
                self.open.get_or_insert((time, kind));
                f64::NAN
            }
            None => value,
        }
    }
}

/// Whether any is, looked at without a branch for each.
fn any<S>(list: &[S], is: impl Fn(&S) -> bool) -> bool {
    list.iter().fold(false, |any, sample| any | is(sample))
}

/// Adds up how long there was no signal, from its edges.
#[derive(Clone, Debug, Default)]
pub(super) struct Silence {
    last: Option<Edge>,
    silent: Stretches,
}

impl Silence {
    /// An edge; the first tells what was before it.
    pub(super) fn push(&mut self, from: BenchInstant, edge: Edge) {
        let before = self.last.replace(edge);
        let begun = before.map_or(from, |before| before.at);
        let joined = before.is_some_and(|before| before.to == Polarity::Zero);
        self.state(begun, edge.at, joined);
    }

    /// The end of the capture.
    pub(super) fn finish(mut self, from: BenchInstant, end: BenchInstant) -> Stretches {
        let joined = self.last.is_some_and(|last| last.to == Polarity::Zero);
        let begun = self.last.map_or(from, |last| last.at);
        self.state(begun, end, joined);
        self.silent
    }

    fn state(&mut self, from: BenchInstant, to: BenchInstant, joined: bool) {
        let most = if joined {
            LONGEST_JOINED
        } else {
            LONGEST_STATE
        };
        if to - from > most {
            let length = (to - from).seconds().si();
            self.silent.push(from.since_zero().si(), length);
        }
    }
}
