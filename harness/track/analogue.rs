//! From samples of the rail-to-rail voltage to edges, state levels and the shape
//! of transitions, in one pass. It does not know where the samples come from,
//! nor what the edges say.

use super::decoder::DecoderSettings;
use super::facts::Facts;
use super::half_levels::HalfLevels;
use super::noise;
use super::report::{Clipped, LevelFigures, Shape, ShapeFigures};
use super::shape::{Known, Laid, Overlay};
use super::timing::{EdgeTimer, Grounds, Plan, Timed};
use super::uncertainty::EdgeUncertainty;
use super::{Edge, Polarity};
use crate::clock::{BenchInstant, BenchSpan, PICOSECONDS};
use crate::measurement::{Estimate, combined, resolution};
use crate::units::{Quantity, Seconds};
use crate::waveform::ChannelAccuracy;
use crate::waveform::crossing::{CrossingDetector, Sample, Thresholds};
use crate::waveform::levels::{BEYOND_READING, LevelHistogram, StateLevels};

/// Half of a window around a transition, in seconds: less than the shortest
/// half that a decoder must accept leaves between two edges of 22 us (S-9.1:
/// 52 us).
const WINDOW: f64 = 28e-6;
/// Samples of half a window, at most.
const LONGEST_WINDOW: usize = 3000;
/// A half that is farther from its level than this share of it is none of those
/// whose mean the level is (our own border, no source).
const COLLAPSED: f64 = 0.05;
/// A top is flat where one in so many settled samples is at its very end.
const FLAT: usize = 10;
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
    even: bool,
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
    /// What is asked of the voltage, answered.
    pub facts: Facts,
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
            even: true,
            settings,
        }
    }

    /// Takes evenly spaced samples and tells the edges among them.
    pub fn push<S: Sample>(&mut self, samples: &[S], sink: &mut impl FnMut(Edge)) {
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
            timer.note(crossing, between);
        });
        timer.take(samples, &mut |timed| sink(told(halves, *ruler, &timed)));
        self.last = self.detector.samples() as f64;
    }

    /// Takes one sample at `time` after the first instant, for uneven steps.
    /// Levels then weigh every sample alike, and shapes are not measured.
    pub fn push_at(&mut self, time: Seconds, value: f64, sink: &mut impl FnMut(Edge)) {
        self.even = false;
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
            facts: Facts::of(levels.as_ref(), shape.as_ref(), self.even),
            levels,
            shape,
        }
    }

    /// How well edges are known: by noise, the converter's step and sampling as
    /// the plans of both directions found them, and by the channel's offset
    /// through the slope of each.
    fn edge(&self) -> EdgeUncertainty {
        let period = self.ruler.period;
        let time_base_u = self.settings.decoder.edge.time_base_u;
        let plans = [true, false].map(|rising| self.timer.plan(rising));
        let [Some(up), Some(down)] = plans else {
            return EdgeUncertainty::sampled(period, time_base_u);
        };
        let both = |of: fn(&Plan) -> f64| {
            let (a, b) = (of(up), of(down));
            bounded(libm::sqrt((a * a + b * b) / 2.0) * period)
        };
        let offset = self.settings.accuracy.offset_u / self.settings.scale.gain.abs();
        let skew = |plan: &Plan| offset / plan.slope.abs() * period / 2.0;
        let model = |plan: &Plan| plan.model_u * period / 2.0;
        EdgeUncertainty {
            edge_u: both(|plan| combined([plan.noise_u, plan.grid_u])),
            grid_u: both(|plan| plan.grid_u),
            sampled_u: both(Plan::sampled_u),
            unseen_u: 0.0,
            // Offset moves edges upwards and downwards apart; what the fit
            // makes of the shape of each is its own.
            skew_u: bounded(combined([skew(up) + skew(down), model(up), model(down)])),
            time_base_u,
        }
    }

    fn levels(&self) -> Option<LevelFigures> {
        let Scale { gain, offset, step } = self.settings.scale;
        let mut states = self.histogram.levels()?.scaled(gain, offset);
        let (a, b) = self.detector.extremes()?;
        let (a, b) = (a * gain + offset, b * gain + offset);
        let accuracy = self.settings.accuracy;
        let volts = |raw: f64| raw * gain + offset;
        let level = -offset / gain;
        let room = |plan: &Plan| COLLAPSED * (plan.before - level).abs() + 6.0 * plan.noise;
        let bin = resolution(states.resolution);
        // The halves say it better, since edges, ringing and dead stretches are
        // no part of them; without whole ones there is the histogram.
        let of = |positive: bool, fallback: (f64, f64)| {
            let plan = self.timer.plan(!positive);
            let halves = &self.halves[usize::from(positive)];
            let mean = plan.and_then(|plan| halves.mean(plan.before, room(plan)));
            match mean.zip(plan) {
                Some(((value, own), plan)) => {
                    let step_u = noise::level(step, plan.noise);
                    let own = combined([own, step_u, plan.drift]);
                    (volts(value), own * gain.abs())
                }
                None => (fallback.0, combined([fallback.1, bin])),
            }
        };
        let raw_positive = gain > 0.0;
        let count = (states.samples.max(2) as f64 / 2.0).min(1e6);
        let scatter = |noise: f64| noise * libm::sqrt(std::f64::consts::FRAC_PI_2 / count);
        let high = of(raw_positive, (states.high, scatter(states.noise_high)));
        let low = of(!raw_positive, (states.low, scatter(states.noise_low)));
        (states.high, states.low) = (high.0, low.0);
        let estimate = |value: f64, own: f64, offset_u: f64| {
            Estimate::new(value, combined([value * accuracy.gain_u, offset_u, own]))
        };
        let both = combined([high.1, low.1]);
        let extreme = |positive: bool, greatest: bool| {
            let plan = self.timer.plan(positive != raw_positive)?;
            let halves = &self.halves[usize::from(positive == raw_positive)];
            let sign = if positive { 1.0 } else { -1.0 };
            let up = (greatest == positive) == (gain > 0.0);
            let step_u = noise::level(step, plan.noise);
            let about = (plan.before, room(plan));
            let worst = halves.extreme(up, plan.level_u, about)?;
            let value = sign * volts(worst.0);
            let own = combined([worst.1, step_u, plan.drift]) * gain.abs();
            Some((
                estimate(value, own, accuracy.offset_u),
                self.ruler.instant(worst.2),
            ))
        };
        Some(LevelFigures {
            states,
            positive: estimate(high.0, high.1, accuracy.offset_u),
            negative: estimate(-low.0, low.1, accuracy.offset_u),
            // The offset cancels in the amplitude and doubles in the symmetry.
            amplitude: estimate(states.amplitude() / 2.0, both / 2.0, 0.0),
            symmetry: estimate(states.high + states.low, both, 2.0 * accuracy.offset_u),
            lowest_positive: extreme(true, false),
            highest_positive: extreme(true, true),
            lowest_negative: extreme(false, false),
            highest_negative: extreme(false, true),
            extremes: (a.min(b), a.max(b)),
            clipped: self.clipped(),
        })
    }

    /// Whether halves stay at the last code that there is, told by many samples
    /// being exactly there: noise would spread them, or else the code is the
    /// last of a binary range.
    fn clipped(&self) -> Clipped {
        let Scale { gain, offset, step } = self.settings.scale;
        let Some((least, greatest)) = self.detector.extremes() else {
            return Clipped::default();
        };
        let at = |rail: f64, raw_positive: bool| {
            let plan = self.timer.plan(!raw_positive)?;
            let windows = self.timer.windows(!raw_positive);
            let (from, to) = plan.settled;
            let mut counts = (0_usize, 0_usize);
            for window in windows {
                let zero = libm::floor(window.crossing) as i64;
                let part = (zero + from).max(0) as usize..(zero + to).max(0) as usize;
                for value in window.samples.get(part).unwrap_or_default() {
                    counts.0 += usize::from(*value == rail);
                    counts.1 += 1;
                }
            }
            let flat = counts.0 * FLAT > counts.1;
            let code = if raw_positive { rail + 1.0 } else { -rail };
            let last =
                step == 1.0 && code >= 64.0 && libm::exp2(libm::round(libm::log2(code))) == code;
            let spread = step > 0.0 && plan.noise > 0.6 * step;
            (flat && (last || spread)).then_some(rail * gain + offset)
        };
        let (up, down) = (at(greatest, true), at(least, false));
        if gain > 0.0 {
            Clipped {
                positive: up,
                negative: down,
            }
        } else {
            Clipped {
                positive: down,
                negative: up,
            }
        }
    }

    fn shape(&self, levels: &LevelFigures, rising: bool) -> ShapeFigures {
        let Scale { gain, offset, step } = self.settings.scale;
        let raw_rising = rising != (gain < 0.0);
        let Some(plan) = self.timer.plan(raw_rising) else {
            return ShapeFigures::default();
        };
        let states: &StateLevels = &levels.states;
        let sign = if rising { 1.0 } else { -1.0 };
        let grounds = self.timer.grounds();
        let mut laid = Vec::new();
        for window in self.timer.windows(raw_rising) {
            let volts = window.samples.iter().map(|v| sign * (v * gain + offset));
            let volts: Vec<f64> = volts.collect();
            // Passed over here as it is in the levels.
            let zero = plan.time(window, window.ambiguity, &grounds);
            let inside = zero >= 2.0 && zero <= volts.len() as f64 - 3.0;
            if inside && volts.iter().all(|v| v.abs() <= BEYOND_READING) {
                laid.push(Laid { volts, zero });
            }
        }
        let (start, end) = if rising {
            (states.low, states.high)
        } else {
            (-states.high, -states.low)
        };
        let ChannelAccuracy { gain_u, offset_u } = self.settings.accuracy;
        let noise = plan.noise * gain.abs();
        // What the amplitude owns but for the gain is half of both levels'.
        let of_gain = levels.amplitude.value * gain_u;
        let own = levels.amplitude.u * levels.amplitude.u - of_gain * of_gain;
        let level_u = libm::sqrt(2.0 * own.max(0.0));
        let known = Known {
            start,
            end,
            level_u,
            noise,
            colour: plan.colour,
            apparent: plan.apparent,
            quantum: step * gain.abs(),
            // A bent edge is the steeper the nearer to the level it began at:
            // the offset moves the slew levels on it.
            scale_u: combined([gain_u, 2.0 * offset_u / states.amplitude()]),
            period: self.ruler.period,
            // Peak to peak, noise stays within six deviations (from memory).
            reversal: (6.0 * noise).max(4.0 * states.resolution),
        };
        let Some(overlay) = Overlay::of(&laid, known) else {
            return ShapeFigures::default();
        };
        let mut figures = overlay.figures();
        if levels.clipped.any() {
            // Levels, and what is taken from them, are not known.
            figures.without_levels();
        }
        if !rising {
            figures.distortion = figures.distortion.map(|(low, high)| (-high, -low));
        }
        figures
    }
}

/// At most a millisecond: what is known no better is not known.
fn bounded(u: f64) -> f64 {
    if u.is_nan() { 1e-3 } else { u.min(1e-3) }
}

/// Notes the level before an edge, and the edge itself in time.
fn told(halves: &mut [HalfLevels; 2], ruler: Ruler, timed: &Timed) -> Edge {
    if let Some(level) = timed.level {
        let positive = timed.to == Polarity::Negative;
        halves[usize::from(positive)].push(level, timed.position);
    }
    ruler.edge(timed.position, timed.to)
}
