//! What of a plan is run: all that its bench can do, less what a person leaves
//! out and says why, or a choice of scenarios for a diagnosis. It runs nothing.

use super::arguments::Accept;
use super::exit::Exit;
use crate::ident::harmless;
use crate::plan::{Omitted, Plan};

/// What a record says of a trial in the place of the scenarios of a diagnosis.
const TRIAL: &str = "the whole plan, as a trial";

/// What a person asked for.
pub(super) struct Selection {
    /// The scenarios of a diagnosis; none for an acceptance.
    pub(super) only: Vec<String>,
    /// What is left out of an acceptance.
    pub(super) without: Vec<Omitted>,
    /// The whole plan is a trial.
    trial: bool,
}

impl Selection {
    /// Reads `--only` and `--without`.
    ///
    /// # Errors
    /// Wrong usage, after saying what.
    pub(super) fn of(arguments: &Accept) -> Result<Self, Exit> {
        let without = arguments.without.iter().map(|text| omitted(text));
        Ok(Self {
            only: arguments.only.clone(),
            without: without.collect::<Result<_, _>>()?,
            trial: arguments.trial,
        })
    }

    /// The plan with all but the selected scenarios left out, so that what they
    /// would need of the bench is no hindrance.
    ///
    /// # Errors
    /// Wrong usage, where the plan has no such scenario or none is left.
    pub(super) fn of_plan(&self, plan: Plan) -> Result<Plan, Exit> {
        let left_out = self.without.iter().map(|omitted| &omitted.scenario);
        for name in self.only.iter().chain(left_out.clone()) {
            if plan.scenario(name).is_none() {
                let option = if self.only.is_empty() {
                    "--without"
                } else {
                    "--only"
                };
                let known = plan.scenarios.iter().map(|scenario| scenario.name.as_str());
                let known: Vec<&str> = known.collect();
                warn_line!(
                    "{option} {}: the plan has {}",
                    harmless(name),
                    harmless(&known.join(", "))
                );
                return Err(Exit::Usage);
            }
        }
        let left_out: Vec<&String> = left_out.collect();
        let mut plan = plan;
        plan.leave_out(|scenario| {
            let wanted = self.only.is_empty() || self.only.contains(&scenario.name);
            !wanted || left_out.contains(&&scenario.name)
        });
        if plan.run().next().is_none() {
            warn_line!("--without: no scenario is left to run");
            return Err(Exit::Usage);
        }
        Ok(plan)
    }

    /// The names of a diagnosis in words.
    pub(super) fn diagnosis(&self) -> Option<String> {
        if self.trial {
            return Some(TRIAL.to_owned());
        }
        (!self.only.is_empty()).then(|| self.only.join(", "))
    }
}

/// `SCENARIO=REASON`.
fn omitted(text: &str) -> Result<Omitted, Exit> {
    let parts = text.split_once('=');
    let parts = parts.map(|(scenario, reason)| (scenario.trim(), reason.trim()));
    match parts {
        Some((scenario, reason)) if !scenario.is_empty() && !reason.is_empty() => Ok(Omitted {
            scenario: scenario.to_owned(),
            reason: reason.to_owned(),
        }),
        _ => {
            warn_line!(
                "--without {}: say why it is left out, as in --without short=\"no switch yet\"",
                harmless(text)
            );
            Err(Exit::Usage)
        }
    }
}
