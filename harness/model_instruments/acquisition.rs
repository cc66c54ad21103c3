//! One acquisition of the model capture: waiting for the trigger, running, and
//! the record read out of the circuit's past afterwards. It parses nothing.

use super::noise::Noise;
use super::settings::ChannelWiring;
use crate::clock::{BenchInstant, BenchSpan};
use crate::physics::{Circuit, Line, Probe};
use crate::seed::Seed;
use std::collections::BTreeMap;

/// Bits of the converter, sign included.
pub(super) const BITS: u32 = 12;

/// Codes from zero to full scale.
const HALF_SCALE: f64 = 2048.0;

/// Standard deviation of the converter's noise, in codes.
const NOISE: f64 = 0.7;

/// The capture looks for its trigger at least and at most this often.
const SHORTEST_LOOK: BenchSpan = BenchSpan::from_microseconds(2_000);
const LONGEST_LOOK: BenchSpan = BenchSpan::from_microseconds(50_000);

/// Crossings are searched from a little before the last look, since one may
/// fall on the very instant of it.
const OVERLAP: BenchSpan = BenchSpan::from_picoseconds(-1_000);

/// Which way the trigger must go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Slope {
    Rising,
    Falling,
    Either,
}

/// What starts an acquisition.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Trigger {
    /// As soon as the samples before the trigger are there.
    Immediate,
    /// A logic line.
    Logic(Line, Slope),
    /// An analogue channel's quantity passing a level, in its own unit.
    Level(Probe, f64, Slope),
}

/// One analogue channel as it is set and as it errs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Input {
    pub(super) wiring: ChannelWiring,
    /// Full scale at the input, in volts.
    pub(super) range: f64,
    pub(super) gain: f64,
    /// In parts of the range.
    pub(super) offset: f64,
}

impl Input {
    /// Volts at the input for one code.
    pub(super) fn volts_per_code(&self) -> f64 {
        self.range / HALF_SCALE
    }
}

/// Everything an acquisition needs, frozen when it is armed.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    pub(super) seed: Seed,
    /// Counts acquisitions, so that no two share their noise.
    pub(super) number: u64,
    pub(super) period: BenchSpan,
    /// The period with the time base's own error.
    pub(super) true_period: BenchSpan,
    pub(super) count: usize,
    pub(super) before: usize,
    pub(super) trigger: Trigger,
    pub(super) inputs: Vec<Input>,
    pub(super) logic: Vec<Line>,
}

impl Plan {
    fn span(&self, samples: usize) -> BenchSpan {
        let period = self.true_period.picoseconds();
        BenchSpan::from_picoseconds(period.saturating_mul(samples as i64))
    }

    fn whole(&self) -> BenchSpan {
        self.span(self.count.saturating_sub(1))
    }

    fn look(&self) -> BenchSpan {
        let half = BenchSpan::from_picoseconds(self.whole().picoseconds() / 2);
        half.clamp(SHORTEST_LOOK, LONGEST_LOOK)
    }
}

/// The samples of one channel as codes.
#[derive(Clone, Debug)]
pub(super) struct Codes {
    pub(super) codes: Vec<i16>,
    /// Whether any of them stands at full scale.
    pub(super) clipped: bool,
}

/// What is kept of a finished acquisition.
#[derive(Clone, Debug)]
pub(super) struct Record {
    pub(super) plan: Plan,
    start: BenchInstant,
    /// The circuit with its past at the end, so that what happens later and
    /// what the host reads first change nothing.
    past: Box<Circuit>,
    channels: BTreeMap<usize, Codes>,
    words: Option<Vec<u16>>,
}

impl Record {
    /// The codes of the channel `index`; always the same for one record.
    pub(super) fn channel(&mut self, index: usize) -> Option<&Codes> {
        if !self.channels.contains_key(&index) {
            let codes = self.digitise(index)?;
            self.channels.insert(index, codes);
        }
        self.channels.get(&index)
    }

    fn digitise(&self, index: usize) -> Option<Codes> {
        let plan = &self.plan;
        let input = plan.inputs.get(index)?;
        let probe = input.wiring.probe;
        let values = self
            .past
            .sample(probe, self.start, plan.true_period, plan.count)?;
        let to_codes = input.wiring.volts_per_unit * input.gain / input.volts_per_code();
        let offset = input.offset * HALF_SCALE;
        let mut clipped = false;
        let key = [0xC0, index as u64, plan.number];
        let mut noise = Noise::new(plan.seed.stream(&key));
        let codes = values
            .into_iter()
            .map(|value| {
                let code = libm::round(value * to_codes + offset + noise.next() * NOISE);
                clipped |= !(-HALF_SCALE..HALF_SCALE).contains(&code);
                code.clamp(-HALF_SCALE, HALF_SCALE - 1.0) as i16
            })
            .collect();
        Some(Codes { codes, clipped })
    }

    /// One word a sample, bit n being the logic line n.
    pub(super) fn words(&mut self) -> Option<&[u16]> {
        if self.words.is_none() {
            let plan = &self.plan;
            let mut words = vec![0_u16; plan.count];
            for (bit, &line) in plan.logic.iter().enumerate().take(16) {
                let states =
                    self.past
                        .sample_line(line, self.start, plan.true_period, plan.count)?;
                for (word, high) in words.iter_mut().zip(states) {
                    *word |= u16::from(high) << bit;
                }
            }
            self.words = Some(words);
        }
        self.words.as_deref()
    }
}

/// How far an acquisition is.
#[derive(Clone, Debug)]
pub(super) enum Phase {
    /// Never armed, or stopped.
    Idle,
    /// Looking for the trigger, not before `earliest`.
    Waiting {
        plan: Plan,
        earliest: BenchInstant,
        searched: BenchInstant,
    },
    /// Triggered; complete at `end`.
    Running {
        plan: Plan,
        start: BenchInstant,
        end: BenchInstant,
    },
    /// Complete.
    Done(Record),
}

impl Phase {
    /// Arms at `now`.
    pub(super) fn armed(plan: Plan, now: BenchInstant) -> Self {
        let earliest = now + plan.span(plan.before);
        Self::Waiting {
            plan,
            earliest,
            searched: now,
        }
    }

    /// How much of the past must be kept meanwhile.
    pub(super) fn history_wanted(&self) -> BenchSpan {
        match self {
            Self::Idle | Self::Done(_) => BenchSpan::ZERO,
            Self::Waiting { plan, .. } | Self::Running { plan, .. } => {
                plan.whole() + plan.look() + plan.look()
            }
        }
    }

    /// When it must look at the circuit next.
    pub(super) fn next_look(&self, now: BenchInstant) -> Option<BenchInstant> {
        match self {
            Self::Idle | Self::Done(_) => None,
            Self::Waiting { plan, .. } => Some(now + plan.look()),
            Self::Running { end, .. } => Some(*end).filter(|end| *end > now),
        }
    }

    /// Looks at the circuit: finds the trigger, finishes. Whether the past is
    /// no longer needed.
    pub(super) fn look(&mut self, circuit: &Circuit) -> bool {
        let now = circuit.now();
        if let Self::Waiting {
            plan,
            earliest,
            searched,
        } = self
        {
            let from = (*searched + OVERLAP).later(*earliest);
            let found = if from <= now {
                find(plan.trigger, circuit, from)
            } else {
                None
            };
            let Some(trigger) = found else {
                *searched = now;
                return false;
            };
            let before = plan.span(plan.before);
            let start = BenchInstant::from_picoseconds(
                trigger.picoseconds().saturating_sub(before.picoseconds()),
            );
            *self = Self::Running {
                end: (start + plan.whole()).later(trigger),
                start,
                plan: plan.clone(),
            };
        }
        if let Self::Running { plan, start, end } = self
            && *end <= now
        {
            *self = Self::Done(Record {
                plan: plan.clone(),
                start: *start,
                past: Box::new(circuit.clone()),
                channels: BTreeMap::new(),
                words: None,
            });
            return true;
        }
        false
    }
}

/// The first trigger in the kept past from `from` on.
fn find(trigger: Trigger, circuit: &Circuit, from: BenchInstant) -> Option<BenchInstant> {
    let first = |slope, search: &dyn Fn(bool) -> Option<BenchInstant>| match slope {
        Slope::Rising => search(true),
        Slope::Falling => search(false),
        Slope::Either => search(true).into_iter().chain(search(false)).min(),
    };
    match trigger {
        Trigger::Immediate => Some(from),
        Trigger::Logic(line, slope) => {
            first(slope, &|rising| circuit.line_edge(line, rising, from))
        }
        Trigger::Level(probe, level, slope) => first(slope, &|rising| {
            circuit.crossing(probe, level, rising, from)
        }),
    }
}
