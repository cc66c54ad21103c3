//! Times edges in their order: the first ones wait until it is known how those
//! of their direction are timed best, the others until what follows them is at
//! hand. It decodes nothing and keeps no more than the edges it learns from.

use super::plan::Plan;
use super::windows::{History, Keeper, Window};
use crate::waveform::crossing::{Crossing, Polarity, Sample};
use crate::waveform::levels::BEYOND_READING;
use std::collections::VecDeque;

/// Undisturbed transitions of each direction that are looked at first.
const LEARNED: usize = 48;
/// Edges that wait for that at most.
const WAITING: usize = 192;

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
        // No crossing lies before the first sample.
        let middle = noted.crossing.position as i64;
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
            let at = plan.time(window, &self.grounds);
            timed.position = from + at;
            if noted.since >= self.grounds.clear {
                timed.level = plan.level(window);
            }
        }
        timed
    }
}

/// Whether an instrument may have read all of it; the rest is damage.
fn readable(samples: &[f64]) -> bool {
    // No early way out: that is a vector comparison.
    let read = |all, value: &f64| all & (value.abs() <= BEYOND_READING);
    samples.iter().fold(true, read)
}
