//! From samples of the rail-to-rail voltage to edges, state levels and the shape
//! of transitions, in one pass. It does not know where the samples come from,
//! nor what the edges say.

mod figures;

use super::half_levels::HalfLevels;
use super::report::{LevelFigures, Shape};
use super::settings::DecoderSettings;
use super::timing::{EdgeTimer, Grounds, Timed};
use super::uncertainty::EdgeUncertainty;
use super::{Edge, Polarity};
use crate::clock::{BenchInstant, BenchSpan, PICOSECONDS};
use crate::units::{Quantity, Seconds};
use crate::waveform::crossing::{CrossingDetector, Sample, Thresholds};
use crate::waveform::levels::LevelHistogram;
use crate::waveform::{Channel, ChannelAccuracy};

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

/// Volts from raw samples: `volts = gain * raw + offset`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Volts per raw unit; negative where the probe is the wrong way round.
    pub gain: f64,
    /// Volts at raw zero.
    pub offset: f64,
    /// Step between raw values: one for converter counts, zero for numbers
    /// that are continuous.
    pub step: f64,
}

impl Scale {
    /// Raw values that are volts already.
    pub const VOLTS: Self = Self {
        gain: 1.0,
        offset: 0.0,
        step: 0.0,
    };

    /// The codes of a recorded channel.
    pub const fn of(channel: &Channel) -> Self {
        Self {
            gain: channel.scale,
            offset: channel.offset,
            step: 1.0,
        }
    }
}

/// How a channel is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelSettings {
    /// Time between samples; where they are uneven, the unit of positions.
    pub period: Seconds,
    /// The instant of sample 0.
    pub first: BenchInstant,
    /// Raw samples to volts.
    pub scale: Scale,
    /// The voltage must pass zero by this much to have crossed, V. Above the
    /// 2 V of distortion that S-9.1 allows at the crossing.
    pub hysteresis: f64,
    /// The rails are joined when the voltage stays inside that band for this
    /// long; longer than a crossing takes.
    pub dwell: Seconds,
    /// Every how manyth sample is counted for the state levels.
    pub stride: usize,
    /// Trust in the voltage.
    pub accuracy: ChannelAccuracy,
    /// How edges are read.
    pub decoder: DecoderSettings,
}

impl ChannelSettings {
    /// 2.5 V of hysteresis, 20 us of dwell (a crossing of 0.25 V/us), every 127th sample counted (a
    /// prime, so that no period of the signal hides a level).
    pub const fn new(period: Seconds, scale: Scale, decoder: DecoderSettings) -> Self {
        Self {
            period,
            first: BenchInstant::ZERO,
            scale,
            hysteresis: 2.5,
            dwell: Seconds::new(20e-6),
            stride: 127,
            accuracy: ChannelAccuracy {
                gain_u: 0.0,
                offset_u: 0.0,
            },
            decoder,
        }
    }
}

/// Finds the edges of one analogue channel, pushed in pieces of any length, and
/// what its voltage is like. What the edges mean it does not ask.
#[derive(Clone, Debug)]
pub struct ChannelScan {
    settings: ChannelSettings,
    detector: CrossingDetector,
    histogram: LevelHistogram,
    /// Samples to pass over before the next is counted.
    until_counted: usize,
    timer: EdgeTimer,
    halves: [HalfLevels; 2],
    ruler: Ruler,
    last: f64,
}

/// Positions to instants, raw signs to those of the voltage.
#[derive(Clone, Copy, Debug)]
struct Ruler {
    first: BenchInstant,
    period: f64,
    inverted: bool,
}

impl Ruler {
    fn instant(self, position: f64) -> BenchInstant {
        let picoseconds = position * (self.period * PICOSECONDS as f64);
        self.first + BenchSpan::from_picoseconds(libm::round(picoseconds) as i64)
    }

    fn sign(self, polarity: Polarity) -> Polarity {
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

/// What a [`ChannelScan`] found besides edges.
#[derive(Clone, Debug, PartialEq)]
pub struct Scanned {
    /// The instants of the first sample and of the end.
    pub from: BenchInstant,
    /// The end.
    pub to: BenchInstant,
    /// The polarity at the end, where there was one.
    pub polarity: Option<Polarity>,
    /// State levels, if the voltage has two.
    pub levels: Option<LevelFigures>,
    /// The shape of transitions, where there are levels.
    pub shape: Option<Shape>,
    /// How well the edges are known.
    pub edge: EdgeUncertainty,
}

impl ChannelScan {
    /// A scan before the first sample.
    pub fn new(settings: ChannelSettings) -> Self {
        let (gain, offset) = (settings.scale.gain, settings.scale.offset);
        let period = settings.period.si();
        let reach = libm::ceil(WINDOW / period).clamp(4.0, LONGEST_WINDOW as f64);
        let ahead = libm::ceil(AHEAD / period).clamp(reach, 20.0 * LONGEST_WINDOW as f64);
        Self {
            detector: CrossingDetector::new(Thresholds {
                level: -offset / gain,
                hysteresis: (settings.hysteresis / gain).abs(),
                dwell: settings.dwell.si() / period,
            }),
            histogram: LevelHistogram::new(settings.scale.step),
            until_counted: 0,
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
            last: 0.0,
            settings,
        }
    }

    /// Takes evenly spaced samples and tells the edges among them, later ones
    /// when what follows them is known.
    pub fn push<S: Sample>(&mut self, samples: &[S], sink: &mut impl FnMut(Edge)) {
        self.push_telling(samples, &mut |_| (), sink);
    }

    /// The same; every crossing that the samples complete goes to `crossed` at
    /// once, its instant not yet read by a fit.
    pub fn push_telling<S: Sample>(
        &mut self,
        samples: &[S],
        crossed: &mut impl FnMut(Edge),
        sink: &mut impl FnMut(Edge),
    ) {
        // No samples move no end: those at their own times are not counted here.
        if samples.is_empty() {
            return;
        }
        let stride = self.settings.stride.max(1);
        self.histogram
            .push_every(samples, self.until_counted, stride);
        self.until_counted = if samples.len() > self.until_counted {
            let beyond = (samples.len() - self.until_counted) % stride;
            (stride - beyond) % stride
        } else {
            self.until_counted - samples.len()
        };
        let Self {
            detector,
            timer,
            halves,
            ruler,
            ..
        } = self;
        let mut before = detector.polarity();
        detector.push(samples, &mut |crossing| {
            let between = before != Some(Polarity::Zero) && crossing.to != Polarity::Zero;
            before = Some(crossing.to);
            crossed(ruler.edge(crossing.position, crossing.to));
            timer.note(crossing, between);
        });
        timer.take(samples, &mut |timed| sink(told(halves, *ruler, &timed)));
        self.last = self.detector.samples() as f64;
    }

    /// Takes one sample at `time` after the first instant, for uneven steps.
    /// Levels then weigh every sample alike, and shapes are not measured.
    pub fn push_at(&mut self, time: Seconds, value: f64, sink: &mut impl FnMut(Edge)) {
        self.histogram.push(value);
        let ruler = self.ruler;
        let position = time.si() / ruler.period;
        self.detector.push_at(position, value, &mut |crossing| {
            sink(ruler.edge(crossing.position, crossing.to));
        });
        self.last = self.last.max(position);
    }

    /// The end: the edges that still waited for what follows them, and all
    /// that was found besides edges.
    pub fn finish(mut self, sink: &mut impl FnMut(Edge)) -> Scanned {
        let Self {
            timer,
            halves,
            ruler,
            ..
        } = &mut self;
        timer.finish(&mut |timed| sink(told(halves, *ruler, &timed)));
        let levels = self.levels();
        let shape = levels.as_ref().map(|levels| Shape {
            rising: self.shape(levels, true),
            falling: self.shape(levels, false),
        });
        Scanned {
            from: self.ruler.first,
            to: self.ruler.instant(self.last),
            polarity: self.detector.polarity().map(|p| self.ruler.sign(p)),
            edge: self.edge(),
            levels,
            shape,
        }
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
