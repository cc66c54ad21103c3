//! Limits proposed from the boards of a lot, as TOML for a plan. They say what these
//! boards do, not what a board must: a person decides that.

use crate::comparison::{LotSummary, MetricSummary};
use crate::scenario::{ScenarioKind, Worse};
use crate::units::{Dimension, show};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Fewer boards say too little of how much boards differ.
const FEWEST: usize = 5;

/// The limits, `room` standard deviations from the mean of every metric whose boards
/// were measured; of conditions of one metric the widest.
pub(super) fn proposed(lot: &LotSummary, room: f64) -> String {
    let name = &lot.lot.name;
    let mut out = format!(
        "# Proposed from lot {name}: the mean and {room} standard deviations either side.\n# They \
         state what these boards do. A fault that all of them have is within these\n# limits: \
         compare each with the data sheet before a plan takes it over.\n"
    );
    let mut scenarios: BTreeMap<&str, BTreeMap<String, Vec<&MetricSummary>>> = BTreeMap::new();
    for metric in &lot.metrics {
        let key = metric.label.split(" (").next().unwrap_or(&metric.label);
        let metrics = scenarios.entry(metric.scenario.as_str()).or_default();
        metrics.entry(key.to_owned()).or_default().push(metric);
    }
    for (scenario, metrics) in scenarios {
        let mut lines = String::new();
        for (key, conditions) in metrics {
            if let Some(limit) = limit(name.as_str(), scenario, &key, &conditions, room) {
                let _ = writeln!(lines, "{key} = {limit}");
            }
        }
        if !lines.is_empty() {
            let _ = write!(
                out,
                "\n[[scenario]]\nkind = \"{scenario}\"\n\n[scenario.limits]\n{lines}"
            );
        }
    }
    out
}

fn limit(
    lot: &str,
    scenario: &str,
    key: &str,
    conditions: &[&MetricSummary],
    room: f64,
) -> Option<String> {
    let (mut least, mut largest) = (f64::INFINITY, f64::NEG_INFINITY);
    let mut told = String::new();
    let mut fewest = usize::MAX;
    let mut dimension = Dimension::Count;
    for condition in conditions {
        let moments = condition.readings.moments?;
        dimension = condition.dimension;
        fewest = fewest.min(moments.count());
        let (mean, sd) = (moments.mean(), moments.sd());
        least = least.min(mean - room * sd);
        largest = largest.max(mean + room * sd);
        if told.is_empty() {
            let _ = write!(
                told,
                "mean {}, standard deviation {}",
                show(mean, dimension),
                show(sd, dimension)
            );
        }
    }
    // What is counted has no standard deviation worth the name.
    if fewest < FEWEST || dimension == Dimension::Count {
        return None;
    }
    let more = match conditions.len() {
        1 => String::new(),
        count => format!(" in the first of {count} conditions"),
    };
    let kind = ScenarioKind::from_word(scenario);
    let worse = kind
        .and_then(|kind| kind.metric(key))
        .map(|metric| metric.worse);
    let mut ends = Vec::new();
    if worse != Some(Worse::Larger) {
        ends.push(format!("min = \"{}\"", show(least, dimension)));
    }
    if worse != Some(Worse::Smaller) {
        ends.push(format!("max = \"{}\"", show(largest, dimension)));
    }
    let ends = ends.join(", ");
    Some(format!(
        "{{ {ends}, source = \"proposed from lot {lot}, {fewest} boards: {told}{more}\" }}"
    ))
}
