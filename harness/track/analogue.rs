//! From samples of the rail-to-rail voltage to edges, state levels and the shape
//! of transitions, in one pass. It does not know where the samples come from,
//! nor what the edges say.

use super::report::{LevelFigures, Shape, ShapeFigures};
use super::settings::DecoderSettings;
use super::spread::Tally;
use super::windows::Windows;
use super::{Edge, Polarity};
use crate::clock::{BenchInstant, BenchSpan, PICOSECONDS};
use crate::measurement::{Estimate, combined, resolution};
use crate::units::{Quantity, Seconds};
use crate::waveform::ChannelAccuracy;
use crate::waveform::crossing::{Crossing, CrossingDetector, Sample, Thresholds};
use crate::waveform::levels::{
    BEYOND_READING, LevelHistogram, SpanUncertainty, StateLevels, Transition, TransitionSettings,
    measure_transition,
};

/// Slew is taken between these voltages: NMRA S-9.1:2020.
const SLEW_LEVELS: (f64, f64) = (-4.0, 4.0);
/// An edge whose time between them is not known to this share of itself, at
/// two standard uncertainties, gives no more than a bound of its slew (common
/// practice, no source; at 1 the least slew within them would be zero).
const HARDLY_KNOWN: f64 = 0.85;
/// Half of a window around a transition, in seconds: at the 2.4 V/us of S-9.1
/// it holds a swing of 44 V and as much again.
const WINDOW: f64 = 18e-6;
/// Samples of half a window, at most.
const LONGEST_WINDOW: usize = 2000;

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
    /// 2.5 V of hysteresis, 8 us of dwell, every 127th sample counted (a
    /// prime, so that no period of the signal hides a level).
    pub const fn new(period: Seconds, scale: Scale, decoder: DecoderSettings) -> Self {
        Self {
            period,
            first: BenchInstant::ZERO,
            scale,
            hysteresis: 2.5,
            dwell: Seconds::new(8e-6),
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
    windows: Windows,
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

    fn edge(self, crossing: &Crossing) -> Edge {
        Edge {
            at: self.instant(crossing.position),
            to: self.sign(crossing.to),
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
}

impl ChannelScan {
    /// A scan before the first sample.
    pub fn new(settings: ChannelSettings) -> Self {
        let (gain, offset) = (settings.scale.gain, settings.scale.offset);
        let period = settings.period.si();
        let reach = libm::ceil(WINDOW / period).clamp(4.0, LONGEST_WINDOW as f64);
        Self {
            detector: CrossingDetector::new(Thresholds {
                level: -offset / gain,
                hysteresis: (settings.hysteresis / gain).abs(),
                dwell: settings.dwell.si() / period,
            }),
            histogram: LevelHistogram::new(settings.scale.step),
            until_counted: 0,
            windows: Windows::new(reach as usize),
            ruler: Ruler {
                first: settings.first,
                period,
                inverted: gain < 0.0,
            },
            last: 0.0,
            settings,
        }
    }

    /// Takes evenly spaced samples and tells the edges among them.
    pub fn push<S: Sample>(&mut self, samples: &[S], sink: &mut impl FnMut(Edge)) {
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
            windows,
            ruler,
            ..
        } = self;
        let mut before = detector.polarity();
        detector.push(samples, &mut |crossing| {
            let between = before != Some(Polarity::Zero) && crossing.to != Polarity::Zero;
            before = Some(crossing.to);
            if between {
                let rising = crossing.to == Polarity::Positive;
                windows.note(crossing.position, rising, samples);
            }
            sink(ruler.edge(&crossing));
        });
        self.windows.take(samples);
        self.last = self.detector.samples() as f64;
    }

    /// Takes one sample at `time` after the first instant, for uneven steps.
    /// Levels then weigh every sample alike, and shapes are not measured.
    pub fn push_at(&mut self, time: Seconds, value: f64, sink: &mut impl FnMut(Edge)) {
        self.histogram.push(value);
        let ruler = self.ruler;
        let position = time.si() / ruler.period;
        self.detector.push_at(position, value, &mut |crossing| {
            sink(ruler.edge(&crossing));
        });
        self.last = self.last.max(position);
    }

    /// The end: all that was found besides edges.
    pub fn finish(self) -> Scanned {
        let levels = self.levels();
        let shape = levels.as_ref().map(|levels| Shape {
            rising: self.shape(&levels.states, true),
            falling: self.shape(&levels.states, false),
        });
        Scanned {
            from: self.ruler.first,
            to: self.ruler.instant(self.last),
            polarity: self.detector.polarity().map(|p| self.ruler.sign(p)),
            levels,
            shape,
        }
    }

    fn levels(&self) -> Option<LevelFigures> {
        let Scale { gain, offset, .. } = self.settings.scale;
        let states = self.histogram.levels()?.scaled(gain, offset);
        let (a, b) = self.detector.extremes()?;
        let (a, b) = (a * gain + offset, b * gain + offset);
        let accuracy = self.settings.accuracy;
        let bin = resolution(states.resolution);
        // A sum of both levels, or a difference, holds a bin of either.
        let both = bin * std::f64::consts::SQRT_2;
        let estimate = |value: f64, offset_u: f64, bins: f64| {
            Estimate::new(value, combined([value * accuracy.gain_u, offset_u, bins]))
        };
        Some(LevelFigures {
            states,
            positive: estimate(states.high, accuracy.offset_u, bin),
            negative: estimate(-states.low, accuracy.offset_u, bin),
            // The offset cancels in the amplitude, which halves the bins too, and
            // doubles in the symmetry.
            amplitude: estimate(states.amplitude() / 2.0, 0.0, both / 2.0),
            symmetry: estimate(states.high + states.low, 2.0 * accuracy.offset_u, both),
            extremes: (a.min(b), a.max(b)),
        })
    }

    fn shape(&self, levels: &StateLevels, rising: bool) -> ShapeFigures {
        let Scale { gain, offset, .. } = self.settings.scale;
        let noise = levels.noise_low.max(levels.noise_high);
        let settings = TransitionSettings {
            slew: SLEW_LEVELS,
            // Peak to peak, noise stays within six deviations (from memory).
            reversal: (6.0 * noise).max(4.0 * levels.resolution),
            noise: noise.max(resolution(self.settings.scale.step * gain.abs())),
        };
        let mut tallies = ShapeTally::new();
        let raw_rising = rising != (gain < 0.0);
        for window in self.windows.kept(raw_rising) {
            let volts: Vec<f64> = window.samples.iter().map(|v| v * gain + offset).collect();
            // Passed over here as it is in the levels.
            if volts.iter().any(|v| v.is_nan() || v.abs() > BEYOND_READING) {
                continue;
            }
            if let Some(transition) =
                measure_transition(&volts, window.crossing, rising, levels, &settings)
            {
                tallies.push(&transition, self.ruler.period);
            }
        }
        // A bent edge is the steeper the nearer to the level it began at: the
        // offset moves the slew levels on it.
        let ChannelAccuracy { gain_u, offset_u } = self.settings.accuracy;
        let relative = combined([gain_u, 2.0 * offset_u / levels.amplitude()]);
        tallies.figures(relative, noise)
    }
}

struct ShapeTally {
    duration: Tally,
    duration_u: [Tally; 2],
    slew: Tally,
    /// Relative: own and shared.
    slew_u: [Tally; 2],
    overshoot: Tally,
    preshoot: Tally,
    measured: u64,
    bounded: u64,
    distorted: u64,
    distortion: Option<(f64, f64)>,
}

impl ShapeTally {
    const fn new() -> Self {
        Self {
            duration: Tally::new(),
            duration_u: [const { Tally::new() }; 2],
            slew: Tally::new(),
            slew_u: [const { Tally::new() }; 2],
            overshoot: Tally::new(),
            preshoot: Tally::new(),
            measured: 0,
            bounded: 0,
            distorted: 0,
            distortion: None,
        }
    }

    fn push(&mut self, transition: &Transition, period: f64) {
        self.measured += 1;
        if let Some(duration) = transition.duration {
            self.duration.push(duration * period);
            let SpanUncertainty { own, shared } = transition.duration_u;
            self.duration_u[0].push(own * period);
            self.duration_u[1].push(shared * period);
            self.overshoot.push(transition.overshoot);
            self.preshoot.push(transition.preshoot);
        }
        if let Some(slew) = transition.slew {
            let swing = SLEW_LEVELS.1 - SLEW_LEVELS.0;
            // Between two samples it may have been any faster, and so it may
            // where its time is hardly known; surely it took no longer than
            // from the last sample before to the first after.
            let SpanUncertainty { own, shared } = transition.slew_u;
            let unknown = 2.0 * combined([own, shared]) * slew / swing;
            let within = transition.samples_in_slew;
            let bounded = within == 0 || unknown > HARDLY_KNOWN;
            let (slew, share) = if bounded {
                (swing / (within as f64 + 1.0), 0.0)
            } else {
                (slew, slew / swing)
            };
            self.bounded += u64::from(bounded);
            self.slew.push(slew / period);
            self.slew_u[0].push(own * share);
            self.slew_u[1].push(shared * share);
        }
        if let Some((low, high)) = transition.distortion {
            self.distorted += 1;
            let (least, greatest) = self.distortion.unwrap_or((low, high));
            self.distortion = Some((least.min(low), greatest.max(high)));
        }
    }

    /// `level_u` is relative, of the voltage scale.
    fn figures(&self, level_u: f64, noise: f64) -> ShapeFigures {
        let known = |pair: &[Tally; 2]| {
            pair.each_ref()
                .map(|tally| tally.mean(0.0).map_or(0.0, |mean| mean.value))
        };
        let [duration_own, duration_shared] = known(&self.duration_u);
        let [slew_own, slew_shared] = known(&self.slew_u);
        let shared = combined([level_u, slew_shared]);
        let mean_slew = self.slew.mean(0.0).map_or(0.0, |mean| mean.value);
        let swing = SLEW_LEVELS.1 - SLEW_LEVELS.0;
        let slowest = (self.slew.count() > 0).then(|| {
            let slew = self.slew.least;
            // Noise at both ends of the swing.
            let u_noise = slew * std::f64::consts::SQRT_2 * noise / swing;
            Estimate::new(slew, combined([slew * shared, u_noise]))
        });
        let share = |tally: &Tally| tally.mean(0.0).map(|mean| (mean, tally.greatest));
        ShapeFigures {
            measured: self.measured,
            duration: self.duration.mean_of(duration_own, duration_shared),
            longest: (self.duration.count() > 0).then_some(self.duration.greatest),
            slew: self.slew.mean_of(mean_slew * slew_own, mean_slew * shared),
            slowest,
            slew_bounded: self.bounded,
            overshoot: share(&self.overshoot),
            preshoot: share(&self.preshoot),
            distorted: self.distorted,
            distortion: self.distortion,
        }
    }
}
