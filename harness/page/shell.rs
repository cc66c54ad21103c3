//! What every view has around it: head, ways to the other views, and the stop that is
//! always reachable. It knows what no view is about.

use super::markup::Markup;
use super::pages::{At, Pages};
use crate::digest::Digest;
use axum::body::Body;
use axum::extract::State;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::http::{HeaderValue, Response, StatusCode};
use std::sync::LazyLock;

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");

/// What tells this version's files from another's, so that a browser may keep them.
static VERSION: LazyLock<String> =
    LazyLock::new(|| Digest::of_parts([STYLE.as_bytes(), SCRIPT.as_bytes()]).short());

/// The views.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum View {
    Run,
    Boards,
    Lots,
    Compare,
    Bench,
    Plan,
}

impl View {
    const ALL: [(Self, &'static str, &'static str); 6] = [
        (Self::Run, "/", "Run"),
        (Self::Boards, "/boards", "Boards"),
        (Self::Lots, "/lots", "Lots"),
        (Self::Compare, "/compare", "Compare"),
        (Self::Bench, "/bench", "Bench"),
        (Self::Plan, "/plan", "Plan"),
    ];
}

/// A whole page.
pub(super) fn page(pages: &Pages, view: View, title: &str, body: &Markup) -> Response<Body> {
    let mut out = Markup::default();
    out.put(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\
         <meta name=\"color-scheme\" content=\"light dark\"><title>{} \u{2013} Bufferstop</title>\
         <link rel=\"icon\" href=\"data:,\"><link rel=\"stylesheet\" href=\"/page.css?{}\">\
         <script src=\"/page.js?{}\"></script></head>",
        &[&title, &*VERSION, &*VERSION],
    );
    out.put(
        "<body data-view=\"{}\" data-stop-key=\"{}\"><a class=\"skip\" href=\"#main\">To the content</a>\
         <header class=\"top\"><a class=\"brand\" href=\"/\">Bufferstop</a><nav aria-label=\"Views\">",
        &[&format!("{view:?}").to_lowercase(), &pages.settings().stop_key],
    );
    for (other, address, name) in View::ALL {
        let here = match other == view {
            true => " aria-current=\"page\"",
            false => "",
        };
        out.put("<a href=\"{}\"", &[&address]);
        out.raw(here).put(">{}</a>", &[&name]);
    }
    out.raw(
        "</nav><div class=\"tools\"><span id=\"chip\" role=\"status\"></span>\
         <button id=\"sound\" type=\"button\" aria-pressed=\"false\">Sound</button>\
         <button id=\"theme\" type=\"button\">Light or dark</button>\
         <button id=\"stop\" type=\"button\" class=\"stop\" disabled>Stop <kbd>Esc</kbd></button></div></header>\
         <p id=\"lost\" class=\"banner\" role=\"alert\" hidden>No connection to the bench computer. What is shown \
         may be old; a board that runs there goes on or is made safe there.</p>\
         <div id=\"watching\" class=\"banner\" hidden><span>Another page commands this bench; this one watches.</span> \
         <button type=\"button\" data-post=\"/take-over\">Take over</button></div>\
         <p id=\"message\" role=\"alert\"></p><main id=\"main\" tabindex=\"-1\">",
    );
    out.add(body).raw("</main></body></html>\n");
    html(StatusCode::OK, out)
}

/// Markup as an answer.
pub(super) fn html(status: StatusCode, markup: Markup) -> Response<Body> {
    typed(status, "text/html; charset=utf-8", markup.into_string())
}

/// Bytes of a kind as an answer.
pub(super) fn typed(
    status: StatusCode,
    kind: &'static str,
    bytes: impl Into<Body>,
) -> Response<Body> {
    let mut answer = Response::new(bytes.into());
    *answer.status_mut() = status;
    let kind = HeaderValue::from_static(kind);
    answer.headers_mut().insert(CONTENT_TYPE, kind);
    answer
}

/// A view that has nothing to show, with the reason.
pub(super) fn refused(pages: &Pages, view: View, status: StatusCode, why: &str) -> Response<Body> {
    let mut body = Markup::default();
    body.put(
        "<section class=\"panel\"><h1>Nothing to show</h1><p class=\"told\">{}</p></section>",
        &[&why],
    );
    let mut answer = page(pages, view, "Nothing to show", &body);
    *answer.status_mut() = status;
    answer
}

/// An address that no view has.
pub(super) async fn nothing(State(pages): At) -> Response<Body> {
    let why = "No view has this address.";
    refused(&pages, View::Run, StatusCode::NOT_FOUND, why)
}

/// The style of every view.
pub(super) async fn style() -> Response<Body> {
    kept(typed(StatusCode::OK, "text/css; charset=utf-8", STYLE))
}

/// The script of every view.
pub(super) async fn script() -> Response<Body> {
    kept(typed(
        StatusCode::OK,
        "text/javascript; charset=utf-8",
        SCRIPT,
    ))
}

/// What its address tells from any other version.
fn kept(mut answer: Response<Body>) -> Response<Body> {
    let keep = HeaderValue::from_static("private, max-age=31536000, immutable");
    answer.headers_mut().insert(CACHE_CONTROL, keep);
    answer
}
