//! What the bench itself did between two lots: told by a reference board that was
//! measured with both, else what its instruments are stated to do. It says nothing
//! of the lots' own boards.

use super::readings::{LotReadings, MetricFacts, by_metric};
use crate::record::{InstrumentExcerpt, Reading};
use crate::statistics::Sample;
use crate::statistics::lots::Common;
use crate::units::Dimension;
use serde::Serialize;
use std::collections::BTreeSet;

/// A reference board measured with both lots.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CheckStandard {
    /// Its serial number.
    pub serial: String,
    /// Its metrics that were measured with both.
    pub rows: Vec<CheckRow>,
}

/// One metric of the reference board.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CheckRow {
    /// Name of the scenario.
    pub scenario: String,
    /// The metric and its condition.
    pub label: String,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// Mean and number of measurements with the baseline.
    pub baseline: (f64, usize),
    /// Mean and number of measurements with the candidate.
    pub candidate: (f64, usize),
    /// Candidate mean less baseline mean.
    pub difference: f64,
    /// Standard deviation within a lot, pooled; none where each was measured
    /// once.
    pub spread: Option<f64>,
    /// What it adds to the uncertainty of each shift.
    pub common: Common,
}

/// What the reference board says, where one board was measured with both lots.
pub(super) fn check_standard(
    baseline: &LotReadings,
    candidate: &LotReadings,
) -> Option<CheckStandard> {
    let serial = baseline.check_standard()?;
    if candidate.check_standard() != Some(serial) {
        return None;
    }
    let values = |lot: &LotReadings| -> Vec<Vec<f64>> {
        let found = by_metric(lot, &lot.check_runs());
        found
            .into_iter()
            .map(|seen| {
                seen.into_iter()
                    .filter_map(|seen| match seen.reading {
                        Reading::Value(value) if value.is_finite() => Some(value),
                        _ => None,
                    })
                    .collect()
            })
            .collect()
    };
    let (before, after) = (values(baseline), values(candidate));
    let same = |a: &MetricFacts, b: &MetricFacts| {
        a.scenario == b.scenario && a.key == b.key && a.at == b.at && a.dimension == b.dimension
    };
    let rows = baseline
        .metrics
        .iter()
        .enumerate()
        .filter_map(|(at, facts)| {
            let mut metrics = candidate.metrics.iter();
            let other = metrics.position(|other| same(facts, other))?;
            let resolution = facts.resolution();
            let before = Sample::resolved(&before[at], resolution).ok()?;
            let after = Sample::resolved(&after[other], resolution).ok()?;
            Some(row(facts, &before, &after))
        });
    let rows: Vec<CheckRow> = rows.collect();
    (!rows.is_empty()).then(|| CheckStandard {
        serial: serial.to_string(),
        rows,
    })
}

/// Nobody corrects the lots by what the reference board did, so its difference
/// enters as it is, as a standard uncertainty, together with its spread (a
/// correction not applied: GUM F.2.4.5, in root sum of squares). Neither is
/// divided by a number of boards or of measurements.
fn row(facts: &MetricFacts, before: &Sample, after: &Sample) -> CheckRow {
    let (before, after) = (before.moments(), after.moments());
    let (n, m) = (before.count(), after.count());
    let difference = after.above_mean_of(before);
    let dof = n + m - 2;
    let spread = (dof > 0).then(|| {
        let squares = (n - 1) as f64 * before.variance() + (m - 1) as f64 * after.variance();
        libm::sqrt(squares / dof as f64)
    });
    CheckRow {
        scenario: facts.scenario.clone(),
        label: facts.label(),
        dimension: facts.dimension,
        baseline: (before.mean(), n),
        candidate: (after.mean(), m),
        difference,
        spread,
        common: Common {
            u: libm::hypot(difference, spread.unwrap_or(0.0)),
            dof: (dof + 1) as f64,
        },
    }
}

/// Whether all runs of both lots were made with the same instruments, each
/// calibrated the same day.
pub(super) fn same_bench(baseline: &LotReadings, candidate: &LotReadings) -> bool {
    let mut benches: Vec<BTreeSet<&InstrumentExcerpt>> = Vec::new();
    for lot in [baseline, candidate] {
        let used: BTreeSet<usize> = lot.runs.iter().map(|run| run.bench).collect();
        benches.extend(used.into_iter().map(|at| lot.benches[at].iter().collect()));
    }
    benches.windows(2).all(|pair| pair[0] == pair[1])
}

/// Degrees of freedom of what instruments are stated to do, taken as known to a
/// tenth: GUM G.4.2, (0.1)^-2 / 2.
const STATED_DOF: f64 = 50.0;

/// What two benches put on the difference of two lots, each on all boards alike,
/// where no reference board was measured on both: root sum of squares. On one
/// bench in one state of calibration it cancels (GUM F.1.2.3).
pub(super) fn between_benches(stated: [f64; 2]) -> Option<Common> {
    let u = libm::hypot(stated[0], stated[1]);
    (u > 0.0 && u.is_finite()).then_some(Common { u, dof: STATED_DOF })
}
