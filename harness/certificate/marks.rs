//! What a figure shows of a metric: its capture and the marks it was read at,
//! as the record has them. No instant is looked for here.

use crate::measurement::{Evidence, Landmark};
use crate::observation::{Observation, Take};
use crate::record::{JudgedMetric, Record};

/// What is marked, in the order in which a fault goes.
const SHOWN: [Landmark; 6] = [
    Landmark::WatchedFrom,
    Landmark::Closing,
    Landmark::Onset,
    Landmark::Reversal,
    Landmark::Interruption,
    Landmark::WatchedUntil,
];

/// The metric `key` of `scenario` at `at`.
pub(super) fn metric<'a>(
    record: &'a Record,
    scenario: &str,
    key: &str,
    at: &str,
) -> Option<&'a JudgedMetric> {
    let scenario = record.scenarios.iter().find(|s| s.name == scenario)?;
    let mut metrics = scenario.metrics.iter();
    metrics.find(|judged| judged.metric.key == key && judged.metric.at == at)
}

/// The take that decided the metric, where the record says which.
pub(super) fn decided<'a>(
    observation: &'a Observation,
    judged: Option<&JudgedMetric>,
) -> Option<&'a Take> {
    let evidence = judged?.metric.evidence.as_ref()?;
    observation.takes().get(evidence.take as usize).copied()
}

/// The instants to draw, in seconds from the trigger, the earliest first.
pub(super) fn instants(judged: Option<&JudgedMetric>) -> Vec<(Landmark, f64)> {
    let evidence: Option<&Evidence> = judged.and_then(|judged| judged.metric.evidence.as_ref());
    let mark = |what| Some((what, evidence?.mark(what)?.value));
    SHOWN.into_iter().filter_map(mark).collect()
}
