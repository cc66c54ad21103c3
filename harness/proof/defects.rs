//! One defect over the boards that carried it: in how many it was detected, by
//! which scenarios, by which limit first and by how much. The boards decide
//! nothing about the defect: it is known to be there.

use super::escape::{Escape, way};
use super::good::{References, Rejection, rejections};
use super::trial::{Outcome, Trial, margin};
use super::{Asked, Place};
use crate::judgement::{Limit, Verdict};
use crate::measurement::Finding;
use crate::record::JudgedMetric;
use crate::units::Dimension;
use serde::Serialize;

/// What came of one defect.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DefectFinding {
    /// Its name.
    pub name: String,
    /// What is wrong with such a board.
    pub what: String,
    /// Boards asked for.
    pub wanted: usize,
    /// Boards tried.
    pub tried: usize,
    /// Those that failed.
    pub detected: usize,
    /// Those that neither failed nor passed.
    pub inconclusive: usize,
    /// Those that passed.
    pub escaped: usize,
    /// What each scenario did, in the plan's order.
    pub cells: Vec<Cell>,
    /// The limit that detected first, by boards, the most frequent first.
    pub first: Vec<Detection>,
    /// How clearly it was detected: of each board the failed limit that was gone
    /// past most, as a multiple of the way from good boards to the limit; of
    /// those the least. `None` where that is a limit that says yes or no, or
    /// where nothing was detected.
    pub clearly: Option<f64>,
    /// The one scenario that detected all that was detected.
    pub only: Option<String>,
    /// Why it escapes, where it does.
    pub escape: Option<Escape>,
    /// What left boards inconclusive.
    pub inconclusive_by: Vec<Rejection>,
}

/// What one scenario did about one defect.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Cell {
    /// Boards it failed.
    pub detected: usize,
    /// Boards in which it was the first to fail.
    pub first: usize,
    /// Boards it left inconclusive.
    pub inconclusive: usize,
}

/// A limit that detected boards first.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Detection {
    /// Where.
    pub place: Place,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// The limit.
    pub limit: Limit,
    /// How many boards.
    pub boards: usize,
    /// How far beyond the limit the reading was, in the board where it was
    /// least.
    pub least: f64,
    /// The same where it was most.
    pub most: f64,
    /// Whether any of them is only a bound.
    pub bound: bool,
}

impl DefectFinding {
    pub(super) fn of(
        asked: &Asked,
        (name, what): (&str, &str),
        trials: &[&Trial],
        references: &References,
    ) -> Self {
        let with = |verdict| -> Vec<&Trial> {
            let trials = trials.iter().copied();
            trials.filter(|trial| trial.verdict() == verdict).collect()
        };
        let (detected, escaped) = (with(Verdict::Fail), with(Verdict::Pass));
        let inconclusive = with(Verdict::Inconclusive);
        Self {
            name: name.to_owned(),
            what: what.to_owned(),
            wanted: asked.each,
            tried: trials.len(),
            detected: detected.len(),
            inconclusive: inconclusive.len(),
            escaped: escaped.len(),
            cells: asked
                .scenarios
                .iter()
                .map(|s| Cell::of(s, trials))
                .collect(),
            first: firsts(&detected),
            clearly: clearly(&detected, references),
            only: only(&detected),
            escape: (!escaped.is_empty()).then(|| Escape::of(&escaped, references)),
            inconclusive_by: rejections(&inconclusive),
        }
    }
}

impl Cell {
    fn of(scenario: &str, trials: &[&Trial]) -> Self {
        let mut cell = Self::default();
        for trial in trials {
            let own = trial.scenarios.iter().find(|o| o.scenario == scenario);
            match own.map(|outcome| outcome.verdict) {
                Some(Verdict::Fail) => {
                    cell.detected += 1;
                    let first = trial.first().is_some_and(|o| o.scenario == scenario);
                    cell.first += usize::from(first);
                }
                Some(Verdict::Inconclusive) => cell.inconclusive += 1,
                Some(Verdict::Pass) | None => {}
            }
        }
        cell
    }
}

/// The metrics of a scenario that failed.
fn failed(outcome: &Outcome) -> impl Iterator<Item = &JudgedMetric> {
    let metrics = outcome.metrics.iter();
    metrics.filter(|judged| judged.verdict() == Some(Verdict::Fail))
}

fn firsts(detected: &[&Trial]) -> Vec<Detection> {
    let mut all: Vec<Detection> = Vec::new();
    for judged in detected.iter().filter_map(|t| failed(t.first()?).next()) {
        let (Some(limit), Some(margin)) = (&judged.limit, margin(judged)) else {
            continue;
        };
        let place = Place::of(&judged.metric);
        let beyond = -margin;
        let bound = !matches!(judged.metric.finding, Finding::Value(_));
        match all.iter_mut().find(|detection| detection.place == place) {
            Some(detection) => {
                detection.boards += 1;
                detection.least = detection.least.min(beyond);
                detection.most = detection.most.max(beyond);
                detection.bound |= bound;
            }
            None => all.push(Detection {
                place,
                dimension: judged.metric.dimension,
                limit: limit.clone(),
                boards: 1,
                least: beyond,
                most: beyond,
                bound,
            }),
        }
    }
    // Stable: of equally many, the one met first stays first.
    all.sort_by_key(|detection| std::cmp::Reverse(detection.boards));
    all
}

fn clearly(detected: &[&Trial], references: &References) -> Option<f64> {
    let of_board = |trial: &&Trial| {
        let failed = trial.scenarios.iter().flat_map(failed);
        let ways = failed
            .filter_map(|judged| way(margin(judged)?, &Place::of(&judged.metric), references));
        ways.fold(0.0, f64::max)
    };
    let least = detected.iter().map(of_board).fold(f64::INFINITY, f64::min);
    (least.is_finite() && least > 0.0).then_some(least)
}

fn only(detected: &[&Trial]) -> Option<String> {
    let mut only: Option<&str> = None;
    let outcomes = detected.iter().flat_map(|trial| &trial.scenarios);
    for outcome in outcomes.filter(|o| o.verdict == Verdict::Fail) {
        if only.is_some_and(|known| known != outcome.scenario) {
            return None;
        }
        only = Some(&outcome.scenario);
    }
    only.map(str::to_owned)
}
