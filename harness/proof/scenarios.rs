//! One scenario over all boards with a defect: what it detects, and what would
//! escape without it. It does not say that a scenario should go: a defect that
//! nobody has planted is not counted.

use super::trial::Trial;
use crate::judgement::Verdict;
use crate::units::{Quantity as _, Seconds};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// What one scenario is worth.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ScenarioFinding {
    /// Its name in the plan.
    pub name: String,
    /// Bench time it takes, the mean over good boards.
    pub took: Option<Seconds>,
    /// Defects that it detects in one board at least.
    pub detects: usize,
    /// Boards that it is the first to fail.
    pub first: usize,
    /// What would no longer be detected without it, by defect.
    pub without: Vec<Lost>,
}

/// Boards with one defect that would no longer fail without a scenario.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Lost {
    /// The defect.
    pub defect: String,
    /// Boards that would pass.
    pub escaped: usize,
    /// Boards that would neither pass nor fail.
    pub inconclusive: usize,
}

impl ScenarioFinding {
    pub(super) fn of(name: &str, planted: &[&Trial], good: &[&Trial]) -> Self {
        let mut detects = BTreeSet::new();
        let mut first = 0;
        let mut without: BTreeMap<&str, Lost> = BTreeMap::new();
        for trial in planted {
            let defect = trial.defect.as_deref().unwrap_or_default();
            let mut outcomes = trial.scenarios.iter();
            let own = outcomes.find(|outcome| outcome.scenario == name);
            if own.is_none_or(|outcome| outcome.verdict != Verdict::Fail) {
                continue;
            }
            detects.insert(defect);
            first += usize::from(trial.first().is_some_and(|o| o.scenario == name));
            let left = trial.without(name);
            if left == Verdict::Fail {
                continue;
            }
            let lost = without.entry(defect).or_insert_with(|| Lost {
                defect: defect.to_owned(),
                escaped: 0,
                inconclusive: 0,
            });
            match left {
                Verdict::Pass => lost.escaped += 1,
                _ => lost.inconclusive += 1,
            }
        }
        Self {
            name: name.to_owned(),
            took: took(name, good),
            detects: detects.len(),
            first,
            without: without.into_values().collect(),
        }
    }
}

fn took(name: &str, good: &[&Trial]) -> Option<Seconds> {
    let outcomes = good.iter().flat_map(|trial| &trial.scenarios);
    let own = outcomes.filter(|outcome| outcome.scenario == name);
    let all: Vec<f64> = own.filter_map(|o| o.took).map(|took| took.si()).collect();
    (!all.is_empty()).then(|| Seconds::new(all.iter().sum::<f64>() / all.len() as f64))
}
