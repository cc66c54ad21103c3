//! Page one of a board's paper, for the customer: the board, what did not pass,
//! what decided each scenario, a trip as it was seen, and what the paper covers.
//! It judges nothing, and the measurements themselves follow it.

use super::block::{Block, Fact, Head, Letterhead, Reading};
use super::certificate::{Rules, Sources, figures_of, framed_short, reading};
use super::conditions::not_tested;
use crate::comparison::KeptFiles;
use crate::drawing::Picture;
use crate::judgement::Verdict;
use crate::record::{JudgedMetric, Record, ScenarioRecord};
use crate::report::words;
use crate::scenario::{Ratings, ScenarioKind};
use crate::units::{Dimension, Quantity, show};

/// What a paper is worth, in its own words.
const SCOPE: &str = "This paper covers only the measurements listed, on the date stated; it is not a declaration of electrical safety, EMC or conformity.";
/// How much larger than in the gallery the trip is drawn.
const LARGER: f64 = 1.5;
/// Height of what stands below the trip: what was not tested, scope, signature.
const BELOW: f64 = 78.0;

/// The blocks of page one.
pub(super) fn front(sources: &Sources<'_>) -> Vec<Block> {
    let record = sources.record;
    let files = KeptFiles::of(&record.started);
    let mut blocks = vec![Block::Beside([
        vec![Block::Facts(board(record, &files))],
        vec![Block::Facts(test(record))],
    ])];
    blocks.extend(framed_short(record).map(Block::Framed));
    blocks.push(Block::heading("What decided each scenario"));
    blocks.push(Block::Deciding(deciding(record)));
    blocks.push(Block::text(
        "U is the expanded uncertainty (k = 2). Every measurement follows on the measurement sheet.",
    ));
    if let Some((picture, fact)) = trip(sources) {
        let facts = vec![Block::heading("A trip on a short"), Block::text(fact)];
        let shown = Block::Beside([vec![Block::Pictures(1, vec![picture])], facts]);
        blocks.push(Block::IfRoom(Box::new(shown), BELOW));
    }
    let tested = match not_tested(record) {
        Some(omitted) => format!("Not tested: {omitted}."),
        None => "Everything that the plan asks for was tested.".to_owned(),
    };
    blocks.push(Block::text(format!("{tested} {SCOPE}")));
    let signature = sources.letterhead.and_then(|l| l.issuer.signature.clone());
    blocks.extend(signature.map(Block::Signature));
    blocks.push(Block::NewSheet);
    blocks
}

/// The head with who issues the paper.
pub(super) fn issued(head: Head, letterhead: Option<&Letterhead>) -> Head {
    Head {
        issuer: letterhead.cloned(),
        ..head
    }
}

/// What the board is.
fn board(record: &Record, files: &KeptFiles) -> Vec<Fact> {
    let started = &record.started;
    let lot = files.lot();
    let ratings = files.plan().ok().map(|plan| in_words(&plan.ratings));
    let firmware = lot.as_ref().and_then(|lot| lot.firmware.clone());
    let name = started.lot.as_ref().map(ToString::to_string);
    let facts = [
        (
            "Board",
            Some(format!("{}, revision {}", started.family, started.revision)),
        ),
        ("Ratings", ratings),
        (
            "Firmware",
            Some(firmware.unwrap_or_else(|| "not stated".to_owned())),
        ),
        ("Lot", Some(name.unwrap_or_else(|| "none".to_owned()))),
        ("Parts list", Some(parts(record, files))),
    ];
    stated(facts)
}

/// Where the parts of the board are listed: the lot file, by name and content.
fn parts(record: &Record, files: &KeptFiles) -> String {
    let listed = files.lot().filter(|lot| !lot.parts.is_empty());
    let lots = record.started.files.iter().find(|file| {
        let source = crate::document::Source::new(file.name.clone(), file.text.clone());
        crate::plan::parse_lot(&source).is_ok()
    });
    match (listed, lots) {
        (Some(lot), Some(file)) => {
            let name = file.name.rsplit('/').next().unwrap_or(&file.name);
            let digest = file.digest.to_string();
            let beginning = digest.get(..16).unwrap_or(&digest);
            format!(
                "{} parts in {}, SHA-256 {beginning}...",
                lot.parts.len(),
                name
            )
        }
        _ => "not stated".to_owned(),
    }
}

/// When and how it was tested.
fn test(record: &Record) -> Vec<Fact> {
    let started = &record.started;
    let scale = words::scale_factor(record)
        .map(|judged| judged.metric.finding.show(judged.metric.dimension));
    let only = started.only.as_ref();
    let again = started.retest.as_ref();
    let again = again.map(|_| "yes; why stands on the measurement sheet".to_owned());
    stated([
        (
            "Tested",
            Some(record.started_at.strftime("%Y-%m-%d").to_string()),
        ),
        ("Plan", Some(started.plan.clone())),
        (
            "Scale factor",
            Some(scale.unwrap_or_else(|| "not measured".to_owned())),
        ),
        ("Tested again", again),
        (
            "Diagnosis",
            only.map(|only| format!("only scenario {only}; accepts nothing")),
        ),
    ])
}

fn stated<const N: usize>(facts: [(&'static str, Option<String>); N]) -> Vec<Fact> {
    let facts = facts.into_iter();
    facts
        .filter_map(|(label, text)| Some((label, text?)))
        .collect()
}

fn in_words(ratings: &Ratings) -> String {
    format!(
        "{} continuous, trips at {}, supply {} to {} (tested at {})",
        nominal(ratings.rated_current),
        nominal(ratings.trip_current),
        nominal(ratings.lowest_supply),
        nominal(ratings.highest_supply),
        nominal(ratings.supply_voltage)
    )
}

/// A stated quantity without the zeros that only a measured one needs.
pub(super) fn nominal<Q: Quantity>(quantity: Q) -> String {
    let shown = show(quantity.si(), Q::DIMENSION);
    let (number, unit) = shown.split_once(' ').unwrap_or((&shown, ""));
    let number = match number.contains('.') {
        true => number.trim_end_matches('0').trim_end_matches('.'),
        false => number,
    };
    format!("{number} {unit}").trim_end().to_owned()
}

/// Of each scenario the metric that decided it.
fn deciding(record: &Record) -> Vec<Reading> {
    let mut rules = Rules::default();
    let rows = record.scenarios.iter().map(|scenario| {
        let verdict = scenario.verdict.map_or("UNFINISHED", Verdict::word);
        match decisive(scenario) {
            Some(judged) => Reading {
                verdict,
                ..reading(scenario, judged, &mut rules)
            },
            None => Reading::nothing(&scenario.name, verdict),
        }
    });
    rows.collect()
}

/// The judged metric that came nearest to its limit, its expanded uncertainty
/// taken off, or went furthest beyond it; of another verdict than pass first.
fn decisive(scenario: &ScenarioRecord) -> Option<&JudgedMetric> {
    let severity = |judged: &JudgedMetric| match judged.verdict() {
        Some(Verdict::Fail) => 0,
        Some(Verdict::Inconclusive) => 1,
        _ => 2,
    };
    let judged = scenario
        .metrics
        .iter()
        .filter(|judged| judged.decision.is_some());
    judged.min_by(|a, b| {
        let rooms = room(a).total_cmp(&room(b));
        severity(a).cmp(&severity(b)).then(rooms)
    })
}

/// What is left to the nearer limit in parts of the allowed range, or of the
/// limit where there is one only. Counts and plain statements have no such room.
fn room(judged: &JudgedMetric) -> f64 {
    let (Some(limit), Some(decision)) = (&judged.limit, &judged.decision) else {
        return f64::INFINITY;
    };
    if judged.metric.dimension == Dimension::Count {
        return f64::MAX;
    }
    let Some(margin) = decision.margin else {
        return f64::NEG_INFINITY;
    };
    let expanded = judged
        .metric
        .finding
        .estimate()
        .map_or(0.0, |e| e.expanded());
    let span = match (limit.lower, limit.upper) {
        (Some(lower), Some(upper)) => upper - lower,
        (lower, upper) => lower.or(upper).map_or(1.0, f64::abs),
    };
    (margin - expanded) / span.max(f64::MIN_POSITIVE)
}

/// A trip on a short with its marks, and what was found of it.
fn trip(sources: &Sources<'_>) -> Option<(Picture, String)> {
    let kinds = [ScenarioKind::Short, ScenarioKind::Reversal].into_iter();
    let mut scenarios = kinds.flat_map(|kind| {
        let scenarios = sources.record.scenarios.iter();
        scenarios.filter(move |scenario| scenario.kind == kind.word())
    });
    scenarios.find_map(|scenario| {
        let mut seen = sources.observations.iter();
        let (_, observation) = seen.find(|(name, _)| *name == scenario.name)?;
        let picture = figures_of(sources.record, &scenario.name, observation)
            .into_iter()
            .next()?;
        let words = picture.words.clone();
        let drawing = picture.drawing.scaled(LARGER);
        Some((
            Picture {
                drawing,
                words: words.clone(),
            },
            words,
        ))
    })
}
