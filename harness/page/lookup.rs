//! The list of runs: by serial number, lot, day and verdict, the newest first. It reads
//! the store and changes nothing.

use super::address::{Nothing, beside};
use super::markup::{Markup, in_address};
use super::metric_view::badge;
use super::pages::At;
use super::shell::{View, page};
use crate::ident::{LotName, Serial};
use crate::judgement::Verdict;
use crate::store::{Filter, Kind, RunHeader};
use axum::body::Body;
use axum::extract::{Query, State};
use axum::http::Response;
use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan as _};
use serde::Deserialize;
use std::str::FromStr;

/// Runs on one page of the list.
const ROWS: usize = 100;

/// What is asked of the list, as it was typed.
#[derive(Clone, Debug, Default, Deserialize)]
pub(super) struct Wanted {
    #[serde(default)]
    serial: String,
    #[serde(default)]
    lot: String,
    #[serde(default)]
    verdict: String,
    #[serde(default)]
    from: String,
    #[serde(default)]
    until: String,
    #[serde(default)]
    pub(super) model: String,
    /// Only runs that began before this moment: the next page.
    #[serde(default)]
    before: String,
}

/// Whether the model bench's records are asked for.
pub(super) fn is_model(text: &str) -> bool {
    text == "yes"
}

fn named<N: FromStr<Err: std::fmt::Display>>(what: &str, text: &str) -> Result<Option<N>, Nothing> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    let parsed = text.parse::<N>();
    parsed
        .map(Some)
        .map_err(|fault| Nothing::Wrong(format!("{what}: {fault}")))
}

impl Wanted {
    fn filter(&self) -> Result<Filter, Nothing> {
        let day = |what: &str, text: &str, later: i64| -> Result<Option<Timestamp>, Nothing> {
            let text = text.trim();
            if text.is_empty() {
                return Ok(None);
            }
            let day = text.parse::<Date>().ok();
            let day = day.and_then(|day| day.checked_add(later.days()).ok());
            let begins = day.and_then(|day| {
                TimeZone::UTC
                    .to_timestamp(day.to_datetime(Time::midnight()))
                    .ok()
            });
            let wrong = || Nothing::Wrong(format!("{what}: write a day as 2026-03-31"));
            begins.map(Some).ok_or_else(wrong)
        };
        let verdict = match self.verdict.as_str() {
            "pass" => Some(Verdict::Pass),
            "fail" => Some(Verdict::Fail),
            "inconclusive" => Some(Verdict::Inconclusive),
            "" => None,
            other => {
                let words = format!("verdict: {other} is none of pass, fail and inconclusive");
                return Err(Nothing::Wrong(words));
            }
        };
        let until = day("until", &self.until, 1)?;
        let before = named::<Timestamp>("before", &self.before)?;
        Ok(Filter {
            serial: named::<Serial>("serial number", &self.serial)?,
            lot: named::<LotName>("lot", &self.lot)?,
            verdict,
            from: day("from", &self.from, 0)?,
            until: match (until, before) {
                (Some(until), Some(before)) => Some(until.min(before)),
                (until, before) => until.or(before),
            },
            newest_first: true,
            ..Filter::default()
        })
    }

    /// The address of the page that begins before `moment`.
    fn older(&self, moment: Timestamp) -> String {
        let pairs = [
            ("serial", &self.serial),
            ("lot", &self.lot),
            ("verdict", &self.verdict),
            ("from", &self.from),
            ("until", &self.until),
            ("model", &self.model),
        ];
        let said = pairs.into_iter().filter(|(_, text)| !text.is_empty());
        let mut address = format!("/boards?before={}", in_address(&moment.to_string()));
        for (name, text) in said {
            address.push_str(&format!("&{name}={}", in_address(text)));
        }
        address
    }
}

/// The list of runs.
pub(super) async fn boards(State(pages): At, Query(wanted): Query<Wanted>) -> Response<Body> {
    beside(pages, View::Boards, move |pages| {
        let kind = pages.kind(is_model(&wanted.model));
        let mut body = Markup::default();
        body.raw("<section class=\"panel\"><h1>Boards</h1>")
            .add(&form(&wanted, kind));
        let filter = wanted.filter();
        let rows = match (&filter, pages.reader(kind)?) {
            (Ok(filter), Some(reader)) => {
                let runs = reader.runs(filter).take(ROWS + 1);
                runs.collect::<Result<Vec<RunHeader>, _>>()?
            }
            _ => Vec::new(),
        };
        if let Err(nothing) = &filter {
            body.put(
                "<p class=\"told\" role=\"alert\">{}</p>",
                &[&nothing.told().1],
            );
        } else if rows.is_empty() {
            body.raw("<p class=\"quiet\">No run is as you ask.</p>");
        }
        if !rows.is_empty() {
            body.add(&table(&rows[..rows.len().min(ROWS)]));
        }
        if rows.len() > ROWS {
            let last = rows[ROWS - 1].started;
            body.put(
                "<p class=\"row\"><a class=\"more\" href=\"{}\">older runs</a></p>",
                &[&wanted.older(last)],
            );
        }
        body.raw("</section>");
        Ok(page(pages, View::Boards, "Boards", &body))
    })
    .await
}

fn form(wanted: &Wanted, kind: Kind) -> Markup {
    let mut out = Markup::default();
    out.put(
        "<form class=\"filters\" method=\"get\" action=\"/boards\"><label>Serial number\
         <input name=\"serial\" value=\"{}\" maxlength=\"64\" spellcheck=\"false\" data-focus></label>\
         <label>Lot<input name=\"lot\" value=\"{}\" maxlength=\"64\" spellcheck=\"false\"></label>\
         <label>Verdict<select name=\"verdict\"><option value=\"\">any</option>",
        &[&wanted.serial, &wanted.lot],
    );
    for word in ["pass", "fail", "inconclusive"] {
        let chosen = if wanted.verdict == word {
            " selected"
        } else {
            ""
        };
        out.put("<option value=\"{}\"", &[&word])
            .raw(chosen)
            .put(">{}</option>", &[&word]);
    }
    out.put(
        "</select></label><label>From<input type=\"date\" name=\"from\" value=\"{}\"></label>\
         <label>Until<input type=\"date\" name=\"until\" value=\"{}\"></label>",
        &[&wanted.from, &wanted.until],
    );
    out.add(&of_store(kind)).raw("<button>Find</button></form>");
    out
}

/// Which of the two stores.
pub(super) fn of_store(kind: Kind) -> Markup {
    let mut out = Markup::default();
    let (records, model) = match kind {
        Kind::Records => (" selected", ""),
        Kind::Model => ("", " selected"),
    };
    out.raw("<label>Records of<select name=\"model\"><option value=\"no\"")
        .raw(records)
        .raw(">real boards</option><option value=\"yes\"")
        .raw(model)
        .raw(">the model bench</option></select></label>");
    out
}

/// Runs as a table.
pub(super) fn table(runs: &[RunHeader]) -> Markup {
    let mut out = Markup::default();
    out.raw(
        "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Runs\"><table class=\"runs\"><thead><tr>\
         <th scope=\"col\">Began (UTC)</th><th scope=\"col\">Board</th><th scope=\"col\">Lot</th>\
         <th scope=\"col\">Verdict</th><th scope=\"col\">Plan</th><th scope=\"col\">Run</th></tr></thead><tbody>",
    );
    for run in runs {
        let lot = run.lot.as_ref().map_or("", LotName::as_str);
        let model = if run.model { "?model=yes" } else { "" };
        out.put(
            "<tr><td>{}</td><td><a href=\"/board/{}{}\">{}</a></td><td><a href=\"/lot/{}{}\">{}</a></td><td>",
            &[
                &run.started.strftime("%Y-%m-%d %H:%M"),
                &in_address(run.serial.as_str()),
                &model,
                &run.serial,
                &in_address(lot),
                &model,
                &lot,
            ],
        );
        out.add(&badge(run.verdict));
        let marks = [
            run.model.then_some("model"),
            run.only.as_ref().map(|_| "diagnosis"),
            run.abort.as_ref().map(|_| "ended early"),
            run.finished.is_none().then_some("unfinished"),
        ];
        for mark in marks.into_iter().flatten() {
            out.put(" <small>{}</small>", &[&mark]);
        }
        out.put(
            "</td><td>{}</td><td><a href=\"/run/{}\">record</a></td></tr>",
            &[&run.plan, &in_address(run.run.as_str())],
        );
    }
    out.raw("</tbody></table></div>");
    out
}
