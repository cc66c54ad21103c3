//! One acquisition of the model capture: waiting for the trigger, running, and
//! the record read out of the circuit's past afterwards. It parses nothing.

use super::noise::Noise;
use super::settings::ChannelWiring;
use crate::clock::{BenchInstant, BenchSpan};
use crate::physics::{Circuit, Probe};
use crate::seed::Seed;
use crate::waveform::LogicLine;
use std::cell::{OnceCell, RefCell};

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
    Logic(LogicLine, Slope),
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

/// Everything an acquisition needs, frozen when it is armed.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    pub(super) seed: Seed,
    /// Noise of the converters, one as usual.
    pub(super) noise: f64,
    /// Bits of the converters, sign included.
    pub(super) bits: u32,
    /// Counts acquisitions, so that no two share their noise.
    pub(super) number: u64,
    pub(super) period: BenchSpan,
    /// The period with the time base's own error.
    pub(super) true_period: BenchSpan,
    pub(super) count: usize,
    pub(super) before: usize,
    pub(super) trigger: Trigger,
    pub(super) inputs: Vec<Input>,
    pub(super) logic: Vec<LogicLine>,
}

impl Plan {
    /// Codes from zero to full scale.
    fn half_scale(&self) -> f64 {
        f64::from(1_u32 << (self.bits - 1))
    }

    /// Volts at the input for one code.
    pub(super) fn volts_per_code(&self, input: &Input) -> f64 {
        input.range / self.half_scale()
    }

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

/// What is kept of a finished acquisition: all of it is sampled at its end, so
/// what happens later and what the host reads first change nothing. A channel
/// becomes codes when it is first read, since many never are.
#[derive(Clone, Debug)]
pub(super) struct Record {
    pub(super) plan: Plan,
    channels: Vec<Sampled>,
    /// One word a sample, bit n being the logic line n.
    pub(super) words: Vec<u16>,
}

/// One channel: its quantity at each sample, and what the converter makes of it.
#[derive(Clone, Debug)]
struct Sampled {
    /// Until it becomes codes.
    exact: RefCell<Vec<f64>>,
    codes: OnceCell<Codes>,
}

impl Record {
    /// Samples the kept past from `start` on; empty where it does not reach.
    fn new(plan: Plan, start: BenchInstant, circuit: &Circuit) -> Self {
        let mut exact: Vec<(Probe, Vec<f64>)> = plan
            .inputs
            .iter()
            .map(|input| (input.wiring.probe, Vec::with_capacity(plan.count)))
            .collect();
        let mut words = Vec::with_capacity(plan.count);
        let lines = &plan.logic[..plan.logic.len().min(u16::BITS as usize)];
        let (mut before, mut word) = (None, 0);
        let seen = circuit.look_back(start, plan.true_period, plan.count, |look| {
            for (probe, values) in &mut exact {
                look.read(*probe, values);
            }
            // They change rarely.
            if before != Some(look.lines()) {
                before = Some(look.lines());
                let bits = lines.iter().enumerate();
                word = bits.fold(0, |word, (bit, &line)| {
                    word | (u16::from(look.line(line)) << bit)
                });
            }
            words.extend(std::iter::repeat_n(word, look.count()));
        });
        debug_assert!(seen.is_some(), "a running acquisition keeps its past");
        let channels = exact.into_iter().map(|(_, exact)| Sampled {
            exact: RefCell::new(exact),
            codes: OnceCell::new(),
        });
        Self {
            channels: channels.collect(),
            words,
            plan,
        }
    }

    /// The codes of the channel with index `index`.
    pub(super) fn codes(&self, index: usize) -> Option<&Codes> {
        let channel = self.channels.get(index)?;
        let input = self.plan.inputs.get(index)?;
        Some(channel.codes.get_or_init(|| {
            let exact = channel.exact.take();
            Converter::new(&self.plan, index, input).codes(&exact)
        }))
    }
}

/// One channel at work.
struct Converter {
    half_scale: f64,
    codes_per_unit: f64,
    /// In codes.
    offset: f64,
    noise: Noise,
    /// Standard deviation of the noise, in codes.
    spread: f64,
}

impl Converter {
    fn new(plan: &Plan, index: usize, input: &Input) -> Self {
        let half_scale = plan.half_scale();
        Self {
            half_scale,
            codes_per_unit: input.wiring.volts_per_unit * input.gain / plan.volts_per_code(input),
            offset: input.offset * half_scale,
            noise: Noise::new(plan.seed.stream(&[0xC0, index as u64, plan.number])),
            spread: plan.noise * NOISE,
        }
    }

    fn codes(mut self, exact: &[f64]) -> Codes {
        let mut clipped = false;
        let half_scale = self.half_scale;
        let middle = half_scale as i32;
        let code = |value: &f64| {
            let noise = self.noise.next() * self.spread;
            // Rounded down from half a code above, shifted so that the cut of
            // `as` towards zero is the one downwards.
            let shifted = value * self.codes_per_unit + self.offset + noise + (half_scale + 0.5);
            // Of what is inside the cut is inside, and of what is no number zero.
            let cut = shifted as i32;
            clipped |= !((shifted >= 0.0) & (cut < 2 * middle));
            (cut.clamp(0, 2 * middle - 1) - middle) as i16
        };
        let codes = exact.iter().map(code).collect();
        Codes { codes, clipped }
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
            *self = Self::Done(Record::new(plan.clone(), *start, circuit));
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
