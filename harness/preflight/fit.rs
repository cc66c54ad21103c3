//! Whether a plan and a bench fit together before anything is tried: profiles,
//! numbers of channels, what the supply gives, and what each scenario requires
//! by name. Currents, times and samples are left to the dry run.

use crate::bench_file::{Bench, Carries, Closer, Closes};
use crate::document::{Fault, Faults};
use crate::ident::Role;
use crate::plan::Plan;
use crate::profile::Profile;
use crate::scenario::{Need, Requirements};
use crate::units::{Amperes, Quantity};
use std::collections::{BTreeMap, BTreeSet};

/// Notes every fault in `faults` and gives the scenarios, by index, that miss
/// something by name.
pub(super) fn check(
    plan: &Plan,
    bench: &Bench,
    profiles: &BTreeMap<Role, Profile>,
    faults: &mut Faults,
) -> BTreeSet<usize> {
    let fit = Fit {
        plan,
        bench,
        profiles,
    };
    fit.instruments(faults);
    fit.numbers(faults);
    fit.supply(faults);
    fit.scenarios(faults)
}

struct Fit<'a> {
    plan: &'a Plan,
    bench: &'a Bench,
    profiles: &'a BTreeMap<Role, Profile>,
}

impl Fit<'_> {
    fn of_bench(&self, faults: &mut Faults, path: &str, message: String, expected: String) {
        if let Some(place) = self.bench.places.find(path) {
            faults.push(Fault::error(place, message).expected(expected));
        }
    }

    fn of_plan(&self, faults: &mut Faults, path: &str, message: String, expected: String) {
        if let Some(place) = self.plan.places.find(path) {
            faults.push(Fault::error(place, message).expected(expected));
        }
    }

    fn instruments(&self, faults: &mut Faults) {
        for instrument in &self.bench.instruments {
            let role = instrument.role;
            let path = format!("instrument.{role}.profile");
            match self.profiles.get(&role) {
                Some(profile) if profile.role == role => {}
                Some(profile) => self.of_bench(
                    faults,
                    &path,
                    format!("the {role} follows a profile for a {}", profile.role),
                    format!("a profile whose role is \"{role}\""),
                ),
                None => self.of_bench(
                    faults,
                    &path,
                    format!("the profile of the {role} was not read"),
                    "a sound profile".to_owned(),
                ),
            }
        }
    }

    fn numbers(&self, faults: &mut Faults) {
        let capture = self.profiles.get(&Role::Capture);
        if let Some(range) = capture.and_then(Profile::capture_range) {
            for (index, channel) in self.bench.channels.iter().enumerate() {
                if channel.number > range.channels {
                    self.of_bench(
                        faults,
                        &format!("channel.{index}.number"),
                        "the capture device has no such channel".to_owned(),
                        format!("1 to {}", range.channels),
                    );
                }
                if channel.range * channel.scale > range.voltage.si() * 1.001 {
                    self.of_bench(
                        faults,
                        &format!("channel.{index}.range"),
                        "this is more than the capture device's input withstands".to_owned(),
                        format!("{} at its input", range.voltage),
                    );
                }
            }
            for (index, line) in self.bench.lines.iter().enumerate() {
                if line.number >= range.lines {
                    self.of_bench(
                        faults,
                        &format!("line.{index}.number"),
                        "the capture device has no such line".to_owned(),
                        format!("0 to {}", range.lines.saturating_sub(1)),
                    );
                }
            }
        }
        let switch = self.profiles.get(&Role::Switch);
        if let Some(range) = switch.and_then(Profile::switch_range) {
            for (index, branch) in self.bench.branches.iter().enumerate() {
                if matches!(branch.closer, Closer::Switch(number) if number > range.channels) {
                    self.of_bench(
                        faults,
                        &format!("branch.{index}.number"),
                        "the switch has no such channel".to_owned(),
                        format!("1 to {}", range.channels),
                    );
                }
            }
        }
    }

    fn supply(&self, faults: &mut Faults) {
        let ratings = self.plan.ratings;
        if ratings.supply_voltage > self.bench.envelope.voltage {
            self.of_plan(
                faults,
                "ratings.supply_voltage",
                "this is above the bench's envelope".to_owned(),
                format!("{} or less", self.bench.envelope.voltage),
            );
        }
        let profile = self.profiles.get(&Role::Supply);
        let Some(range) = profile.and_then(Profile::supply_range) else {
            return;
        };
        if ratings.supply_voltage > range.voltage {
            self.of_plan(
                faults,
                "ratings.supply_voltage",
                "this is more than the supply gives".to_owned(),
                format!("{} or less", range.voltage),
            );
        }
        // A supply that cannot deliver the trip current while loaded: the
        // board would never trip, and that would not be its fault.
        if range.current <= self.trips_by() {
            self.of_plan(
                faults,
                "ratings.trip_current",
                format!(
                    "the supply gives {} at most, so the board might never trip",
                    range.current
                ),
                format!("a supply that gives more than {}", self.trips_by()),
            );
        }
    }

    /// The largest current at which a good board need not have tripped yet.
    fn trips_by(&self) -> Amperes {
        let limits = self.plan.scenarios.iter();
        limits
            .filter_map(|s| s.limit("trip_current")?.upper)
            .filter_map(Amperes::from_si)
            .fold(self.plan.ratings.trip_current, Amperes::max)
    }

    fn scenarios(&self, faults: &mut Faults) -> BTreeSet<usize> {
        let mut lacking = BTreeSet::new();
        let mut warned: Vec<Closes> = Vec::new();
        for (index, scenario) in self.plan.run() {
            let mut found = Faults::new();
            let entry = scenario.kind.entry();
            let mut requirements = Requirements {
                ratings: &self.plan.ratings,
                configuration: &self.plan.configuration,
                limits: &scenario.limits,
                trips_by: self.trips_by(),
                places: &self.plan.places,
                path: format!("scenario.{index}"),
                entry,
                bench: self.bench,
                profiles: self.profiles,
                warned: &mut warned,
                faults: &mut found,
            };
            for role in entry.roles {
                requirements.role(*role);
            }
            for signal in entry.signals {
                requirements.channel(*signal);
            }
            let mut needs: Vec<Need> = Vec::new();
            for limit in &scenario.limits {
                let metric = scenario.kind.metric(limit.metric);
                for need in metric.into_iter().flat_map(|metric| metric.needs) {
                    if !needs.contains(need) {
                        needs.push(*need);
                    }
                }
            }
            for need in needs {
                self.meet(need, &mut requirements);
            }
            scenario.settings.require(&mut requirements);
            if found.any_error() {
                lacking.insert(index);
            }
            faults.extend(found.into_list());
        }
        lacking
    }

    /// What a limit's metric cannot be measured without.
    fn meet(&self, need: Need, requirements: &mut Requirements<'_>) {
        match need {
            Need::Channel(signal) => requirements.channel(signal),
            Need::FirstInput => requirements.line(Carries::InputA),
            Need::FaultLine => requirements.line(Carries::Fault),
            Need::LowestSupply => {
                let ratings = self.plan.ratings;
                if ratings.lowest_supply >= ratings.supply_voltage {
                    requirements.fault(
                        "limits",
                        "the plan names no lower supply voltage at which the board still works, \
                         so no trip could be distinguished from a supply that gives way"
                            .to_owned(),
                        format!(
                            "`lowest_supply` in `[ratings]`, less than {}",
                            ratings.supply_voltage
                        ),
                    );
                }
            }
        }
    }
}
