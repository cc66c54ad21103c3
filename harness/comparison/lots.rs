//! Two lots metric by metric, told from records: which boards count, which
//! numbers, which margin, and what must be known beside the answer. The tests
//! themselves are in `statistics::lots`.

use super::kept::KeptFiles;
use crate::digest::Digest;
use crate::judgement::{Limit, Verdict};
use crate::measurement::Finding;
use crate::plan::Lot;
use crate::record::{JudgedMetric, Record};
use crate::statistics::equivalence::Margin;
use crate::statistics::lots::{LotComparison, Outcome, compare, settle};
use crate::statistics::power::Aim;
use crate::statistics::{Interval, Moments, Sample, shift};
use crate::units::Dimension;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// The chance taken of calling lots equivalent, or different, that are not.
const ALPHA: f64 = 0.05;

/// What two lots come to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LotsCompared {
    /// Boards of the baseline.
    pub baseline_boards: usize,
    /// Boards of the candidate.
    pub candidate_boards: usize,
    /// Share of the distance to the nearer limit that does not matter.
    pub margin_share: f64,
    /// The outcome over all metrics with a limit.
    pub outcome: Outcome,
    /// Metrics in the order in which they were first recorded.
    pub rows: Vec<Row>,
    /// The lots' parts side by side, where lot files are in the records.
    pub parts: Vec<PartRow>,
    /// What differs besides the boards.
    pub warnings: Vec<String>,
}

/// One metric of both lots. Differences are candidate less baseline.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// Name of the scenario.
    pub scenario: String,
    /// The metric and its condition.
    pub label: String,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// The limit it was last judged against in the baseline.
    pub limit: Option<Limit>,
    /// The baseline's numbers.
    pub baseline: Readings,
    /// The candidate's numbers.
    pub candidate: Readings,
    /// Differences smaller than this do not matter; none without a limit.
    pub margin: Option<f64>,
    /// Candidate mean less baseline mean.
    pub difference: Option<f64>,
    /// Its interval with 90 % confidence.
    pub interval: Option<Interval>,
    /// Everything that was tested, where it could be.
    pub comparison: Option<LotComparison>,
    /// The outcome; none where the metric does not count.
    pub outcome: Option<Outcome>,
    /// Why there is no comparison, or none that counts.
    pub remark: Option<String>,
}

/// The numbers of one metric in one lot.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Readings {
    /// Number, mean and standard deviation of the measured values.
    pub moments: Option<Moments>,
    /// Bounds, left out of the moments.
    pub censored: usize,
    /// Boards on which it was not measured.
    pub unknown: usize,
    /// Boards that did not pass it.
    pub not_passed: usize,
    #[serde(skip)]
    sample: Option<Sample>,
}

/// A place on the board and what is fitted there.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PartRow {
    /// The place, or a word such as `firmware`.
    pub place: String,
    /// In the baseline.
    pub baseline: Option<String>,
    /// In the candidate.
    pub candidate: Option<String>,
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
    /// The baseline's numbers.
    pub baseline: Readings,
    /// The margin.
    pub margin: Option<f64>,
    /// Boards a lot that prove equivalence nine times in ten when the lots are
    /// alike; none where the numbers do not tell.
    pub boards: Option<usize>,
}

/// The last record of each board, in the order of the records, and how many
/// earlier ones are left out: a board counts once.
pub fn latest(records: Vec<Record>) -> (Vec<Record>, usize) {
    let all = records.len();
    let mut seen = BTreeSet::new();
    let newest_first = records.into_iter().rev();
    let mut kept: Vec<Record> = newest_first
        .filter(|record| seen.insert(record.started.serial.clone()))
        .collect();
    kept.reverse();
    let left_out = all - kept.len();
    (kept, left_out)
}

/// Compares the boards of two lots, one record a board.
///
/// The margin of a metric is `margin_share` of the distance from the
/// baseline's mean to the nearer limit.
pub fn compare_lots(baseline: &[Record], candidate: &[Record], margin_share: f64) -> LotsCompared {
    let (before, after) = (gathered(baseline), gathered(candidate));
    let mut keys = before.order.clone();
    keys.extend(
        after
            .order
            .iter()
            .filter(|key| !before.metrics.contains_key(*key))
            .cloned(),
    );
    let mut rows: Vec<Row> = keys
        .iter()
        .map(|key| {
            row(
                key,
                before.metrics.get(key),
                after.metrics.get(key),
                margin_share,
            )
        })
        .collect();
    let tested: Vec<LotComparison> = rows.iter().filter_map(|row| row.comparison).collect();
    let mut settled = settle(&tested, ALPHA).unwrap_or_default().into_iter();
    for row in rows.iter_mut().filter(|row| row.comparison.is_some()) {
        row.outcome = settled.next();
    }
    LotsCompared {
        baseline_boards: baseline.len(),
        candidate_boards: candidate.len(),
        margin_share,
        outcome: overall(&rows),
        rows,
        parts: parts(baseline, candidate),
        warnings: warnings(baseline, candidate),
    }
}

/// The sizes of lots that a comparison with `baseline` needs.
pub fn plan_sizes(baseline: &[Record], margin_share: f64) -> Vec<PlanSize> {
    let gathered = gathered(baseline);
    let sizes = gathered.order.iter().filter_map(|key| {
        let group = gathered.metrics.get(key)?;
        let limit = limit(group)?;
        let readings = readings(group);
        let margin = margin(limit, &readings, margin_share);
        let boards = readings.moments.zip(margin).and_then(|(moments, margin)| {
            let aim = Aim {
                difference: 0.0,
                sd: moments.sd(),
                alpha: ALPHA,
            };
            let margin = Margin::symmetric(margin).ok()?;
            // Readings that do not vary need the least that can be compared.
            if moments.sd() == 0.0 && moments.count() >= 2 {
                return Some(2);
            }
            aim.equivalence_boards(0.9, &margin).ok()
        });
        Some(PlanSize {
            scenario: key.0.clone(),
            label: group[0].metric.label(),
            dimension: group[0].metric.dimension,
            baseline: readings,
            margin,
            boards,
        })
    });
    sizes.collect()
}

/// Scenario, metric, condition.
type Key = (String, String, String);

/// One metric over the boards of a lot.
type Group<'a> = Vec<&'a JudgedMetric>;

struct Gathered<'a> {
    order: Vec<Key>,
    metrics: BTreeMap<Key, Group<'a>>,
}

fn gathered(records: &[Record]) -> Gathered<'_> {
    let mut gathered = Gathered {
        order: Vec::new(),
        metrics: BTreeMap::new(),
    };
    for record in records {
        for scenario in &record.scenarios {
            for judged in &scenario.metrics {
                let metric = &judged.metric;
                let key = (scenario.name.clone(), metric.key.clone(), metric.at.clone());
                if !gathered.metrics.contains_key(&key) {
                    gathered.order.push(key.clone());
                }
                gathered.metrics.entry(key).or_default().push(judged);
            }
        }
    }
    gathered
}

fn limit<'a>(group: &Group<'a>) -> Option<&'a Limit> {
    group.iter().rev().find_map(|judged| judged.limit.as_ref())
}

fn readings(group: &Group<'_>) -> Readings {
    let values: Vec<f64> = group
        .iter()
        .filter_map(|judged| match &judged.metric.finding {
            Finding::Value(estimate) => Some(estimate.value),
            _ => None,
        })
        .collect();
    let bound = |judged: &&&JudgedMetric| {
        matches!(judged.metric.finding, Finding::Above(_) | Finding::Below(_))
    };
    let censored = group.iter().filter(bound).count();
    let not_passed = |judged: &&&JudgedMetric| {
        judged
            .verdict()
            .is_some_and(|verdict| verdict != Verdict::Pass)
    };
    let sample = Sample::new(&values).ok();
    Readings {
        moments: sample.as_ref().map(|sample| *sample.moments()),
        censored,
        unknown: group.len() - values.len() - censored,
        not_passed: group.iter().filter(not_passed).count(),
        sample,
    }
}

/// `share` of the distance from the mean to the nearer limit; none where the
/// mean is not inside.
fn margin(limit: &Limit, readings: &Readings, share: f64) -> Option<f64> {
    let mean = readings.moments?.mean();
    let above = limit.upper.map_or(f64::INFINITY, |upper| upper - mean);
    let below = limit.lower.map_or(f64::INFINITY, |lower| mean - lower);
    let margin = share * above.min(below);
    (margin.is_finite() && margin > 0.0).then_some(margin)
}

fn row(key: &Key, before: Option<&Group<'_>>, after: Option<&Group<'_>>, share: f64) -> Row {
    let none = Group::new();
    let (before, after) = (before.unwrap_or(&none), after.unwrap_or(&none));
    let first = before.first().or_else(|| after.first());
    let metric = &first
        .expect("a metric is gathered where it was found")
        .metric;
    let limit = limit(before).or_else(|| limit(after));
    let (baseline, candidate) = (readings(before), readings(after));
    let mut row = Row {
        scenario: key.0.clone(),
        label: metric.label(),
        dimension: metric.dimension,
        limit: limit.cloned(),
        margin: limit.and_then(|limit| margin(limit, &baseline, share)),
        difference: None,
        interval: None,
        comparison: None,
        outcome: None,
        remark: None,
        baseline,
        candidate,
    };
    row.test();
    row
}

impl Row {
    fn test(&mut self) {
        let (Some(before), Some(after)) = (&self.baseline.sample, &self.candidate.sample) else {
            return self.without_values();
        };
        let difference = after.moments().mean() - before.moments().mean();
        self.difference = Some(difference);
        let few = before.values().len() < 2 || after.values().len() < 2;
        if !few && let Ok(shift) = shift::shift(after, before, 1.0 - 2.0 * ALPHA) {
            self.interval = Some(shift.interval);
        }
        if self.limit.is_none() {
            self.remark = Some("no limit, so no margin".to_owned());
            return;
        }
        self.outcome = Some(Outcome::NotEnough);
        if few {
            self.remark = Some("fewer than two values in a lot".to_owned());
            return;
        }
        let fixed = |sample: &Sample| sample.moments().sd() == 0.0;
        if self.margin.is_none() && fixed(before) && fixed(after) {
            // A count that stands on its limit leaves no room for a margin and
            // needs none: it is the same or it is not.
            let same = difference == 0.0;
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
        let compared =
            Margin::symmetric(margin).and_then(|margin| compare(before, after, &margin, ALPHA));
        match compared {
            Ok(comparison) => {
                self.interval = comparison
                    .equivalence
                    .map(|tests| tests.interval)
                    .or(self.interval);
                self.outcome = Some(comparison.outcome);
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
        let empty = |lot: &Readings| lot.moments.is_none() && lot.censored + lot.unknown == 0;
        let remark = if only_bounds {
            "only bounds, which pass in both lots"
        } else if both.into_iter().any(empty) {
            "found in one lot only"
        } else {
            "not measured as a value in both lots"
        };
        self.remark = Some(remark.to_owned());
        if self.limit.is_some() && !only_bounds {
            self.outcome = Some(Outcome::NotEnough);
        }
    }
}

/// One difference makes the lots different; equivalence takes every metric.
fn overall(rows: &[Row]) -> Outcome {
    let outcomes: Vec<Outcome> = rows.iter().filter_map(|row| row.outcome).collect();
    if outcomes.contains(&Outcome::Different) {
        Outcome::Different
    } else if outcomes.is_empty() || outcomes.contains(&Outcome::NotEnough) {
        Outcome::NotEnough
    } else {
        Outcome::Equivalent
    }
}

fn parts(baseline: &[Record], candidate: &[Record]) -> Vec<PartRow> {
    let lot = |records: &[Record]| {
        let mut newest = records.iter().rev();
        newest.find_map(|record| {
            let lot = KeptFiles::of(&record.started).lot()?;
            (Some(&lot.name) == record.started.lot.as_ref()).then_some(lot)
        })
    };
    let (before, after) = (lot(baseline), lot(candidate));
    let said = |lot: &Option<Lot>| lot.as_ref().map(fitted).unwrap_or_default();
    let (before, after) = (said(&before), said(&after));
    let places = before.iter().chain(&after).map(|(place, _)| place);
    let mut order: Vec<&String> = Vec::new();
    for place in places {
        if !order.contains(&place) {
            order.push(place);
        }
    }
    let find = |lot: &[(String, String)], place: &str| {
        let mut lot = lot.iter();
        let found = lot.find(|(known, _)| known == place);
        found.map(|(_, part)| part.clone())
    };
    order
        .into_iter()
        .map(|place| PartRow {
            place: place.clone(),
            baseline: find(&before, place),
            candidate: find(&after, place),
        })
        .collect()
}

fn fitted(lot: &Lot) -> Vec<(String, String)> {
    let whole = [
        ("family", Some(&lot.family)),
        ("revision", Some(&lot.revision)),
        ("firmware", lot.firmware.as_ref()),
        ("jumpers", lot.jumpers.as_ref()),
    ];
    let whole = whole
        .into_iter()
        .filter_map(|(word, text)| Some((word.to_owned(), text?.clone())));
    let parts = lot.parts.iter();
    whole
        .chain(parts.map(|part| (part.place.clone(), part.part.clone())))
        .collect()
}

/// What a difference between the lots could come from besides the boards.
fn warnings(baseline: &[Record], candidate: &[Record]) -> Vec<String> {
    type Of = fn(&Record) -> Vec<String>;
    let questions: [(&str, Of); 4] = [
        ("plan", |record| {
            let plan = record.started.files.first();
            plan.map(|plan| plan.digest.short().to_string())
                .into_iter()
                .collect()
        }),
        ("bench", |record| {
            let files = KeptFiles::of(&record.started);
            let text = files.bench_text();
            text.map(|text| Digest::of(text.as_bytes()).short().to_string())
                .into_iter()
                .collect()
        }),
        ("instruments or calibration", |record| {
            let told = record.instruments.iter().map(|instrument| {
                let date = instrument.calibrated.as_deref().unwrap_or("no date");
                format!("{} {} ({date})", instrument.role, instrument.identity)
            });
            told.collect()
        }),
        ("version of this program", |record| {
            vec![record.started.version.clone()]
        }),
    ];
    let mut warnings = Vec::new();
    for (what, of) in questions {
        let set = |records: &[Record]| records.iter().map(of).collect::<BTreeSet<_>>();
        let (before, after) = (set(baseline), set(candidate));
        for (lot, set) in [("baseline", &before), ("candidate", &after)] {
            if set.len() > 1 {
                warnings.push(format!(
                    "within the {lot} the {what} changed: {} of them",
                    set.len()
                ));
            }
        }
        if before != after && !before.is_empty() && !after.is_empty() {
            let only = |set: &BTreeSet<Vec<String>>, other: &BTreeSet<Vec<String>>| {
                let words = |set: &BTreeSet<Vec<String>>| {
                    set.iter().flatten().cloned().collect::<BTreeSet<String>>()
                };
                let mine = words(set);
                let words: Vec<String> = mine.difference(&words(other)).cloned().collect();
                words.join(", ")
            };
            warnings.push(format!(
                "the {what} is not the same: baseline {}; candidate {}",
                only(&before, &after),
                only(&after, &before)
            ));
        }
    }
    warnings
}
