//! From samples of the rail-to-rail voltage to edges, state levels and the shape
//! of transitions, in one pass. It does not know where the samples come from,
//! nor what the edges say.

mod figures;
mod parts;

pub use parts::{CrossingSearch, EdgeTiming, Found, Ruler};

use super::report::{LevelFigures, Shape};
use super::settings::DecoderSettings;
use super::uncertainty::EdgeUncertainty;
use super::{Edge, Polarity};
use crate::clock::BenchInstant;
use crate::units::Seconds;
use crate::waveform::crossing::Sample;
use crate::waveform::{Channel, ChannelAccuracy};

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
    search: CrossingSearch,
    timing: EdgeTiming,
    /// Crossings of the present piece.
    found: Vec<Found>,
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
        Self {
            search: CrossingSearch::new(&settings),
            timing: EdgeTiming::new(&settings),
            found: Vec::new(),
            settings,
        }
    }

    /// The search, and the timing of what it finds. They may work on two threads:
    /// a piece goes to the search first, then with what was found to the timing.
    pub const fn parts(&mut self) -> (&mut CrossingSearch, &mut EdgeTiming) {
        (&mut self.search, &mut self.timing)
    }

    /// Takes evenly spaced samples and tells the edges among them, later ones
    /// when what follows them is known.
    pub fn push<S: Sample>(&mut self, samples: &[S], sink: &mut impl FnMut(Edge)) {
        self.found.clear();
        self.search.push(samples, &mut self.found);
        self.timing.take(samples, &self.found, sink);
    }

    /// Takes one sample at `time` after the first instant, for uneven steps.
    /// Levels then weigh every sample alike, and shapes are not measured.
    pub fn push_at(&mut self, time: Seconds, value: f64, sink: &mut impl FnMut(Edge)) {
        self.found.clear();
        self.search.push_at(time, value, &mut self.found);
        self.timing.tell(&self.found, sink);
    }

    /// The end: the edges that still waited for what follows them, and all
    /// that was found besides edges.
    pub fn finish(mut self, sink: &mut impl FnMut(Edge)) -> Scanned {
        let closed = self.close(sink);
        self.figured(closed)
    }

    /// The end of the samples: the edges that still waited for what follows them,
    /// and how well all are known. Levels and shape are not read yet.
    pub fn close(&mut self, sink: &mut impl FnMut(Edge)) -> Scanned {
        self.timing.finish(sink);
        let ruler = self.timing.ruler;
        let polarity = self.search.detector.polarity();
        Scanned {
            from: ruler.first,
            to: ruler.instant(self.search.last),
            polarity: polarity.map(|p| ruler.sign(p)),
            edge: self.timing.edge(),
            levels: None,
            shape: None,
        }
    }

    /// What [`ChannelScan::close`] told, with levels and shape.
    #[must_use]
    pub fn figured(&self, closed: Scanned) -> Scanned {
        let levels = self.levels();
        let shape = levels.as_ref().map(|levels| Shape {
            rising: self.shape(levels, true),
            falling: self.shape(levels, false),
        });
        Scanned {
            levels,
            shape,
            ..closed
        }
    }
}
