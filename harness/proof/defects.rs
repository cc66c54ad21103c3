//! One defect over the boards that carried it: in how many it was caught, by
//! which scenarios, by which limit first and by how much. The boards decide
//! nothing about the defect: it is known to be there.

use super::escape::{Escape, way};
use super::good::{References, Refusal, refusals};
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
    pub caught: usize,
    /// Those that neither failed nor passed.
    pub undecided: usize,
    /// Those that passed.
    pub escaped: usize,
    /// What each scenario did, in the plan's order.
    pub cells: Vec<Cell>,
    /// The limit that caught first, by boards, the most frequent first.
    pub first: Vec<Catch>,
    /// How clearly it was caught: of each board the failed limit that was gone
    /// past most, as a multiple of the way from good boards to the limit; of
    /// those the least. `None` where that is a limit that says yes or no, or
    /// where nothing was caught.
    pub clearly: Option<f64>,
    /// The one scenario that caught all that was caught.
    pub only: Option<String>,
    /// Why it escapes, where it does.
    pub escape: Option<Escape>,
    /// What left boards undecided.
    pub undecided_by: Vec<Refusal>,
}

/// What one scenario did about one defect.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Cell {
    /// Boards it failed.
    pub caught: usize,
    /// Boards in which it was the first to fail.
    pub first: usize,
    /// Boards it left undecided.
    pub undecided: usize,
}

/// A limit that caught boards first.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Catch {
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
        let (caught, escaped) = (with(Verdict::Fail), with(Verdict::Pass));
        let undecided = with(Verdict::Inconclusive);
        Self {
            name: name.to_owned(),
            what: what.to_owned(),
            wanted: asked.each,
            tried: trials.len(),
            caught: caught.len(),
            undecided: undecided.len(),
            escaped: escaped.len(),
            cells: asked
                .scenarios
                .iter()
                .map(|s| Cell::of(s, trials))
                .collect(),
            first: firsts(&caught),
            clearly: clearly(&caught, references),
            only: only(&caught),
            escape: (!escaped.is_empty()).then(|| Escape::of(&escaped, references)),
            undecided_by: refusals(&undecided),
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
                    cell.caught += 1;
                    let first = trial.first().is_some_and(|o| o.scenario == scenario);
                    cell.first += usize::from(first);
                }
                Some(Verdict::Inconclusive) => cell.undecided += 1,
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

fn firsts(caught: &[&Trial]) -> Vec<Catch> {
    let mut all: Vec<Catch> = Vec::new();
    for judged in caught.iter().filter_map(|t| failed(t.first()?).next()) {
        let (Some(limit), Some(margin)) = (&judged.limit, margin(judged)) else {
            continue;
        };
        let place = Place::of(&judged.metric);
        let beyond = -margin;
        let bound = !matches!(judged.metric.finding, Finding::Value(_));
        match all.iter_mut().find(|catch| catch.place == place) {
            Some(catch) => {
                catch.boards += 1;
                catch.least = catch.least.min(beyond);
                catch.most = catch.most.max(beyond);
                catch.bound |= bound;
            }
            None => all.push(Catch {
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
    all.sort_by_key(|catch| std::cmp::Reverse(catch.boards));
    all
}

fn clearly(caught: &[&Trial], references: &References) -> Option<f64> {
    let of_board = |trial: &&Trial| {
        let failed = trial.scenarios.iter().flat_map(failed);
        let ways = failed
            .filter_map(|judged| way(margin(judged)?, &Place::of(&judged.metric), references));
        ways.fold(0.0, f64::max)
    };
    let least = caught.iter().map(of_board).fold(f64::INFINITY, f64::min);
    (least.is_finite() && least > 0.0).then_some(least)
}

fn only(caught: &[&Trial]) -> Option<String> {
    let mut only: Option<&str> = None;
    let outcomes = caught.iter().flat_map(|trial| &trial.scenarios);
    for outcome in outcomes.filter(|o| o.verdict == Verdict::Fail) {
        if only.is_some_and(|known| known != outcome.scenario) {
            return None;
        }
        only = Some(&outcome.scenario);
    }
    only.map(str::to_owned)
}
