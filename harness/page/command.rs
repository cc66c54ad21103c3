//! What a page asks for: events to watch, and commands. Each command says which page it
//! comes from; nothing here decides whether a board may run.

use super::choosing::too_many;
use super::desk::{Refused, Seat};
use super::guard::plain;
use super::hand::{Ask, Reply};
use super::pages::At;
use super::run_view;
use super::shelf::Choice;
use super::shell::typed;
use super::stage::Phase;
use crate::units::{Celsius, parse};
use axum::Form;
use axum::body::Body;
use axum::extract::{Query, State};
use axum::http::{Response, StatusCode};
use serde::Deserialize;
use tokio::sync::oneshot;

/// What stands in an empty field.
fn stated(text: &str) -> Option<String> {
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

fn done() -> Response<Body> {
    plain(StatusCode::NO_CONTENT, "")
}

fn not_done(why: impl Into<String>) -> Response<Body> {
    plain(StatusCode::CONFLICT, why)
}

fn answered(answer: Result<(), Refused>) -> Response<Body> {
    match answer {
        Ok(()) => done(),
        Err(why) => not_done(why),
    }
}

#[derive(Deserialize)]
pub(super) struct Watch {
    #[serde(default)]
    seat: String,
}

/// The events of the bench, as long as the page is open.
pub(super) async fn events(State(pages): At, Query(watch): Query<Watch>) -> Response<Body> {
    let Some(seat) = Seat::of(&watch.seat) else {
        return plain(
            StatusCode::BAD_REQUEST,
            "A page that watches names itself.\n",
        );
    };
    match pages.desk().watch(seat) {
        Some(watching) => typed(StatusCode::OK, "text/event-stream", Body::new(watching)),
        None => too_many(),
    }
}

/// How it stands, for a client that draws nothing.
pub(super) async fn state(State(pages): At) -> Response<Body> {
    let state = pages.desk().look(run_view::state);
    typed(StatusCode::OK, "application/json", state.to_string())
}

#[derive(Deserialize)]
pub(super) struct Opening {
    #[serde(default)]
    seat: String,
    plan: String,
    #[serde(default)]
    bench: String,
    #[serde(default)]
    lot: String,
    #[serde(default)]
    operator: String,
    #[serde(default)]
    ambient: String,
    #[serde(default)]
    confirmed: String,
}

/// Opens a bench.
pub(super) async fn open(State(pages): At, Form(form): Form<Opening>) -> Response<Body> {
    if let Err(why) = commands(&pages, &form.seat) {
        return not_done(why);
    }
    let ambient = match stated(&form.ambient) {
        None => None,
        Some(text) => match parse::<Celsius>(&text) {
            Ok(ambient) => Some(ambient),
            Err(fault) => {
                return not_done(format!("ambient temperature: {fault}; write it as 23 degC"));
            }
        },
    };
    let choice = Choice {
        plan: form.plan,
        bench: form.bench,
        lot: form.lot.trim().to_owned(),
        operator: stated(&form.operator),
        ambient,
        confirmed: form.confirmed == "yes",
    };
    let Some(seat) = Seat::of(&form.seat) else {
        return not_done(NAMELESS);
    };
    let closed = |phase: &Phase| *phase == Phase::Closed;
    if pages.desk().turn(&seat, closed).is_err() {
        return not_done("a bench is open already");
    }
    let choice = Box::new(choice);
    asked(&pages, |reply| Ask::Open { choice, reply }).await
}

#[derive(Deserialize)]
pub(super) struct Bare {
    #[serde(default)]
    seat: String,
}

/// Closes the bench.
pub(super) async fn close(State(pages): At, Form(form): Form<Bare>) -> Response<Body> {
    if let Err(why) = idle(&pages, &form.seat) {
        return not_done(why);
    }
    asked(&pages, |reply| Ask::Close { reply }).await
}

/// Leaves the board out that was scanned.
pub(super) async fn leave(State(pages): At, Form(form): Form<Bare>) -> Response<Body> {
    if let Err(why) = idle(&pages, &form.seat) {
        return not_done(why);
    }
    asked(&pages, |reply| Ask::Leave { reply }).await
}

#[derive(Deserialize)]
pub(super) struct Scanned {
    #[serde(default)]
    seat: String,
    serial: String,
    #[serde(default)]
    retest: String,
}

/// A serial number was scanned.
pub(super) async fn board(State(pages): At, Form(form): Form<Scanned>) -> Response<Body> {
    if let Err(why) = idle(&pages, &form.seat) {
        return not_done(why);
    }
    let (serial, retest) = (form.serial, stated(&form.retest));
    let ask = |reply| Ask::Scan {
        serial,
        retest,
        reply,
    };
    match told(&pages, ask).await {
        Some(Ok(())) => done(),
        // Why stands at the desk, which every page shows.
        Some(Err(why)) => plain(StatusCode::UNPROCESSABLE_ENTITY, why),
        None => not_done(BUSY),
    }
}

#[derive(Deserialize)]
pub(super) struct Starting {
    #[serde(default)]
    seat: String,
    nonce: String,
}

/// The board is in the fixture and nobody's hands are.
pub(super) async fn start(State(pages): At, Form(form): Form<Starting>) -> Response<Body> {
    if let Err(why) = idle(&pages, &form.seat) {
        return not_done(why);
    }
    let nonce = form.nonce;
    asked(&pages, |reply| Ask::Start { nonce, reply }).await
}

/// Stops what runs: any page may.
pub(super) async fn stop(State(pages): At) -> Response<Body> {
    match pages.desk().stop() {
        true => done(),
        false => not_done("nothing runs"),
    }
}

#[derive(Deserialize)]
pub(super) struct Typed {
    #[serde(default)]
    seat: String,
    question: u64,
    typed: String,
}

/// What the person did or read.
pub(super) async fn answer(State(pages): At, Form(form): Form<Typed>) -> Response<Body> {
    if let Err(why) = commands(&pages, &form.seat) {
        return not_done(why);
    }
    answered(pages.desk().answer(form.question, form.typed))
}

/// The page commands from now on.
pub(super) async fn take_over(State(pages): At, Form(form): Form<Bare>) -> Response<Body> {
    match Seat::of(&form.seat) {
        Some(seat) => answered(pages.desk().take_over(&seat)),
        None => not_done(NAMELESS),
    }
}

const NAMELESS: &str = "a page that commands names itself";
const BUSY: &str = "the bench is busy: wait for what it does";

/// Whether that page commands.
fn commands(pages: &super::pages::Pages, seat: &str) -> Result<(), Refused> {
    let seat = Seat::of(seat).ok_or(NAMELESS)?;
    pages.desk().commanded_by(&seat)
}

/// Whether it commands, a bench is open and nothing runs; then it is its turn.
fn idle(pages: &super::pages::Pages, seat: &str) -> Result<(), Refused> {
    let seat = Seat::of(seat).ok_or(NAMELESS)?;
    let waits = |phase: &Phase| {
        matches!(
            phase,
            Phase::Ready | Phase::Refused { .. } | Phase::Confirming { .. }
        )
    };
    pages.desk().turn(&seat, waits)
}

/// Asks the hand, whose turn it is, and waits until it says that it is done or begun.
async fn asked(pages: &super::pages::Pages, ask: impl FnOnce(Reply) -> Ask) -> Response<Body> {
    answered(
        told(pages, ask)
            .await
            .unwrap_or_else(|| Err(BUSY.to_owned())),
    )
}

/// What the hand says to what it is asked; nothing where it takes no more.
async fn told(
    pages: &super::pages::Pages,
    ask: impl FnOnce(Reply) -> Ask,
) -> Option<Result<(), Refused>> {
    let (reply, told) = oneshot::channel();
    if pages.asks().try_send(ask(reply)).is_err() {
        pages.desk().has_turned();
        return None;
    }
    told.await.ok()
}
