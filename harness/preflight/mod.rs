//! A plan run without a bench: the very procedures that a run carries out, on a
//! session that only keeps the state and the time. What they would ask of a
//! bench that it cannot do becomes a fault at the line that asks for it, so
//! that what is called sound is never refused. No instrument is talked to.

mod dry;
mod exchange;
mod fault;
mod fit;
mod good_board;
mod limits;

#[cfg(test)]
mod tests;

use crate::bench_file::Bench;
use crate::document::{Fault, Faults, Severity};
use crate::ident::Role;
use crate::plan::{Omitted, Plan};
use crate::profile::Profile;
use crate::units::Seconds;
use serde::Serialize;
use std::collections::BTreeMap;

/// One step.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    /// The scenario's name.
    pub scenario: String,
    /// What is done, in words.
    pub text: String,
    /// Whether it puts energy into the board.
    pub energises: bool,
    /// The bench time until the next step, expected of a good board; the first
    /// one of a scenario has the time before it too.
    pub bench_time: Seconds,
}

/// What a plan would do on a bench.
#[derive(Clone, Debug, PartialEq)]
pub struct Preflight {
    /// Its steps, in order.
    pub steps: Vec<Step>,
    /// Every fault of the plan on that bench. Those of the plan point into the
    /// plan, those of the bench into the bench.
    pub faults: Vec<Fault>,
    /// Scenarios that the plan does not require and the bench cannot run; they
    /// have neither steps nor faults.
    pub omitted: Vec<Omitted>,
}

impl Preflight {
    /// Runs `plan` dry on `bench`, whose instruments follow `profiles`. Both
    /// files were checked alone before.
    pub fn of(plan: &Plan, bench: &Bench, profiles: &BTreeMap<Role, Profile>) -> Self {
        let omitted = omitted(plan, bench, profiles);
        // A plan of which nothing is left is no plan for this bench.
        if omitted.is_empty() || omitted.len() == plan.run().count() {
            return Self::of_all(plan, bench, profiles);
        }
        let mut able = plan.clone();
        able.leave_out(|scenario| omitted.iter().any(|o| o.scenario == scenario.name));
        let found = Self::of_all(&able, bench, profiles);
        Self { omitted, ..found }
    }

    /// The same with every scenario, required or not.
    fn of_all(plan: &Plan, bench: &Bench, profiles: &BTreeMap<Role, Profile>) -> Self {
        let mut faults = Faults::new();
        let lacking = fit::check(plan, bench, profiles, &mut faults);
        limits::check(plan, bench, profiles, &mut faults);
        let mut steps = Vec::new();
        for (index, scenario) in plan.run() {
            let run = dry::run(plan, index, bench, profiles);
            // What is missed by name was said already, and better.
            let missed = lacking.contains(&index);
            let told = run
                .faults
                .into_iter()
                .filter(|found| !missed || !found.misses);
            faults.extend(told.map(|found| found.fault));
            steps.extend(run.steps.into_iter().map(|step| Step {
                scenario: scenario.name.clone(),
                ..step
            }));
        }
        Self {
            steps,
            faults: faults.into_list(),
            omitted: Vec::new(),
        }
    }
}

/// Each scenario that is not required and that the bench cannot run by itself,
/// with the first thing that it lacks.
fn omitted(plan: &Plan, bench: &Bench, profiles: &BTreeMap<Role, Profile>) -> Vec<Omitted> {
    let errors_with = |wanted: Option<&str>| {
        let mut alone = plan.clone();
        alone.leave_out(|scenario| Some(scenario.name.as_str()) != wanted);
        let found = Preflight::of_all(&alone, bench, profiles).faults;
        let errors = found.into_iter().filter(|f| f.severity == Severity::Error);
        errors.map(|fault| fault.message).collect::<Vec<_>>()
    };
    let optional = plan.run().filter(|(_, scenario)| !scenario.required);
    let omitted = optional.filter_map(|(_, scenario)| {
        let of_the_whole = errors_with(None);
        let mut own = errors_with(Some(&scenario.name));
        own.retain(|message| !of_the_whole.contains(message));
        Some(Omitted {
            scenario: scenario.name.clone(),
            reason: own.into_iter().next()?,
        })
    });
    omitted.collect()
}
