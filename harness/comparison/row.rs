//! One metric of two lots: which numbers count, which margin holds, what the
//! tests come to and in which words. The tests themselves are in
//! `statistics::lots`.

use super::lots::ALPHA;
use super::readings::{Bounds, MetricFacts, Seen};
use crate::judgement::Verdict;
use crate::plan::Comparison;
use crate::record::Reading;
use crate::statistics::equivalence::Margin;
use crate::statistics::lots::{Common, LotComparison, Outcome, Terms, compare_on};
use crate::statistics::{Interval, Moments, Sample, StatisticsFault, shift};
use crate::units::Dimension;
use serde::Serialize;

/// One metric of both lots. Differences are candidate less baseline.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// Name of the scenario.
    pub scenario: String,
    /// The metric without its condition.
    pub metric: String,
    /// The metric and its condition.
    pub label: String,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// Whether it decides.
    pub key: bool,
    /// The limit it was last judged against in the baseline.
    pub limit: Option<Bounds>,
    /// The baseline's numbers.
    pub baseline: Readings,
    /// The candidate's numbers.
    pub candidate: Readings,
    /// Differences inside do not matter; none without a limit or a declared
    /// margin.
    pub margin: Option<Margin>,
    /// Whether the plan declares the margin, rather than a share of the way to
    /// the limit.
    pub margin_declared: bool,
    /// What the bench adds to the uncertainty of the shift: as the check standard
    /// tells, else as stated of its instruments where the lots were measured on
    /// two benches.
    pub common: Option<Common>,
    /// Candidate mean less baseline mean.
    pub difference: Option<f64>,
    /// Its interval. It lies inside the margin exactly where the outcome is
    /// equivalent, and beyond it exactly where it is different.
    pub interval: Option<Interval>,
    /// Confidence of the interval: 90 %, or what a claim of a difference would
    /// have needed.
    pub confidence: Option<f64>,
    /// Everything that was tested, where it could be.
    pub comparison: Option<LotComparison>,
    /// The outcome; none where nothing can be demanded of the metric.
    pub outcome: Option<Outcome>,
    /// Proven not to be zero, though it may lie inside the margin.
    pub shift_detected: bool,
    /// Boards to add to each lot for the power asked for, were the difference
    /// and the spread what they seem.
    pub more_boards: Option<usize>,
    /// Why there is no comparison, or none that counts.
    pub remark: Option<String>,
}

/// The numbers of one metric in one lot.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Readings {
    /// Number, mean and standard deviation of the measured values.
    pub moments: Option<Moments>,
    /// Bounds, left out of the moments.
    pub censored: usize,
    /// Boards on which it was not measured.
    pub unknown: usize,
    /// Boards that did not pass it.
    pub not_passed: usize,
    /// The values, for drawing.
    #[serde(skip)]
    pub sample: Option<Sample>,
    /// Why there are no moments though there are values.
    #[serde(skip)]
    pub fault: Option<StatisticsFault>,
}

impl Readings {
    /// A value that is not finite is no value: it counts as not measured.
    pub(super) fn of(seen: &[Seen], resolution: f64) -> Self {
        let values: Vec<f64> = seen
            .iter()
            .filter_map(|seen| match seen.reading {
                Reading::Value(value) if value.is_finite() => Some(value),
                _ => None,
            })
            .collect();
        let bound = |seen: &&Seen| matches!(seen.reading, Reading::Above(_) | Reading::Below(_));
        let not_passed = |seen: &&Seen| seen.verdict.is_some_and(|v| v != Verdict::Pass);
        let censored = seen.iter().filter(bound).count();
        let sample = Sample::resolved(&values, resolution);
        let fault = sample
            .as_ref()
            .err()
            .copied()
            .filter(|_| !values.is_empty());
        let sample = sample.ok();
        Self {
            fault,
            moments: sample.as_ref().map(|sample| *sample.moments()),
            censored,
            unknown: seen.len() - values.len() - censored,
            not_passed: seen.iter().filter(not_passed).count(),
            sample,
        }
    }

    fn is_empty(&self) -> bool {
        self.moments.is_none() && self.censored + self.unknown == 0
    }
}

/// The margin of a metric: the declared one, else the share of the distance
/// from the baseline's mean to the nearer limit, where it lies inside.
pub(super) fn margin(
    facts: &MetricFacts,
    baseline: &Readings,
    terms: &Comparison,
) -> (Option<Margin>, bool) {
    if let Some(declared) = terms.margin(&facts.scenario, &facts.key) {
        return (Margin::new(-declared.below, declared.above).ok(), true);
    }
    let size = facts.limit.zip(baseline.moments).map(|(limit, moments)| {
        let mean = moments.mean();
        let above = limit.upper.map_or(f64::INFINITY, |upper| upper - mean);
        let below = limit.lower.map_or(f64::INFINITY, |lower| mean - lower);
        terms.share * above.min(below)
    });
    (size.and_then(|size| Margin::symmetric(size).ok()), false)
}

/// A metric of one lot with what its boards read.
pub(super) type Side<'a> = Option<(&'a MetricFacts, &'a [Seen])>;

/// The comparison of one metric, found in one lot at least.
pub(super) fn row(
    baseline: Side<'_>,
    candidate: Side<'_>,
    common: Option<Common>,
    terms: &Comparison,
) -> Row {
    let facts = baseline.or(candidate).expect("one lot has the metric").0;
    let readings = |side: Side<'_>| {
        let of = |(facts, seen): (&MetricFacts, &[Seen])| Readings::of(seen, facts.resolution());
        side.map(of).unwrap_or_default()
    };
    let (before, after) = (readings(baseline), readings(candidate));
    let (margin, margin_declared) = margin(facts, &before, terms);
    let mut row = Row {
        scenario: facts.scenario.clone(),
        metric: facts.key.clone(),
        label: facts.label(),
        dimension: facts.dimension,
        key: terms.is_key(&facts.scenario, &facts.key),
        limit: facts.limit,
        margin,
        margin_declared,
        common,
        difference: None,
        interval: None,
        confidence: None,
        comparison: None,
        outcome: None,
        shift_detected: false,
        more_boards: None,
        remark: None,
        baseline: before,
        candidate: after,
    };
    match (baseline, candidate) {
        (Some((before, _)), Some((after, _))) if before.dimension != after.dimension => {
            row.remark = Some(format!(
                "not the same kind of quantity: {} in the baseline, {} in the candidate",
                before.dimension.noun(),
                after.dimension.noun()
            ));
            row.candidate.sample = None;
            row.outcome = Some(Outcome::NotEnough);
        }
        _ => row.test(terms),
    }
    row
}

impl Row {
    fn demanded(&self) -> bool {
        self.limit.is_some() || self.margin_declared
    }

    fn test(&mut self, terms: &Comparison) {
        let (Some(before), Some(after)) = (&self.baseline.sample, &self.candidate.sample) else {
            return self.without_values();
        };
        let difference = after.moments().above_mean_of(before.moments());
        self.difference = Some(difference);
        let least = before.count().min(after.count());
        if self.demanded() {
            self.outcome = Some(Outcome::NotEnough);
        } else {
            self.remark = Some("no limit and no margin".to_owned());
        }
        if least < 2 {
            self.more_boards = self.outcome.map(|_| 2 - least);
            self.remark = Some("one board alone shows no standard deviation".to_owned());
            return;
        }
        if !self.demanded() {
            let confidence = 1.0 - 2.0 * ALPHA;
            let shift = shift::shift_of_unlike(after, before, confidence);
            self.interval = shift.ok().map(|shift| shift.interval);
            self.confidence = self.interval.map(|_| confidence);
            return;
        }
        let fixed = |sample: &Sample| sample.moments().sd() == 0.0;
        if self.margin.is_none() && fixed(before) && fixed(after) {
            // A count that stands on its limit leaves no room for a margin and
            // needs none: it is the same or it is not.
            let same = difference.abs() <= before.resolution().max(after.resolution());
            self.shift_detected = !same;
            self.outcome = Some(if same {
                Outcome::Equivalent
            } else {
                Outcome::Different
            });
            return;
        }
        let Some(margin) = self.margin else {
            self.remark = Some("the baseline's mean is not inside its limit".to_owned());
            return;
        };
        let asked = Terms {
            alpha: ALPHA,
            power: terms.power,
            common: self.common,
        };
        match compare_on(before, after, &margin, &asked) {
            Ok(comparison) => {
                // Outcome and interval are settled with the other metrics.
                self.outcome = Some(comparison.outcome);
                self.more_boards = comparison.more_boards;
                self.comparison = Some(comparison);
            }
            Err(fault) => self.remark = Some(fault.to_string()),
        }
    }

    /// Bounds that pass on every board of both lots hide nothing that a limit
    /// asks for; anything else is a lack of numbers.
    fn without_values(&mut self) {
        let both = [&self.baseline, &self.candidate];
        let only_bounds = both.iter().all(|lot| {
            let values = lot.moments.map_or(0, |moments| moments.count());
            values == 0 && lot.censored > 0 && lot.unknown == 0 && lot.not_passed == 0
        });
        let fault = both.iter().find_map(|lot| lot.fault);
        let remark = if let Some(fault) = fault {
            &fault.to_string()
        } else if only_bounds {
            "only bounds, which pass in both lots"
        } else if self.baseline.is_empty() {
            "in the candidate only"
        } else if self.candidate.is_empty() {
            "in the baseline only"
        } else {
            "not measured as a value in both lots"
        };
        self.remark = Some(remark.to_owned());
        if self.demanded() && !only_bounds {
            self.outcome = Some(Outcome::NotEnough);
        }
    }

    /// The outcome in words, with how many boards more would do.
    pub fn words(&self) -> String {
        let counted = |outcome| self.outcome == Some(outcome);
        let mut text = match self.outcome {
            None => "recorded only".to_owned(),
            Some(Outcome::Equivalent) if self.shift_detected => {
                "equivalent, shift detected".to_owned()
            }
            Some(Outcome::Equivalent) => "equivalent".to_owned(),
            Some(Outcome::Different) => "different".to_owned(),
            Some(Outcome::NotEnough) => "not enough boards".to_owned(),
        };
        if counted(Outcome::NotEnough) {
            match (self.more_boards, &self.comparison) {
                (Some(more), _) => text.push_str(&format!(": {more} more in each lot")),
                (None, Some(comparison)) => text.push_str(self.why_no_number(comparison)),
                (None, None) => {}
            }
        }
        text
    }

    fn why_no_number(&self, comparison: &LotComparison) -> &'static str {
        let inside = self
            .margin
            .is_some_and(|margin| margin.contains(comparison.difference));
        match (inside, self.common) {
            (false, _) => ": beyond the margin, but not proven",
            (true, Some(common)) if common.u > 0.0 => ": the bench varies too much",
            (true, _) => ": no number of boards would be enough",
        }
    }
}
