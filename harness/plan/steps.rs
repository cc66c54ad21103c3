//! The steps of a plan in words, with the bench time each is expected to take.
//! An estimate for people: what really happens, the scenarios decide.

use super::{Plan, Scenario};
use crate::scenario::Settings;
use crate::scenario::idle::OutputState;
use crate::scenario::idle::Settings as Idle;
use crate::scenario::inrush::Settings as Inrush;
use crate::scenario::load::Settings as Load;
use crate::scenario::loss::BEFORE_LOSS;
use crate::scenario::loss::Settings as Loss;
use crate::scenario::overload::Settings as Overload;
use crate::scenario::reversal::Settings as Reversal;
use crate::scenario::sense::Settings as Sense;
use crate::scenario::short::Settings as Short;
use crate::scenario::signal::Settings as Signal;
use crate::scenario::signal::SignalLoading;
use crate::scenario::soak::Settings as Soak;
use crate::scenario::supply::Settings as Supply;
use crate::units::{Quantity, Seconds};
use serde::Serialize;

/// One step.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    /// The scenario's name.
    pub scenario: String,
    /// What is done, in words.
    pub text: String,
    /// Whether it puts energy into the board.
    pub energises: bool,
    /// The bench time it takes, expected.
    pub bench_time: Seconds,
}

/// Settings of instruments and reading back, a step; from the model bench, so
/// no promise.
const OVERHEAD: f64 = 0.100;

/// One reading of the board's console: a short line at 115200 baud and back,
/// and its answer's time; from the model bench.
const READING: f64 = 2e-3;

/// The rest after a trip, before the board is asked again.
const REST: f64 = 1.0;

/// What a bank takes to empty itself before a start, and the board's own
/// start; from the demo's bench, so no promise.
const EMPTYING: f64 = 6.0;

/// Every step of `plan`, in order.
pub fn steps(plan: &Plan) -> Vec<Step> {
    let mut steps = Vec::new();
    for scenario in &plan.scenarios {
        let mut list = List {
            plan,
            scenario,
            steps: &mut steps,
        };
        match &scenario.settings {
            Settings::Idle(idle) => list.idle(idle),
            Settings::Load(load) => list.load(load),
            Settings::Sense(sense) => list.sense(sense),
            Settings::Overload(overload) => list.overload(overload),
            Settings::Short(short) => list.short(short),
            Settings::Reversal(reversal) => list.reversal(reversal),
            Settings::Signal(signal) => list.signal(signal),
            Settings::Loss(loss) => list.loss(loss),
            Settings::Inrush(inrush) => list.inrush(inrush),
            Settings::Soak(soak) => list.soak(soak),
            Settings::Supply(supply) => list.supply(supply),
        }
        list.step("make the bench safe".to_owned(), false, 0.0);
    }
    steps
}

struct List<'a> {
    plan: &'a Plan,
    scenario: &'a Scenario,
    steps: &'a mut Vec<Step>,
}

impl List<'_> {
    fn step(&mut self, text: String, energises: bool, seconds: f64) {
        self.steps.push(Step {
            scenario: self.scenario.name.clone(),
            text,
            energises,
            bench_time: Seconds::from_si(seconds + OVERHEAD).unwrap_or(Seconds::ZERO),
        });
    }

    fn power(&mut self) {
        let voltage = self.plan.ratings.supply_voltage;
        self.step(format!("supply on at {voltage}, unloaded"), true, 0.1);
    }

    fn idle(&mut self, idle: &Idle) {
        let each = idle.settle.si() + idle.length.si();
        for voltage in &idle.supply_steps {
            let limit = idle.current_limit;
            let text = format!("supply on at {voltage}, {limit} at most, output off");
            self.step(text, true, each);
        }
        if idle.has(OutputState::Braked) {
            self.step("output braked".to_owned(), true, each);
        }
        if idle.has(OutputState::On) {
            for polarity in &idle.polarities {
                let text = format!("output on, {}, unloaded", polarity.word());
                self.step(text, true, each);
            }
        }
    }

    fn loss(&mut self, loss: &Loss) {
        self.power();
        for cause in &loss.causes {
            let text = format!("{}: watch the output for {}", cause.word(), loss.length);
            self.step(text, true, BEFORE_LOSS.si() + loss.length.si());
        }
    }

    fn load(&mut self, load: &Load) {
        self.power();
        for polarity in &load.polarities {
            for current in &load.steps {
                self.step(
                    format!("{}: hold {current} for {}", polarity.word(), load.hold),
                    true,
                    load.settle.si() + load.hold.si(),
                );
            }
        }
    }

    fn sense(&mut self, sense: &Sense) {
        self.power();
        for polarity in &sense.polarities {
            for current in &sense.steps {
                self.step(
                    format!(
                        "{}: hold {current}, ask the board {} times",
                        polarity.word(),
                        sense.readings
                    ),
                    true,
                    sense.settle.si() + sense.hold.si() + f64::from(sense.readings) * READING,
                );
            }
        }
    }

    fn overload(&mut self, overload: &Overload) {
        self.power();
        self.step(
            format!(
                "ramp from {} to {} in {}",
                overload.ramp_from, overload.ramp_to, overload.ramp_time
            ),
            true,
            overload.ramp_time.si() + REST,
        );
        for multiple in &overload.multiples {
            let current = self.plan.ratings.trip_current * *multiple;
            self.step(
                format!(
                    "{multiple} times the trip current, {current}, for {}",
                    overload.pulse
                ),
                true,
                overload.pulse.si() + REST,
            );
        }
        self.step(
            format!("hold {} for {}", overload.hold_current, overload.hold_time),
            true,
            overload.hold_time.si(),
        );
    }

    fn short(&mut self, short: &Short) {
        self.power();
        for place in &short.places {
            for repeat in 1..=short.repeats {
                self.step(
                    format!(
                        "{} short for {}, {repeat} of {}",
                        place.word(),
                        short.pulse,
                        short.repeats
                    ),
                    true,
                    short.pulse.si() + REST,
                );
            }
            self.step(
                format!(
                    "{} short for {}, then watch it recover",
                    place.word(),
                    short.recovery_pulse
                ),
                true,
                short.recovery_pulse.si() + REST,
            );
        }
    }

    fn signal(&mut self, signal: &Signal) {
        self.power();
        for load in &signal.loads {
            let at = match load {
                SignalLoading::None => "no load".to_owned(),
                SignalLoading::Rated => self.plan.ratings.rated_current.to_string(),
            };
            self.step(
                format!(
                    "packet stream at {at}, captured for {} every {}",
                    signal.length, signal.sampling_period
                ),
                true,
                signal.settle.si() + signal.length.si(),
            );
        }
    }

    fn inrush(&mut self, inrush: &Inrush) {
        for repeat in 1..=inrush.repeats {
            for length in [inrush.close_look, inrush.length] {
                self.step(
                    format!(
                        "start into the empty bank, watched for {length}, {repeat} of {}",
                        inrush.repeats
                    ),
                    true,
                    length.si() + EMPTYING,
                );
            }
        }
    }

    fn soak(&mut self, soak: &Soak) {
        for polarity in &soak.polarities {
            self.step(
                format!("rest for {} without power", soak.rest),
                false,
                soak.rest.si(),
            );
            self.power();
            let looks = libm::ceil(soak.length.si() / soak.interval.si().max(1e-3));
            self.step(
                format!(
                    "{}: hold {} for {}, looked at every {}",
                    polarity.word(),
                    soak.current,
                    soak.length,
                    soak.interval
                ),
                true,
                soak.length.si() + looks * OVERHEAD,
            );
        }
    }

    fn supply(&mut self, supply: &Supply) {
        self.power();
        for current in &supply.steps {
            self.step(
                format!("draw {current} from the supply itself for {}", supply.hold),
                true,
                supply.settle.si() + supply.hold.si(),
            );
        }
    }

    fn reversal(&mut self, reversal: &Reversal) {
        self.power();
        for direction in &reversal.directions {
            self.step(
                format!(
                    "reversal {}: bridge the section gap for {}",
                    direction.word(),
                    reversal.gap_pulse
                ),
                true,
                reversal.pulse.si() + REST,
            );
        }
        self.step(
            format!("near short for {} while reversing", reversal.short_pulse),
            true,
            reversal.short_pulse.si() + REST,
        );
    }
}
