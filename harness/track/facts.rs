//! What a standard or a maker asks of a track voltage, always with an answer: a
//! value, a bound, or why there is none. It checks nothing against a limit.

use super::report::{LevelFigures, Shape, ShapeFigures};
use super::shape::SLEW_LEVELS;
use crate::measurement::{Blame, Estimate, Finding};
use crate::units::{Dimension, show};
use serde::{Deserialize, Serialize};

/// Of the transitions of one direction.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct EdgeFacts {
    /// Mean slope between -4 V and +4 V, V/s: NMRA S-9.1:2020.
    pub slew: Finding,
    /// That of the slowest transition.
    pub slowest: Finding,
    /// From 10 % to 90 %, s: IEEE 181.
    pub duration: Finding,
    /// The worst overshoot, as a share of the distance of the levels.
    pub overshoot: Finding,
    /// Largest magnitude at which one runs backwards, V; zero where none does.
    pub distortion: Finding,
}

/// Of the halves of one polarity, magnitudes in V.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LevelFacts {
    /// The state level.
    pub amplitude: Finding,
    /// The lowest level of a single half: one that collapses shows here.
    pub lowest: Finding,
    /// The highest level of a single half.
    pub highest: Finding,
}

/// Of the voltage of one channel.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Facts {
    /// Transitions upwards.
    pub rising: EdgeFacts,
    /// Transitions downwards.
    pub falling: EdgeFacts,
    /// Positive halves.
    pub positive: LevelFacts,
    /// Negative halves.
    pub negative: LevelFacts,
}

/// Why there is nothing to say of any edge.
const NO_LEVELS: &str = "the voltage has no two levels";

impl Facts {
    /// From levels and shape; `even` where samples are evenly spaced.
    pub(super) fn of(levels: Option<&LevelFigures>, shape: Option<&Shape>, even: bool) -> Self {
        let Some((levels, shape)) = levels.zip(shape) else {
            let edge = EdgeFacts::unknown(Blame::Board, NO_LEVELS);
            let level = LevelFacts::unknown(NO_LEVELS);
            return Self {
                rising: edge.clone(),
                falling: edge,
                positive: level.clone(),
                negative: level,
            };
        };
        let edges = |figures: &ShapeFigures| EdgeFacts::of(figures, levels, even);
        let worst = |found: &Option<(Estimate, _)>, cut: bool| match found {
            Some((level, _)) if cut => Finding::Above(*level),
            Some((level, _)) => Finding::Value(*level),
            None => Finding::unknown(Blame::Board, "fewer than three halves stand undisturbed"),
        };
        let clipped = levels.clipped;
        let level = |mean: Estimate, cut: bool, lowest, highest| LevelFacts {
            amplitude: if cut {
                Finding::Above(mean)
            } else {
                Finding::Value(mean)
            },
            lowest: worst(lowest, cut),
            highest: worst(highest, cut),
        };
        Self {
            rising: edges(&shape.rising),
            falling: edges(&shape.falling),
            positive: level(
                levels.positive,
                clipped.positive.is_some(),
                &levels.lowest_positive,
                &levels.highest_positive,
            ),
            negative: level(
                levels.negative,
                clipped.negative.is_some(),
                &levels.lowest_negative,
                &levels.highest_negative,
            ),
        }
    }
}

impl LevelFacts {
    fn unknown(reason: &str) -> Self {
        let unknown = Finding::unknown(Blame::Board, reason);
        Self {
            amplitude: unknown.clone(),
            lowest: unknown.clone(),
            highest: unknown,
        }
    }
}

impl EdgeFacts {
    fn unknown(blame: Blame, reason: &str) -> Self {
        let unknown = Finding::unknown(blame, reason);
        Self {
            slew: unknown.clone(),
            slowest: unknown.clone(),
            duration: unknown.clone(),
            overshoot: unknown.clone(),
            distortion: unknown,
        }
    }

    fn of(figures: &ShapeFigures, levels: &LevelFigures, even: bool) -> Self {
        if !even {
            let reason = "samples are not evenly spaced, so shapes are not measured";
            return Self::unknown(Blame::Bench, reason);
        }
        if figures.measured == 0 {
            let reason = "fewer than three transitions stand 45 us apart from all others";
            return Self::unknown(Blame::Board, reason);
        }
        let (low, high) = SLEW_LEVELS;
        let reaches = levels.states.low < low && levels.states.high > high;
        let slew = |found: Option<Estimate>| match found {
            Some(slew) if figures.slew_bounded > 0 => Finding::Above(slew),
            Some(slew) => Finding::Value(slew),
            None if !reaches => {
                Finding::unknown(Blame::Board, "the levels do not reach -4 V and +4 V")
            }
            None => Finding::unknown(
                Blame::Board,
                "no transition goes from -4 V to +4 V within 28 us of zero",
            ),
        };
        let of_levels = |found: Option<Estimate>, what: &str| match found {
            Some(found) => Finding::Value(found),
            None if levels.clipped.any() => {
                let reason = format!("tops are cut off by the range, and {what} with them");
                Finding::unknown(Blame::Bench, reason)
            }
            None => {
                let reason = format!("transitions do not end within 28 us, so {what} is not seen");
                Finding::unknown(Blame::Board, reason)
            }
        };
        Self {
            slew: slew(figures.slew),
            slowest: slew(figures.slowest),
            duration: of_levels(figures.duration, "the duration"),
            overshoot: match figures.overshoot {
                Some((_, worst)) if figures.overshoot_bounded => Finding::Above(worst),
                found => of_levels(found.map(|(_, worst)| worst), "the overshoot"),
            },
            distortion: figures.distorted_by(),
        }
    }
}

/// S-9.1:2020 table 2 allows distortion from -2 V to +2 V at the crossing: what
/// hides reversals of that size hides the whole answer.
const ALLOWED: f64 = 2.0;

impl ShapeFigures {
    fn distorted_by(&self) -> Finding {
        let hidden = show(self.reversal, Dimension::Voltage);
        match self.distortion {
            Some((low, high)) => {
                let size = low.abs().max(high.abs());
                Finding::Value(Estimate::new(size, self.distortion_u))
            }
            None if self.slew_bounded > 0 => Finding::unknown(
                Blame::Bench,
                "transitions hold too few samples to show one that runs backwards",
            ),
            None if self.reversal > ALLOWED => Finding::unknown(
                Blame::Bench,
                format!("noise hides reversals of less than {hidden}"),
            ),
            None => Finding::Value(Estimate::new(0.0, 0.0)),
        }
    }
}
