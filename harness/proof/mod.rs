//! What a plan detects: runs on model boards with a planted defect and on good
//! ones, turned into what is detected and by what, what escapes, what the plan
//! leans on, and how often a good board is rejected. It plants, runs and shows
//! nothing.
//!
//! The planted defect decides what each run should have come to; the plan's own
//! verdicts are only counted. Leaving a scenario out is judged from the same
//! runs: it is exact where scenarios leave nothing behind for each other but
//! warmth.

mod defects;
mod escape;
mod good;
mod scenarios;
mod setting;
mod trial;
mod words;

pub use defects::{Cell, DefectFinding, Detection};
pub use escape::{Escape, Moved, Nearest};
pub use good::{GoodBoards, Rejection, Tight};
pub use scenarios::{Lost, ScenarioFinding};
pub use setting::{FileDigest, LeftOut, Setting};
pub use trial::{Outcome, Trial};
pub use words::{
    conclusion, detection_cells, escape_lines, good_sentence, headline, inconclusive_lines,
    leaning, missing, percent, tight_cells, warnings, without,
};

use crate::measurement::{Metric, in_words, labelled};
use good::References;
use serde::Serialize;

/// What was asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// The plan's scenarios, in its order.
    pub scenarios: Vec<String>,
    /// Defects to be planted, each with what is wrong with such a board.
    pub defects: Vec<(String, String)>,
    /// Boards with each of them.
    pub each: usize,
    /// Good boards.
    pub good: usize,
}

/// What it comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Conclusion {
    /// Every board with a defect failed.
    NothingEscapes,
    /// At least one passed.
    Escapes,
    /// None passed, but not every one failed or was tried, or no good board
    /// passed either: then nothing was detected for its defect.
    Inconclusive,
}

/// Everything that the runs say about a plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlanProof {
    /// What it comes to.
    pub conclusion: Conclusion,
    /// Whether every board that was asked for was tried.
    pub complete: bool,
    /// Each scenario, in the plan's order.
    pub scenarios: Vec<ScenarioFinding>,
    /// Each defect, in the order in which they were asked for.
    pub defects: Vec<DefectFinding>,
    /// The good boards.
    pub good: GoodBoards,
}

impl PlanProof {
    /// What `trials` say about the plan. Trials of defects that nobody asked
    /// for are passed over.
    pub fn of(asked: &Asked, trials: &[Trial]) -> Self {
        let good: Vec<&Trial> = trials.iter().filter(|t| t.defect.is_none()).collect();
        let references = References::of(&good);
        let defects: Vec<DefectFinding> = asked
            .defects
            .iter()
            .map(|(name, what)| {
                let own = |trial: &&Trial| trial.defect.as_deref() == Some(name);
                let own: Vec<&Trial> = trials.iter().filter(own).collect();
                DefectFinding::of(asked, (name, what), &own, &references)
            })
            .collect();
        let wanted = |name: &String| asked.defects.iter().any(|(known, _)| known == name);
        let planted: Vec<&Trial> = trials
            .iter()
            .filter(|t| t.defect.as_ref().is_some_and(wanted))
            .collect();
        let scenarios = asked
            .scenarios
            .iter()
            .map(|name| ScenarioFinding::of(name, &planted, &good))
            .collect();
        let good = GoodBoards::of(asked.good, &good, &references);
        let complete =
            good.tried >= good.wanted && defects.iter().all(|defect| defect.tried >= defect.wanted);
        let detected = |defect: &DefectFinding| defect.detected == defect.tried && defect.tried > 0;
        let conclusion = if defects.iter().any(|defect| defect.escaped > 0) {
            Conclusion::Escapes
        } else if complete
            && good.accepted > 0
            && !defects.is_empty()
            && defects.iter().all(detected)
        {
            Conclusion::NothingEscapes
        } else {
            Conclusion::Inconclusive
        };
        Self {
            conclusion,
            complete,
            scenarios,
            defects,
            good,
        }
    }
}

/// A metric of a scenario under one condition.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Place {
    /// The plan's scenario.
    pub scenario: String,
    /// The metric's key in the catalogue.
    pub metric: String,
    /// Its condition; may be empty.
    pub at: String,
}

impl Place {
    fn of(metric: &Metric) -> Self {
        Self {
            scenario: metric.scenario.clone(),
            metric: metric.key.clone(),
            at: metric.at.clone(),
        }
    }

    /// `short trip time (near)`.
    pub fn words(&self) -> String {
        let label = labelled(&self.metric, &self.at);
        format!("{} {}", self.scenario, in_words(&label))
    }
}

#[cfg(test)]
mod tests;
