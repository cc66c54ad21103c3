//! One lot summed up: how many boards passed at first and at last, which
//! metrics they failed by, how well the rest fits between its limits, and
//! whether anything drifts from board to board.

use super::circumstances::{fitted, within};
use super::lots::LotFacts;
use super::readings::{Bounds, LotReadings, RunReadings, by_metric};
use super::row::Readings;
use crate::judgement::Verdict;
use crate::plan::Comparison;
use crate::record::Reading;
use crate::statistics::charts::{ControlLimits, EwmaSettings, ewma, individuals};
use crate::statistics::lots::LotSummary as Spread;
use crate::statistics::proportion::{Proportion, wilson};
use crate::statistics::{Sample, ToleranceLimits};
use crate::units::Dimension;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// A lot summed up.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LotSummary {
    /// The lot and its runs.
    pub lot: LotFacts,
    /// Boards whose first run passed.
    pub first_pass: Share,
    /// Boards whose last run passed.
    pub at_last: Share,
    /// Boards tested more than once, with every run.
    pub retested: Vec<Retested>,
    /// What boards failed by in their first run, the most frequent first.
    pub failing: Vec<Failing>,
    /// Metrics in the order in which they were first recorded.
    pub metrics: Vec<MetricSummary>,
    /// What the lot file says of the boards.
    pub parts: Vec<(String, String)>,
    /// What changed while the lot was measured.
    pub warnings: Vec<String>,
}

/// Some boards of all.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Share {
    /// How many.
    pub boards: usize,
    /// Of how many.
    pub of: usize,
    /// The share with its 95 % interval; none for no board.
    pub share: Option<Proportion>,
}

/// A board tested more than once.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Retested {
    /// Its serial number.
    pub serial: String,
    /// Its runs, the oldest first: when, what came of it, and why it was run
    /// again.
    pub runs: Vec<(jiff::Timestamp, Verdict, Option<String>)>,
}

/// A metric that boards failed by.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Failing {
    /// Name of the scenario.
    pub scenario: String,
    /// The metric, all its conditions together.
    pub metric: String,
    /// Boards that failed it.
    pub boards: usize,
    /// Further boards on which it was not decided.
    pub undecided: usize,
}

/// One metric over the lot, each board by its last run.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MetricSummary {
    /// Name of the scenario.
    pub scenario: String,
    /// The metric and its condition.
    pub label: String,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// Whether the plan calls it a key metric.
    pub key: bool,
    /// The limit it was last judged against.
    pub limit: Option<Bounds>,
    /// Its numbers.
    pub readings: Readings,
    /// Spread, capability, tolerance interval, outliers.
    pub spread: Option<Spread>,
    /// Serial numbers of the outliers.
    pub outliers: Vec<String>,
    /// From board to board.
    pub chart: Option<Chart>,
}

/// A metric from board to board, in the order of their serial numbers: the
/// order in which they were built.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Chart {
    /// Serial numbers in that order.
    pub serials: Vec<String>,
    /// The readings.
    pub values: Vec<f64>,
    /// Centre and control limits of single readings.
    pub limits: ControlLimits,
    /// Places of readings outside those limits.
    pub outside: Vec<usize>,
    /// Where a moving average (weight 0.2, three standard deviations) first
    /// leaves its limits: a drift.
    pub drifts_from: Option<usize>,
}

/// Sums up a lot; `terms` say which metrics are key.
pub fn summarise(lot: &LotReadings, terms: &Comparison) -> LotSummary {
    let check = lot.check_standard();
    let mut boards: BTreeMap<(Vec<Part>, &str), Vec<&RunReadings>> = BTreeMap::new();
    for run in lot.runs.iter().filter(|run| Some(&run.serial) != check) {
        let serial = run.serial.as_str();
        boards
            .entry((natural(serial), serial))
            .or_default()
            .push(run);
    }
    let of = boards.len();
    let share = |pick: fn(&[&RunReadings]) -> bool| {
        let boards = boards.values().filter(|runs| pick(runs)).count();
        Share {
            boards,
            of,
            share: wilson(boards, of, 0.95).ok(),
        }
    };
    let retested = boards.iter().filter(|(_, runs)| runs.len() > 1);
    let retested = retested.map(|((_, serial), runs)| Retested {
        serial: (*serial).to_owned(),
        runs: runs
            .iter()
            .map(|run| (run.at, run.verdict, run.retest.clone()))
            .collect(),
    });
    let first: Vec<&RunReadings> = boards.values().map(|runs| runs[0]).collect();
    let last: Vec<&RunReadings> = boards.values().map(|runs| runs[runs.len() - 1]).collect();
    LotSummary {
        lot: LotFacts::of(lot),
        first_pass: share(|runs| runs.first().is_some_and(|r| r.verdict == Verdict::Pass)),
        at_last: share(|runs| runs.last().is_some_and(|r| r.verdict == Verdict::Pass)),
        retested: retested.collect(),
        failing: failing(lot, &first),
        metrics: metrics(lot, &last, terms),
        parts: lot.lot().map(fitted).unwrap_or_default(),
        warnings: within(lot),
    }
}

fn failing(lot: &LotReadings, runs: &[&RunReadings]) -> Vec<Failing> {
    let mut found: BTreeMap<(&str, &str), Failing> = BTreeMap::new();
    for run in runs {
        // A board fails a metric once, at however many conditions.
        let mut worst: BTreeMap<(&str, &str), Verdict> = BTreeMap::new();
        for seen in &run.seen {
            let facts = &lot.metrics[seen.metric];
            if let Some(verdict) = seen.verdict {
                let name = (facts.scenario.as_str(), facts.key.as_str());
                let worst = worst.entry(name).or_insert(verdict);
                *worst = (*worst).max(verdict);
            }
        }
        for (name, verdict) in worst {
            if verdict == Verdict::Pass {
                continue;
            }
            let failing = found.entry(name).or_insert_with(|| Failing {
                scenario: name.0.to_owned(),
                metric: name.1.to_owned(),
                boards: 0,
                undecided: 0,
            });
            match verdict {
                Verdict::Fail => failing.boards += 1,
                _ => failing.undecided += 1,
            }
        }
    }
    let mut failing: Vec<Failing> = found.into_values().collect();
    failing.sort_by_key(|f| std::cmp::Reverse((f.boards, f.undecided)));
    failing
}

fn metrics(lot: &LotReadings, runs: &[&RunReadings], terms: &Comparison) -> Vec<MetricSummary> {
    let found = by_metric(lot, runs);
    let mut values: Vec<Vec<(usize, f64)>> = vec![Vec::new(); lot.metrics.len()];
    for (place, run) in runs.iter().enumerate() {
        for seen in &run.seen {
            if let Reading::Value(value) = seen.reading
                && value.is_finite()
            {
                values[seen.metric].push((place, value));
            }
        }
    }
    let summaries = lot.metrics.iter().enumerate().filter_map(|(at, facts)| {
        let seen = &found[at];
        if seen.is_empty() {
            return None;
        }
        let readings = Readings::of(seen, facts.resolution());
        let limits = facts
            .limit
            .and_then(|limit| ToleranceLimits::new(limit.lower, limit.upper).ok());
        let serial = |place: usize| runs[values[at][place].0].serial.to_string();
        let spread = readings
            .sample
            .as_ref()
            .map(|sample| Spread::of(sample, limits.as_ref()));
        let outliers = spread.iter().filter_map(|spread| spread.outliers.as_ref());
        let outliers: Vec<String> = outliers.flat_map(|o| o.indices()).map(serial).collect();
        Some(MetricSummary {
            scenario: facts.scenario.clone(),
            label: facts.label(),
            dimension: facts.dimension,
            key: terms.is_key(&facts.scenario, &facts.key),
            limit: facts.limit,
            chart: readings.sample.as_ref().and_then(|sample| {
                let serials = (0..values[at].len()).map(serial).collect();
                chart(sample, serials)
            }),
            readings,
            spread,
            outliers,
        })
    });
    summaries.collect()
}

/// Control limits from moving ranges and the drift of a moving average against
/// them; none where nothing varies.
fn chart(sample: &Sample, serials: Vec<String>) -> Option<Chart> {
    let limits = individuals(sample).ok()?.readings;
    let values = sample.values();
    let outside = (0..values.len()).filter(|at| limits.signals(values[*at]));
    let settings = EwmaSettings {
        target: limits.centre,
        sd: (limits.upper - limits.centre) / 3.0,
        weight: 0.2,
        width: 3.0,
    };
    // A single board that is off is no drift, so what is outside is left out.
    let (places, inside): (Vec<usize>, Vec<f64>) = values
        .iter()
        .copied()
        .enumerate()
        .filter(|(_, value)| !limits.signals(*value))
        .unzip();
    let settings = EwmaSettings {
        target: mean(&inside).unwrap_or(limits.centre),
        ..settings
    };
    let drift = Sample::resolved(&inside, sample.resolution())
        .and_then(|sample| ewma(&sample, &settings))
        .ok();
    let drifts_from = drift.and_then(|drift| {
        let mut averages = drift.averages.iter().zip(&drift.limits);
        averages
            .position(|(average, limits)| limits.signals(*average))
            .map(|at| places[at])
    });
    Some(Chart {
        serials,
        values: values.to_vec(),
        limits,
        outside: outside.collect(),
        drifts_from,
    })
}

fn mean(values: &[f64]) -> Option<f64> {
    Some(Sample::new(values).ok()?.moments().mean())
}

/// A stretch of a serial number: digits compare as numbers.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Part {
    Number(u128),
    Word(String),
}

/// `GB-9` before `GB-10`.
fn natural(serial: &str) -> Vec<Part> {
    let mut parts = Vec::new();
    let mut rest = serial;
    while let Some(first) = rest.chars().next() {
        let digits = first.is_ascii_digit();
        let end = rest
            .find(|c: char| c.is_ascii_digit() != digits)
            .unwrap_or(rest.len());
        let (part, after) = rest.split_at(end);
        // A number too long to hold sorts as text.
        parts.push(match part.parse() {
            Ok(number) if digits => Part::Number(number),
            _ => Part::Word(part.to_owned()),
        });
        rest = after;
    }
    parts
}

impl Chart {
    /// What the chart shows, for people.
    pub fn words(&self) -> String {
        let outside: BTreeSet<&str> = self
            .outside
            .iter()
            .map(|at| self.serials[*at].as_str())
            .collect();
        let outside: Vec<&str> = outside.into_iter().collect();
        match (outside.is_empty(), self.drifts_from) {
            (true, None) => "steady".to_owned(),
            (true, Some(at)) => format!("drifts, seen from {}", self.serials[at]),
            (false, None) => format!("outside: {}", outside.join(", ")),
            (false, Some(at)) => {
                format!(
                    "outside: {}; drifts, seen from {}",
                    outside.join(", "),
                    self.serials[at]
                )
            }
        }
    }
}
