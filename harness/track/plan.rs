//! How the edges of one direction are timed, and how well: by the line or
//! parabola through all samples near zero that the first edges show to err least.
//! It keeps no edges.

use super::fits::{Candidate, candidates};
use super::noise::quantised;
use super::profile::{averaged, gap, mean, range, settled, step};
use super::residues::{Noise, Residues};
use super::timing::Grounds;
use super::windows::Window;
use crate::measurement::{combined, resolution};
use crate::waveform::local_fit::LocalFit;

// Numbers that no calculation is named beside are our own allowances, no source.

/// A fit reaches to this share of the lesser level at most: edges are bent near
/// their ends (our own allowance, no source).
const FITTED: f64 = 0.55;
/// Samples of one mean of a level (our own choice, no source).
const LEVEL: usize = 32;
/// Tops that are cut off hide noise where fits to edges leave so many times what
/// the tops show; it is slow where the widest fit leaves so many times what the
/// narrowest does (our own allowances, no source).
const HIDES: f64 = 1.5;
const IS_SLOW: f64 = 1.3;

/// How the edges of one direction are timed, in sample periods and raw units.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    /// None: by the line between the two samples beside zero.
    fit: Option<LocalFit>,
    /// At zero, per sample; signed.
    pub(super) slope: f64,
    bend: f64,
    /// Standard uncertainty by noise, each edge's own.
    pub(super) noise_u: f64,
    /// By the converter's step and what lies between samples: the same again on
    /// the same phase of the sampling.
    pub(super) grid_u: f64,
    /// By the shape of the fit: common to all edges of the direction.
    pub(super) model_u: f64,
    /// Standard deviation of a sample at the level before the edge, and that
    /// level.
    pub(super) noise: f64,
    pub(super) before: f64,
    /// Of noise that flat tops hide: its deviation on the edges, and whether
    /// neighbours share it.
    hidden: Option<(f64, bool)>,
    /// Where before the crossing the level is settled: from and up to.
    pub(super) settled: (i64, i64),
    /// Standard uncertainty by noise of the mean of [`LEVEL`] samples there.
    pub(super) level_u: f64,
    /// How far the level before the edge still moves where it should be
    /// settled: standard uncertainty.
    pub(super) drift: f64,
    /// Samples that an edge takes from level to level at its slope about zero;
    /// 1 for a jump.
    pub(super) apparent: f64,
    /// Samples between the first and the last passing of zero that noise alone
    /// can make.
    chatter: f64,
    /// Nearer to zero than this an edge pauses where it does not move.
    pause: f64,
}

impl Plan {
    /// From the undisturbed windows of one direction; none from fewer than
    /// three.
    pub(super) fn of(windows: &[&Window], rising: bool, grounds: &Grounds) -> Option<Self> {
        if windows.len() < 3 {
            return None;
        }
        let profile = averaged(windows, grounds.reach);
        let middle = grounds.reach;
        let settled = settled(&profile, middle);
        let before = mean(&profile[range(settled, middle)]);
        let sign = if rising { 1.0 } else { -1.0 };
        // The level after it, from what the ringing leaves at the far end.
        let after = mean(&profile[middle + middle / 2..]);
        let amplitude = sign * (after - before);
        // Without two levels on either side of zero nothing can be planned.
        if amplitude.is_nan() || amplitude <= 0.0 {
            return None;
        }
        let residues = Residues::of(windows, &profile, settled, middle);
        let noise = residues.deviation();
        let (step, over) = step(windows, &profile, (before, amplitude), sign);
        let lesser = sign * (grounds.level - before);
        let lesser = lesser.min(sign * (after - grounds.level));
        let farthest = (FITTED * lesser / step).min(middle as f64 / 3.0);
        let fits = candidates(
            windows,
            &profile,
            grounds.level,
            farthest.max(0.0) as usize,
            sign,
        );
        // Tops that are cut off hide their noise; the edges do not, and show
        // slow noise the better the wider they are fitted.
        let own = resolution(grounds.quantum);
        let rests = || {
            fits.iter()
                .filter(|found| !found.line)
                .map(|found| found.rest)
        };
        let least = rests().fold(f64::INFINITY, f64::min);
        let rests = rests().fold(0.0, f64::max);
        let hidden = least.is_finite() && least > HIDES * combined([noise, own]);
        let slow = rests > IS_SLOW * least;
        let few = residues.mean_of(8) * libm::sqrt(8.0);
        let colour = if noise > 0.0 && !hidden {
            (few / noise).max(1.0)
        } else {
            1.0
        };
        let of_edge = if hidden {
            libm::sqrt(rests * rests - own * own)
        } else {
            noise
        };
        let gap = gap(windows);
        let mut between = Self::between(
            (amplitude, step),
            of_edge,
            colour,
            gap,
            grounds.quantum,
            sign,
        );
        // Peak to peak, noise stays within six deviations (from memory); a sample
        // more, and half of the way to the level: our own allowances, no source.
        between.chatter = 6.0 * of_edge / over + 1.0;
        between.pause = 0.5 * lesser;
        // An edge that pauses beside zero says less of when it went on.
        let paused = windows.iter().map(|window| {
            let (_, u) = between.beside(window, window.crossing, grounds.level);
            u * u
        });
        let paused = libm::sqrt(paused.sum::<f64>() / windows.len() as f64);
        between.grid_u = between.grid_u.max(paused);
        let mut plan = Self {
            noise,
            hidden: hidden.then_some((of_edge, slow)),
            before,
            settled,
            level_u: residues.mean_of(LEVEL),
            drift: residues.drift(&profile[range(settled, middle)]),
            ..between
        };
        let of_samples = match plan.hidden {
            Some((deviation, slow)) => Noise::Hidden { deviation, slow },
            None => Noise::Seen(residues),
        };
        let mut best = plan.total();
        for found in fits {
            let through = of_samples.through(found.fit.weights());
            let apart = match &of_samples {
                Noise::Hidden { .. } => found.phased,
                Noise::Seen(seen) => seen.through(&found.apart()) / found.slope.abs(),
            };
            let other = plan.by(
                found,
                (through, apart),
                (windows.len(), gap > 0.5),
                grounds.quantum,
            );
            if other.total() < best {
                best = other.total();
                plan = other;
            }
        }
        Some(plan)
    }

    /// By the line between two samples.
    fn between(
        (amplitude, step): (f64, f64),
        noise: f64,
        colour: f64,
        gap: f64,
        quantum: f64,
        sign: f64,
    ) -> Self {
        let apparent = amplitude / step;
        let apparent = if apparent < 1.02 { 1.0 } else { apparent };
        // What a line between two samples misses of an edge that takes so many
        // samples, over all phases of the sampling: computed for straight,
        // cosine and exponential edges, and an envelope of our own fitted to them;
        // that of a jump is 1 / sqrt 12. On one phase alone a step tells less of
        // the edge (our own allowance, no source).
        let missed = (libm::exp(-3.5 * (apparent - 1.0)) / libm::sqrt(12.0))
            .max(0.15 / (apparent * apparent * apparent));
        let missed = if gap > 0.5 {
            missed.max(1.0 / (apparent * libm::sqrt(12.0 * apparent)))
        } else {
            missed
        };
        // Of two samples the nearer weighs more: 2/3 of the square over all
        // places between them (by integration), where their noise is independent;
        // the whole where they share it, 1.22 being the root of 3/2.
        let through = libm::sqrt(2.0 / 3.0) * colour.min(1.22) / step;
        Self {
            fit: None,
            slope: sign * step,
            bend: 0.0,
            noise_u: noise * through,
            grid_u: combined([quantised(quantum, noise) * through, missed]),
            // An exponential edge is placed up to 0.08 of a sample late, a jump
            // not at all (computed; the curve between them is our own).
            model_u: 0.06 * (4.0 / apparent).min(1.0) * (2.0 * (apparent - 1.0)).min(1.0),
            noise,
            hidden: None,
            before: 0.0,
            settled: (0, 0),
            level_u: noise,
            drift: 0.0,
            chatter: f64::INFINITY,
            pause: 0.0,
            apparent,
        }
    }

    /// The same with a fit through which noise is `noise`, and by which another
    /// differs by `apart` samples by noise alone.
    fn by(
        &self,
        found: Candidate,
        (noise, apart): (f64, f64),
        (windows, single): (usize, bool),
        quantum: f64,
    ) -> Self {
        let slope = found.slope.abs();
        let count = found.fit.weights().len() as f64;
        // A slow edge shows the converter's steps as a stair: as many
        // independent errors as it has stairs.
        let stairs = (count * slope / quantum.max(1e-300)).max(1.0);
        let dithered = found.fit.gain() * count / count.min(stairs);
        // A tenth of what noise does to one edge, of what is missed four fifths,
        // and of a difference by noise alone the square and a third: our own
        // allowances, no source.
        let common = 0.1 * noise / slope / libm::sqrt(windows as f64);
        Self {
            slope: found.slope,
            bend: found.bend,
            noise_u: noise / slope,
            grid_u: combined([
                // Seen on one phase alone, the shape may do more on others.
                if single { found.missed } else { 0.0 },
                quantised(quantum, self.noise) * libm::sqrt(dithered) / slope,
                libm::sqrt((found.phased * found.phased - 1.3 * apart * apart).max(0.0)),
            ]),
            model_u: combined([0.8 * found.missed, common]),
            fit: Some(found.fit),
            ..self.clone()
        }
    }

    /// The noise of the samples in these windows, and the deviation of one.
    pub(super) fn noise(&self, windows: &[&Window], grounds: &Grounds) -> (Noise, f64) {
        match self.hidden {
            Some((deviation, slow)) => (Noise::Hidden { deviation, slow }, deviation),
            None => {
                let profile = averaged(windows, grounds.reach);
                let seen = Residues::of(windows, &profile, self.settled, grounds.reach);
                let deviation = seen.deviation();
                (Noise::Seen(seen), deviation)
            }
        }
    }

    /// What sampling alone may make an edge uncertain by, in samples: all of one
    /// where no fit goes through the edge, less the more samples one goes
    /// through, nothing once they show its shape, more than four either side (our
    /// own allowance, no source).
    pub(super) fn sampled_u(&self) -> f64 {
        match self.fit.as_ref().map_or(0, LocalFit::reach) {
            0 => resolution(1.0),
            reach if reach <= 4 => resolution(1.0) / reach as f64,
            _ => 0.0,
        }
    }

    fn total(&self) -> f64 {
        combined([self.noise_u, self.grid_u, self.model_u])
    }

    /// Samples before and after a crossing that are looked at.
    pub(super) fn surroundings(&self) -> (i64, i64) {
        let fit = self.fit.as_ref().map_or(0, LocalFit::reach) as i64;
        let about = 2 * fit + 8;
        let level = LEVEL as i64 + 2 - self.settled.1;
        (about.max(level), about)
    }

    /// Where in the window the edge passes zero. Where it passes more than once
    /// and noise does not explain that, the last counts: from there on the
    /// voltage has its new sign for good.
    pub(super) fn time(&self, window: &Window, grounds: &Grounds) -> f64 {
        let ambiguity = window.ambiguity;
        if ambiguity > self.chatter {
            let last = window.crossing + ambiguity / 2.0;
            return self.beside(window, last, grounds.level).0;
        }
        let Some(fit) = &self.fit else {
            return self.beside(window, window.crossing, grounds.level).0;
        };
        let reach = fit.reach() as f64;
        let last = window.samples.len() as f64 - 1.0;
        let mut middle = nearest(window.crossing);
        let mut at = window.crossing;
        for _ in 0..6 {
            // Damaged samples lead nowhere; what is not a number is not inside.
            let inside = middle >= reach && middle + reach <= last;
            if !inside {
                return window.crossing;
            }
            let value = fit.value(|index| window.samples[index], middle as usize);
            let short = grounds.level - value;
            // The slope is that at the crossing, the bend half of the second
            // derivative.
            let root = self.slope * self.slope - 4.0 * self.bend * short;
            let moved = if root > 0.0 && short.abs() < self.slope.abs() {
                2.0 * short / (self.slope + self.slope.signum() * libm::sqrt(root))
            } else {
                (short / self.slope).clamp(-reach, reach)
            };
            at = middle + moved;
            let to = nearest(at);
            if to == middle {
                break;
            }
            middle = to;
        }
        // What lies far from all crossings seen is another matter (how far: our
        // own allowance, no source).
        let room = ambiguity / 2.0 + 2.0 + 0.5 * reach;
        if (at - window.crossing).abs() <= room {
            at
        } else {
            window.crossing
        }
    }

    /// Where the edge passes zero by the two samples beside `at`, and how well
    /// that is known beyond what a line between them misses of any edge.
    ///
    /// Where it pauses near zero at one of them, in the dead time of a bridge
    /// say, and then jumps, the line leads to the pause; it went on somewhere
    /// between that and the other sample.
    fn beside(&self, window: &Window, at: f64, level: f64) -> (f64, f64) {
        let index = libm::floor(at).max(0.0) as usize;
        let sign = self.slope.signum();
        let value = |index: usize| window.samples.get(index).map(|v| sign * (v - level));
        let values = (
            index.checked_sub(1).and_then(value),
            value(index),
            value(index + 1),
            value(index + 2),
        );
        let (Some(before), Some(here), Some(next), Some(after)) = values else {
            return (at, 0.0);
        };
        let rise = next - here;
        // Three deviations of noise; the shares of a rise that a rest or a jump
        // has are our own allowances, no source.
        let room = 3.0 * self.noise;
        let rests = |step: f64| step.abs() < 0.25 * rise + room;
        let jumps = rise > 4.0 * room && here <= room && next >= -room;
        let (from, to) = (index as f64, index as f64 + 1.0);
        if jumps && here.abs() < self.pause && here.abs() < 0.5 * next && rests(here - before) {
            let on = at.clamp(from, to);
            return ((on + to) / 2.0, (to - on) / libm::sqrt(12.0));
        }
        if jumps && next.abs() < self.pause && next < -0.5 * here && rests(after - next) {
            let on = at.clamp(from, to);
            return ((from + on) / 2.0, (on - from) / libm::sqrt(12.0));
        }
        (at, 0.0)
    }

    /// How well the edge is known that pauses worst, in samples; zero where none does.
    pub(super) fn paused_u(&self, windows: &[&Window], grounds: &Grounds) -> f64 {
        let u = |window: &&Window| {
            let several = window.ambiguity > self.chatter;
            let last = window.crossing + if several { window.ambiguity / 2.0 } else { 0.0 };
            let between = several || self.fit.is_none();
            let beside = between.then(|| self.beside(window, last, grounds.level).1);
            beside.unwrap_or(0.0)
        };
        windows.iter().map(u).fold(0.0, f64::max)
    }

    /// The settled level before the edge of a window, seen from where windows were laid
    /// over each other: an edge that pauses passes zero for good later than there.
    pub(super) fn level(&self, window: &Window) -> Option<f64> {
        // No crossing lies before the first sample.
        let end = window.crossing as i64 + self.settled.1;
        let from = end - (self.settled.1 - self.settled.0).min(LEVEL as i64);
        if from < 0 || end <= from || end as usize > window.samples.len() {
            return None;
        }
        Some(mean(&window.samples[from as usize..end as usize]))
    }
}

/// The number of the sample that lies nearest; none lies before the first.
fn nearest(place: f64) -> f64 {
    (place + 0.5) as i64 as f64
}
