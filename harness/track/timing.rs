//! The instant of every edge: a line or parabola through all samples of it that
//! lie near zero, chosen by what the first edges of its direction look like. It
//! decodes nothing and keeps no more than the edges it learns from.

use super::noise::{averaged, quantised};
use super::windows::{History, Keeper, Window};
use crate::measurement::{combined, rectangular, resolution};
use crate::waveform::crossing::{Crossing, Polarity, Sample};
use crate::waveform::levels::BEYOND_READING;
use crate::waveform::local_fit::LocalFit;
use std::collections::VecDeque;

/// Undisturbed transitions of each direction that are looked at first.
const LEARNED: usize = 48;
/// Edges that wait for that at most.
const WAITING: usize = 192;
/// A fit reaches to this share of the lesser level at most: edges are bent near
/// their ends.
const FITTED: f64 = 0.55;
/// Samples of one mean of a level.
const LEVEL: usize = 32;

/// What is known of the samples before any edge: raw units, sample periods.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grounds {
    /// Zero volts.
    pub(super) level: f64,
    /// The step of the converter.
    pub(super) quantum: f64,
    /// Samples without another edge about an undisturbed one.
    pub(super) clear: f64,
    /// Samples either side of an edge that are kept.
    pub(super) reach: usize,
    /// Samples after an edge until it is known whether another follows within
    /// `clear`; no less than `reach`.
    pub(super) ahead: usize,
}

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
    /// Where before the crossing the level is settled: from and up to.
    pub(super) settled: (i64, i64),
    /// Standard uncertainty by noise of the mean of [`LEVEL`] samples there.
    pub(super) level_u: f64,
    /// How much less than white noise that noise averages out, as a factor.
    pub(super) colour: f64,
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

/// An edge, timed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Timed {
    pub(super) position: f64,
    pub(super) to: Polarity,
    /// The settled level before it, raw, where nothing disturbs it.
    pub(super) level: Option<f64>,
}

/// A crossing between the polarities, and the samples about it.
#[derive(Clone, Debug)]
struct Noted {
    crossing: Crossing,
    /// Out of or into joined rails: timed by the band's border alone.
    between: bool,
    /// Samples since the crossing before.
    since: f64,
    window: Option<Window>,
}

/// Times edges in their order.
#[derive(Clone, Debug)]
pub(super) struct EdgeTimer {
    grounds: Grounds,
    history: History,
    queue: VecDeque<Noted>,
    waiting: Vec<Noted>,
    last: f64,
    falling: Keeper,
    rising: Keeper,
    clear: [usize; 2],
    /// Room for the samples about an edge.
    spare: Vec<f64>,
    plans: Option<[Option<Plan>; 2]>,
}

impl EdgeTimer {
    pub(super) fn new(grounds: Grounds) -> Self {
        Self {
            history: History::new(grounds.reach + grounds.ahead + 2),
            grounds,
            queue: VecDeque::new(),
            waiting: Vec::new(),
            last: f64::NEG_INFINITY,
            falling: Keeper::default(),
            rising: Keeper::default(),
            clear: [0; 2],
            spare: Vec::new(),
            plans: None,
        }
    }

    /// Notes a crossing of the piece that [`EdgeTimer::take`] gets next.
    pub(super) fn note(&mut self, crossing: Crossing, between: bool) {
        self.queue.push_back(Noted {
            crossing,
            between,
            since: crossing.position - self.last,
            window: None,
        });
        self.last = crossing.position;
    }

    /// Times all edges whose surroundings `samples` completes.
    pub(super) fn take<S: Sample>(&mut self, samples: &[S], sink: &mut impl FnMut(Timed)) {
        let end = self.history.end(samples) as f64;
        while let Some(first) = self.queue.front()
            && first.crossing.position + self.grounds.ahead as f64 + 1.0 < end
            && let Some(noted) = self.queue.pop_front()
        {
            self.settle(noted, samples, sink);
        }
        self.history.take(samples);
    }

    /// The end: the edges that still waited.
    pub(super) fn finish(&mut self, sink: &mut impl FnMut(Timed)) {
        self.learn(sink);
        while let Some(noted) = self.queue.pop_front() {
            self.settle::<f64>(noted, &[], sink);
        }
    }

    /// What was known before any edge.
    pub(super) const fn grounds(&self) -> Grounds {
        self.grounds
    }

    /// How edges of a direction are timed, once known.
    pub(super) fn plan(&self, rising: bool) -> Option<&Plan> {
        self.plans.as_ref()?[usize::from(rising)].as_ref()
    }

    /// The undisturbed windows of one direction.
    pub(super) fn windows(&self, rising: bool) -> Vec<&Window> {
        let keeper = if rising { &self.rising } else { &self.falling };
        let clear = self.grounds.clear;
        let undisturbed = |window: &&Window| window.apart.0 >= clear && window.apart.1 >= clear;
        keeper.windows().filter(undisturbed).collect()
    }

    fn settle<S: Sample>(&mut self, mut noted: Noted, samples: &[S], sink: &mut impl FnMut(Timed)) {
        if !noted.between {
            return self.hand_on(noted, sink);
        }
        let next = self.queue.front();
        let after = next.map_or(f64::INFINITY, |next| {
            next.crossing.position - noted.crossing.position
        });
        let rising = noted.crossing.to == Polarity::Positive;
        let middle = libm::floor(noted.crossing.position) as i64;
        let reach = self.grounds.reach as i64;
        let keeper = if rising {
            &mut self.rising
        } else {
            &mut self.falling
        };
        let number = keeper.next();
        let mut part = std::mem::take(&mut self.spare);
        let made = |samples: Vec<f64>, from: i64| Window {
            samples,
            crossing: noted.crossing.position - from as f64,
            apart: (noted.since, after),
            ambiguity: noted.crossing.ambiguity,
        };
        let whole = (middle - reach, middle + reach + 1);
        let wanted = number.is_some() || self.plans.is_none();
        if wanted && self.history.copy(samples, whole, &mut part) && readable(&part) {
            let window = made(part, whole.0);
            let clear = self.grounds.clear;
            let undisturbed = noted.since >= clear && after >= clear;
            self.clear[usize::from(rising)] += usize::from(undisturbed);
            if let Some(number) = number {
                keeper.keep(number, window.clone());
            }
            noted.window = Some(window);
        } else {
            // Of edges that no plan times nothing is kept.
            let wanted = match &self.plans {
                Some(plans) => plans[usize::from(rising)].as_ref().map(Plan::surroundings),
                None => Some((reach, reach)),
            };
            let wanted = wanted.map(|(before, behind)| {
                let around = (middle - before, middle + behind + 1);
                self.history.at_hand(samples, around)
            });
            if let Some(range) = wanted
                && self.history.copy(samples, range, &mut part)
                && readable(&part)
            {
                noted.window = Some(made(part, range.0));
            }
        }
        self.hand_on(noted, sink);
    }

    fn hand_on(&mut self, noted: Noted, sink: &mut impl FnMut(Timed)) {
        if self.plans.is_some() {
            sink(self.timed(&noted));
            // Its room is used again.
            if let Some(window) = noted.window {
                self.spare = window.samples;
            }
            return;
        }
        self.waiting.push(noted);
        let enough = self.clear.iter().all(|&count| count >= LEARNED);
        if enough || self.waiting.len() >= WAITING {
            self.learn(sink);
        }
    }

    fn learn(&mut self, sink: &mut impl FnMut(Timed)) {
        if self.plans.is_none() {
            let plan = |rising| Plan::of(&self.windows(rising), rising, &self.grounds);
            self.plans = Some([plan(false), plan(true)]);
        }
        for noted in std::mem::take(&mut self.waiting) {
            sink(self.timed(&noted));
        }
    }

    fn timed(&self, noted: &Noted) -> Timed {
        let Crossing { position, to, .. } = noted.crossing;
        let mut timed = Timed {
            position,
            to,
            level: None,
        };
        let plan = self.plan(to == Polarity::Positive);
        if let (Some(window), Some(plan)) = (&noted.window, plan) {
            let from = position - window.crossing;
            let at = plan.time(window, window.ambiguity, &self.grounds);
            timed.position = from + at;
            if noted.since >= self.grounds.clear {
                timed.level = plan.level(window, at);
            }
        }
        timed
    }
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
        let hidden = least.is_finite() && least > 1.5 * combined([noise, own]);
        let slow = rests > 1.3 * least;
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
            before,
            settled,
            level_u: residues.mean_of(LEVEL),
            colour,
            drift: residues.drift(&profile[range(settled, middle)]),
            ..between
        };
        let mut best = plan.total();
        for found in fits {
            let noise = match (hidden, slow) {
                (true, true) => of_edge,
                (true, false) => of_edge * libm::sqrt(found.fit.gain()),
                _ => residues.through(found.fit.weights()),
            };
            let apart = if hidden {
                found.phased
            } else {
                residues.through(&found.apart()) / found.slope.abs()
            };
            let other = plan.by(
                found,
                (noise, apart),
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
        // cosine and exponential edges; that of a jump is 1 / sqrt 12. On one
        // phase alone a step tells less of the edge.
        let missed = (libm::exp(-3.5 * (apparent - 1.0)) / libm::sqrt(12.0))
            .max(0.15 / (apparent * apparent * apparent));
        let missed = if gap > 0.5 {
            missed.max(1.0 / (apparent * libm::sqrt(12.0 * apparent)))
        } else {
            missed
        };
        // Of two samples the nearer weighs more: 2/3 of the square over all
        // places between them, where their noise is independent.
        let through = libm::sqrt(2.0 / 3.0) * colour.min(1.22) / step;
        Self {
            fit: None,
            slope: sign * step,
            bend: 0.0,
            noise_u: noise * through,
            grid_u: combined([quantised(quantum, noise) * through, missed]),
            // An exponential edge is placed up to 0.08 of a sample late, a jump
            // not at all.
            model_u: 0.06 * (4.0 / apparent).min(1.0) * (2.0 * (apparent - 1.0)).min(1.0),
            noise,
            before: 0.0,
            settled: (0, 0),
            level_u: noise,
            drift: 0.0,
            chatter: f64::INFINITY,
            pause: 0.0,
            apparent,
            colour,
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

    /// What sampling alone may make an edge uncertain by, in samples: all of one
    /// where no fit goes through the edge, less the more samples one goes
    /// through, nothing once they show its shape.
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
    fn surroundings(&self) -> (i64, i64) {
        let fit = self.fit.as_ref().map_or(0, LocalFit::reach) as i64;
        let about = 2 * fit + 8;
        let level = LEVEL as i64 + 2 - self.settled.1;
        (about.max(level), about)
    }

    /// Where in the window the edge passes zero. Where it passes more than once
    /// and noise does not explain that, the last counts: from there on the
    /// voltage has its new sign for good.
    pub(super) fn time(&self, window: &Window, ambiguity: f64, grounds: &Grounds) -> f64 {
        if ambiguity > self.chatter {
            let last = window.crossing + ambiguity / 2.0;
            return self.beside(window, last, grounds.level).0;
        }
        let Some(fit) = &self.fit else {
            return self.beside(window, window.crossing, grounds.level).0;
        };
        let reach = fit.reach() as f64;
        let last = window.samples.len() as f64 - 1.0;
        let mut middle = libm::round(window.crossing);
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
            let to = libm::round(at);
            if to == middle {
                break;
            }
            middle = to;
        }
        // What lies far from all crossings seen is another matter.
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

    /// The settled level before the edge at `at` of a window.
    fn level(&self, window: &Window, at: f64) -> Option<f64> {
        let end = libm::floor(at) as i64 + self.settled.1;
        let from = end - (self.settled.1 - self.settled.0).min(LEVEL as i64);
        if from < 0 || end <= from || end as usize > window.samples.len() {
            return None;
        }
        Some(mean(&window.samples[from as usize..end as usize]))
    }
}

/// A fit that might time the edges.
struct Candidate {
    fit: LocalFit,
    line: bool,
    /// At the crossing.
    slope: f64,
    bend: f64,
    /// By how much another fit places the crossing elsewhere: what the shape of
    /// the edge does to it.
    missed: f64,
    /// Standard deviation of the difference of both fits over single edges: what
    /// the shape does at some phases of the sampling and not at others, and
    /// noise.
    phased: f64,
    /// Standard deviation of the samples about the fits of single edges, but for
    /// what the fit misses of the shape.
    rest: f64,
}

impl Candidate {
    /// The weights of the difference of both fits' values.
    fn apart(&self) -> Vec<f64> {
        let reach = self.fit.reach();
        let mut weights = self.fit.weights().to_vec();
        let other = if self.line {
            LocalFit::parabola(reach)
        } else {
            LocalFit::parabola((reach / 2).max(1))
        };
        let from = reach - other.reach();
        for (weight, less) in weights[from..].iter_mut().zip(other.weights()) {
            *weight -= less;
        }
        weights
    }
}

/// Lines and parabolas of all widths up to `reach`.
fn candidates(
    windows: &[&Window],
    profile: &[f64],
    level: f64,
    mut reach: usize,
    sign: f64,
) -> Vec<Candidate> {
    let mut found = Vec::new();
    while reach >= 2 {
        let narrow = LocalFit::parabola((reach / 2).max(1));
        let parabola = LocalFit::parabola(reach);
        let line = LocalFit::line(reach);
        for (fit, other, free) in [(&line, &parabola, 2), (&parabola, &narrow, 3)] {
            let Some(here) = root(fit, profile, level) else {
                continue;
            };
            let Some((there, ..)) = root(other, profile, level) else {
                continue;
            };
            let (at, slope, bend) = here;
            if sign * slope <= 0.0 {
                continue;
            }
            found.push(Candidate {
                slope,
                bend,
                missed: (at - there).abs(),
                phased: phased(fit, other, windows, slope),
                rest: rest(fit, windows, profile, free),
                line: free == 2,
                fit: fit.clone(),
            });
        }
        reach = reach * 7 / 10;
    }
    found
}

/// Where the fit through the profile is at `level`, and slope and bend there.
fn root(fit: &LocalFit, profile: &[f64], level: f64) -> Option<(f64, f64, f64)> {
    let mut middle = profile.len() / 2;
    for _ in 0..8 {
        let fitted = fit.fit(|index| profile[index], middle);
        let root = fitted.reaches(level);
        let moved = libm::round(root);
        if moved == 0.0 {
            let slope = fitted.slope + 2.0 * fitted.bend * root;
            return Some((middle as f64 + root, slope, fitted.bend));
        }
        let (to, room) = (middle as f64 + moved, fit.reach() as f64);
        let inside = to >= room && to + room < profile.len() as f64;
        if !inside {
            return None;
        }
        middle = to as usize;
    }
    None
}

/// Standard deviation of the difference that two fits make of single edges, in
/// samples.
fn phased(fit: &LocalFit, other: &LocalFit, windows: &[&Window], slope: f64) -> f64 {
    let apart = windows.iter().filter_map(|window| {
        let middle = libm::round(window.crossing) as usize;
        let at = |index: usize| window.samples[index];
        let inside = middle >= fit.reach() && middle + fit.reach() < window.samples.len();
        inside.then(|| (fit.value(at, middle) - other.value(at, middle)) / slope)
    });
    let apart: Vec<f64> = apart.collect();
    let mean = mean(&apart);
    let squares: f64 = apart.iter().map(|x| (x - mean) * (x - mean)).sum();
    libm::sqrt(squares / (apart.len() as f64 - 1.0).max(1.0))
}

/// Standard deviation of samples about the fits of single edges, but for what
/// the fit leaves of their mean.
fn rest(fit: &LocalFit, windows: &[&Window], profile: &[f64], free: usize) -> f64 {
    let count = fit.weights().len();
    let free = count - free.min(count - 1);
    let of = |samples: &[f64], middle: usize| {
        let reach = fit.reach();
        if middle < reach || middle + reach >= samples.len() {
            return 0.0;
        }
        let at = |index: usize| samples[index];
        let fitted = fit.fit(at, middle);
        let left = |index: usize| {
            let x = index as f64 - reach as f64;
            let line = fitted.value + fitted.slope * x + fitted.bend * x * x;
            at(middle - reach + index) - line
        };
        let squares: f64 = (0..count).map(|index| left(index) * left(index)).sum();
        squares / free as f64
    };
    let single = windows
        .iter()
        .map(|window| of(&window.samples, libm::round(window.crossing) as usize));
    let single = single.sum::<f64>() / windows.len() as f64;
    libm::sqrt((single - of(profile, profile.len() / 2)).max(0.0))
}

/// Rise over one sample about zero: from the middle half of the profile, which
/// noise does not make steeper, or where that is too short from the two samples
/// beside zero.
///
/// With it the rise over the middle half whatever its length: where an edge
/// pauses about zero that is the steeper.
fn step(
    windows: &[&Window],
    profile: &[f64],
    (before, amplitude): (f64, f64),
    sign: f64,
) -> (f64, f64) {
    let middle = profile.len() / 2;
    let way = |index: usize| sign * (profile[index] - before) / amplitude;
    let quarters = || {
        let low = (0..=middle).rev().find(|&index| way(index) <= 0.25)?;
        let high = (middle..profile.len()).find(|&index| way(index) >= 0.75)?;
        let from = low as f64 + (0.25 - way(low)) / (way(low + 1) - way(low));
        let to = high as f64 - (way(high) - 0.75) / (way(high) - way(high - 1));
        Some(0.5 * amplitude / (to - from).max(0.5))
    };
    let over = quarters();
    if let Some(over) = over
        && 8.0 * over < amplitude
    {
        return (over, over);
    }
    let steps = windows.iter().map(|window| {
        let at = libm::floor(window.crossing) as usize;
        sign * (window.samples[at + 1] - window.samples[at])
    });
    let beside = (steps.sum::<f64>() / windows.len() as f64).max(amplitude * 1e-6);
    (beside, over.unwrap_or(beside))
}

/// The largest part of a sample in which no crossing lies.
fn gap(windows: &[&Window]) -> f64 {
    let mut phases: Vec<f64> = windows
        .iter()
        .map(|window| window.crossing - libm::floor(window.crossing))
        .collect();
    phases.sort_unstable_by(f64::total_cmp);
    let around = phases
        .first()
        .zip(phases.last())
        .map_or(1.0, |(first, last)| first + 1.0 - last);
    let between = phases.windows(2).map(|pair| pair[1] - pair[0]);
    between.fold(around, f64::max)
}

/// What is left of the settled stretches before edges when their mean is taken
/// off: noise.
struct Residues(Vec<Vec<f64>>);

impl Residues {
    fn of(windows: &[&Window], profile: &[f64], settled: (i64, i64), middle: usize) -> Self {
        let share = range(settled, middle);
        // The mean of n windows has taken 1 / n of the variance with it.
        let n = windows.len() as f64;
        let whole = libm::sqrt(n / (n - 1.0));
        let of = |window: &&Window| {
            let at = libm::floor(window.crossing) as i64 - middle as i64;
            let place = |index: usize| window.samples[(index as i64 + at) as usize];
            let left = |index: usize| (place(index) - profile[index]) * whole;
            share.clone().map(left).collect()
        };
        Self(windows.iter().map(of).collect())
    }

    fn deviation(&self) -> f64 {
        // Robust: a half that a short disturbed is no noise.
        let mut squares: Vec<f64> = self.0.iter().map(|part| square(part)).collect();
        squares.sort_unstable_by(f64::total_cmp);
        let most = squares.len() - squares.len() / 10;
        libm::sqrt(squares[..most].iter().sum::<f64>() / most as f64)
    }

    /// Standard deviation that noise gives a sum of samples with these weights.
    fn through(&self, weights: &[f64]) -> f64 {
        let length = self.0.first().map_or(0, Vec::len);
        if length < weights.len() {
            // As white as it is over the length that is settled.
            let gain: f64 = weights.iter().map(|w| w * w).sum();
            let part = length.max(1);
            let share = self.mean_of(part) * libm::sqrt(part as f64);
            return share * libm::sqrt(gain);
        }
        let places = 8.min(length - weights.len() + 1);
        let stride = (length - weights.len()) / places.max(2);
        let sums = self.0.iter().flat_map(|part| {
            (0..places).map(move |place| {
                let part = &part[place * stride..][..weights.len()];
                part.iter().zip(weights).map(|(x, w)| x * w).sum::<f64>()
            })
        });
        rms(sums)
    }

    /// By how much the halves of a settled stretch differ more than noise lets
    /// them, as a rectangle.
    fn drift(&self, settled: &[f64]) -> f64 {
        let (first, second) = settled.split_at(settled.len() / 2);
        if first.is_empty() {
            return 0.0;
        }
        let noise = self.mean_of(first.len()) * libm::sqrt(2.0 / self.0.len() as f64);
        rectangular(((mean(first) - mean(second)).abs() - 2.0 * noise).max(0.0))
    }

    fn mean_of(&self, count: usize) -> f64 {
        let length = self.0.first().map_or(0, Vec::len);
        let count = count.min(length).max(1);
        self.through(&vec![(count as f64).recip(); count])
    }
}

/// Whether an instrument may have read all of it; the rest is damage.
fn readable(samples: &[f64]) -> bool {
    samples.iter().all(|value| value.abs() <= BEYOND_READING)
}

fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let mut squares: Vec<f64> = values.map(|x| x * x).collect();
    squares.sort_unstable_by(f64::total_cmp);
    // The uppermost twentieth is left out, and what that takes of a normal law's
    // variance (a quarter, by integration) is put back.
    let kept = squares.len() - squares.len() / 20;
    let whole = if kept < squares.len() { 1.317 } else { 1.0 };
    libm::sqrt(whole * squares[..kept].iter().sum::<f64>() / kept.max(1) as f64)
}

fn square(values: &[f64]) -> f64 {
    values.iter().map(|x| x * x).sum::<f64>() / values.len().max(1) as f64
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

fn range((from, to): (i64, i64), middle: usize) -> std::ops::Range<usize> {
    (middle as i64 + from) as usize..(middle as i64 + to) as usize
}

/// Where before the middle the profile has not yet left its level: offsets from
/// and up to.
fn settled(profile: &[f64], middle: usize) -> (i64, i64) {
    let early = (middle / 8).max(1);
    let level = mean(&profile[..early]);
    let far = profile
        .iter()
        .map(|x| (x - level).abs())
        .fold(0.0, f64::max);
    let rests = |index: &usize| (profile[*index] - level).abs() <= 0.015 * far;
    let leaves = (0..middle).rev().find(rests).unwrap_or(early);
    let margin = 2 + 3 * (middle - leaves) / 10;
    let until = leaves.saturating_sub(margin).max(early);
    (-(middle as i64), until as i64 - middle as i64)
}
