//! Which metrics each part of a board moves, and by which law: the table that
//! the guide shows, and to which a test holds the model board change by change.
//! It computes nothing.

use super::ScenarioKind;

/// In which direction a metric moves when a parameter rises.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// It rises.
    Up,
    /// It falls.
    Down,
    /// It depends on the rest of the board.
    Either,
}

impl Way {
    /// As a word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Up => "up",
            Self::Down => "down",
            Self::Either => "either way",
        }
    }
}

/// One metric that a parameter moves.
#[derive(Debug)]
pub struct Moved {
    /// The scenario.
    pub scenario: ScenarioKind,
    /// The metric's key.
    pub metric: &'static str,
    /// Where it goes.
    pub way: Way,
    /// By how much, in words or as a formula.
    pub law: &'static str,
}

/// What one parameter of a board moves.
#[derive(Debug)]
pub struct Influence {
    /// The parameter's name in model-board files.
    pub parameter: &'static str,
    /// The part it stands for.
    pub part: &'static str,
    /// What it moves, and nothing else.
    pub moves: &'static [Moved],
}

/// The parameters that move the metric `key` of `scenario`.
pub fn influences_on(
    scenario: ScenarioKind,
    key: &str,
) -> impl Iterator<Item = (&'static Influence, &'static Moved)> {
    INFLUENCES.iter().flat_map(move |influence| {
        let moves = influence.moves.iter();
        moves
            .filter(move |moved| moved.scenario == scenario && moved.metric == key)
            .map(move |moved| (influence, moved))
    })
}

const fn moved(scenario: ScenarioKind, metric: &'static str, way: Way, law: &'static str) -> Moved {
    Moved {
        scenario,
        metric,
        way,
        law,
    }
}

/// Every parameter that a part substitution can change.
pub static INFLUENCES: &[Influence] = &[];
