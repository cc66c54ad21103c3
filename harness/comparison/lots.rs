//! Two lots metric by metric: which metrics belong together, what is claimed of
//! all of them, and the sizes of lots that such a comparison needs.

use super::check_standard::{CheckStandard, between_benches, check_standard, same_bench};
use super::circumstances::{PartRow, parts, warnings};
use super::readings::{LotReadings, MetricFacts, Seen, by_metric};
use super::row::{Readings, Row, margin, row};
use crate::measurement::in_words;
use crate::plan::Comparison;
use crate::statistics::equivalence::Margin;
use crate::statistics::lots::{Common, LotComparison, Outcome, settle};
use crate::statistics::multiplicity::holm;
use crate::statistics::needed::Lots;
use crate::units::{Dimension, show};
use serde::Serialize;

/// The chance taken of calling lots equivalent, or different, that are not.
pub const ALPHA: f64 = 0.05;

/// What two lots come to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LotsCompared {
    /// The lot before the substitution.
    pub baseline: LotFacts,
    /// The lot after it.
    pub candidate: LotFacts,
    /// Share of the distance to the nearer limit that does not matter.
    pub margin_share: f64,
    /// The chance to prove equivalence that numbers of boards are told for.
    pub power: f64,
    /// Whether the plan names metrics that decide; else all do.
    pub key_metrics_named: bool,
    /// The outcome over the metrics that decide.
    pub outcome: Outcome,
    /// Metrics in the order in which they were first recorded.
    pub rows: Vec<Row>,
    /// What the bench itself did between the lots, where that is known.
    pub check_standard: Option<CheckStandard>,
    /// The lots' parts side by side, where lot files are in the records.
    pub parts: Vec<PartRow>,
    /// What differs besides the boards.
    pub warnings: Vec<String>,
}

/// A lot in a comparison.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LotFacts {
    /// Its name.
    pub name: String,
    /// Boards that count, each by its last run.
    pub boards: usize,
    /// Earlier runs of boards tested again.
    pub earlier_runs: usize,
    /// Start of the first run.
    pub from: Option<jiff::Timestamp>,
    /// Start of the last one.
    pub until: Option<jiff::Timestamp>,
}

impl LotFacts {
    pub(super) fn of(lot: &LotReadings) -> Self {
        let times = || lot.runs.iter().map(|run| run.at);
        Self {
            name: lot.name().to_owned(),
            boards: lot.boards().len(),
            earlier_runs: lot.earlier(),
            from: times().min(),
            until: times().max(),
        }
    }
}

/// The boards that a comparison with the baseline needs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlanSize {
    /// Name of the scenario.
    pub scenario: String,
    /// The metric and its condition.
    pub label: String,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// Whether it decides.
    pub key: bool,
    /// The baseline's numbers.
    pub baseline: Readings,
    /// The margin.
    pub margin: Option<Margin>,
    /// Boards a lot that prove equivalence with the power asked for when the
    /// lots are alike; none where the numbers do not tell.
    pub boards: Option<usize>,
}

/// What the recorded plans say: the first that says anything.
pub fn terms(lots: &[&LotReadings]) -> Comparison {
    let plans = lots.iter().filter_map(|lot| lot.plan());
    let mut terms = plans.map(|plan| &plan.comparison);
    let silent = Comparison::default();
    terms
        .find(|terms| **terms != silent)
        .cloned()
        .unwrap_or(silent)
}

/// Compares the boards of two lots by what a plan says of comparisons.
///
/// Equivalence of all key metrics is claimed where each is equivalent
/// (intersection-union); differences and shifts are claimed after Holm's
/// correction, key metrics and the rest as a family each.
pub fn compare_lots(
    baseline: &LotReadings,
    candidate: &LotReadings,
    terms: &Comparison,
) -> LotsCompared {
    let check = check_standard(baseline, candidate);
    let before = by_metric(baseline, &baseline.boards());
    let after = by_metric(candidate, &candidate.boards());
    let one_bench = same_bench(baseline, candidate);
    let mut rows: Vec<Row> = pairs(baseline, candidate)
        .into_iter()
        .filter_map(|(left, right)| {
            let side =
                |lot: &'_ LotReadings, at: Option<usize>| at.filter(|at| *at < lot.metrics.len());
            let left = side(baseline, left).map(|at| (&baseline.metrics[at], &before[at][..]));
            let right = side(candidate, right).map(|at| (&candidate.metrics[at], &after[at][..]));
            // Only the check standard was measured so.
            let seen =
                |side: Option<(&MetricFacts, &[Seen])>| side.is_some_and(|s| !s.1.is_empty());
            if !seen(left) && !seen(right) {
                return None;
            }
            let facts = left.or(right)?.0;
            let told = check.as_ref().and_then(|check| common(check, facts));
            let stated = || {
                let sides = [left, right].map(|side| side.map_or(0.0, |(facts, _)| facts.common));
                between_benches(sides).filter(|_| !one_bench)
            };
            Some(row(left, right, told.or_else(stated), terms))
        })
        .collect();
    for key in [true, false] {
        settled(&mut rows, key);
    }
    let mut warnings = warnings(baseline, candidate, check.as_ref());
    if let Some(check) = check.as_ref().filter(|_| !warnings.is_empty()) {
        warnings.extend(told_by_standard(check, &rows));
    }
    LotsCompared {
        baseline: LotFacts::of(baseline),
        candidate: LotFacts::of(candidate),
        margin_share: terms.share,
        power: terms.power,
        key_metrics_named: !terms.key.is_empty(),
        outcome: overall(&rows),
        rows,
        parts: parts(baseline, candidate),
        warnings,
        check_standard: check,
    }
}

fn common(check: &CheckStandard, facts: &MetricFacts) -> Option<Common> {
    let mut rows = check.rows.iter();
    let found = rows.find(|row| row.scenario == facts.scenario && row.label == facts.label());
    found.map(|row| row.common)
}

/// Where circumstances differ: the most that this did to the reference board, as
/// a part of the margin.
fn told_by_standard(check: &CheckStandard, rows: &[Row]) -> Option<String> {
    let parts = check.rows.iter().filter_map(|found| {
        let mut rows = rows.iter();
        let row = rows.find(|row| row.scenario == found.scenario && row.label == found.label)?;
        let margin = row.margin?;
        let side = if found.difference < 0.0 {
            -margin.lower()
        } else {
            margin.upper()
        };
        Some((found.difference.abs() / side, found))
    });
    let (part, found) = parts.max_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(format!(
        "what that did to the bench, by the check standard {}: at most {:.0} % of a margin, {} {} \
         from {} to {}",
        check.serial,
        100.0 * part,
        found.scenario,
        in_words(&found.label),
        show(found.baseline.0, found.dimension),
        show(found.candidate.0, found.dimension)
    ))
}

/// Metrics of both lots that have one name, the baseline's order first.
fn pairs(baseline: &LotReadings, candidate: &LotReadings) -> Vec<(Option<usize>, Option<usize>)> {
    let same = |a: &MetricFacts, b: &MetricFacts| {
        a.scenario == b.scenario && a.key == b.key && a.at == b.at
    };
    let mut taken = vec![false; candidate.metrics.len()];
    let mut pairs = Vec::new();
    for (at, facts) in baseline.metrics.iter().enumerate() {
        let free = |(place, other): &(usize, &MetricFacts)| !taken[*place] && same(facts, other);
        // The same unit first, another one where there is nothing better.
        let mut others = candidate.metrics.iter().enumerate().filter(free);
        let mut best = others.clone();
        let found = best
            .find(|(_, other)| other.dimension == facts.dimension)
            .or_else(|| others.next())
            .map(|(place, _)| place);
        if let Some(place) = found {
            taken[place] = true;
        }
        pairs.push((Some(at), found));
    }
    let rest = taken.iter().enumerate().filter(|(_, taken)| !**taken);
    pairs.extend(rest.map(|(place, _)| (None, Some(place))));
    pairs
}

/// Settles the claims of one family of rows.
fn settled(rows: &mut [Row], key: bool) {
    let mut family: Vec<&mut Row> = rows
        .iter_mut()
        .filter(|row| row.key == key && row.comparison.is_some())
        .collect();
    let tested: Vec<LotComparison> = family.iter().filter_map(|row| row.comparison).collect();
    let outcomes = match settle(&tested, ALPHA) {
        Ok(outcomes) => outcomes,
        Err(fault) => {
            for row in family {
                row.outcome = Some(Outcome::NotEnough);
                row.remark = Some(fault.to_string());
            }
            return;
        }
    };
    let shifts: Vec<f64> = tested
        .iter()
        .map(|tests| match tests.welch {
            Some(test) => test.p_two_sided,
            // Neither lot varies: there is a shift or there is none.
            None => f64::from(u8::from(!tests.differs())),
        })
        .collect();
    // A p value that is none detects no shift.
    let shifts = holm(&shifts).unwrap_or_else(|_| vec![1.0; tested.len()]);
    for ((row, settled), p) in family.iter_mut().zip(outcomes).zip(shifts) {
        row.outcome = Some(settled.outcome);
        row.interval = Some(settled.interval);
        row.confidence = Some(settled.confidence);
        row.shift_detected = p < ALPHA;
        if settled.outcome != Outcome::NotEnough {
            row.more_boards = None;
        }
    }
}

/// One difference makes the lots different; equivalence takes every metric.
fn overall(rows: &[Row]) -> Outcome {
    let deciding = rows.iter().filter(|row| row.key);
    let outcomes: Vec<Outcome> = deciding.filter_map(|row| row.outcome).collect();
    if outcomes.contains(&Outcome::Different) {
        Outcome::Different
    } else if outcomes.is_empty() || outcomes.contains(&Outcome::NotEnough) {
        Outcome::NotEnough
    } else {
        Outcome::Equivalent
    }
}

/// The sizes of lots that a comparison with `baseline` needs.
pub fn plan_sizes(baseline: &LotReadings, terms: &Comparison) -> Vec<PlanSize> {
    let seen = by_metric(baseline, &baseline.boards());
    let sizes = baseline
        .metrics
        .iter()
        .zip(seen)
        .filter_map(|(facts, seen)| {
            let readings = Readings::of(&seen, facts.resolution());
            let (margin, declared) = margin(facts, &readings, terms);
            if seen.is_empty() || (facts.limit.is_none() && !declared) {
                return None;
            }
            let boards = readings.moments.zip(margin).and_then(|(moments, margin)| {
                // Readings that do not vary need the least that can be compared.
                if moments.sd() == 0.0 && moments.count() >= 2 {
                    return Some(2);
                }
                let lots = Lots {
                    difference: 0.0,
                    sds: [moments.sd(); 2],
                    bench: None,
                    resolution: facts.resolution(),
                    margin,
                    alpha: ALPHA,
                };
                lots.boards(terms.power)
            });
            Some(PlanSize {
                scenario: facts.scenario.clone(),
                label: facts.label(),
                dimension: facts.dimension,
                key: terms.is_key(&facts.scenario, &facts.key),
                baseline: readings,
                margin,
                boards,
            })
        });
    sizes.collect()
}
