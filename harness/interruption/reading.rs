//! The instant at which the samples about a passing pass their level: by a
//! parabola, by a decay between two samples, or by a straight line. Which
//! passing counts is decided beside this.

use super::parabola::Parabola;
use super::passing::Flow;
use crate::measurement::{Estimate, combined, rectangular};
use crate::waveform::between_samples;

impl Flow<'_> {
    /// The passing of `level` between the means about `index` and the next.
    pub(super) fn read(&self, index: usize, level: f64, rising: bool) -> Estimate {
        let far = if rising { index + 1 } else { index };
        let sense = self.sense(far);
        if let Some(found) = self.fitted(index, level, sense, rising) {
            return found;
        }
        let values = self.trace.values();
        // The samples themselves may pass a little beside their means.
        let passes = |at: usize| {
            let (here, next) = (sense * values[at], sense * values[at + 1]);
            (here < level) != (next < level) && (next > here) == rising
        };
        // From where the level is surely passed, the nearest passing of it.
        let sure = level + 2.5 * self.noise.sd;
        let (from, to) = (
            index.saturating_sub(2 * self.width),
            (index + 2 * self.width + 1).min(self.len() - 1),
        );
        let beyond = |at: &usize| sense * values[*at] >= sure;
        let place = if rising {
            let end = (from..=to).find(beyond).unwrap_or(to);
            (from..end).rfind(|&at| passes(at))
        } else {
            let begin = (from..=to).rfind(beyond).unwrap_or(from);
            (begin..to).find(|&at| passes(at))
        };
        let place = place.unwrap_or(index);
        let found = between_samples(self.trace, place, level, sense, self.noise.of_one());
        let found = self.decaying(place, level, sense).unwrap_or(found);
        let plateau = self.plateau(place) * self.trace.period();
        let u = combined([
            found.u,
            rectangular(plateau / 2.0),
            self.slowly(index, rising),
        ]);
        Estimate::new(found.value, u)
    }

    /// On a decay, steep at first, the passing lies where an exponential through
    /// both samples has it. Standard uncertainty: half of what a straight line
    /// would say otherwise, as a rectangle, and a hundredth of the period; the
    /// samples' over the slope there.
    fn decaying(&self, index: usize, level: f64, sense: f64) -> Option<Estimate> {
        let value = |at: usize| self.trace.values().get(at).map(|x| x * sense);
        let before = value(index.checked_sub(1)?)?;
        let (here, next) = (value(index)?, value(index + 1)?);
        let noise = self.noise.of_one();
        let decays = here > level && next < level && next > 3.0 * noise;
        if !decays || before - here < here - next {
            return None;
        }
        let rate = libm::log(here / next);
        let fraction = libm::log(here / level) / rate;
        let straight = (here - level) / (here - next);
        let u = combined([
            rectangular((straight - fraction) / 2.0),
            combined([1.0 - fraction, fraction]) * noise / (rate * level),
            self.trace.scale_u(level) / (rate * level),
            0.01,
        ]);
        let period = self.trace.period();
        Some(Estimate::new(
            self.trace.time(index) + fraction * period,
            u * period,
        ))
    }

    /// What the noise of one sample is worth in seconds on the slope of the
    /// means about `index`, where there are means.
    fn slowly(&self, index: usize, rising: bool) -> f64 {
        let reach = self.width;
        // On the flatter side: a fall comes to rest, a rise comes from it.
        let (from, to) = if rising {
            (index.saturating_sub(reach), index + 1)
        } else {
            (index, (index + 1 + reach).min(self.len() - 1))
        };
        let slope = (self.mean(to) - self.mean(from)).abs() / (to - from) as f64;
        let most = self.longest as f64;
        if slope > 0.0 {
            (self.noise.of_one() / slope).min(most) * self.trace.period()
        } else {
            0.0
        }
    }

    /// For how many samples an undithered waveform rests on one code beside the
    /// change of one code after `index`: there it passes a level unseen.
    fn plateau(&self, index: usize) -> f64 {
        let values = self.trace.values();
        let step = self.trace.step();
        let one = |a: f64, b: f64| (a - b).abs() <= 1.5 * step;
        if self.noise.coarse == 0.0 || !one(values[index], values[index + 1]) {
            return 0.0;
        }
        let rests = |at: usize, from: usize| (values[at] - values[from]).abs() < 0.5 * step;
        let back = (0..=index).rev().take(self.longest);
        let back = back.take_while(|&at| rests(at, index)).count();
        let on = (index + 1..values.len()).take(self.longest);
        let on = on.take_while(|&at| rests(at, index + 1)).count();
        back.min(on) as f64
    }

    /// By the parabola through the samples about the passing, over the longest
    /// stretch that it fits and that agrees with the shorter ones.
    ///
    /// Standard uncertainty (GUM 5.1.2): the fit's, lengthened by the noise's
    /// memory, and steps of the converter that the slope does not wipe out,
    /// over the slope; gain and zero of the level likewise.
    pub(super) fn fitted(
        &self,
        index: usize,
        level: f64,
        sense: f64,
        rising: bool,
    ) -> Option<Estimate> {
        /// Standard deviations by which a longer fit may differ.
        const AGREES: f64 = 2.0;
        /// Standard deviations that make a slope.
        const SLOPE: f64 = 5.0;
        /// Of several fits the one with the least u is taken, which makes that
        /// too small by about this factor (tried with invented captures).
        const CHOSEN: f64 = 1.2;
        /// Steps of the converter that an undithered fit goes through.
        const SPAN: f64 = 3.0;
        let period = self.trace.period();
        let mut centre = index as f64 + 0.5;
        let mut best: Option<(f64, f64, f64)> = None;
        let mut reach = 2.5;
        while reach <= self.longest as f64 {
            let Some(fit) = Parabola::of(self.trace.values(), sense, centre, reach) else {
                break;
            };
            let noise = self.noise.of_one();
            let freedom = fit.count as f64 - 3.0;
            let allowed = noise * noise * (1.0 + 3.0 * libm::sqrt(2.0 / freedom));
            if fit.squares / freedom > allowed {
                break;
            }
            let Some((at, slope)) = fit.passes(level).filter(|&(_, s)| (s > 0.0) == rising) else {
                if best.is_some() {
                    break;
                }
                reach *= 1.5;
                continue;
            };
            let lengthened = noise * self.noise.lengthened(fit.count);
            // A slope that noise could have made, or over too few of the
            // converter's steps, says nothing.
            let told = slope.abs() >= SLOPE * lengthened * libm::sqrt(fit.slope_variance(at));
            let spans = slope.abs() * fit.count as f64 >= SPAN * self.trace.step();
            if !told || (self.noise.coarse > 0.0 && !spans) {
                reach *= 1.5;
                continue;
            }
            let scatter = lengthened * libm::sqrt(fit.variance(at));
            let u = CHOSEN * scatter / slope.abs();
            let place = centre + at;
            if let Some((known, known_u, _)) = best
                && (place - known).abs() > AGREES * known_u
            {
                break;
            }
            // What a longer fit moves it by, its bend may move it on by.
            let moved = best.map_or(0.0, |(known, _, _)| (place - known).abs());
            let u = combined([u, moved]);
            if best.is_none_or(|(_, known_u, _)| u < known_u) {
                best = Some((place, u, slope.abs()));
                centre = place;
            }
            reach *= 1.5;
        }
        let (place, u, slope) = best?;
        let u = combined([u, self.trace.scale_u(level) / slope]) * period;
        Some(Estimate::new(self.trace.time(0) + place * period, u))
    }
}
