//! A record judged again: what was seen, under the limits of a plan, beside
//! what was said at the time. The record itself stays as it is.

use crate::ident::{LotName, RunId, Serial};
use crate::judgement::{Limit, Verdict};
use crate::measurement::{Blame, Finding, Metric};
use crate::plan::{EVERY_CONDITION, JudgedFinding, Omitted, Plan, Scenario};
use crate::record::{JudgedMetric, Record, ScenarioRecord};
use crate::units::Dimension;
use serde::Serialize;
use std::collections::BTreeMap;

/// A record under a plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rejudgement {
    /// The run.
    pub run: RunId,
    /// The board.
    pub serial: Serial,
    /// Its lot.
    pub lot: Option<LotName>,
    /// Whether it was on the model bench.
    pub model: bool,
    /// Set for a diagnosis of one scenario, which accepts nothing.
    pub only: Option<String>,
    /// The recorded verdict over all.
    pub before: Verdict,
    /// The verdict under the plan.
    pub after: Verdict,
    /// Metrics that are found or judged otherwise, in the plan's order.
    pub changes: Vec<Change>,
    /// What should be known beside the verdict.
    pub remarks: Vec<String>,
}

/// One metric that is found or judged otherwise.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Change {
    /// Name of the scenario.
    pub scenario: String,
    /// The metric and its condition.
    pub label: String,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// As recorded.
    pub before: Option<Side>,
    /// As judged again.
    pub after: Option<Side>,
    /// What made the difference.
    pub why: String,
}

/// A metric as it was found and judged.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Side {
    /// What was found.
    pub finding: Finding,
    /// The limit it was judged against.
    pub limit: Option<Limit>,
    /// The verdict, where there was a limit.
    pub verdict: Option<Verdict>,
}

/// Judges `record` under `plan`.
///
/// `evaluated` holds the metrics of each scenario whose observation was kept,
/// evaluated again; for any other the recorded numbers are judged. `driven_by`
/// is the plan the run followed, where it can still be read.
pub fn rejudge(
    record: &Record,
    plan: &Plan,
    driven_by: Option<&Plan>,
    evaluated: &BTreeMap<String, Vec<Metric>>,
) -> Rejudgement {
    let started = &record.started;
    let mut again = Rejudgement {
        run: started.run.clone(),
        serial: started.serial.clone(),
        lot: started.lot.clone(),
        model: started.model,
        only: started.only.clone(),
        before: record.verdict(),
        after: Verdict::Inconclusive,
        changes: Vec::new(),
        remarks: Vec::new(),
    };
    if (&plan.family, &plan.revision) != (&started.family, &started.revision) {
        again.remarks.push(format!(
            "the plan is for {}, revision {}; the board is {}, revision {}",
            plan.family, plan.revision, started.family, started.revision
        ));
    }
    for omitted in &started.without {
        let Omitted { scenario, reason } = omitted;
        let remark = format!("{scenario} was left out of the run: {reason}");
        again.remarks.push(remark);
    }
    let wanted = plan.scenarios.iter().filter(|scenario| {
        let name = &scenario.name;
        let asked_for = started.only.is_none() || started.scenarios.contains(name);
        asked_for && !started.without.iter().any(|o| o.scenario == *name)
    });
    let mut verdicts = Vec::new();
    let mut judged: Vec<&str> = Vec::new();
    for scenario in wanted {
        judged.push(&scenario.name);
        verdicts.push(again.scenario(record, scenario, driven_by, evaluated));
    }
    for dropped in &record.scenarios {
        if !judged.contains(&dropped.name.as_str()) {
            again.drop_scenario(dropped);
        }
    }
    let aborted = record.is_open() || record.abort().is_some();
    if aborted {
        again
            .remarks
            .push("the run did not reach its end, so it cannot pass".to_owned());
        verdicts.push(Verdict::Inconclusive);
    }
    again.after = Verdict::overall(verdicts);
    again
}

impl Rejudgement {
    fn scenario(
        &mut self,
        record: &Record,
        scenario: &Scenario,
        driven_by: Option<&Plan>,
        evaluated: &BTreeMap<String, Vec<Metric>>,
    ) -> Verdict {
        let name = &scenario.name;
        let mut all = record.scenarios.iter();
        let Some(recorded) = all.find(|recorded| recorded.name == *name) else {
            self.remarks
                .push(format!("{name}: the run has no such scenario"));
            return Verdict::Inconclusive;
        };
        if recorded.kind != scenario.kind.word() {
            self.remarks.push(format!(
                "{name}: it was run as {}, the plan asks for {}",
                recorded.kind,
                scenario.kind.word()
            ));
            self.drop_scenario(recorded);
            return Verdict::Inconclusive;
        }
        let driven = driven_by.and_then(|plan| plan.scenario(name));
        if driven.is_some_and(|driven| driven.settings != scenario.settings) {
            self.remarks.push(format!(
                "{name}: the plan would drive it otherwise; what was seen was driven by the recorded plan"
            ));
        }
        let metrics = match evaluated.get(name) {
            Some(metrics) => metrics.clone(),
            None => {
                if !recorded.observations.is_empty() {
                    self.remarks.push(format!(
                        "{name}: its capture was not kept; the recorded numbers are judged"
                    ));
                }
                measured(recorded)
            }
        };
        self.judge(scenario, recorded, metrics)
    }

    fn judge(
        &mut self,
        scenario: &Scenario,
        recorded: &ScenarioRecord,
        metrics: Vec<Metric>,
    ) -> Verdict {
        let absent = recorded.troubles.first().map(|trouble| trouble.blame);
        let absent = absent.unwrap_or(Blame::Bench);
        let mut verdicts = Vec::new();
        let mut left: Vec<&JudgedMetric> = recorded.metrics.iter().collect();
        for JudgedFinding {
            metric,
            limit,
            decision,
        } in scenario.judged(metrics, absent)
        {
            let verdict = decision.map(|decision| decision.verdict);
            verdicts.extend(verdict);
            let place = left.iter().position(|old| same(&old.metric, &metric));
            let before = place.map(|place| side(left.remove(place)));
            let (label, dimension) = (metric.label(), metric.dimension);
            let after = Side {
                finding: metric.finding,
                limit,
                verdict,
            };
            if let Some(why) = why(before.as_ref(), &after, dimension) {
                self.changes.push(Change {
                    scenario: scenario.name.clone(),
                    label,
                    dimension,
                    before,
                    after: Some(after),
                    why,
                });
            }
        }
        for gone in left {
            // A limit without a finding leaves nothing behind when it goes.
            let why = "no longer asked for or found";
            self.gone(&scenario.name, gone, why);
        }
        Verdict::overall(verdicts)
    }

    fn drop_scenario(&mut self, recorded: &ScenarioRecord) {
        for gone in &recorded.metrics {
            self.gone(&recorded.name, gone, "the plan has no such scenario");
        }
    }

    fn gone(&mut self, scenario: &str, gone: &JudgedMetric, why: &str) {
        self.changes.push(Change {
            scenario: scenario.to_owned(),
            label: gone.metric.label(),
            dimension: gone.metric.dimension,
            before: Some(side(gone)),
            after: None,
            why: why.to_owned(),
        });
    }
}

fn side(judged: &JudgedMetric) -> Side {
    Side {
        finding: judged.metric.finding.clone(),
        limit: judged.limit.clone(),
        verdict: judged.verdict(),
    }
}

fn same(one: &Metric, other: &Metric) -> bool {
    (&one.key, &one.at) == (&other.key, &other.at)
}

/// What was really measured: stand-ins for missing metrics are made anew.
fn measured(recorded: &ScenarioRecord) -> Vec<Metric> {
    let metrics = recorded.metrics.iter().map(|judged| judged.metric.clone());
    metrics
        .filter(|metric| metric.at != EVERY_CONDITION)
        .collect()
}

/// What differs, in words; `None` where nothing does.
fn why(before: Option<&Side>, after: &Side, dimension: Dimension) -> Option<String> {
    let Some(before) = before else {
        return Some("not among the recorded numbers".to_owned());
    };
    let mut reasons = Vec::new();
    if before.finding != after.finding {
        let (old, new) = (
            before.finding.show(dimension),
            after.finding.show(dimension),
        );
        if old == new {
            reasons.push("evaluated again, the same to the digits shown".to_owned());
        } else {
            reasons.push(format!("evaluated again, was {old}"));
        }
    }
    match (&before.limit, &after.limit) {
        (None, Some(limit)) => reasons.push(format!("limit {}, was none", limit.show(dimension))),
        (Some(limit), None) => reasons.push(format!("no limit, was {}", limit.show(dimension))),
        (Some(old), Some(new)) => {
            if (old.lower, old.upper) != (new.lower, new.upper) {
                let (old, new) = (old.show(dimension), new.show(dimension));
                reasons.push(format!("limit {new}, was {old}"));
            }
            if old.rule != new.rule {
                reasons.push(format!("{}, was {}", new.rule, old.rule));
            }
        }
        (None, None) => {}
    }
    if reasons.is_empty() && before.verdict != after.verdict {
        reasons.push("the decision rule is applied otherwise by this version".to_owned());
    }
    (!reasons.is_empty()).then(|| reasons.join("; "))
}
