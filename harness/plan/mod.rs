//! What is done to a board and what is demanded of it: a plan's text to
//! checked, immutable values. It knows no instrument beyond what a bench file
//! states, and it judges nothing.

mod check;
mod comparison;
pub mod demo;
mod limits;
mod lot;
mod parse;

pub use comparison::{Comparison, DeclaredMargin, MetricPath};
pub use lot::{Lot, LotPart, parse_lot};
pub use parse::{extends, parse};

use crate::document::Places;
use crate::judgement::{Decision, Limit, decide};
use crate::measurement::{Blame, Finding, Metric};
use crate::scenario::{Configuration, MetricLimit, Per, Ratings, ScenarioKind, Settings};
use serde::{Deserialize, Serialize};

/// Most plans that may extend one another, the first included.
pub const LONGEST_CHAIN: usize = 8;

/// A checked plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// What a person calls it.
    pub name: String,
    /// The board family.
    pub family: String,
    /// The board's revision.
    pub revision: String,
    /// Why instruments may be used whose calibration is overdue, if they may.
    pub overdue_calibration: Option<String>,
    /// What the board is rated for.
    pub ratings: Ratings,
    /// How the board is connected and set.
    pub configuration: Configuration,
    /// What is done, in this order.
    pub scenarios: Vec<Scenario>,
    /// How two lots are compared.
    pub comparison: Comparison,
    /// Where each part was written.
    pub places: Places,
}

impl Plan {
    /// The scenarios that are run, each with its place among all.
    pub fn run(&self) -> impl Iterator<Item = (usize, &Scenario)> {
        let all = self.scenarios.iter().enumerate();
        all.filter(|(_, scenario)| !scenario.left_out)
    }

    /// Leaves out every scenario of which `left_out` says so, beside those that
    /// are left out already.
    pub fn leave_out(&mut self, left_out: impl Fn(&Scenario) -> bool) {
        for scenario in &mut self.scenarios {
            scenario.left_out |= left_out(scenario);
        }
    }

    /// The scenario under `name`.
    pub fn scenario(&self, name: &str) -> Option<&Scenario> {
        self.scenarios.iter().find(|s| s.name == name)
    }
}

/// One procedure of a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Scenario {
    /// Its name, unique in the plan; the kind's word when the plan gives none.
    pub name: String,
    /// What it is.
    pub kind: ScenarioKind,
    /// Whether a bench must be able to run it; one that cannot runs the others
    /// and says what was not tested.
    pub required: bool,
    /// It is not run this time. It stays in the plan, since its limits say what
    /// the board is, and places count it.
    pub left_out: bool,
    /// How it is done.
    pub settings: Settings,
    /// What is demanded, in the catalogue's order.
    pub limits: Vec<MetricLimit>,
}

impl Scenario {
    /// The limit on `metric`.
    pub fn limit(&self, metric: &str) -> Option<&Limit> {
        self.limits
            .iter()
            .find(|l| l.metric == metric)
            .map(|l| &l.limit)
    }
}

/// A scenario of the plan that is left out, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Omitted {
    /// Its name.
    pub scenario: String,
    /// Why it is not run: a person's reason, or what the bench lacks.
    pub reason: String,
}

/// A metric with the limit on it and what that decides.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedFinding {
    /// The metric.
    pub metric: Metric,
    /// The limit; `None` where it is only recorded.
    pub limit: Option<Limit>,
    /// What the limit decides.
    pub decision: Option<Decision>,
}

/// The condition of a metric that was found at none.
pub const EVERY_CONDITION: &str = "all conditions";

impl Scenario {
    /// Judges what was found, and everything that has a limit and was not found;
    /// `absent` says who can mend that.
    pub fn judged(&self, mut found: Vec<Metric>, absent: Blame) -> Vec<JudgedFinding> {
        found.extend(self.unfound(&found, absent));
        let judged = found.into_iter().map(|metric| {
            let limit = self.limit(&metric.key).cloned();
            let decision = limit.as_ref().map(|limit| decide(&metric.finding, limit));
            JudgedFinding {
                metric,
                limit,
                decision,
            }
        });
        judged.collect()
    }

    /// A metric not measured for each limit whose metric is not among `found`:
    /// a limit is never passed over in silence.
    fn unfound(&self, found: &[Metric], blame: Blame) -> Vec<Metric> {
        let absent = |key: &str| !found.iter().any(|metric| metric.key == key);
        let known = self.kind.entry().metrics.iter();
        known
            .filter(|metric| self.limit(metric.key).is_some() && absent(metric.key))
            .map(|metric| Metric {
                scenario: self.name.clone(),
                key: metric.key.to_owned(),
                at: match metric.per {
                    Per::Run => String::new(),
                    _ => EVERY_CONDITION.to_owned(),
                },
                dimension: metric.dimension,
                finding: Finding::unknown(blame, "the scenario did not come to measure it"),
                common: 0.0,
                notes: Vec::new(),
                evidence: None,
            })
            .collect()
    }
}

#[cfg(test)]
mod tests;
