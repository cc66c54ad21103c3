//! What a record kept of its observations, evaluated again by this version with
//! the plan and bench it kept. It judges nothing and changes no record.

use crate::bench_file::Bench;
use crate::comparison::{KeptFault, KeptFiles};
use crate::measurement::{Finding, Metric};
use crate::plan::{Plan, Scenario};
use crate::record::{JudgedMetric, Record};
use crate::scenario::{Observation, evaluate};

/// The metrics of `scenario` of `plan` in `seen`.
pub fn metrics(plan: &Plan, scenario: &Scenario, bench: &Bench, seen: &Observation) -> Vec<Metric> {
    let context = scenario.settings.context(&plan.ratings, bench);
    evaluate(&scenario.name, &context, seen)
}

/// `record` with marks where it was written before there were any: each of a
/// metric that this version finds alike. Where it finds another number, a note
/// says so and nothing is marked.
pub fn marked(record: &Record, seen: &[(String, Observation)]) -> Record {
    let mut record = record.clone();
    let metrics = record.scenarios.iter().flat_map(|s| &s.metrics);
    if { metrics }.any(|judged| judged.metric.evidence.is_some()) {
        return record;
    }
    let Ok((plan, bench)) = kept(&record) else {
        return record;
    };
    for (name, observation) in seen {
        let recorded = record.scenarios.iter_mut().find(|s| s.name == *name);
        let (Some(recorded), Some(scenario)) = (recorded, plan.scenario(name)) else {
            continue;
        };
        for again in self::metrics(&plan, scenario, &bench, observation) {
            let mut metrics = recorded.metrics.iter_mut();
            let same = |old: &&mut JudgedMetric| {
                (&old.metric.key, &old.metric.at) == (&again.key, &again.at)
            };
            if let Some(old) = metrics.find(same) {
                mark(&mut old.metric, again);
            }
        }
    }
    record
}

fn kept(record: &Record) -> Result<(Plan, Bench), KeptFault> {
    let files = KeptFiles::of(&record.started);
    Ok((files.plan()?, files.bench()?))
}

fn mark(old: &mut Metric, again: Metric) {
    if again.evidence.is_none() {
        return;
    }
    if alike(&old.finding, &again.finding) {
        old.evidence = again.evidence;
    } else {
        let found = again.finding.show(again.dimension);
        old.notes
            .push(format!("evaluated again it is {found}: nothing is marked"));
    }
}

/// Whether two findings are one to within their uncertainty.
fn alike(old: &Finding, again: &Finding) -> bool {
    match (old, again) {
        (Finding::Value(old), Finding::Value(again))
        | (Finding::Above(old), Finding::Above(again))
        | (Finding::Below(old), Finding::Below(again)) => {
            (old.value - again.value).abs() <= old.minus(*again).expanded()
        }
        (Finding::Unknown { .. }, Finding::Unknown { .. }) => true,
        _ => false,
    }
}
