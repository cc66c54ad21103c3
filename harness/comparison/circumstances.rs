//! What two lots differ in besides their boards: parts beside each other, and
//! what a shift could come from that is no part. It weighs nothing.

use super::check_standard::CheckStandard;
use super::readings::{FileSet, LotReadings, MOST_FILE_SETS, MetricFacts, RunReadings};
use crate::measurement::in_words;
use crate::plan::Lot;
use crate::record::InstrumentExcerpt;
use crate::units::{Dimension, Quantity, show};
use serde::Serialize;
use std::collections::BTreeSet;

/// Ambient temperatures farther apart than this are worth a word: copper and
/// switches change by about 0.4 % a kelvin (common practice, no source).
const AMBIENT_APART: f64 = 3.0;

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

/// The lot files beside each other.
pub(super) fn parts(baseline: &LotReadings, candidate: &LotReadings) -> Vec<PartRow> {
    let said = |lot: Option<&Lot>| lot.map(fitted).unwrap_or_default();
    let (before, after) = (said(baseline.lot()), said(candidate.lot()));
    let mut order: Vec<&String> = Vec::new();
    for (place, _) in before.iter().chain(&after) {
        if !order.contains(&place) {
            order.push(place);
        }
    }
    let find = |lot: &[(String, String)], place: &str| {
        let mut lot = lot.iter();
        let found = lot.find(|(known, _)| known == place);
        found.map(|(_, part)| part.clone())
    };
    let row = |place: &String| PartRow {
        place: place.clone(),
        baseline: find(&before, place),
        candidate: find(&after, place),
    };
    order.into_iter().map(row).collect()
}

pub(super) fn fitted(lot: &Lot) -> Vec<(String, String)> {
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

/// What the runs of a lot have of something, each once.
type Found = BTreeSet<String>;

/// Something that may differ, with how a run says it.
type Question = (&'static str, fn(&LotReadings, &RunReadings) -> Vec<String>);

const QUESTIONS: [Question; 5] = [
    ("plan", |lot, run| {
        let set = &lot.file_sets[run.files];
        let plan = |set: &FileSet| {
            let texts = set.texts.as_ref()?;
            let digests: Vec<String> = texts.plan_digests.iter().map(|d| d.short()).collect();
            Some(digests.join("+"))
        };
        plan(set).into_iter().collect()
    }),
    ("bench file", |lot, run| {
        let texts = lot.file_sets[run.files].texts.as_ref();
        let bench = texts.and_then(|texts| texts.bench);
        bench.map(|digest| digest.short()).into_iter().collect()
    }),
    ("instruments", |lot, run| {
        let told = lot.benches[run.bench].iter();
        told.map(|instrument| format!("{} {}", instrument.role, instrument.identity))
            .collect()
    }),
    ("calibration", |lot, run| {
        lot.benches[run.bench].iter().map(calibration).collect()
    }),
    ("version of this program", |_, run| {
        vec![run.version.clone()]
    }),
];

fn calibration(instrument: &InstrumentExcerpt) -> String {
    let date = instrument.calibrated.as_deref().unwrap_or("no date");
    format!("{} {date}", instrument.role)
}

fn found(lot: &LotReadings, of: Question) -> Found {
    // Runs with the same files and instruments say the same.
    let mut asked = BTreeSet::new();
    let fresh = lot
        .runs
        .iter()
        .filter(|run| asked.insert((run.files, run.bench, &run.version)));
    fresh.flat_map(|run| of.1(lot, run)).collect()
}

/// What changed while one lot was measured.
pub(super) fn within(lot: &LotReadings) -> Vec<String> {
    let mut warnings = Vec::new();
    let name = lot.name();
    let sets = lot.file_sets.len();
    if sets > MOST_FILE_SETS {
        warnings.push(format!(
            "lot {name}: {sets} sets of files; only the first {MOST_FILE_SETS} are looked at"
        ));
    }
    let first = |run: &RunReadings| (run.files, run.bench);
    let kinds: BTreeSet<_> = lot.runs.iter().map(first).collect();
    for question in QUESTIONS {
        let each: BTreeSet<Vec<String>> = kinds
            .iter()
            .filter_map(|kind| lot.runs.iter().find(|run| first(run) == *kind))
            .map(|run| question.1(lot, run))
            .collect();
        if each.len() > 1 {
            let what = question.0;
            warnings.push(format!(
                "lot {name}: the {what} changed while it was measured"
            ));
        }
    }
    let changed = |facts: &&MetricFacts| facts.limit_changed;
    let changed: Vec<String> = lot.metrics.iter().filter(changed).map(named).collect();
    if !changed.is_empty() {
        warnings.push(format!(
            "lot {name}: the limit changed while it was measured, the last one counts: {}",
            few(&changed)
        ));
    }
    warnings
}

fn named(facts: &MetricFacts) -> String {
    format!("{} {}", facts.scenario, in_words(&facts.label()))
}

/// Some of them in words.
fn few(names: &[String]) -> String {
    const SHOWN: usize = 4;
    let mut text = names[..names.len().min(SHOWN)].join(", ");
    if names.len() > SHOWN {
        text.push_str(&format!(" and {} more", names.len() - SHOWN));
    }
    text
}

/// What a difference between the lots could come from besides the boards.
pub(super) fn warnings(
    baseline: &LotReadings,
    candidate: &LotReadings,
    check: Option<&CheckStandard>,
) -> Vec<String> {
    let mut warnings = within(baseline);
    warnings.extend(within(candidate));
    for question in QUESTIONS {
        let (before, after) = (found(baseline, question), found(candidate, question));
        if before == after || before.is_empty() || after.is_empty() {
            continue;
        }
        let only = |mine: &Found, other: &Found| {
            let words: Vec<String> = mine.difference(other).cloned().collect();
            if words.is_empty() {
                "nothing else".to_owned()
            } else {
                few(&words)
            }
        };
        warnings.push(format!(
            "the {} is not the same: baseline {}; candidate {}",
            question.0,
            only(&before, &after),
            only(&after, &before)
        ));
    }
    warnings.extend(ambient(baseline, candidate));
    warnings.extend(limits(baseline, candidate));
    warnings.extend(standard(baseline, candidate, check));
    warnings
}

fn ambient(baseline: &LotReadings, candidate: &LotReadings) -> Option<String> {
    let mean = |lot: &LotReadings| {
        let stated: Vec<f64> = lot
            .runs
            .iter()
            .filter_map(|r| r.ambient)
            .map(|t| t.si())
            .collect();
        let count = stated.len() as f64;
        (!stated.is_empty()).then(|| stated.iter().sum::<f64>() / count)
    };
    let (before, after) = match (mean(baseline), mean(candidate)) {
        (Some(before), Some(after)) => (before, after),
        (None, None) => return None,
        (before, _) => {
            let which = if before.is_some() {
                "baseline"
            } else {
                "candidate"
            };
            return Some(format!(
                "the ambient temperature is stated for the {which} only"
            ));
        }
    };
    let apart = (after - before).abs();
    (apart > AMBIENT_APART).then(|| {
        format!(
            "the ambient temperature is not the same: baseline {}, candidate {}",
            show(before, Dimension::Temperature),
            show(after, Dimension::Temperature)
        )
    })
}

fn limits(baseline: &LotReadings, candidate: &LotReadings) -> Option<String> {
    let differs = |facts: &&MetricFacts| {
        let mut others = candidate.metrics.iter();
        others.any(|other| {
            other.scenario == facts.scenario
                && other.key == facts.key
                && other.at == facts.at
                && other.limit != facts.limit
        })
    };
    let names: Vec<String> = baseline.metrics.iter().filter(differs).map(named).collect();
    (!names.is_empty()).then(|| {
        let names = few(&names);
        format!("the limit is not the same, the baseline's counts: {names}")
    })
}

fn standard(
    baseline: &LotReadings,
    candidate: &LotReadings,
    check: Option<&CheckStandard>,
) -> Option<String> {
    match (baseline.check_standard(), candidate.check_standard(), check) {
        (_, _, Some(_)) => None,
        (Some(before), Some(after), _) if before != after => Some(format!(
            "the check standard is not the same board ({before}, {after}): what the bench did \
             between the lots is not known"
        )),
        (Some(serial), Some(_), _) => Some(format!(
            "the check standard {serial} was not measured with both lots: what the bench did \
             between them is not known"
        )),
        _ => Some(
            "no check standard was measured with both lots: a shift of the bench would be taken \
             for one of the boards"
                .to_owned(),
        ),
    }
}
