//! Evaluation against closed forms: the truth of each capture is known from
//! the formula it was made with, never from the code under test.

mod commons;
mod coverage;
pub(in crate::scenario) mod hostile;
pub(in crate::scenario) mod made;
mod outcomes;
mod ringing;
mod unloaded;

use crate::measurement::{Finding, Metric};

/// The metric `key` at `at`.
pub(in crate::scenario) fn metric<'a>(metrics: &'a [Metric], key: &str, at: &str) -> &'a Metric {
    metrics
        .iter()
        .find(|m| m.key == key && m.at == at)
        .unwrap_or_else(|| panic!("no {key} at {at} in {metrics:#?}"))
}

#[track_caller]
pub(in crate::scenario) fn value(
    metrics: &[Metric],
    key: &str,
    at: &str,
) -> crate::measurement::Estimate {
    match &metric(metrics, key, at).finding {
        Finding::Value(estimate) => *estimate,
        other => panic!("{key} at {at}: {other:?}"),
    }
}
