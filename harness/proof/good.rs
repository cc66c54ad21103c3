//! The good boards: how many were rejected and by what, how near the limits are
//! to them, and what they read, which is what a defect is held against. It does
//! not say why a limit is where it is.

use super::Place;
use super::trial::{Trial, margin, value};
use crate::judgement::{DecisionRule, Limit, Verdict};
use crate::measurement::Finding;
use crate::record::JudgedMetric;
use crate::statistics::Sample;
use crate::statistics::proportion::{Proportion, clopper_pearson};
use crate::units::Dimension;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Confidence of the interval.
const CONFIDENCE: f64 = 0.95;
/// Good boards without which no spread is stated.
const FEWEST: usize = 5;
/// Tight limits kept.
const MOST_TIGHT: usize = 8;

/// What came of the good boards.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GoodBoards {
    /// Boards asked for.
    pub wanted: usize,
    /// Boards tried.
    pub tried: usize,
    /// Those that passed.
    pub accepted: usize,
    /// Those that failed.
    pub rejected: usize,
    /// Those that were inconclusive.
    pub inconclusive: usize,
    /// The share rejected or inconclusive, with the exact 95 % interval by
    /// Clopper and Pearson; `None` for no board.
    pub not_accepted: Option<Proportion>,
    /// What rejected them or left them inconclusive, the most frequent first.
    pub by: Vec<Rejection>,
    /// The limits that are nearest to good boards, the nearest first.
    pub tightest: Vec<Tight>,
}

/// What kept good boards from passing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rejection {
    /// The metric with its limit, or the scenario and its trouble in words.
    pub what: String,
    /// Boards it rejected.
    pub rejected: usize,
    /// Boards it left inconclusive.
    pub inconclusive: usize,
}

/// How near a limit is to good boards.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tight {
    /// Where.
    pub place: Place,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// The limit.
    pub limit: Limit,
    /// Mean of the readings, where all are values.
    pub mean: f64,
    /// Mean distance from the reading to where it would no longer pass, the
    /// guard band taken off, in standard deviations of that distance.
    pub deviations: f64,
}

impl GoodBoards {
    pub(super) fn of(wanted: usize, trials: &[&Trial], references: &References) -> Self {
        let count = |verdict| trials.iter().filter(|t| t.verdict() == verdict).count();
        let accepted = count(Verdict::Pass);
        let tried = trials.len();
        Self {
            wanted,
            tried,
            accepted,
            rejected: count(Verdict::Fail),
            inconclusive: count(Verdict::Inconclusive),
            not_accepted: clopper_pearson(tried - accepted, tried, CONFIDENCE).ok(),
            by: rejections(trials),
            tightest: references.tightest(),
        }
    }
}

/// Each board counts once for each thing that kept it from passing.
pub(super) fn rejections(trials: &[&Trial]) -> Vec<Rejection> {
    let mut counts: BTreeMap<String, (usize, usize)> = BTreeMap::new();
    for trial in trials {
        let mut seen: BTreeSet<(String, Verdict)> = BTreeSet::new();
        for outcome in &trial.scenarios {
            let trouble = |what: &String| format!("{}: {what}", outcome.scenario);
            let troubles = outcome.troubles.iter().map(trouble);
            seen.extend(troubles.map(|what| (what, Verdict::Inconclusive)));
            for judged in &outcome.metrics {
                let verdict = judged.verdict().filter(|v| *v != Verdict::Pass);
                seen.extend(verdict.map(|verdict| (limited(judged), verdict)));
            }
        }
        for (what, verdict) in seen {
            let (rejected, inconclusive) = counts.entry(what).or_default();
            match verdict {
                Verdict::Fail => *rejected += 1,
                _ => *inconclusive += 1,
            }
        }
    }
    let mut by: Vec<Rejection> = counts
        .into_iter()
        .map(|(what, (rejected, inconclusive))| Rejection {
            what,
            rejected,
            inconclusive,
        })
        .collect();
    by.sort_by_key(|r| std::cmp::Reverse((r.rejected + r.inconclusive, r.rejected)));
    by
}

/// `short trip time at near, <= 25.00 ms`.
fn limited(judged: &JudgedMetric) -> String {
    let place = Place::of(&judged.metric).words();
    let limit = judged.limit.as_ref();
    limit.map_or(place.clone(), |limit| {
        format!("{place}, {}", limit.show(judged.metric.dimension))
    })
}

/// What good boards read at each place.
#[derive(Debug, Default)]
pub(super) struct References(BTreeMap<Place, Reference>);

/// What they read at one.
#[derive(Debug, Default)]
pub(super) struct Reference {
    values: Vec<f64>,
    margins: Vec<f64>,
    /// Margins with the guard band taken off.
    room: Vec<f64>,
    limit: Option<(Limit, Dimension)>,
}

impl References {
    pub(super) fn of(good: &[&Trial]) -> Self {
        let mut all: BTreeMap<Place, Reference> = BTreeMap::new();
        for judged in good.iter().flat_map(|trial| trial.metrics()) {
            let reference = all.entry(Place::of(&judged.metric)).or_default();
            reference.values.extend(value(judged));
            if let (Some(limit), Some(margin)) = (&judged.limit, margin(judged)) {
                reference.margins.push(margin);
                reference
                    .room
                    .push(margin - guard(limit, &judged.metric.finding));
                reference
                    .limit
                    .get_or_insert_with(|| (limit.clone(), judged.metric.dimension));
            }
        }
        Self(all)
    }

    pub(super) fn at(&self, place: &Place) -> Option<&Reference> {
        self.0.get(place)
    }

    /// Whether there were boards enough for the spread of anything.
    pub(super) fn know_spread(&self) -> bool {
        self.0
            .values()
            .any(|reference| reference.reading().is_some())
    }

    fn tightest(&self) -> Vec<Tight> {
        let mut all: Vec<Tight> = self.0.iter().filter_map(|(p, r)| r.tight(p)).collect();
        all.sort_by(|a, b| a.deviations.total_cmp(&b.deviations));
        all.truncate(MOST_TIGHT);
        all
    }
}

impl Reference {
    /// The mean distance to the limit; `None` where good boards have none, as
    /// on a limit that says yes or no.
    pub(super) fn distance(&self) -> Option<f64> {
        mean(&self.margins).filter(|mean| *mean > 0.0)
    }

    /// Mean and standard deviation of the readings.
    pub(super) fn reading(&self) -> Option<(f64, f64)> {
        spread(&self.values)
    }

    fn tight(&self, place: &Place) -> Option<Tight> {
        let (room, deviation) = spread(&self.room)?;
        let (limit, dimension) = self.limit.clone()?;
        let deviations = room / deviation;
        Some(Tight {
            place: place.clone(),
            dimension,
            limit,
            mean: mean(&self.values)?,
            deviations,
        })
        .filter(|_| deviations.is_finite())
    }
}

fn mean(values: &[f64]) -> Option<f64> {
    let count = values.len() as f64;
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / count)
}

/// Zero deviation where all are alike, `None` for too few.
fn spread(values: &[f64]) -> Option<(f64, f64)> {
    if values.len() < FEWEST {
        return None;
    }
    let first = values[0];
    if values.iter().all(|value| *value == first) {
        return Some((first, 0.0));
    }
    let sample = Sample::new(values).ok()?;
    let moments = sample.moments();
    Some((moments.mean(), moments.sd()))
}

/// What the rule takes off a margin before it passes.
fn guard(limit: &Limit, finding: &Finding) -> f64 {
    let expanded = match finding {
        Finding::Value(e) | Finding::Above(e) | Finding::Below(e) => e.expanded(),
        Finding::Unknown { .. } => 0.0,
    };
    match limit.rule {
        DecisionRule::Simple => 0.0,
        DecisionRule::GuardedAcceptance { guard } => guard * expanded,
        DecisionRule::GuardedRejection { guard } => -guard * expanded,
    }
}
