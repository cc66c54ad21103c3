//! One board: everything that is known of it, in the order in which it happened. It
//! changes nothing.

use super::address::{Nothing, beside};
use super::lookup::{Wanted, is_model, table};
use super::markup::{Markup, in_address};
use super::pages::At;
use super::shell::{View, page};
use crate::ident::Serial;
use crate::sitting::history;
use crate::store::{Filter, RunHeader};
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::Response;

/// The history of a board.
pub(super) async fn board(
    State(pages): At,
    Path(serial): Path<String>,
    Query(wanted): Query<Wanted>,
) -> Response<Body> {
    beside(pages, View::Boards, move |pages| {
        let absent = || Nothing::Absent("No board of this serial number is known.".to_owned());
        let serial: Serial = serial.parse().map_err(|_| absent())?;
        let reader = pages.reader(pages.kind(is_model(&wanted.model)))?;
        let reader = reader.ok_or_else(absent)?;
        let filter = Filter {
            serial: Some(serial.clone()),
            newest_first: true,
            ..Filter::default()
        };
        let runs = reader
            .runs(&filter)
            .collect::<Result<Vec<RunHeader>, _>>()?;
        if runs.is_empty() {
            return Err(absent());
        }
        let mut body = Markup::default();
        body.put("<section class=\"panel\"><h1>{}</h1>", &[&serial]);
        body.add(&table(&runs));
        body.raw("</section><section class=\"panel\"><h2>What happened</h2><ol class=\"history\">");
        for happened in history(&reader, &serial)?.iter().rev() {
            body.put(
                "<li><time>{}</time><div>",
                &[&happened.at.strftime("%Y-%m-%d %H:%M:%S UTC")],
            );
            let mut lines = happened.lines.iter();
            if let Some(first) = lines.next() {
                body.put(
                    "<a href=\"/run/{}\">{}</a>",
                    &[&in_address(happened.run.as_str()), first],
                );
            }
            for line in lines {
                body.put("<p>{}</p>", &[line]);
            }
            body.raw("</div></li>");
        }
        body.raw("</ol></section>");
        Ok(page(pages, View::Boards, serial.as_str(), &body))
    })
    .await
}
