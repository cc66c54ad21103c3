//! Limits as a plan writes them. What a metric is, the catalogue says; what
//! follows from a limit, judgement does.

use super::MetricLimit;
use crate::document::{Demand, Fault, Place, Table, nearest};
use crate::judgement::{DecisionRule, Limit};
use crate::measurement::{former_names, renamed};
use crate::scenario::{Metric, ScenarioKind};
use crate::units::{Quantity, Ratio, show};

/// What holds for limits that do not say otherwise.
#[derive(Clone, Debug)]
pub(super) struct Defaults {
    rule: Rule,
    guard: f64,
    source: Option<String>,
}

impl Default for Defaults {
    fn default() -> Self {
        Self {
            rule: Rule::Simple,
            guard: 1.0,
            source: None,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Rule {
    Simple,
    GuardedAcceptance,
    GuardedRejection,
}

/// The rules' names are those of JCGM 106.
const RULES: &[(&str, Rule)] = &[
    ("simple acceptance", Rule::Simple),
    ("guarded acceptance", Rule::GuardedAcceptance),
    ("guarded rejection", Rule::GuardedRejection),
];

/// A guard band wider than this many expanded uncertainties is a slip.
const WIDEST_GUARD: f64 = 10.0;

pub(super) fn read_defaults(table: &Table<'_>) -> Defaults {
    let silent = Defaults::default();
    let defaults = Defaults {
        rule: table.optional_word("rule", RULES).unwrap_or(silent.rule),
        guard: guard(table).unwrap_or(silent.guard),
        source: table.optional_string("source"),
    };
    table.finish();
    defaults
}

fn guard(table: &Table<'_>) -> Option<f64> {
    let guard: Option<Ratio> = table.optional_quantity("guard", Demand::Within(0.0, WIDEST_GUARD));
    guard.map(Quantity::si)
}

/// Every limit of a scenario in the catalogue's order, or nothing when one of
/// them is faulty.
pub(super) fn read_limits(
    table: &Table<'_>,
    kind: ScenarioKind,
    defaults: &Defaults,
    format: i64,
) -> Option<Vec<MetricLimit>> {
    let metrics = kind.entry().metrics;
    let mut sound = true;
    let mut limits = Vec::new();
    for metric in metrics {
        let former = former_names(metric.key).find(|name| format == 1 && table.has(name));
        let written = former.unwrap_or(metric.key);
        if !table.has(written) {
            continue;
        }
        let limit = table
            .optional_table(written)
            .and_then(|t| read_limit(&t, metric, defaults));
        match limit {
            Some(limit) => limits.push(MetricLimit {
                metric: metric.key,
                limit,
            }),
            None => sound = false,
        }
    }
    for entry in table.rest() {
        sound = false;
        unknown_metric(table, &entry.key, &entry.key_place, kind);
    }
    sound.then_some(limits)
}

fn unknown_metric(table: &Table<'_>, key: &str, place: &Place, kind: ScenarioKind) {
    let metrics = kind.entry().metrics;
    let keys: Vec<String> = metrics.iter().map(|m| format!("`{}`", m.key)).collect();
    let near = nearest(key, metrics.iter().map(|m| m.key));
    let elsewhere = ScenarioKind::ALL
        .into_iter()
        .find(|other| other.metric(key).is_some());
    let now = renamed(key).filter(|now| kind.metric(now).is_some());
    let hint = match (now.or(near), elsewhere) {
        (Some(near), _) => Some(format!("did you mean `{near}`?")),
        (None, Some(other)) => Some(format!("`{other}` scenarios measure it")),
        (None, None) => None,
    };
    table.fault(
        Fault::error(
            place,
            format!("`{kind}` scenarios do not measure `{}`", key.escape_debug()),
        )
        .expected(keys.join(", "))
        .maybe_hint(hint),
    );
}

fn read_limit(table: &Table<'_>, metric: &'static Metric, defaults: &Defaults) -> Option<Limit> {
    let demand = if metric.signed {
        Demand::Any
    } else {
        Demand::NotNegative
    };
    let lower = table.optional_si("min", metric.dimension, demand);
    let upper = table.optional_si("max", metric.dimension, demand);
    let rule = table.optional_word("rule", RULES).unwrap_or(defaults.rule);
    let guard = guard(table).unwrap_or(defaults.guard);
    let source = table
        .optional_string("source")
        .or_else(|| defaults.source.clone());
    if rule == Rule::Simple && table.has("guard") {
        table.fault(
            Fault::error(
                &table.place_of("guard"),
                "simple acceptance has no guard band",
            )
            .expected("`rule = \"guarded acceptance\"` beside it"),
        );
    }
    if !table.has("min") && !table.has("max") {
        table.fault(
            Fault::error(table.place(), "this limit bounds nothing").expected("`min` or `max`"),
        );
    }
    if let (Some(lower), Some(upper)) = (lower, upper)
        && lower > upper
    {
        table.fault(
            Fault::error(
                &table.place_of("max"),
                format!(
                    "the maximum is below the minimum, {}",
                    show(lower, metric.dimension)
                ),
            )
            .expected(format!("{} or more", show(lower, metric.dimension))),
        );
    }
    if source.is_none() && !table.has("source") {
        table.missing(
            "source",
            "where the limit comes from: a standard's clause, the data sheet, \"house limit\"",
        );
    }
    table.finish();
    let faulty = (table.has("min") && lower.is_none()) || (table.has("max") && upper.is_none());
    if faulty {
        return None;
    }
    Some(Limit {
        lower,
        upper,
        rule: match rule {
            Rule::Simple => DecisionRule::Simple,
            Rule::GuardedAcceptance => DecisionRule::GuardedAcceptance { guard },
            Rule::GuardedRejection => DecisionRule::GuardedRejection { guard },
        },
        source: source?,
    })
}
