//! A session without a bench: it keeps the bench's state, the time and the
//! board's as a good board would have it, and shows captures that are only as
//! long as a procedure needs in order to go on. It measures nothing.

mod session;

use super::Step;
use super::exchange::Lines;
use super::fault::{Findings, Found};
use super::good_board::GoodBoard;
use crate::bench_file::{Bench, CaptureWiring, Port};
use crate::clock::{BenchInstant, BenchSpan};
use crate::envelope::{BoardFacts, Known, State, Surroundings};
use crate::ident::Role;
use crate::plan::{Plan, Scenario};
use crate::profile::Profile;
use crate::scenario;
use crate::scenario::acquisition::{CaptureRequest, Trigger};
use crate::scenario::intent::{Intent, LoadSetting};
use crate::scenario::session::{BenchSession, Halt, Provokes, Serves};
use crate::units::{Amperes, Quantity, Seconds, Volts};
use crate::waveform::{Capture, Signal};
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
        if plan.run().next().is_some_and(|(first, _)| first == index) {
            scenario::connected(&mut dry).await?;
        }
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
    /// Whether the board is enabled.
    enabled: bool,
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
            enabled: true,
            steps: Vec::new(),
            faults: Findings::new(&plan.places, index, plan.scenarios[index].kind.entry()),
        }
    }

    /// Whether the board's signal comes from a source that can be told nothing.
    fn is_external(&self) -> bool {
        let drive = self.bench.instrument(Role::Drive);
        drive.is_some_and(|drive| matches!(drive.port, Port::External(_)))
    }

    /// A fault at `serves` where the source, which always sends, is asked for more.
    fn beyond_external(&mut self, serves: Serves, asked: &'static str) {
        if self.is_external() {
            let message = format!("{asked}, and an external signal source takes no commands");
            let expected =
                "a signal source that takes commands, or one worked by hand (`person = true`)";
            self.faults
                .note((serves, asked), (message, expected.to_owned()), None, true);
        }
    }

    /// What is read back of a setting.
    fn read_back(&self, intent: &Intent) -> Seconds {
        let lines = self.lines();
        match intent {
            Intent::SupplyOn { .. } => {
                lines.question(Role::Supply, "measure_current")
                    + lines.question(Role::Supply, "measure_voltage")
                    + lines.question(Role::Supply, "voltage_setting") * 4.0
                    + self.pause_read_back()
            }
            Intent::LoadOn(_) | Intent::LoadHold { .. } => {
                lines.question(Role::Load, "measure_current")
                    + lines.question(Role::Load, "current_setting")
            }
            _ => Seconds::ZERO,
        }
    }

    /// A supply that was switched off in this scenario is measured before it comes
    /// on again: only then was there a pause.
    fn pause_read_back(&self) -> Seconds {
        let lines = self.lines();
        match self.state.supply {
            Known::Sure(set) if !set.on && set.voltage > Volts::ZERO => {
                lines.question(Role::Supply, "measure_current")
                    + lines.question(Role::Supply, "measure_voltage")
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

    /// A fault where the instrument's profile has no command `name`, so that it
    /// `lacks` something.
    fn needs_command(&mut self, serves: Serves, role: Role, name: &'static str, lacks: &str) {
        if self.command(role, name) {
            return;
        }
        let called = match role {
            Role::Drive => "signal source".to_owned(),
            other => other.to_string(),
        };
        let message = format!("the bench's {called} {lacks}");
        let expected = format!("`{name}` among the commands of its profile");
        self.faults
            .note((serves, name), (message, expected), None, true);
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
            Intent::ShortPulse { duration, .. } | Intent::LoadShort { duration } => {
                (true, duration)
            }
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
        match request.trigger {
            Trigger::Line { .. } => {
                self.needs_command(serves, Role::Capture, "trigger_line", "starts on no line");
            }
            Trigger::Channel { .. } => {
                let lacks = "starts on no channel's level";
                self.needs_command(serves, Role::Capture, "trigger_channel", lacks);
            }
            Trigger::Now => {}
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
