//! A session without a bench: it keeps the bench's state, the time and the
//! board's as a good board would have it, and shows captures that are only as
//! long as a procedure needs in order to go on. It measures nothing.

use super::Step;
use super::exchange::Lines;
use super::fault::{Findings, Found};
use super::good_board::GoodBoard;
use crate::bench_file::{Bench, CaptureWiring, Closes};
use crate::clock::{BenchInstant, BenchSpan};
use crate::envelope::{BoardFacts, State, Surroundings};
use crate::ident::Role;
use crate::measurement::Estimate;
use crate::plan::{Plan, Scenario};
use crate::profile::Profile;
use crate::scenario::acquisition::{CaptureRequest, Trigger};
use crate::scenario::intent::{Intent, LoadSetting};
use crate::scenario::session::{
    Act, BenchSession, Halt, LONGEST_WAIT, Meter, Opening, Protections, Provokes, Serves,
};
use crate::scenario::{self, Configuration, Polarity, Ratings};
use crate::units::{Amperes, Quantity, Seconds, Volts};
use crate::waveform::{Capture, LogicLine, Signal};
use std::collections::BTreeMap;
use std::future::Future;
use std::pin::pin;
use std::task::{Context, Poll, Waker};

/// What came of one scenario's dry run.
pub(super) struct Run {
    pub(super) steps: Vec<Step>,
    pub(super) faults: Vec<Found>,
}

/// Runs the scenario `index` of `plan`, from a quiet bench to a quiet bench.
pub(super) fn run(
    plan: &Plan,
    index: usize,
    bench: &Bench,
    profiles: &BTreeMap<Role, Profile>,
) -> Run {
    let scenario = &plan.scenarios[index];
    let mut dry = Dry::new(plan, index, bench, profiles);
    let driven = finished(async {
        let driven = scenario.settings.drive(&mut dry).await;
        let quiet = scenario::quiet(&mut dry).await;
        driven.map(drop).and(quiet)
    });
    if let Err(Halt::Trouble { what, .. }) = driven {
        let expected = "what the scenario's page in the guide says it needs".to_owned();
        let misses = true;
        dry.faults
            .note(("kind", "halt"), (what, expected), None, misses);
    }
    dry.ends_step();
    Run {
        steps: dry.steps,
        faults: dry.faults.list,
    }
}

/// The output of a future that has nothing to wait for.
fn finished<T>(future: impl Future<Output = T>) -> T {
    let mut context = Context::from_waker(Waker::noop());
    match pin!(future).poll(&mut context) {
        Poll::Ready(output) => output,
        Poll::Pending => unreachable!("a dry session never waits"),
    }
}

/// What a restart after a trip takes where the plan limits none (common
/// practice, no source: half a second to ten).
const RESTART: Seconds = Seconds::new(1.0);
/// A board that takes longer is helped by cycling its supply.
const LONGEST_RESTART: Seconds = Seconds::new(10.0);
struct Dry<'a> {
    plan: &'a Plan,
    bench: &'a Bench,
    profiles: &'a BTreeMap<Role, Profile>,
    wiring: CaptureWiring,
    surroundings: Surroundings,
    state: State,
    now: BenchInstant,
    armed: Option<CaptureRequest>,
    /// When what the switch closed is open again.
    opens: BenchInstant,
    /// From when on the board's output is alive, while it is supplied.
    alive_from: BenchInstant,
    restart: Seconds,
    /// The output's phase against its input: a good board's turns at each
    /// closing of a gap.
    inverted: bool,
    begun: BenchInstant,
    steps: Vec<Step>,
    faults: Findings<'a>,
}

impl<'a> Dry<'a> {
    fn new(
        plan: &'a Plan,
        index: usize,
        bench: &'a Bench,
        profiles: &'a BTreeMap<Role, Profile>,
    ) -> Self {
        let board = BoardFacts::from(&plan.ratings);
        Self {
            plan,
            bench,
            profiles,
            wiring: CaptureWiring::of(bench),
            surroundings: Surroundings::new(bench, profiles, board),
            state: State::at_rest(),
            now: BenchInstant::ZERO,
            armed: None,
            opens: BenchInstant::ZERO,
            alive_from: BenchInstant::ZERO,
            restart: restart(&plan.scenarios[index]),
            inverted: false,
            begun: BenchInstant::ZERO,
            steps: Vec::new(),
            faults: Findings::new(&plan.places, index),
        }
    }

    /// What is read back of a setting.
    fn read_back(&self, intent: &Intent) -> Seconds {
        let lines = self.lines();
        match intent {
            Intent::SupplyOn { .. } => {
                lines.question(Role::Supply, "measure_current")
                    + lines.question(Role::Supply, "measure_voltage")
                    + lines.question(Role::Supply, "voltage_setting") * 2.0
            }
            Intent::LoadOn(_) | Intent::LoadHold { .. } => {
                lines.question(Role::Load, "measure_current")
            }
            _ => Seconds::ZERO,
        }
    }

    const fn lines(&self) -> Lines<'a> {
        Lines {
            profiles: self.profiles,
        }
    }

    fn passes(&mut self, time: Seconds) {
        self.now += BenchSpan::from_seconds(time.max(Seconds::ZERO));
    }

    fn begins(&mut self, text: &str, energises: bool) {
        self.ends_step();
        self.steps.push(Step {
            scenario: String::new(),
            text: text.to_owned(),
            energises,
            bench_time: Seconds::ZERO,
        });
    }

    /// Gives the last step the time that has passed since it began. The time
    /// before the first step, in which the bench is made quiet, is the first's.
    fn ends_step(&mut self) {
        let passed = (self.now - self.begun).seconds();
        if let Some(step) = self.steps.last_mut() {
            step.bench_time = step.bench_time + passed;
            self.begun = self.now;
        }
    }

    fn command(&self, role: Role, name: &str) -> bool {
        let profile = self.profiles.get(&role);
        profile.is_none_or(|profile| profile.command(name).is_some())
    }

    /// A load's current beyond the range of the channel that shows it.
    fn in_range(&mut self, provokes: Provokes, intent: &Intent) {
        let drawn = match *intent {
            Intent::LoadOn(LoadSetting::Current(current))
            | Intent::LoadHold { current, .. }
            | Intent::LoadPulse { current, .. } => current,
            Intent::LoadRamp { from, to, .. } => from.max(to),
            _ => return,
        };
        if let Some(range) = self.shows(Signal::OutputCurrent)
            && drawn.si() > range
        {
            self.faults.note(
                (provokes.amount, "channel range"),
                (
                    format!("{drawn} is beyond the range of the current's channel"),
                    format!("{} or less", Amperes::new(range)),
                ),
                None,
                false,
            );
        }
    }

    /// What a good board does where `intent` provokes it.
    fn provoked(&mut self, intent: &Intent) {
        let trips = |current: Amperes| current > self.plan.ratings.trip_current;
        let (tripped, pulse) = match *intent {
            Intent::LoadPulse { current, duration } if trips(current) => (true, duration),
            Intent::LoadRamp { to, duration, .. } if trips(to) => (true, duration),
            Intent::ShortPulse { duration, .. } => (true, duration),
            _ => (false, Seconds::ZERO),
        };
        if tripped {
            self.alive_from = self.now + BenchSpan::from_seconds(pulse + self.restart);
        }
        if let Intent::GapPulse { .. } = intent {
            self.inverted = !self.inverted;
        }
        if let Intent::ShortPulse { duration, .. }
        | Intent::GapPulse { duration, .. }
        | Intent::Connect { duration, .. } = *intent
        {
            self.opens = self.now + BenchSpan::from_seconds(duration);
        }
    }

    /// A capture in which a good board's output follows its input.
    fn shown(&self, request: &CaptureRequest, label: &str) -> Capture {
        let upstream = self.bench.upstream.as_ref();
        let board = GoodBoard {
            alive: self.now >= self.alive_from,
            inverted: self.inverted,
            supply: self.plan.ratings.supply_voltage,
            upstream: upstream.map_or(Volts::ZERO, |upstream| upstream.voltage),
        };
        board.shown(request, &self.wiring, label)
    }

    /// Whether the capture device can do what is asked of it.
    fn can_take(&mut self, serves: Serves, request: &CaptureRequest) {
        let profile = self.profiles.get(&Role::Capture);
        if let Some(range) = profile.and_then(Profile::capture_range).copied() {
            if request.period < range.period {
                let message = "the capture device cannot sample so fast".to_owned();
                let expected = format!("{} or more", range.period);
                self.faults
                    .note((serves, "period"), (message, expected), None, false);
            } else if u64::from(request.length) > range.samples {
                let message = format!(
                    "this takes {} samples, more than the capture device holds",
                    request.length
                );
                let expected = format!("{} samples at most", range.samples);
                self.faults
                    .note((serves, "samples"), (message, expected), None, false);
            }
        }
        let missed = match request.trigger {
            Trigger::Line { line, .. } if self.wiring.line(line).is_none() => Some((
                format!("no logic line of the bench shows the {line}, which starts the capture"),
                format!("a `[[line]]` that carries the {line}"),
            )),
            Trigger::Channel { signal, .. } if self.wiring.channel(signal).is_none() => Some((
                format!("no channel of the bench measures the {signal}"),
                format!("a `[[channel]]` with `measures = \"{signal}\"`"),
            )),
            _ => None,
        };
        if let Some(said) = missed {
            self.faults.note(("kind", "trigger"), said, None, true);
        }
    }

    /// Within the envelope's longest time, or a fault at `serves`.
    fn goes_on(&mut self, serves: Serves, time: Seconds) {
        let prospect = self.surroundings.prospect(&self.state, self.now);
        if let Err(refusal) = prospect.may_go_on(time) {
            let provokes = Provokes {
                amount: serves,
                time: serves,
            };
            self.faults.refused(provokes, &refusal);
        }
    }
}

/// What the plan lets a restart take.
fn restart(scenario: &Scenario) -> Seconds {
    let upper = |metric| scenario.limit(metric).and_then(|limit| limit.upper);
    let stated = upper("recovery_time").or_else(|| upper("retry_interval"));
    let stated = stated.and_then(Seconds::from_si).unwrap_or(RESTART);
    stated.min(LONGEST_RESTART)
}

impl BenchSession for Dry<'_> {
    fn ratings(&self) -> &Ratings {
        &self.plan.ratings
    }

    fn configuration(&self) -> &Configuration {
        &self.plan.configuration
    }

    fn file(&self) -> &Bench {
        self.bench
    }

    fn supply_current(&self) -> Amperes {
        self.surroundings.supply_current()
    }

    fn now(&self) -> BenchInstant {
        self.now
    }

    fn may_go_on(&mut self, serves: Serves, time: Seconds) -> Result<(), Halt> {
        self.goes_on(serves, time);
        Ok(())
    }

    async fn step(&mut self, text: &str) -> Result<(), Halt> {
        self.begins(text, false);
        Ok(())
    }

    async fn energise(
        &mut self,
        provokes: Provokes,
        text: &str,
        intent: Intent,
    ) -> Result<(), Halt> {
        let prospect = self.surroundings.prospect(&self.state, self.now);
        if let Err(refusal) = prospect.check(&intent) {
            // The supply at the rated voltage is nobody's setting.
            let rated = matches!(intent, Intent::SupplyOn { .. }) && provokes.amount == "kind";
            let provokes = Provokes {
                amount: if rated {
                    "ratings.supply_voltage"
                } else {
                    provokes.amount
                },
                ..provokes
            };
            self.faults.refused(provokes, &refusal);
        }
        self.in_range(provokes, &intent);
        self.begins(text, true);
        let (role, actions) = match intent {
            Intent::SupplyOn { .. } => (Role::Supply, 3.0),
            Intent::LoadOn(_) | Intent::LoadHold { .. } => (Role::Load, 3.0),
            Intent::LoadPulse { .. } | Intent::LoadRamp { .. } => (Role::Load, 4.0),
            _ => (Role::Switch, 2.0),
        };
        let took = self.lines().action(role) * actions + self.read_back(&intent);
        self.provoked(&intent);
        // What follows is counted from before the exchange: cautious.
        self.state = self.state.after(&intent, self.now);
        self.passes(took);
        Ok(())
    }

    async fn act(&mut self, serves: Serves, act: Act) -> Result<(), Halt> {
        let (role, command) = match &act {
            Act::Drive(_) | Act::Pattern(_) => (Role::Drive, None),
            Act::Signal(_) | Act::Enable(_) => (Role::Drive, None),
            Act::Brake(_) => (Role::Drive, Some(("set_brake", "drives no brake line"))),
            Act::BreakLine(_) => (Role::Drive, Some(("break_line", "breaks no line"))),
            Act::CaptureOff if self.armed.take().is_none() => return Ok(()),
            Act::CaptureOff => (Role::Capture, None),
            Act::LoadOff => (Role::Load, None),
            Act::SupplyOff | Act::SecondOpener(_) => (Role::Supply, None),
        };
        if let Some((name, lacks)) = command
            && !self.command(role, name)
        {
            let message = format!("the bench's signal source {lacks}");
            let expected = format!("`{name}` among the commands of its profile");
            self.faults
                .note((serves, name), (message, expected), None, true);
        }
        let driven = match &act {
            Act::Drive(polarity) => Some(*polarity),
            Act::Pattern(_) => Some(Polarity::Alternating),
            _ => None,
        };
        if let Some(polarity) = driven {
            let prospect = self.surroundings.prospect(&self.state, self.now);
            if let Err(refusal) = prospect.may_drive(polarity) {
                let provokes = Provokes {
                    amount: serves,
                    time: serves,
                };
                self.faults.refused(provokes, &refusal);
            }
            self.state = self.state.driven(Some(polarity));
        }
        let took = match &act {
            Act::Pattern(pattern) => self.lines().action_with(role, pattern.len()),
            // What it draws is read back.
            Act::LoadOff => {
                self.lines().action(role) + self.lines().question(role, "measure_current")
            }
            _ => self.lines().action(role),
        };
        match act {
            Act::LoadOff => self.state = self.state.load_off(),
            Act::SupplyOff | Act::SecondOpener(_) => self.state = self.state.supply_off(),
            _ => {}
        }
        self.passes(took);
        Ok(())
    }

    async fn wait(&mut self, serves: Serves, time: Seconds) -> Result<(), Halt> {
        if time > LONGEST_WAIT {
            let message = format!("a wait of {time} is longer than any run may have");
            let expected = format!("{LONGEST_WAIT} or less");
            self.faults
                .note((serves, "wait"), (message, expected), None, false);
        }
        self.goes_on(serves, time);
        self.passes(time);
        Ok(())
    }

    fn shows(&self, signal: Signal) -> Option<f64> {
        self.wiring.channel(signal).map(|channel| channel.range)
    }

    async fn arm(&mut self, serves: Serves, request: &CaptureRequest) -> Result<(), Halt> {
        self.can_take(serves, request);
        let took = self.lines().arm(request);
        self.passes(took);
        if request.trigger != Trigger::Now {
            // It fills up to its trigger, and is asked now and then.
            let before = request.before() * 1.05 + Seconds::new(2e-3);
            let asked = self.lines().question(Role::Capture, "operation");
            self.goes_on(serves, before);
            self.passes(before + asked * 2.0);
        }
        self.armed = Some(request.clone());
        Ok(())
    }

    async fn read_out(&mut self, label: &str, patience: Seconds) -> Result<Option<Capture>, Halt> {
        let Some(request) = self.armed.take() else {
            return Ok(None);
        };
        let fault = LogicLine::Fault;
        let late = matches!(request.trigger, Trigger::Line { line, .. } if line == fault);
        let rest = request.after_trigger() + request.before();
        let asked = self.lines().question(Role::Capture, "operation") * 4.0;
        let mut takes = rest + (rest + Seconds::new(0.05)) / 32.0 + asked;
        if late {
            takes = takes + patience;
        }
        self.goes_on("kind", takes);
        self.passes(takes);
        let read = self.lines().read_out(&request);
        self.passes(read);
        Ok(Some(self.shown(&request, label)))
    }

    async fn read(&mut self, _: Serves, meter: Meter) -> Result<Option<Estimate>, Halt> {
        let (role, reads) = match meter {
            Meter::SupplyCurrent => (Role::Supply, "measure_current"),
            Meter::LoadCurrent => (Role::Load, "measure_current"),
            Meter::Temperature => (Role::Thermometer, "measure_temperature"),
            Meter::BoardSense => (Role::Console, "sense"),
        };
        if self.profiles.contains_key(&role) {
            let took = self.lines().question(role, reads);
            self.passes(took);
        }
        Ok(Some(Estimate::new(0.0, 0.0)))
    }

    async fn protections(&mut self) -> Result<Protections, Halt> {
        for role in [Role::Load, Role::Supply] {
            if self.profiles.contains_key(&role) {
                let took = self.lines().question(role, "condition");
                self.passes(took);
            }
        }
        Ok(Protections::default())
    }

    async fn fuse_intact(&mut self, _: Closes) -> Result<Option<bool>, Halt> {
        let took = self.lines().question(Role::Switch, "continuity");
        self.passes(took);
        Ok(None)
    }

    async fn prove_open(&mut self, _: Closes, _: Amperes) -> Result<Opening, Halt> {
        let took = self.lines().question(Role::Switch, "closed")
            + self.lines().question(Role::Supply, "measure_current");
        self.passes(took);
        Ok(Opening::Proven)
    }

    async fn at_rest(&mut self, time: Seconds) -> Result<(), Halt> {
        // The board empties meanwhile; reading back takes its time out of that.
        self.passes(time);
        Ok(())
    }

    async fn switch_finished(&mut self, within: Seconds) -> Result<(), Halt> {
        let rest = (self.opens - self.now).seconds().max(Seconds::ZERO);
        let asked = self.lines().question(Role::Switch, "operation") * 2.0;
        let takes = rest.min(within) + within / 64.0 + asked;
        self.goes_on("kind", takes);
        self.passes(takes);
        Ok(())
    }
}
