//! Why a defect escapes: which limit it came nearest to, and what it moved most,
//! with a limit or without. It proposes no limit.

use super::Place;
use super::good::References;
use super::trial::{Trial, margin, value};
use crate::judgement::{Limit, Verdict};
use crate::measurement::Finding;
use crate::units::Dimension;
use serde::Serialize;
use std::collections::BTreeMap;

/// A reading that moved by less, in standard deviations of good boards, is
/// theirs.
const MOVED: f64 = 4.0;

/// What there is to say about boards that escaped.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Escape {
    /// The limit that was nearest to refusing one of them.
    pub nearest: Option<Nearest>,
    /// The reading that differs most from good boards', by their spread.
    pub moved: Option<Moved>,
    /// Whether there were good boards enough to know their spread.
    pub comparable: bool,
}

/// A reading that came near to its limit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Nearest {
    /// Where.
    pub place: Place,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// What was found.
    pub finding: Finding,
    /// The limit.
    pub limit: Limit,
    /// How far it was still away.
    pub margin: f64,
    /// Part of the way from good boards' mean to the limit: zero like a good
    /// board, one at the limit.
    pub way: f64,
}

/// A reading that a defect moved.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Moved {
    /// Where.
    pub place: Place,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// Mean over the boards that escaped.
    pub mean: f64,
    /// Mean over good boards.
    pub good: f64,
    /// The limit, where the plan sets one.
    pub limit: Option<Limit>,
    /// How far it moved, in standard deviations of good boards or standard
    /// uncertainties, whichever is larger; `None` where both are zero.
    pub deviations: Option<f64>,
}

impl Escape {
    pub(super) fn of(escaped: &[&Trial], references: &References) -> Self {
        Self {
            nearest: nearest(escaped, references),
            moved: moved(escaped, references),
            comparable: references.know_spread(),
        }
    }
}

/// Part of the way from good boards to the limit that a reading with that
/// margin has gone; infinite where good boards stand on the limit, as on one
/// that says yes or no.
pub(super) fn way(margin: f64, place: &Place, references: &References) -> Option<f64> {
    let reference = references.at(place)?;
    let distance = reference.distance();
    Some(distance.map_or(f64::INFINITY, |distance| 1.0 - margin / distance))
}

fn nearest(escaped: &[&Trial], references: &References) -> Option<Nearest> {
    let mut best: Option<Nearest> = None;
    for judged in escaped.iter().flat_map(|trial| trial.metrics()) {
        let (Some(limit), Some(margin)) = (&judged.limit, margin(judged)) else {
            continue;
        };
        let place = Place::of(&judged.metric);
        let way = way(margin, &place, references).filter(|way| way.is_finite());
        let (Some(way), Some(Verdict::Pass)) = (way, judged.verdict()) else {
            continue;
        };
        if best.as_ref().is_none_or(|best| way > best.way) {
            best = Some(Nearest {
                place,
                dimension: judged.metric.dimension,
                finding: judged.metric.finding.clone(),
                limit: limit.clone(),
                margin,
                way,
            });
        }
    }
    best
}

fn moved(escaped: &[&Trial], references: &References) -> Option<Moved> {
    struct Gathered {
        sum: f64,
        count: usize,
        u: f64,
        limit: Option<Limit>,
        dimension: Dimension,
    }
    let mut all: BTreeMap<Place, Gathered> = BTreeMap::new();
    for judged in escaped.iter().flat_map(|trial| trial.metrics()) {
        let (Some(value), Finding::Value(estimate)) = (value(judged), &judged.metric.finding)
        else {
            continue;
        };
        let place = Place::of(&judged.metric);
        let gathered = all.entry(place).or_insert_with(|| Gathered {
            sum: 0.0,
            count: 0,
            u: 0.0,
            limit: judged.limit.clone(),
            dimension: judged.metric.dimension,
        });
        gathered.sum += value;
        gathered.count += 1;
        gathered.u = gathered.u.max(estimate.u);
    }
    let mut best: Option<(f64, Moved)> = None;
    for (place, gathered) in all {
        let Some((good, sd)) = references.at(&place).and_then(|r| r.reading()) else {
            continue;
        };
        let mean = gathered.sum / gathered.count as f64;
        let difference = (mean - good).abs();
        let scale = sd.max(gathered.u);
        if difference == 0.0 || difference < MOVED * scale {
            continue;
        }
        let deviations = difference / scale;
        if best.as_ref().is_none_or(|(most, _)| deviations > *most) {
            let moved = Moved {
                place,
                dimension: gathered.dimension,
                mean,
                good,
                limit: gathered.limit,
                deviations: deviations.is_finite().then_some(deviations),
            };
            best = Some((deviations, moved));
        }
    }
    best.map(|(_, moved)| moved)
}
