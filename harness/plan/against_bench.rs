//! Whether a bench can carry out a plan: roles, channels and branches it
//! needs, the envelope, and what its instruments can do. Both were checked
//! alone before; nothing is asked of an instrument here.

mod inrush;
mod limits_of_energy;
mod soak;
mod supply;
mod timing;
mod unloaded;

use super::check::SHORTEST_HALF_BIT;
use super::settings::{Direction, Settings, ShortPlace};
use super::signal::{Signal, SignalLoading};
use super::{Plan, Scenario};
use crate::bench_file::{Bench, Carries, Closes, Loop, Measures, Proof};
use crate::document::{Fault, Faults, Place};
use crate::ident::Role;
use crate::profile::Profile;
use crate::units::{Amperes, Quantity, Volts};
use std::collections::BTreeMap;

/// Every fault of `plan` on `bench`, whose instruments follow `profiles`.
/// Faults of the plan point into the plan, faults of the bench into the bench.
pub fn against_bench(plan: &Plan, bench: &Bench, profiles: &BTreeMap<Role, Profile>) -> Vec<Fault> {
    let mut against = Against {
        plan,
        bench,
        profiles,
        faults: Faults::new(),
    };
    against.profiles();
    against.channel_numbers();
    against.supply();
    for (index, scenario) in plan.scenarios.iter().enumerate() {
        let at = At { index, scenario };
        against.roles(at);
        against.needs(at);
        against.sampling(at);
        against.pulses(at);
        against.energy(at);
    }
    against.faults.into_list()
}

struct Against<'a> {
    plan: &'a Plan,
    bench: &'a Bench,
    profiles: &'a BTreeMap<Role, Profile>,
    faults: Faults,
}

/// A scenario with its index, which its places are noted under.
#[derive(Clone, Copy)]
struct At<'a> {
    index: usize,
    scenario: &'a Scenario,
}

impl At<'_> {
    fn path(self, key: &str) -> String {
        format!("scenario.{}.{key}", self.index)
    }

    fn has_limit(self, metric: &str) -> bool {
        self.scenario.limit(metric).is_some()
    }
}

impl<'a> Against<'a> {
    fn plan_fault(&mut self, path: &str, message: impl Into<String>, expected: impl Into<String>) {
        if let Some(place) = self.plan.places.find(path) {
            self.faults
                .push(Fault::error(place, message).expected(expected));
        }
    }

    fn bench_place(&self, path: &str) -> Option<&'a Place> {
        self.bench.places.find(path)
    }

    fn bench_fault(&mut self, path: &str, message: impl Into<String>, expected: impl Into<String>) {
        if let Some(place) = self.bench_place(path) {
            self.faults
                .push(Fault::error(place, message).expected(expected));
        }
    }

    fn profile(&self, role: Role) -> Option<&'a Profile> {
        self.profiles.get(&role)
    }

    fn profiles(&mut self) {
        for instrument in &self.bench.instruments {
            match self.profile(instrument.role) {
                Some(profile) if profile.role == instrument.role => {}
                Some(profile) => self.bench_fault(
                    &format!("instrument.{}.profile", instrument.role),
                    format!(
                        "the {} follows a profile for a {}",
                        instrument.role, profile.role
                    ),
                    format!("a profile whose role is \"{}\"", instrument.role),
                ),
                None => self.bench_fault(
                    &format!("instrument.{}.profile", instrument.role),
                    format!("the profile of the {} was not read", instrument.role),
                    "a sound profile",
                ),
            }
        }
    }

    fn channel_numbers(&mut self) {
        if let Some(range) = self.profile(Role::Capture).and_then(Profile::capture_range) {
            for (index, channel) in self.bench.channels.iter().enumerate() {
                if channel.number > range.channels {
                    self.bench_fault(
                        &format!("channel.{index}.number"),
                        "the capture device has no such channel",
                        format!("1 to {}", range.channels),
                    );
                }
                if channel.range * channel.scale > range.voltage.si() * 1.001 {
                    self.bench_fault(
                        &format!("channel.{index}.range"),
                        "this is more than the capture device's input bears",
                        format!("{} at its input", range.voltage),
                    );
                }
            }
            for (index, line) in self.bench.lines.iter().enumerate() {
                if line.number >= range.lines {
                    self.bench_fault(
                        &format!("line.{index}.number"),
                        "the capture device has no such line",
                        format!("0 to {}", range.lines.saturating_sub(1)),
                    );
                }
            }
        }
        if let Some(range) = self.profile(Role::Switch).and_then(Profile::switch_range) {
            for (index, branch) in self.bench.branches.iter().enumerate() {
                if branch.number > range.channels {
                    self.bench_fault(
                        &format!("branch.{index}.number"),
                        "the switch has no such channel",
                        format!("1 to {}", range.channels),
                    );
                }
            }
        }
    }

    fn supply(&mut self) {
        let ratings = self.plan.ratings;
        if ratings.supply_voltage > self.bench.envelope.voltage {
            self.plan_fault(
                "ratings.supply_voltage",
                "this is above the bench's envelope",
                format!("{} or less", self.bench.envelope.voltage),
            );
        }
        let Some(range) = self.profile(Role::Supply).and_then(Profile::supply_range) else {
            return;
        };
        if ratings.supply_voltage > range.voltage {
            self.plan_fault(
                "ratings.supply_voltage",
                "this is more than the supply gives",
                format!("{} or less", range.voltage),
            );
        }
        // A supply that cannot deliver the trip current while loaded: the
        // board would never trip, and that would not be its fault.
        if range.current <= self.trip_upper() {
            self.plan_fault(
                "ratings.trip_current",
                format!(
                    "the supply gives {} at most, so the board might never trip",
                    range.current
                ),
                format!("a supply that gives more than {}", self.trip_upper()),
            );
        }
    }

    /// The largest current at which a good board may not have tripped yet.
    fn trip_upper(&self) -> Amperes {
        let limits = self.plan.scenarios.iter();
        limits
            .filter_map(|s| s.limit("trip_current")?.upper)
            .filter_map(Amperes::from_si)
            .fold(
                self.plan.ratings.trip_current,
                |a, b| if b > a { b } else { a },
            )
    }

    fn roles(&mut self, at: At<'_>) {
        for role in at.scenario.kind.entry().roles {
            if self.bench.instrument(*role).is_none() {
                self.plan_fault(
                    &at.path("kind"),
                    format!("the bench has no {role}, which this scenario needs"),
                    format!("an `[[instrument]]` with `role = \"{role}\"` in the bench file"),
                );
            }
        }
    }

    fn needs(&mut self, at: At<'_>) {
        self.channel(at, Measures::NodeVoltage);
        self.channel(at, Measures::OutputCurrent);
        for metric in ["supply_droop", "supply_dip"] {
            if at.has_limit(metric) {
                self.channel(at, Measures::BoardSupply);
            }
        }
        match &at.scenario.settings {
            Settings::Idle(idle) => self.idle(at, idle),
            Settings::Load(_) | Settings::Sense(_) | Settings::Overload(_) | Settings::Soak(_) => {}
            Settings::Inrush(_) => self.inrush(at),
            Settings::Supply(_) => self.load_on_supply(at),
            Settings::Short(short) => {
                for place in &short.places {
                    self.branch(at, "places", short_branch(*place));
                    self.loop_trips(at, *place);
                }
            }
            Settings::Signal(signal) => self.signal(at, signal),
            Settings::Loss(loss) => self.loss(at, loss),
            Settings::Reversal(reversal) => {
                self.channel(at, Measures::GapCurrent);
                self.channel(at, Measures::UpstreamVoltage);
                self.line(at, Carries::InputA);
                self.branch(at, "kind", Closes::NearShort);
                for direction in &reversal.directions {
                    self.branch(at, "directions", gap_branch(*direction));
                }
                self.mismatch_reverses(at, &reversal.directions);
            }
        }
    }

    fn signal(&mut self, at: At<'_>, signal: &Signal) {
        self.line(at, Carries::InputA);
        if signal.cuts(self.plan.configuration.signal_lines) {
            self.line(at, Carries::InputB);
        }
        let loaded = signal.loads.contains(&SignalLoading::Rated);
        if loaded && self.bench.instrument(Role::Load).is_none() {
            self.plan_fault(
                &at.path("loads"),
                "nothing on the bench draws the rated current",
                "an `[[instrument]]` with `role = \"load\"` in the bench file",
            );
        }
    }

    fn channel(&mut self, at: At<'_>, measures: Measures) {
        if self.bench.channel(measures).is_none() {
            self.plan_fault(
                &at.path("kind"),
                format!("no channel of the bench measures the {}", measures.word()),
                format!("a `[[channel]]` with `measures = \"{}\"`", measures.word()),
            );
        }
    }

    fn line(&mut self, at: At<'_>, carries: Carries) {
        if self.bench.line(carries).is_none() {
            self.plan_fault(
                &at.path("kind"),
                format!("no logic line of the bench carries {}", carries.word()),
                format!("a `[[line]]` with `carries = \"{}\"`", carries.word()),
            );
        }
    }

    fn branch(&mut self, at: At<'_>, key: &str, closes: Closes) {
        let Some(branch) = self.bench.branch(closes) else {
            self.plan_fault(
                &at.path(key),
                format!(
                    "no channel of the bench's switch closes the {}",
                    closes.word()
                ),
                format!("a `[[branch]]` with `closes = \"{}\"`", closes.word()),
            );
            return;
        };
        // One warning a branch is enough, wherever it is used.
        let short = matches!(closes, Closes::NearShort | Closes::FarShort);
        let weak = short && matches!(branch.proof, Proof::None | Proof::Marker);
        let first = self
            .plan
            .scenarios
            .iter()
            .position(|s| s.kind == at.scenario.kind);
        let index = self.bench.branches.iter().position(|b| b.closes == closes);
        if let (true, true, Some(index)) = (weak, first == Some(at.index), index)
            && let Some(place) = self.bench_place(&format!("branch.{index}.proof"))
        {
            self.faults.push(
                Fault::warning(
                    place,
                    "nothing proves this contact while the rails are dead",
                )
                .expected("\"second pole\" or \"pilot current\"")
                .hint(
                    "a blown fuse then looks like a trip: only a board that retries into \
                         the same short can pass",
                ),
            );
        }
    }

    /// The coin test: a loop whose resistance keeps the current below the trip
    /// level arcs and heats instead, on any board; the supply's leads included.
    fn loop_trips(&mut self, at: At<'_>, place: ShortPlace) {
        let Some(short) = self.closed_loop(short_branch(place)) else {
            return;
        };
        let fed = short.through(self.bench.wiring.supply_resistance);
        let current = fed.current();
        if current <= self.trip_upper() {
            self.plan_fault(
                &at.path("places"),
                format!(
                    "through the {} loop flow only {current}, so no board need trip",
                    place.word()
                ),
                format!(
                    "a loop that lets more than {} flow: the bus is too thin or too long",
                    self.trip_upper()
                ),
            );
        }
    }

    fn mismatch_reverses(&mut self, at: At<'_>, directions: &[Direction]) {
        let Some(upstream) = self.bench.upstream else {
            return;
        };
        if let Some(limit) = at.scenario.limit("reversal_time").and_then(|l| l.upper)
            && upstream.trip_time.si() <= limit
        {
            self.bench_fault(
                "upstream.trip_time",
                "the upstream source trips within the limit of the reversal time",
                format!("more than {}", super::check::seconds(limit)),
            );
        }
        let needed = self.plan.ratings.trip_current;
        for direction in directions {
            let gap = gap_branch(*direction);
            if self.bench.branch(gap).is_none() {
                continue;
            }
            match self.closed_loop(gap) {
                None => self.bench_fault(
                    "upstream.isolation",
                    "with isolated supplies and one gap no current flows, so nothing reverses",
                    "\"isolated, both gaps\" or \"common negative, one gap\"",
                ),
                Some(mismatch) => {
                    let current = mismatch.current();
                    self.spikes_end(gap);
                    if current <= needed {
                        self.plan_fault(
                            &at.path("directions"),
                            format!("across the gap flow only {current}, too little to reverse on"),
                            format!("more than {needed}"),
                        );
                    }
                }
            }
        }
    }

    fn closed_loop(&self, closes: Closes) -> Option<Loop> {
        let ratings = self.plan.ratings;
        self.bench
            .closed_loop(closes, ratings.supply_voltage, ratings.source_resistance)
    }

    /// Even in phase a difference in delay pushes a spike round the loop at
    /// every edge; what lasts longer than a quarter half-bit could not be told
    /// from a mismatch. The board's diodes conduct then, so its own resistance
    /// is left out.
    fn spikes_end(&mut self, gap: Closes) {
        let supply = self.plan.ratings.supply_voltage;
        let Some(mismatch) = self.bench.mismatch(supply, gap) else {
            return;
        };
        let spike = mismatch.edge_spike().si();
        let quarter = SHORTEST_HALF_BIT / 4.0;
        if spike > quarter {
            let spike = super::check::seconds(spike);
            self.bench_fault(
                "upstream.inductance",
                format!("edge spikes of {spike} could not be told from a mismatch"),
                format!("three times L/R below {}", super::check::seconds(quarter)),
            );
        }
    }

    fn energy(&mut self, at: At<'_>) {
        let found = limits_of_energy::check(self.plan, self.bench, self.profiles, at.scenario);
        for excess in found {
            let Some(place) = self.plan.places.find(&at.path(excess.key)) else {
                continue;
            };
            let fault = Fault::error(place, excess.message).expected(excess.expected);
            self.faults.push(match excess.hint {
                Some(hint) => fault.hint(hint),
                None => fault,
            });
        }
    }
}

/// The branch that a short at `place` closes.
pub(super) const fn short_branch(place: ShortPlace) -> Closes {
    match place {
        ShortPlace::Near => Closes::NearShort,
        ShortPlace::Far => Closes::FarShort,
    }
}

/// The gap that a reversal in `direction` closes.
pub(super) const fn gap_branch(direction: Direction) -> Closes {
    match direction {
        Direction::Forward => Closes::GapCrossed,
        Direction::Back => Closes::GapStraight,
    }
}

/// The larger of two voltages.
pub(super) fn larger(a: Volts, b: Volts) -> Volts {
    if a > b { a } else { b }
}
