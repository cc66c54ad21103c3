//! The guide's pages: what each scenario provokes and each metric means, from
//! the catalogue alone. It defines nothing itself.

use super::cautions::caution_of;
use super::fold::{columns, folded, hung, paragraph};
use super::keys::FILES;
use super::table;
use super::table::GAP;
use crate::plan::demo;
use crate::scenario::{
    Censoring, Entry, Form, Metric, Per, ScenarioKind, Setting, Worse, influences_on,
};
use crate::units::Dimension;
use std::fmt::Write as _;
#[cfg(test)]
use unicode_width::UnicodeWidthStr;

/// All scenarios with their metrics, in lines of at most `room` columns.
pub fn overview(room: usize) -> String {
    let mut out = String::from("The scenarios of a plan, in the order in which plans run them\n");
    for kind in ScenarioKind::ALL {
        let entry = kind.entry();
        let _ = write!(out, "\n{kind}\n");
        paragraph(&mut out, 4, entry.purpose, room);
        let keys: Vec<&str> = entry.metrics.iter().map(|metric| metric.key).collect();
        paragraph(&mut out, 4, &format!("measures: {}", keys.join(", ")), room);
    }
    out.push_str("\nA page on each:  bufferstop guide short,  bufferstop guide short.trip_time\n");
    let words: Vec<&str> = FILES.iter().map(|file| file.word).collect();
    let (last, words) = words.split_last().expect("there are kinds of files");
    let files = format!(
        "The keys of files:  bufferstop guide FILE, where FILE is {} or {last}",
        words.join(", ")
    );
    for line in folded(&files, room, 2) {
        let _ = writeln!(out, "{line}");
    }
    out
}

/// One scenario: what for, what it needs, its settings, its metrics.
pub fn scenario(entry: &Entry, room: usize) -> String {
    let mut out = format!("{}\n\n", entry.word);
    paragraph(&mut out, 2, &sentence(entry.purpose), room);
    let roles: Vec<&str> = entry.roles.iter().map(|role| role.word()).collect();
    paragraph(
        &mut out,
        2,
        &format!("It needs: {}.", roles.join(", ")),
        room,
    );
    let kind = ScenarioKind::from_word(entry.word);
    if let Some(caution) = kind.and_then(caution_of) {
        paragraph(&mut out, 2, &format!("Caution: {caution}"), room);
    }
    out.push_str("\nSettings, each with what holds where the plan does not state it\n");
    for setting in entry.settings {
        let head = format!("{} ({})", setting.name, form(setting));
        out.push('\n');
        hung(&mut out, 2, 2, &head, room);
        paragraph(&mut out, 6, setting.doc, room);
        let silent = match setting.default {
            "" => "A plan must state it.".to_owned(),
            default => format!("Without it: {default}."),
        };
        paragraph(&mut out, 6, &silent, room);
    }
    out.push_str("\nMetrics\n");
    for metric in entry.metrics {
        let _ = write!(out, "\n  {}{}\n", metric.key, unit(metric.dimension));
        paragraph(&mut out, 6, metric.definition, room);
    }
    let example = entry.metrics.first().map_or("", |metric| metric.key);
    let _ = write!(
        out,
        "\nA page on each metric:  bufferstop guide {}.{example}\n",
        entry.word
    );
    out
}

/// One metric: its definition, how often it is given, how it can be a bound,
/// what moves it, and how a plan limits it.
pub fn metric(kind: ScenarioKind, metric: &Metric, room: usize) -> String {
    let mut out = format!("{kind}.{}{}\n\n", metric.key, unit(metric.dimension));
    paragraph(&mut out, 2, metric.definition, room);
    out.push('\n');
    paragraph(&mut out, 2, per(metric.per), room);
    paragraph(&mut out, 2, bound(metric.censoring), room);
    paragraph(&mut out, 2, worse(metric), room);
    movers(&mut out, kind, metric, room);
    let _ = write!(
        out,
        "\nIn a plan\n\n  [[scenario]]\n  kind = \"{kind}\"\n\n"
    );
    let (key, bounds) = (metric.key, example(kind, metric));
    let line = format!("  {key} = {{ {bounds} }}");
    let _ = if columns(&line) <= room {
        writeln!(out, "  [scenario.limits]\n{line}")
    } else {
        let bounds = bounds.replace(", ", "\n  ");
        writeln!(out, "  [scenario.limits.{key}]\n  {bounds}")
    };
    out
}

/// What moves a metric: parts whose parameter rises, then ways of building a
/// board otherwise.
fn movers(out: &mut String, kind: ScenarioKind, metric: &Metric, room: usize) {
    let (mut parts, mut choices) = (Vec::new(), Vec::new());
    for (influence, moved) in influences_on(kind, metric.key) {
        let mut row = vec![format!("  {}", influence.parameter)];
        let rows = match influence.choice {
            None => &mut parts,
            Some(choice) => {
                row[0].push_str(&format!(" = {}", choice.is));
                row.push(choice.of.to_owned());
                &mut choices
            }
        };
        row.extend([moved.way.word(), moved.law].map(str::to_owned));
        rows.push(row);
    }
    if !parts.is_empty() {
        out.push_str("\nWhat moves it, when the first of these rises\n\n");
        out.push_str(&prose_last(&["  parameter", "goes", "by"], &parts, room));
    } else if choices.is_empty() {
        out.push_str("\nWhat moves it\n\n");
        out.push_str("  no single part of a board by more than the bench can resolve\n");
    }
    if !choices.is_empty() {
        out.push_str("\nWhat moves it, where the first of these is so\n\n");
        let headings = ["  parameter", "instead of", "goes", "by"];
        out.push_str(&prose_last(&headings, &choices, room));
    }
}

/// A table of at most `room` columns whose last column is running text: what has
/// no room beside the others goes on below.
fn prose_last(headings: &[&str], rows: &[Vec<String>], room: usize) -> String {
    let last = headings.len() - 1;
    let widest = |column: usize| {
        let cells = rows.iter().map(|row| columns(&row[column]));
        cells.chain([columns(headings[column])]).max().unwrap_or(0)
    };
    let before: usize = (0..last).map(|column| widest(column) + GAP).sum();
    let mut lines = Vec::new();
    for row in rows {
        let mut parts = folded(&row[last], room.saturating_sub(before), 0).into_iter();
        let mut line = row[..last].to_vec();
        line.push(parts.next().unwrap_or_default());
        lines.push(line);
        lines.extend(parts.map(|part| {
            let mut line = vec![String::new(); last];
            line.push(part);
            line
        }));
    }
    table(headings, &lines)
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    format!("{}{}.", first.unwrap_or_default(), letters.as_str())
}

fn unit(dimension: Dimension) -> String {
    match dimension.unit() {
        "" => String::new(),
        unit => format!("  [{unit}]"),
    }
}

fn form(setting: &Setting) -> String {
    match setting.form {
        Form::One(dimension) => format!("such as {}", dimension.example()),
        Form::List(dimension) => format!("a list of such as {}", dimension.example()),
        Form::Words(words) => format!("of: {}", words.join(", ")),
    }
}

const fn per(per: Per) -> &'static str {
    match per {
        Per::Run => "A run gives one value.",
        Per::Step => {
            "A run gives a value at each current step and polarity; a limit holds for each."
        }
        Per::Polarity => "A run gives a value in each polarity; a limit holds for each.",
        Per::Multiple => {
            "A run gives a value at each multiple of the trip current; a limit holds for each."
        }
        Per::Place => {
            "A run gives a value for each place of the short, the worst of its repeats; a limit \
             holds for each."
        }
        Per::Direction => {
            "A run gives a value in each direction across the section boundary; a limit holds for \
             each."
        }
        Per::Loading => {
            "A run gives a mean and a worst at each loading of the output; a limit holds for each."
        }
        Per::Cause => {
            "A run gives a value for each way in which the signal is lost; a limit holds for each."
        }
    }
}

const fn bound(censoring: Censoring) -> &'static str {
    match censoring {
        Censoring::Never => {
            "It is a number or, with its reason, not measured: never a made-up one. What was not \
             measured is inconclusive."
        }
        Censoring::Above => {
            "What was not seen to its end is a bound, such as \"> 198 ms\". A bound beyond the \
             limit fails; one that does not reach it is inconclusive."
        }
        Censoring::Both => {
            "What was not seen to its end, or came too soon to be resolved, is a bound, such as \
             \"> 198 ms\" or \"< 12 us\". It decides a limit only where every value that it \
             allows lies on one side."
        }
    }
}

fn worse(metric: &Metric) -> &'static str {
    match metric.worse {
        Worse::Larger => "Larger is worse: a limit is a max.",
        Worse::Smaller => "Smaller is worse: a limit is a min.",
        Worse::Either => "Both ends hurt: a limit is a min, a max or both.",
    }
}

/// A limit of sensible size in the form that a plan writes: the demo plan's own, or that of [`NOT_LIMITED`].
fn example(kind: ScenarioKind, metric: &Metric) -> String {
    let plan = demo::plan();
    let limit = written(&plan.text, kind, metric.key);
    let named = NOT_LIMITED
        .iter()
        .find(|(path, _)| *path == (kind, metric.key));
    let bounds = limit.or(named.map(|(_, bounds)| *bounds));
    format!("{}, source = \"house limit\"", bounds.unwrap_or("max = 1"))
}

/// `min` and `max` of a metric as a plan has them.
fn written<'a>(plan: &'a str, kind: ScenarioKind, key: &str) -> Option<&'a str> {
    let head = format!("\nkind = \"{kind}\"\n");
    let scenario = plan
        .split("[[scenario]]")
        .find(|part| part.starts_with(&head))?;
    let mut lines = scenario.lines();
    let line = lines.find_map(|line| line.strip_prefix(key)?.strip_prefix(" = { "))?;
    Some(line.split(", source").next().unwrap_or_default())
}

/// What the demo's plan records without a limit, with one that would do for it.
const NOT_LIMITED: &[((ScenarioKind, &str), &str)] = &[
    ((ScenarioKind::Load, "ripple"), "max = \"3 V\""),
    ((ScenarioKind::Short, "supply_dip"), "max = \"3 V\""),
    ((ScenarioKind::Reversal, "peak_current"), "max = \"46 A\""),
    ((ScenarioKind::Loss, "shutdown_time"), "max = \"20 ms\""),
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Each example has a size of its own, and a plan with it is sound.
    #[test]
    fn every_example_is_a_limit_of_its_metric() {
        let plan = demo::plan().text;
        for kind in ScenarioKind::ALL {
            for metric in kind.entry().metrics {
                let named = |(path, _): &&(_, _)| *path == (kind, metric.key);
                let limited = written(&plan, kind, metric.key).is_some();
                let listed = NOT_LIMITED.iter().find(named).is_some();
                assert!(limited != listed, "{kind}.{}", metric.key);
                let example = example(kind, metric);
                let bare = format!("format = 1\nx = {{ {example} }}\n");
                let mut faults = crate::document::Faults::new();
                let source = crate::document::Source::new("x.toml", bare);
                let tree = crate::document::Tree::read(&source, &mut faults).expect("TOML");
                let reader = crate::document::Reader::new(faults);
                let root = crate::document::Table::of(&tree, &reader);
                let table = root.optional_table("x").expect("a table");
                let any = crate::document::Demand::Any;
                let ends = ["min", "max"].map(|end| table.optional_si(end, metric.dimension, any));
                assert!(
                    ends.iter().any(Option::is_some),
                    "{kind}.{}: {example}",
                    metric.key
                );
            }
        }
    }

    #[test]
    fn every_page_fits_a_terminal_and_shows_its_definition_whole() {
        let squeezed = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        for kind in ScenarioKind::ALL {
            for room in [92, 80] {
                let page = scenario(kind.entry(), room);
                for metric in kind.entry().metrics {
                    let own = super::metric(kind, metric, room);
                    for text in [&page, &own] {
                        assert!(squeezed(text).contains(&squeezed(metric.definition)));
                        fits(text, room);
                    }
                    let page = room < 92 || own.lines().count() <= 40;
                    assert!(page, "more than a page: {own}");
                }
            }
        }
        for room in [92, 80] {
            fits(&overview(room), room);
        }
    }

    fn fits(text: &str, room: usize) {
        for line in text.lines() {
            assert!(line.width() <= room, "{room}: {line}");
        }
    }
}
