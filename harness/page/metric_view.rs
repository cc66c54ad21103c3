//! Metrics as rows of a table, each on its limit line, and verdicts by form and colour: in
//! the view of a run and in that of a record. It judges nothing.

use super::gauge::gauge;
use super::markup::Markup;
use super::stage::{MetricRow, Run};
use crate::judgement::Verdict;
use crate::measurement::in_words;
use crate::units::typeset;

/// What was measured so far.
pub(super) fn metrics(run: &Run) -> Markup {
    let mut out = Markup::default();
    out.raw(
        "<table class=\"metrics\"><thead><tr><th scope=\"col\">Metric</th><th scope=\"col\" class=\"n\">Value</th>\
         <th scope=\"col\">Limit</th><th scope=\"col\">On its limit</th><th scope=\"col\">Verdict</th></tr></thead>\
         <tbody id=\"metric-rows\">",
    );
    let mut before = None;
    for row in &run.metrics {
        out.add(&metric_row(before, row));
        before = Some(row);
    }
    out.raw("</tbody></table>");
    out
}

/// A metric as a row of the table; under a heading of its own where the scenario is
/// another than of the row before.
pub(super) fn metric_row(before: Option<&MetricRow>, row: &MetricRow) -> Markup {
    let MetricRow {
        metric,
        limit,
        decision,
    } = row;
    let mut out = Markup::default();
    if before.is_none_or(|before| before.metric.scenario != metric.scenario) {
        out.put(
            "<tr class=\"group\"><th colspan=\"5\" scope=\"colgroup\">{}</th></tr>",
            &[&metric.scenario],
        );
    }
    let verdict = decision.as_ref().map(|decision| decision.verdict);
    let class = verdict.map_or("none", |verdict| sign(verdict).1);
    out.put(
        "<tr class=\"{}\"><td>{} <small>{}</small>",
        &[&class, &in_words(&metric.key), &metric.at],
    );
    let told = decision.as_ref().filter(|d| d.verdict != Verdict::Pass);
    if let Some(decision) = told {
        out.put("<small class=\"why\">{}</small>", &[&decision.reason]);
    }
    let value = metric.finding.show(metric.dimension);
    let value = typeset(&value);
    let bounds = limit
        .as_ref()
        .map(|limit| typeset(&limit.show(metric.dimension)).into_owned());
    let source = limit.as_ref().map(|limit| limit.source.clone());
    out.put(
        "</td><td class=\"n\">{}</td><td title=\"{}\">{}</td><td>",
        &[
            &value,
            &source.unwrap_or_default(),
            &bounds.unwrap_or_else(|| "\u{2013}".to_owned()),
        ],
    );
    if let Some(limit) = limit {
        out.add(&gauge(&metric.finding, limit));
    }
    out.raw("</td><td>").add(&badge(verdict)).raw("</td></tr>");
    out
}

/// A verdict's sign and class: its form differs as well as its colour.
pub(super) const fn sign(verdict: Verdict) -> (&'static str, &'static str) {
    match verdict {
        Verdict::Pass => ("\u{2713}", "pass"),
        Verdict::Fail => ("\u{2717}", "fail"),
        Verdict::Inconclusive => ("?", "open"),
    }
}

/// A verdict as a word with its sign.
pub(super) fn badge(verdict: Option<Verdict>) -> Markup {
    let mut out = Markup::default();
    match verdict {
        Some(verdict) => {
            let (sign, class) = sign(verdict);
            out.put(
                "<span class=\"badge {}\"><b aria-hidden=\"true\">{}</b> {}</span>",
                &[&class, &sign, &verdict.word()],
            );
        }
        None => {
            out.raw("<span class=\"badge none\">\u{2013}</span>");
        }
    }
    out
}
