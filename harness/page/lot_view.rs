//! Lots: which there are, and one summed up. It reads the store; what a lot comes to is
//! found elsewhere.

use super::address::{Nothing, beside};
use super::lookup::{Wanted, is_model, of_store};
use super::markup::{Markup, in_address};
use super::pages::At;
use super::pages::Pages;
use super::record_view::handout;
use super::shell::{View, page};
use crate::comparison::{LotSummary, MetricSummary, summarise, terms};
use crate::handout::lot_words::{self, span};
use crate::handout::{Form, lot_summary};
use crate::ident::LotName;
use crate::measurement::in_words;
use crate::sitting;
use crate::store::Kind;
use crate::units::{show, typeset};
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::Response;

/// Lots on the list.
const MOST_LOTS: u32 = 500;

/// The lots, the last one first.
pub(super) async fn lots(State(pages): At, Query(wanted): Query<Wanted>) -> Response<Body> {
    beside(pages, View::Lots, move |pages| {
        let kind = pages.kind(is_model(&wanted.model));
        let mut body = Markup::default();
        body.raw("<section class=\"panel\"><h1>Lots</h1><form class=\"filters\" method=\"get\" action=\"/lots\">")
            .add(&of_store(kind))
            .raw("<button>Show</button></form>");
        let lots = match pages.reader(kind)? {
            Some(reader) => reader.lots(MOST_LOTS)?,
            None => Vec::new(),
        };
        if lots.is_empty() {
            body.raw("<p class=\"quiet\">No board of a lot has been run.</p></section>");
            return Ok(page(pages, View::Lots, "Lots", &body));
        }
        body.raw(
            "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Lots\"><table><thead><tr>\
             <th scope=\"col\">Lot</th><th scope=\"col\" class=\"n\">Runs</th>\
             <th scope=\"col\">Last run (UTC)</th><th scope=\"col\">Runs</th></tr></thead><tbody>",
        );
        let model = of_model(kind);
        for found in lots {
            let name = in_address(found.lot.as_str());
            body.put(
                "<tr><td><a href=\"/lot/{}?model={}\">{}</a></td><td class=\"n\">{}</td>\
                 <td>{}</td><td><a href=\"/boards?lot={}&amp;model={}\">list</a></td></tr>",
                &[
                    &name, &model, &found.lot, &found.runs,
                    &found.last.strftime("%Y-%m-%d %H:%M"),
                    &name, &model,
                ],
            );
        }
        body.raw("</tbody></table></div></section>");
        Ok(page(pages, View::Lots, "Lots", &body))
    })
    .await
}

fn of_model(kind: Kind) -> &'static str {
    match kind {
        Kind::Records => "no",
        Kind::Model => "yes",
    }
}

fn summed_up(pages: &Pages, lot: &str, kind: Kind) -> Result<LotSummary, Nothing> {
    let absent = || Nothing::Absent("No lot of this name is known.".to_owned());
    let name: LotName = lot.parse().map_err(|_| absent())?;
    let path = pages.store(kind);
    if !path.exists() {
        return Err(absent());
    }
    let readings = sitting::lot(&path, &name)?;
    Ok(summarise(&readings, &terms(&[&readings])))
}

/// A lot summed up.
pub(super) async fn lot(
    State(pages): At,
    Path(lot): Path<String>,
    Query(wanted): Query<Wanted>,
) -> Response<Body> {
    beside(pages, View::Lots, move |pages| {
        let kind = pages.kind(is_model(&wanted.model));
        let found = summed_up(pages, &lot, kind)?;
        let name = in_address(&lot);
        let model = of_model(kind);
        let mut body = Markup::default();
        let words = if kind == Kind::Model { "MODEL lot" } else { "Lot" };
        body.put(
            "<section class=\"panel\"><h1>{} {} <small>{} boards</small></h1><p class=\"row\">\
             <a class=\"button\" href=\"/lot/{}/paper/lot.pdf?model={}\">Summary with charts (PDF)</a> \
             <a class=\"button\" href=\"/lot/{}/paper/lot.html?model={}\">Summary with charts (page)</a> \
             <a class=\"button\" href=\"/boards?lot={}&amp;model={}\">Its runs</a> \
             <a class=\"button\" href=\"/compare?candidate={}&amp;model={}\">Compare it</a></p><dl class=\"facts\">",
            &[
                &words, &found.lot.name, &found.first_pass.of, &name, &model, &name, &model, &name,
                &model, &name, &model,
            ],
        );
        for (label, share) in lot_words::yields(&found) {
            body.put("<div><dt>{}</dt><dd>{}</dd></div>", &[&label, &share]);
        }
        for (place, part) in &found.parts {
            body.put("<div><dt>{}</dt><dd>{}</dd></div>", &[place, part]);
        }
        body.raw("</dl>");
        for warning in &found.warnings {
            body.put("<p class=\"told\">{}</p>", &[warning]);
        }
        body.raw("</section>");
        rows(
            &mut body,
            "What boards failed by",
            &["Metric", ">Boards", ">Of failures", ">Cumulated", ">Not judged"],
            &lot_words::failing_rows(&found),
        );
        let retested: Vec<Vec<String>> = found.retested.iter().map(lot_words::retest_row).collect();
        rows(
            &mut body,
            "Tested again",
            &["Board", "Runs", "Last reason"],
            &retested,
        );
        let metrics: Vec<Vec<String>> = found
            .metrics
            .iter()
            .map(|metric| line(metric, found.at_last.of))
            .collect();
        rows(
            &mut body,
            "Metrics",
            &["Scenario", "Metric", ">Mean", ">Standard deviation", "Limit", ">Ppk", "To look at"],
            &metrics,
        );
        Ok(page(pages, View::Lots, &format!("Lot {lot}"), &body))
    })
    .await
}

fn line(metric: &MetricSummary, boards: usize) -> Vec<String> {
    let dimension = metric.dimension;
    let moments = metric.readings.moments;
    let none = || "\u{2013}".to_owned();
    let mut words: Vec<String> = Vec::new();
    if let Some(chart) = &metric.chart {
        if !chart.outside.is_empty() {
            let serials = chart.outside.iter().filter_map(|at| chart.serials.get(*at));
            let serials: Vec<&str> = serials.map(String::as_str).take(5).collect();
            words.push(format!("outside: {}", serials.join(", ")));
        }
        words.extend(chart.drifts_from.map(|_| "drifts".to_owned()));
    }
    let count = moments.map_or(0, |moments| moments.count());
    if count != boards {
        words.push(format!("n {count}"));
    }
    vec![
        metric.scenario.clone(),
        in_words(&metric.label),
        moments.map_or_else(none, |moments| show(moments.mean(), dimension)),
        moments.map_or_else(none, |moments| span(moments.sd(), dimension)),
        lot_words::bounds(metric.limit, dimension),
        lot_words::index(metric),
        words.join("; "),
    ]
}

/// Rows below their headings; a heading that begins with `>` stands over numbers.
pub(super) fn rows(out: &mut Markup, title: &str, headings: &[&'static str], rows: &[Vec<String>]) {
    if rows.is_empty() {
        return;
    }
    out.put(
        "<section class=\"panel\"><h2>{}</h2><div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"{}\">\
         <table><thead><tr>",
        &[&title, &title],
    );
    let class = |heading: &str| if heading.starts_with('>') { "n" } else { "" };
    for heading in headings {
        let words = heading.trim_start_matches('>');
        out.put(
            "<th scope=\"col\" class=\"{}\">{}</th>",
            &[&class(heading), &words],
        );
    }
    out.raw("</tr></thead><tbody>");
    for row in rows {
        out.raw("<tr>");
        for (cell, heading) in row.iter().zip(headings) {
            out.put(
                "<td class=\"{}\">{}</td>",
                &[&class(heading), &typeset(cell.trim())],
            );
        }
        out.raw("</tr>");
    }
    out.raw("</tbody></table></div></section>");
}

/// The summary of a lot as a document.
pub(super) async fn paper(
    State(pages): At,
    Path((lot, name)): Path<(String, String)>,
    Query(wanted): Query<Wanted>,
) -> Response<Body> {
    beside(pages, View::Lots, move |pages| {
        let form = match name.as_str() {
            "lot.pdf" => Form::Pdf,
            "lot.html" => Form::Html,
            _ => return Err(Nothing::Absent("There is no such paper.".to_owned())),
        };
        let kind = pages.kind(is_model(&wanted.model));
        let found = summed_up(pages, &lot, kind)?;
        let bytes = lot_summary(&found, kind == Kind::Model).bytes(form);
        let bytes = bytes.map_err(|fault| Nothing::Hindered(fault.to_string()))?;
        Ok(handout(form, &format!("{lot}-{name}"), bytes))
    })
    .await
}
