//! What a scan has seen when its samples are over: how well edges are known,
//! levels, flat tops, shapes. It takes no samples.

use super::super::noise;
use super::super::overlay::{Known, Overlay};
use super::super::places::Laid;
use super::super::plan::Plan;
use super::super::report::{Clipped, LevelFigures, ShapeFigures};
use super::super::residues::Noise;
use super::super::uncertainty::EdgeUncertainty;
use super::{ChannelScan, EdgeTiming, Scale};
use crate::measurement::{Estimate, combined, resolution};
use crate::waveform::ChannelAccuracy;
use crate::waveform::levels::{BEYOND_READING, StateLevels};

/// A half that is farther from its level than this share of it is none of those
/// whose mean the level is (our own border, no source).
const COLLAPSED: f64 = 0.05;
/// A top is flat where one in so many settled samples is at its very end.
const FLAT: usize = 10;

impl EdgeTiming {
    /// How well the edges told so far are known: by noise, the converter's step and
    /// sampling as the plans of both directions found them, and by the channel's
    /// offset through the slope of each. Later edges may say otherwise.
    pub fn edge(&self) -> EdgeUncertainty {
        let period = self.ruler.period;
        let time_base_u = self.time_base_u;
        let plans = [true, false].map(|rising| self.timer.plan(rising));
        let [Some(up), Some(down)] = plans else {
            return EdgeUncertainty::sampled(period, time_base_u);
        };
        let both = |of: fn(&Plan) -> f64| {
            let (a, b) = (of(up), of(down));
            bounded(libm::sqrt((a * a + b * b) / 2.0) * period)
        };
        let grounds = self.timer.grounds();
        let paused = |rising, plan: &Plan| plan.paused_u(&self.timer.windows(rising), &grounds);
        let skew = |plan: &Plan| self.offset_u / plan.slope.abs() * period / 2.0;
        let model = |plan: &Plan| plan.model_u * period / 2.0;
        EdgeUncertainty {
            edge_u: both(|plan| combined([plan.noise_u, plan.grid_u])),
            grid_u: both(|plan| plan.grid_u),
            sampled_u: both(Plan::sampled_u),
            unseen_u: 0.0,
            paused_u: bounded(paused(true, up).max(paused(false, down)) * period),
            worse_u: bounded(up.noise_u.max(down.noise_u) * period),
            uneven: uneven(up.grid_u, down.grid_u),
            // Offset moves edges upwards and downwards apart; what the fit
            // makes of the shape of each is its own.
            skew_u: bounded(combined([skew(up) + skew(down), model(up), model(down)])),
            offset_u: bounded(skew(up) + skew(down)),
            time_base_u,
        }
    }
}

impl ChannelScan {
    /// State levels, from the halves where there are enough.
    pub(super) fn levels(&self) -> Option<LevelFigures> {
        let Scale { gain, offset, step } = self.settings.scale;
        let mut states = self.search.histogram.levels()?.scaled(gain, offset);
        let (a, b) = self.search.detector.extremes()?;
        let (a, b) = (a * gain + offset, b * gain + offset);
        let accuracy = self.settings.accuracy;
        let volts = |raw: f64| raw * gain + offset;
        let level = -offset / gain;
        let room = |plan: &Plan| COLLAPSED * (plan.before - level).abs() + 6.0 * plan.noise;
        let bin = resolution(states.resolution);
        // The halves say it better, since edges, ringing and dead stretches are
        // no part of them; without whole ones there is the histogram.
        let of = |positive: bool, fallback: (f64, f64)| {
            let plan = self.timing.timer.plan(!positive);
            let halves = &self.timing.halves[usize::from(positive)];
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
        let extreme = |positive: bool, maximum: bool| {
            let plan = self.timing.timer.plan(positive != raw_positive)?;
            let halves = &self.timing.halves[usize::from(positive == raw_positive)];
            let sign = if positive { 1.0 } else { -1.0 };
            let up = (maximum == positive) == (gain > 0.0);
            let step_u = noise::level(step, plan.noise);
            let about = (plan.before, room(plan));
            let worst = halves.extreme(up, plan.level_u, about)?;
            let value = sign * volts(worst.0);
            let own = combined([worst.1, step_u, plan.drift]) * gain.abs();
            Some((
                estimate(value, own, accuracy.offset_u),
                self.timing.ruler.instant(worst.2),
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
        let Some((least, maximum)) = self.search.detector.extremes() else {
            return Clipped::default();
        };
        let at = |rail: f64, raw_positive: bool| {
            let plan = self.timing.timer.plan(!raw_positive)?;
            let windows = self.timing.timer.windows(!raw_positive);
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
        let (up, down) = (at(maximum, true), at(least, false));
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

    /// The noise of the samples of one direction's edges, and the deviation of
    /// one. Where tops that are cut off hide it, the other polarity shows it: it
    /// is that of the instrument.
    fn noise(&self, raw_rising: bool, plan: &Plan) -> (Noise, f64) {
        let grounds = self.timing.timer.grounds();
        let of = |rising, plan: &Plan| plan.noise(&self.timing.timer.windows(rising), &grounds);
        let own = of(raw_rising, plan);
        let Some(other) = self
            .timing
            .timer
            .plan(!raw_rising)
            .map(|plan| of(!raw_rising, plan))
        else {
            return own;
        };
        let clearer = match (&own.0, &other.0) {
            (Noise::Hidden { .. }, Noise::Seen(_)) => other.1 > 0.5 * own.1,
            (Noise::Seen(_), _) => other.1 > 1.5 * own.1,
            _ => false,
        };
        if clearer { other } else { own }
    }

    /// The shape of the transitions of one direction.
    pub(super) fn shape(&self, levels: &LevelFigures, rising: bool) -> ShapeFigures {
        let Scale { gain, offset, step } = self.settings.scale;
        let raw_rising = rising != (gain < 0.0);
        let Some(plan) = self.timing.timer.plan(raw_rising) else {
            return ShapeFigures::default();
        };
        let states: &StateLevels = &levels.states;
        let sign = if rising { 1.0 } else { -1.0 };
        let grounds = self.timing.timer.grounds();
        let mut laid = Vec::new();
        let windows = self.timing.timer.windows(raw_rising);
        let (noise, deviation) = self.noise(raw_rising, plan);
        let noise_of_samples = noise.scaled(gain.abs());
        for window in windows {
            let volts = window.samples.iter().map(|v| sign * (v * gain + offset));
            let volts: Vec<f64> = volts.collect();
            // Passed over here as it is in the levels.
            let zero = plan.time(window, &grounds);
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
        let noise = deviation * gain.abs();
        // What the amplitude owns but for the gain is half of both levels'.
        let of_gain = levels.amplitude.value * gain_u;
        let own = levels.amplitude.u * levels.amplitude.u - of_gain * of_gain;
        let level_u = libm::sqrt(2.0 * own.max(0.0));
        let known = Known {
            start,
            end,
            level_u,
            noise,
            apparent: plan.apparent,
            quantum: step * gain.abs(),
            // A bent edge is the steeper the nearer to the level it began at:
            // the offset moves the slew levels on it.
            scale_u: combined([gain_u, 2.0 * offset_u / states.amplitude()]),
            period: self.timing.ruler.period,
            laid_u: combined([plan.noise_u, plan.grid_u]),
            // Peak to peak, noise stays within six deviations (from memory).
            reversal: (6.0 * noise).max(4.0 * states.resolution),
        };
        let Some(overlay) = Overlay::of(&laid, known, &noise_of_samples) else {
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

/// By what share of their mean the square of `up` is larger.
fn uneven(up: f64, down: f64) -> f64 {
    let (up, down) = (up * up, down * down);
    let share = (up - down) / (up + down);
    if share.is_nan() { 0.0 } else { share }
}

/// At most a millisecond: what is known no better is not known.
fn bounded(u: f64) -> f64 {
    if u.is_nan() { 1e-3 } else { u.min(1e-3) }
}
