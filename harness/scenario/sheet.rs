//! The sheet on which a scenario's metrics are written down, and the worst of
//! several findings. It measures nothing.

use super::take::Take;
use crate::interruption::Reading;
use crate::measurement::{Blame, Estimate, Evidence, Finding, Mark, Metric};
use crate::units::{Dimension, show};

/// Metrics of one scenario in the order in which they were found.
pub(super) struct Sheet<'a> {
    scenario: String,
    takes: Vec<&'a Take>,
    rows: Vec<Metric>,
}

impl<'a> Sheet<'a> {
    pub(super) fn new(scenario: &str, takes: Vec<&'a Take>) -> Self {
        Self {
            scenario: scenario.to_owned(),
            takes,
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
            evidence: None,
        });
    }

    /// Writes down one metric that `take` decided, at `marks` in it.
    pub(super) fn add_marked(
        &mut self,
        metric: (&str, Dimension),
        at: &str,
        finding: Finding,
        notes: Vec<String>,
        (take, marks): (&Take, Vec<Mark>),
    ) {
        self.add(metric, at, finding, notes);
        // This very take, not one like it.
        let number = self.takes.iter().position(|t| std::ptr::eq(*t, take));
        let number = number.and_then(|number| u32::try_from(number).ok());
        if let (Some(row), Some(take_number)) = (self.rows.last_mut(), number) {
            row.evidence = Some(Evidence {
                take: take_number,
                label: take.capture.label.clone(),
                marks,
            });
        }
    }

    /// Writes down what was read off one take; without marks nothing was.
    pub(super) fn add_reading(
        &mut self,
        metric: (&str, Dimension),
        at: &str,
        reading: Reading,
        notes: Vec<String>,
        take: &Take,
    ) {
        if reading.marks.is_empty() {
            self.add(metric, at, reading.finding, notes);
        } else {
            self.add_marked(metric, at, reading.finding, notes, (take, reading.marks));
        }
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
    let top = largest(&seen).and_then(|place| Some((&seen[place], known(&seen[place])?)));
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

/// Which of several findings is the largest, the first of equal ones; `None`
/// where none is known.
pub(super) fn largest(findings: &[Finding]) -> Option<usize> {
    let known = findings.iter().map(known).enumerate();
    let known = known.filter_map(|(place, estimate)| Some((place, estimate?.value)));
    known
        .reduce(|best, next| if next.1 > best.1 { next } else { best })
        .map(|(place, _)| place)
}

const fn known(finding: &Finding) -> Option<Estimate> {
    match finding {
        Finding::Value(e) | Finding::Above(e) | Finding::Below(e) => Some(*e),
        Finding::Unknown { .. } => None,
    }
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
