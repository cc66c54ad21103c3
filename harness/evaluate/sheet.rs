//! The sheet on which a scenario's metrics are written down, and the worst of
//! several findings. It measures nothing.

use crate::measurement::{Blame, Estimate, Finding, Metric};
use crate::units::{Dimension, show};

/// Metrics of one scenario in the order in which they were found.
pub(super) struct Sheet {
    scenario: String,
    rows: Vec<Metric>,
}

impl Sheet {
    pub(super) fn new(scenario: &str) -> Self {
        Self {
            scenario: scenario.to_owned(),
            rows: Vec::new(),
        }
    }

    /// Writes down one metric of which nothing is stated to be common to all
    /// boards of a bench.
    pub(super) fn add(
        &mut self,
        metric: (&str, Dimension),
        at: &str,
        finding: Finding,
        notes: Vec<String>,
    ) {
        self.add_with_common(metric, at, finding, 0.0, notes);
    }

    /// Writes down one metric with the standard uncertainty that the bench puts
    /// on every board alike.
    pub(super) fn add_with_common(
        &mut self,
        (key, dimension): (&str, Dimension),
        at: &str,
        finding: Finding,
        common: f64,
        notes: Vec<String>,
    ) {
        self.rows.push(Metric {
            scenario: self.scenario.clone(),
            key: key.to_owned(),
            at: at.to_owned(),
            dimension,
            finding,
            common,
            notes,
        });
    }

    /// Writes down that these metrics were not measured, all for one reason.
    pub(super) fn missing(
        &mut self,
        metrics: &[(&str, Dimension)],
        at: &str,
        blame: Blame,
        reason: &str,
    ) {
        for &metric in metrics {
            self.add(metric, at, Finding::unknown(blame, reason), Vec::new());
        }
    }

    pub(super) fn into_metrics(self) -> Vec<Metric> {
        self.rows
    }
}

/// Which end of a metric is the bad one.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Worst {
    Largest,
    Smallest,
}

/// The worst of several findings of one quantity, with its spread in words.
///
/// Where one of them is missing, the worst known is only a bound on the worst
/// of all: a limit it already breaks is broken, any other is undecided. A
/// bound counts with its own value.
pub(super) fn worst(
    findings: &[Finding],
    which: Worst,
    dimension: Dimension,
) -> (Finding, Vec<String>) {
    let mirrored = which == Worst::Smallest;
    let seen: Vec<Finding> = findings
        .iter()
        .map(|f| if mirrored { mirror(f) } else { f.clone() })
        .collect();
    let known = |f: &Finding| match f {
        Finding::Value(e) | Finding::Above(e) | Finding::Below(e) => Some(*e),
        Finding::Unknown { .. } => None,
    };
    let top = seen
        .iter()
        .filter_map(|f| known(f).map(|e| (f, e)))
        .reduce(|best, next| {
            if next.1.value > best.1.value {
                next
            } else {
                best
            }
        });
    let Some((highest, estimate)) = top else {
        let first = findings.first().cloned();
        let none = || Finding::unknown(Blame::Plan, "nothing was taken");
        return (first.unwrap_or_else(none), Vec::new());
    };
    let open = seen
        .iter()
        .any(|f| matches!(f, Finding::Above(_) | Finding::Unknown { .. }));
    let found = match highest {
        _ if open => Finding::Above(estimate),
        Finding::Below(_) => Finding::Below(estimate),
        _ => Finding::Value(estimate),
    };
    let found = if mirrored { mirror(&found) } else { found };
    (found, spread(findings, dimension))
}

/// The finding of the negated quantity.
fn mirror(finding: &Finding) -> Finding {
    let negated = |e: &Estimate| Estimate::new(-e.value, e.u);
    match finding {
        Finding::Value(e) => Finding::Value(negated(e)),
        Finding::Above(e) => Finding::Below(negated(e)),
        Finding::Below(e) => Finding::Above(negated(e)),
        Finding::Unknown { .. } => finding.clone(),
    }
}

/// `5 repeats, 7.900 ms to 8.300 ms`, and what was missing.
fn spread(findings: &[Finding], dimension: Dimension) -> Vec<String> {
    let values: Vec<f64> = findings
        .iter()
        .filter_map(|f| match f {
            Finding::Value(e) => Some(e.value),
            _ => None,
        })
        .collect();
    let mut notes = Vec::new();
    if let (true, Some(least), Some(most)) = (
        findings.len() > 1,
        values.iter().copied().reduce(f64::min),
        values.iter().copied().reduce(f64::max),
    ) {
        notes.push(format!(
            "{} of {} repeats measured, {} to {}",
            values.len(),
            findings.len(),
            show(least, dimension),
            show(most, dimension)
        ));
    }
    if findings.len() > 1 {
        let mut reasons: Vec<String> = Vec::new();
        for finding in findings {
            if let Finding::Unknown { reason, .. } = finding
                && !reasons.iter().any(|known| known == reason)
            {
                reasons.push(reason.clone());
            }
        }
        notes.extend(reasons);
    }
    notes
}

/// `word` as a place of its own among those `used` so far: what was done twice
/// is told twice.
pub(super) fn distinct(used: &mut Vec<String>, word: &str) -> String {
    let mut at = word.to_owned();
    while used.contains(&at) {
        at.push_str(" again");
    }
    used.push(at.clone());
    at
}
