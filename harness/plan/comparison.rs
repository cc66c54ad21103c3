//! What a plan says beforehand about the comparison of two lots: which metrics
//! decide it and which differences do not matter. It compares nothing.

use super::Scenario;
use crate::document::{Demand, Entry, Fault, Kind, Node, Table, nearest};
use crate::measurement::renamed;
use crate::scenario::{Metric, ScenarioKind};
use crate::units::{Quantity, Ratio};

/// The part of a plan that two lots are compared by.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// The metrics that decide; all where none is named.
    pub key: Vec<MetricPath>,
    /// The margin of a metric without one of its own, as a share of the
    /// distance from the baseline's mean to the nearer limit.
    pub share: f64,
    /// The chance to prove equivalence that numbers of boards are told for.
    pub power: f64,
    /// Margins of their own.
    pub margins: Vec<DeclaredMargin>,
}

impl Default for Comparison {
    /// A quarter of the distance and nine times in ten: house values.
    fn default() -> Self {
        Self {
            key: Vec::new(),
            share: 0.25,
            power: 0.9,
            margins: Vec::new(),
        }
    }
}

/// A metric at all its conditions, written `short.trip_time`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MetricPath {
    /// Name of the scenario.
    pub scenario: String,
    /// Key of the metric.
    pub metric: &'static str,
}

/// Differences that do not matter, in the metric's SI unit, both positive.
#[derive(Clone, Debug, PartialEq)]
pub struct DeclaredMargin {
    /// Of which metric.
    pub of: MetricPath,
    /// How much lower a candidate may read.
    pub below: f64,
    /// How much higher.
    pub above: f64,
}

impl Comparison {
    /// Whether the metric decides.
    pub fn is_key(&self, scenario: &str, metric: &str) -> bool {
        let named = |path: &MetricPath| path.scenario == scenario && path.metric == metric;
        self.key.is_empty() || self.key.iter().any(named)
    }

    /// The margin of its own, where it has one.
    pub fn margin(&self, scenario: &str, metric: &str) -> Option<&DeclaredMargin> {
        let mut margins = self.margins.iter();
        margins.find(|margin| margin.of.scenario == scenario && margin.of.metric == metric)
    }
}

/// What is known of the rest of the plan.
struct Known<'a> {
    /// The scenarios that could be read.
    scenarios: Vec<&'a Scenario>,
    /// Whether all could: what a faulty one would have measured is not known.
    complete: bool,
    /// The plan's format.
    format: i64,
}

/// Reads `[comparison]`; `scenarios` are those that could be read.
pub(super) fn read(table: &Table<'_>, scenarios: &[Option<Scenario>], format: i64) -> Comparison {
    let known = Known {
        scenarios: scenarios.iter().flatten().collect(),
        complete: scenarios.iter().all(Option::is_some),
        format,
    };
    let silent = Comparison::default();
    let share: Ratio = table.quantity_or(
        "share",
        Demand::Within(0.001, 1.0),
        Ratio::new(silent.share),
    );
    let power: Ratio = table.quantity_or(
        "power",
        Demand::Within(0.5, 0.999),
        Ratio::new(silent.power),
    );
    let mut key = Vec::new();
    for node in listed(table) {
        let Some(text) = table.any_text_in(node) else {
            continue;
        };
        let Some((scenario, metric)) = text.rsplit_once('.') else {
            table.fault(
                Fault::error(&node.place, "this names no metric")
                    .expected("a scenario and a metric, such as \"short.trip_time\""),
            );
            continue;
        };
        let Some(found) = scenario_of(table, node, scenario, &known) else {
            continue;
        };
        let Some(metric) = metric_of(table, node, metric, found.kind, format) else {
            continue;
        };
        let path = MetricPath {
            scenario: found.name.clone(),
            metric: metric.key,
        };
        if key.contains(&path) {
            table.fault(Fault::error(&node.place, "this is in the list already"));
        } else {
            key.push(path);
        }
    }
    let margins = table
        .optional_table("margin")
        .map_or_else(Vec::new, |table| margins(&table, &known));
    table.finish();
    Comparison {
        key,
        share: share.si(),
        power: power.si(),
        margins,
    }
}

fn listed<'a>(table: &Table<'a>) -> &'a [Node] {
    let Some(node) = table.take("key") else {
        return &[];
    };
    let fault = match &node.kind {
        Kind::Array(items) if !items.is_empty() => return items,
        Kind::Array(_) => "the list is empty".to_owned(),
        kind => format!("this is {}", kind.noun()),
    };
    table.fault(
        Fault::error(&node.place, fault)
            .expected("a list of metrics, such as [\"short.trip_time\"]; leave it out for all"),
    );
    &[]
}

fn scenario_of<'s>(
    table: &Table<'_>,
    at: &Node,
    name: &str,
    known: &Known<'s>,
) -> Option<&'s Scenario> {
    let scenarios = &known.scenarios;
    let found = scenarios.iter().find(|scenario| scenario.name == name);
    if found.is_none() && known.complete {
        let names = || scenarios.iter().map(|scenario| scenario.name.as_str());
        let quoted: Vec<String> = names().map(|name| format!("\"{name}\"")).collect();
        let near = nearest(name, names());
        table.fault(
            Fault::error(
                &at.place,
                format!(
                    "no scenario of this plan is called \"{}\"",
                    name.escape_debug()
                ),
            )
            .expected(quoted.join(", "))
            .maybe_hint(near.map(|near| format!("did you mean \"{near}\"?"))),
        );
    }
    found.copied()
}

fn metric_of(
    table: &Table<'_>,
    at: &Node,
    key: &str,
    kind: ScenarioKind,
    format: i64,
) -> Option<&'static Metric> {
    let now = renamed(key);
    let found = kind.metric(now.filter(|_| format == 1).unwrap_or(key));
    if found.is_none() {
        let keys = || kind.entry().metrics.iter().map(|metric| metric.key);
        let near = now
            .filter(|now| kind.metric(now).is_some())
            .or_else(|| nearest(key, keys()));
        let quoted: Vec<String> = keys().map(|key| format!("`{key}`")).collect();
        table.fault(
            Fault::error(
                &at.place,
                format!("`{kind}` scenarios do not measure `{}`", key.escape_debug()),
            )
            .expected(quoted.join(", "))
            .maybe_hint(near.map(|near| format!("did you mean `{near}`?"))),
        );
    }
    found
}

/// `short.trip_time = "2 ms"`, or `{ below = "1 ms", above = "3 ms" }`.
fn margins(table: &Table<'_>, known: &Known<'_>) -> Vec<DeclaredMargin> {
    let mut margins = Vec::new();
    for entry in table.rest() {
        let at = Node {
            place: entry.key_place.clone(),
            kind: Kind::Boolean(true),
        };
        let Some(scenario) = scenario_of(table, &at, &entry.key, known) else {
            continue;
        };
        let Some(metrics) = table.table_in(&entry.key, &entry.node) else {
            continue;
        };
        for entry in metrics.rest() {
            margins.extend(margin(&metrics, entry, scenario, known.format));
        }
    }
    margins
}

fn margin(
    table: &Table<'_>,
    entry: &Entry,
    scenario: &Scenario,
    format: i64,
) -> Option<DeclaredMargin> {
    let at = Node {
        place: entry.key_place.clone(),
        kind: Kind::Boolean(true),
    };
    let metric = metric_of(table, &at, &entry.key, scenario.kind, format)?;
    let (below, above) = match &entry.node.kind {
        Kind::Table(sides) => {
            let side = |key: &str| {
                let found = sides.iter().find(|side| side.key == key);
                if found.is_none() {
                    table.fault(
                        Fault::error(&entry.node.place, format!("`{key}` is missing"))
                            .expected("`below` and `above`"),
                    );
                }
                table.si_in(&found?.node, metric.dimension, Demand::Positive)
            };
            for side in sides {
                if side.key != "below" && side.key != "above" {
                    table.fault(
                        Fault::error(
                            &side.key_place,
                            format!("`{}` is not a key here", side.key.escape_debug()),
                        )
                        .expected("`below` and `above`"),
                    );
                }
            }
            (side("below"), side("above"))
        }
        _ => {
            let size = table.si_in(&entry.node, metric.dimension, Demand::Positive);
            (size, size)
        }
    };
    Some(DeclaredMargin {
        of: MetricPath {
            scenario: scenario.name.clone(),
            metric: metric.key,
        },
        below: below?,
        above: above?,
    })
}
