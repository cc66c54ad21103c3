//! Two lots beside each other: what is equivalent, what shifted, what is different. It
//! shows what the comparison found and computes nothing.

use super::address::{Nothing, beside};
use super::lookup::{is_model, of_store};
use super::lot_view::rows;
use super::markup::Markup;
use super::pages::At;
use super::pages::Pages;
use super::record_view::handout;
use super::shell::{View, page};
use crate::comparison::{LotsCompared, Row, compare_lots, terms};
use crate::handout::lot_words::{self, span};
use crate::handout::{Form, lots_compared};
use crate::ident::LotName;
use crate::measurement::in_words;
use crate::sitting;
use crate::statistics::lots::Outcome;
use crate::store::Kind;
use crate::units::show;
use axum::body::Body;
use axum::extract::{Query, State};
use axum::http::Response;
use serde::Deserialize;

/// Lots to choose from.
const MOST_LOTS: u32 = 500;

#[derive(Clone, Default, Deserialize)]
pub(super) struct Lots {
    #[serde(default)]
    baseline: String,
    #[serde(default)]
    candidate: String,
    #[serde(default)]
    model: String,
    /// A document instead of the view.
    #[serde(default)]
    paper: String,
}

/// The comparison of two lots.
pub(super) async fn compare(State(pages): At, Query(lots): Query<Lots>) -> Response<Body> {
    beside(pages, View::Compare, move |pages| {
        let kind = pages.kind(is_model(&lots.model));
        let chosen = !lots.baseline.is_empty() && !lots.candidate.is_empty();
        let found = chosen.then(|| compared(pages, &lots, kind)).transpose()?;
        if let (Some(found), false) = (&found, lots.paper.is_empty()) {
            let form = if lots.paper == "html" {
                Form::Html
            } else {
                Form::Pdf
            };
            let bytes = lots_compared(found, kind == Kind::Model).bytes(form);
            let bytes = bytes.map_err(|fault| Nothing::Hindered(fault.to_string()))?;
            let name = format!("{}-{}.{}", lots.baseline, lots.candidate, form.ending());
            return Ok(handout(form, &name, bytes));
        }
        let mut body = Markup::default();
        body.raw("<section class=\"panel\"><h1>Compare two lots</h1>");
        choose(&mut body, pages, &lots, kind)?;
        body.raw("</section>");
        if let Some(found) = &found {
            tell(&mut body, found, &lots);
        }
        Ok(page(pages, View::Compare, "Compare two lots", &body))
    })
    .await
}

fn choose(out: &mut Markup, pages: &Pages, lots: &Lots, kind: Kind) -> Result<(), Nothing> {
    let known = match pages.reader(kind)? {
        Some(reader) => reader.lots(MOST_LOTS)?,
        None => Vec::new(),
    };
    out.raw("<form class=\"filters\" method=\"get\" action=\"/compare\">");
    for (name, label, chosen) in [
        ("baseline", "Baseline", &lots.baseline),
        ("candidate", "Candidate", &lots.candidate),
    ] {
        out.put(
            "<label>{}<select name=\"{}\" required><option value=\"\"></option>",
            &[&label, &name],
        );
        for lot in &known {
            let selected = if lot.lot.as_str() == chosen {
                " selected"
            } else {
                ""
            };
            out.raw("<option")
                .raw(selected)
                .put(">{}</option>", &[&lot.lot]);
        }
        out.raw("</select></label>");
    }
    out.add(&of_store(kind))
        .raw("<button>Compare</button></form>");
    Ok(())
}

fn compared(pages: &Pages, lots: &Lots, kind: Kind) -> Result<LotsCompared, Nothing> {
    let path = pages.store(kind);
    let read = |name: &str| {
        let absent = || Nothing::Absent("No lot of this name is known.".to_owned());
        let name: LotName = name.parse().map_err(|_| absent())?;
        if !path.exists() {
            return Err(absent());
        }
        Ok(sitting::lot(&path, &name)?)
    };
    let (before, after) = (read(&lots.baseline)?, read(&lots.candidate)?);
    // Who substitutes a part writes the margins into the plan of the new lot.
    let terms = terms(&[&after, &before]);
    Ok(compare_lots(&before, &after, &terms))
}

fn tell(out: &mut Markup, found: &LotsCompared, lots: &Lots) {
    let class = match found.outcome {
        Outcome::Equivalent => "pass",
        Outcome::Different => "fail",
        Outcome::NotEnough => "open",
    };
    out.put(
        "<section class=\"panel outcome {}\"><h2>{}</h2><p>{} ({} boards) against {} ({} boards)</p><p class=\"row\">",
        &[
            &class,
            &lot_words::conclusion(found),
            &found.candidate.name,
            &found.candidate.boards,
            &found.baseline.name,
            &found.baseline.boards,
        ],
    );
    for (form, word) in [("pdf", "With charts (PDF)"), ("html", "With charts (page)")] {
        out.put(
            "<a class=\"button\" href=\"/compare?baseline={}&amp;candidate={}&amp;model={}&amp;paper={}\">{}</a> ",
            &[&lots.baseline, &lots.candidate, &lots.model, &form, &word],
        );
    }
    out.raw("</p>");
    for warning in &found.warnings {
        out.put("<p class=\"told\">{}</p>", &[warning]);
    }
    out.raw("</section>");
    let headings = [
        "Scenario",
        "Metric",
        ">Baseline",
        ">Shift",
        "90 % interval",
        ">Margin",
        "Remark",
    ];
    for (title, outcome) in [
        ("Different", Some(Outcome::Different)),
        ("Not enough boards", Some(Outcome::NotEnough)),
        ("Equivalent", Some(Outcome::Equivalent)),
        ("Recorded only", None),
    ] {
        let of = found.rows.iter().filter(|row| row.outcome == outcome);
        let of: Vec<Vec<String>> = of.map(line).collect();
        rows(out, title, &headings, &of);
    }
    let parts: Vec<Vec<String>> = found.parts.iter().map(lot_words::part_cells).collect();
    rows(out, "Parts", &["Part", "Baseline", "Candidate", ""], &parts);
}

fn line(row: &Row) -> Vec<String> {
    let dimension = row.dimension;
    let none = || "\u{2013}".to_owned();
    let mean = row.baseline.moments.map(|moments| moments.mean());
    let mut remarks: Vec<String> = row.remark.iter().cloned().collect();
    if row.shift_detected && row.outcome == Some(Outcome::Equivalent) {
        remarks.push("a shift was detected".to_owned());
    }
    if let Some(more) = row.more_boards {
        remarks.push(format!("{more} boards more would do"));
    }
    if !row.key {
        remarks.push("does not decide".to_owned());
    }
    let margin = row.margin.as_ref();
    vec![
        row.scenario.clone(),
        in_words(&row.label),
        mean.map_or_else(none, |mean| show(mean, dimension)),
        row.difference.map_or_else(none, |d| span(d, dimension)),
        lot_words::interval(row),
        margin.map_or_else(none, |margin| lot_words::margin(margin, dimension)),
        remarks.join("; "),
    ]
}
