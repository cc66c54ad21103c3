//! One run as far as it counts here: the verdict and the judged metrics of each
//! scenario. It knows which defect was planted and does not look for it.

use crate::event::Abort;
use crate::judgement::Verdict;
use crate::measurement::Finding;
use crate::record::{JudgedMetric, Record};
use crate::units::Seconds;

/// One run of the plan on a model board.
#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// The planted defect; `None` for a good board.
    pub defect: Option<String>,
    /// What each scenario came to, in the plan's order.
    pub scenarios: Vec<Outcome>,
}

/// What one scenario came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// Its name in the plan.
    pub scenario: String,
    /// Its verdict; inconclusive where it never ran.
    pub verdict: Verdict,
    /// What it found, in its order.
    pub metrics: Vec<JudgedMetric>,
    /// What went wrong, in words.
    pub troubles: Vec<String>,
    /// Bench time it took.
    pub took: Option<Seconds>,
}

impl Trial {
    /// The run that `record` tells; `None` where it was stopped on the way.
    pub fn of(record: &Record, defect: Option<&str>) -> Option<Self> {
        if record.is_open() || record.abort() == Some(&Abort::Operator) {
            return None;
        }
        let outcome = |name: &String| {
            let told = record.scenarios.iter().find(|s| s.name == *name);
            let outside = record.troubles.iter();
            let outside = outside.filter(|t| t.scenario.as_ref().is_none_or(|s| s == name));
            let own = told.map_or(&[][..], |scenario| &scenario.troubles);
            let mut troubles: Vec<String> = own.iter().map(|t| t.what.clone()).collect();
            if told.is_none() {
                troubles.extend(outside.map(|t| t.trouble.what.clone()));
            }
            Outcome {
                scenario: name.clone(),
                verdict: told
                    .and_then(|s| s.verdict)
                    .unwrap_or(Verdict::Inconclusive),
                metrics: told.map_or_else(Vec::new, |scenario| scenario.metrics.clone()),
                troubles,
                took: told.and_then(|scenario| scenario.took),
            }
        };
        Some(Self {
            defect: defect.map(str::to_owned),
            scenarios: record.started.scenarios.iter().map(outcome).collect(),
        })
    }

    /// The verdict over all scenarios.
    pub fn verdict(&self) -> Verdict {
        Verdict::overall(self.scenarios.iter().map(|outcome| outcome.verdict))
    }

    /// The verdict had the plan not had that scenario: what no scenario looks
    /// at passes.
    pub fn without(&self, scenario: &str) -> Verdict {
        let others = self.scenarios.iter().filter(|o| o.scenario != scenario);
        others
            .map(|outcome| outcome.verdict)
            .max()
            .unwrap_or(Verdict::Pass)
    }

    /// The first scenario that failed.
    pub(super) fn first(&self) -> Option<&Outcome> {
        self.scenarios.iter().find(|o| o.verdict == Verdict::Fail)
    }

    pub(super) fn metrics(&self) -> impl Iterator<Item = &JudgedMetric> {
        self.scenarios.iter().flat_map(|outcome| &outcome.metrics)
    }
}

/// The value found, where it is one.
pub(super) fn value(judged: &JudgedMetric) -> Option<f64> {
    match &judged.metric.finding {
        Finding::Value(estimate) => Some(estimate.value),
        _ => None,
    }
}

/// The margin to the limit in the decision, positive inside.
pub(super) fn margin(judged: &JudgedMetric) -> Option<f64> {
    judged
        .decision
        .as_ref()
        .and_then(|decision| decision.margin)
}
