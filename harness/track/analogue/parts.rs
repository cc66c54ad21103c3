//! The two parts of a scan, which may work on two threads a piece behind each
//! other: the search for crossings, which looks at every sample, and the timing of
//! edges, which looks at those about a crossing. Neither knows of the other.

use super::super::half_levels::HalfLevels;
use super::super::timing::{EdgeTimer, Grounds, Timed};
use super::super::{Edge, Polarity};
use super::ChannelSettings;
use crate::clock::{BenchInstant, BenchSpan, PICOSECONDS};
use crate::units::{Quantity, Seconds};
use crate::waveform::crossing::{Crossing, CrossingDetector, Sample, Thresholds};
use crate::waveform::levels::LevelHistogram;

/// Half of a window around a transition, in seconds: less than the shortest
/// half that a decoder must accept leaves between two edges of 22 us (S-9.1:
/// 52 us).
const WINDOW: f64 = 28e-6;
/// Samples of half a window, at most.
const LONGEST_WINDOW: usize = 3000;
/// An edge is undisturbed where no other lies within this of it, in seconds:
/// less than the 52 us that a decoder must accept (S-9.1:2020 table 1).
const CLEAR: f64 = 45e-6;
/// What comes after an edge is known so much later, in seconds: within 20 us an
/// edge has left the band about zero, or rests in it.
const AHEAD: f64 = CLEAR + 20e-6;

/// A crossing that a [`CrossingSearch`] found.
#[derive(Clone, Copy, Debug)]
pub struct Found {
    crossing: Crossing,
    /// From one polarity to the other, not out of or into joined rails.
    between: bool,
}

/// Finds the crossings of a channel and counts its samples for the levels.
#[derive(Clone, Debug)]
pub struct CrossingSearch {
    pub(super) detector: CrossingDetector,
    pub(super) histogram: LevelHistogram,
    stride: usize,
    /// Samples to pass over before the next is counted.
    until_counted: usize,
    period: f64,
    /// The position of the end.
    pub(super) last: f64,
}

impl CrossingSearch {
    pub(super) fn new(settings: &ChannelSettings) -> Self {
        let (gain, offset) = (settings.scale.gain, settings.scale.offset);
        let period = settings.period.si();
        Self {
            detector: CrossingDetector::new(Thresholds {
                level: -offset / gain,
                hysteresis: (settings.hysteresis / gain).abs(),
                dwell: settings.dwell.si() / period,
            }),
            histogram: LevelHistogram::new(settings.scale.step),
            stride: settings.stride.max(1),
            until_counted: 0,
            period,
            last: 0.0,
        }
    }

    /// Adds the crossings that evenly spaced samples complete to `found`, and tells
    /// the least and the greatest of them, as [`Sample::extremes`] does.
    pub fn push<S: Sample>(&mut self, samples: &[S], found: &mut Vec<Found>) -> (f64, f64) {
        // No samples move no end: those at their own times are not counted here.
        if samples.is_empty() {
            return S::extremes(samples);
        }
        self.histogram
            .push_every(samples, self.until_counted, self.stride);
        self.until_counted = if samples.len() > self.until_counted {
            let beyond = (samples.len() - self.until_counted) % self.stride;
            (self.stride - beyond) % self.stride
        } else {
            self.until_counted - samples.len()
        };
        let mut before = self.detector.polarity();
        let ends = self.detector.push(samples, &mut |crossing| {
            let between = before != Some(Polarity::Zero) && crossing.to != Polarity::Zero;
            before = Some(crossing.to);
            found.push(Found { crossing, between });
        });
        self.last = self.detector.samples() as f64;
        ends
    }

    /// Takes one sample at `time` after the first instant, for uneven steps.
    /// Levels then weigh every sample alike, and shapes are not measured.
    pub fn push_at(&mut self, time: Seconds, value: f64, found: &mut Vec<Found>) {
        self.histogram.push(value);
        let position = time.si() / self.period;
        self.detector.push_at(position, value, &mut |crossing| {
            found.push(Found {
                crossing,
                between: false,
            });
        });
        self.last = self.last.max(position);
    }
}

/// Reads from samples when the crossings were that a [`CrossingSearch`] found,
/// and the levels before them.
#[derive(Clone, Debug)]
pub struct EdgeTiming {
    pub(super) timer: EdgeTimer,
    pub(super) halves: [HalfLevels; 2],
    pub(super) ruler: Ruler,
    /// Standard uncertainties of the channel's zero, raw, and of the time base,
    /// relative.
    pub(super) offset_u: f64,
    pub(super) time_base_u: f64,
}

impl EdgeTiming {
    pub(super) fn new(settings: &ChannelSettings) -> Self {
        let (gain, offset) = (settings.scale.gain, settings.scale.offset);
        let period = settings.period.si();
        let reach = libm::ceil(WINDOW / period).clamp(4.0, LONGEST_WINDOW as f64);
        let ahead = libm::ceil(AHEAD / period).clamp(reach, 20.0 * LONGEST_WINDOW as f64);
        Self {
            timer: EdgeTimer::new(Grounds {
                level: -offset / gain,
                quantum: settings.scale.step,
                clear: CLEAR / period,
                reach: reach as usize,
                ahead: ahead as usize,
            }),
            halves: [HalfLevels::new(), HalfLevels::new()],
            ruler: Ruler {
                first: settings.first,
                period,
                inverted: gain < 0.0,
            },
            offset_u: settings.accuracy.offset_u / gain.abs(),
            time_base_u: settings.decoder.edge.time_base_u,
        }
    }

    /// What makes edges of crossings that no fit has read.
    pub const fn ruler(&self) -> Ruler {
        self.ruler
    }

    /// Takes evenly spaced samples and what was found in them; edges go to `sink`
    /// when what follows them is known.
    pub fn take<S: Sample>(&mut self, samples: &[S], found: &[Found], sink: &mut impl FnMut(Edge)) {
        let Self {
            timer,
            halves,
            ruler,
            ..
        } = self;
        for found in found {
            timer.note(found.crossing, found.between);
        }
        timer.take(samples, &mut |timed| sink(told(halves, *ruler, &timed)));
    }

    /// Tells what was found in samples at their own times, which no fit reads.
    pub fn tell(&self, found: &[Found], sink: &mut impl FnMut(Edge)) {
        found
            .iter()
            .for_each(|found| sink(self.ruler.untimed(found)));
    }

    /// The end: the edges that still waited for what follows them.
    pub(super) fn finish(&mut self, sink: &mut impl FnMut(Edge)) {
        let Self {
            timer,
            halves,
            ruler,
            ..
        } = self;
        timer.finish(&mut |timed| sink(told(halves, *ruler, &timed)));
    }
}

/// Notes the level before an edge, and the edge itself in time.
fn told(halves: &mut [HalfLevels; 2], ruler: Ruler, timed: &Timed) -> Edge {
    if let Some(level) = timed.level {
        let positive = timed.to == Polarity::Negative;
        halves[usize::from(positive)].push(level, timed.position);
    }
    ruler.edge(timed.position, timed.to)
}

/// Positions to instants, raw signs to those of the voltage.
#[derive(Clone, Copy, Debug)]
pub struct Ruler {
    pub(super) first: BenchInstant,
    pub(super) period: f64,
    inverted: bool,
}

impl Ruler {
    /// The instant of the first sample.
    pub const fn first(self) -> BenchInstant {
        self.first
    }

    /// Where a crossing lies, by the numbers of samples, and what it leads to.
    pub const fn place(self, Found { crossing, .. }: &Found) -> (f64, Polarity) {
        (crossing.position, self.sign(crossing.to))
    }

    /// The edge of a crossing, its instant read by no fit.
    pub fn untimed(self, Found { crossing, .. }: &Found) -> Edge {
        self.edge(crossing.position, crossing.to)
    }

    pub(super) fn instant(self, position: f64) -> BenchInstant {
        let picoseconds = position * (self.period * PICOSECONDS as f64);
        self.first + BenchSpan::nearest(picoseconds)
    }

    pub(super) const fn sign(self, polarity: Polarity) -> Polarity {
        if self.inverted {
            polarity.opposite()
        } else {
            polarity
        }
    }

    fn edge(self, position: f64, to: Polarity) -> Edge {
        Edge {
            at: self.instant(position),
            to: self.sign(to),
        }
    }
}
