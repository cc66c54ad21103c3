//! The page at the bench: the day's boards run, watched and looked up from a browser.
//! It adds no second way to run: files, sittings, events, cautions and records are
//! those of the command, and it computes and judges nothing.

mod address;
mod bench_view;
mod board_view;
mod choosing;
mod command;
mod compare_view;
mod desk;
mod desk_view;
mod gauge;
mod guard;
mod hand;
mod lookup;
mod lot_view;
mod markup;
mod metric_view;
mod pages;
mod patience;
mod picture;
mod plan_view;
mod plot;
mod record_view;
mod relay;
mod run_view;
mod server;
mod shelf;
mod shell;
mod stage;

pub use pages::Settings;

use crate::runner::Stop;
use crate::sitting::Hindrance;
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::from_fn_with_state;
use axum::routing::{get, post};
use desk::Desk;
use guard::Guard;
use hand::{Ask, House};
use pages::Pages;
use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;

/// Bytes that a page may send: a plan with room to spare.
const LONGEST_BODY: usize = 1 << 20;

/// Between two signs of life to the pages.
const BEAT: Duration = Duration::from_secs(5);

/// A server that listens and serves nothing yet.
pub struct Server {
    listener: TcpListener,
    guard: Guard,
    at: SocketAddr,
}

impl Server {
    /// Listens at `at`; on an address that others can reach, with a token.
    ///
    /// # Errors
    /// [`Hindrance::Bench`] where that cannot be had.
    pub fn listen(at: SocketAddr, names: &[String]) -> Result<Self, Hindrance> {
        let had = || {
            let listener = TcpListener::bind(at)?;
            listener.set_nonblocking(true)?;
            let at = listener.local_addr()?;
            let guard = Guard::new(at, names.to_vec())?;
            Ok(Self {
                listener,
                guard,
                at,
            })
        };
        had().map_err(|fault: std::io::Error| {
            Hindrance::Bench(format!("the server cannot listen at {at}: {fault}"))
        })
    }

    /// The address that a browser opens, with the token where one is asked for.
    pub fn address(&self) -> String {
        let at = self.at;
        match self.guard.token() {
            Some(token) => format!("http://{at}/?token={token}"),
            None => format!("http://{at}/"),
        }
    }

    /// Serves until `stop` is raised. A board that runs then ends, its bench made
    /// safe, before this returns.
    ///
    /// # Errors
    /// [`Hindrance::Bench`] where the machine gives no thread or socket.
    pub async fn serve(self, settings: Settings, mut stop: Stop) -> Result<(), Hindrance> {
        let told = |fault: std::io::Error| Hindrance::Bench(format!("no server: {fault}"));
        let desk = Arc::new(Desk::new());
        let house = House {
            records: settings.records.clone(),
            letterhead: settings.letterhead.clone(),
            files: settings.files.clone(),
            seed: settings.seed,
        };
        let (asks, hand) = hand::start(Arc::clone(&desk), house).map_err(told)?;
        let listener = tokio::net::TcpListener::from_std(self.listener).map_err(told)?;
        let pages = Pages::new(settings, Arc::clone(&desk), asks.clone());
        let router = router(pages, Arc::new(self.guard));
        let over = async {
            let mut beats = tokio::time::interval(BEAT);
            loop {
                tokio::select! {
                    () = stop.raised() => break,
                    _ = beats.tick() => desk.beat(),
                }
            }
            desk.end();
            // Whatever it does, it is asked nothing more after this.
            let _ = asks.send(Ask::End).await;
            let _ = tokio::task::spawn_blocking(move || hand.join()).await;
            desk.close();
        };
        server::serve(listener, router, over).await;
        Ok(())
    }
}

fn router(pages: Pages, guard: Arc<Guard>) -> Router {
    Router::new()
        .route("/", get(choosing::run_page))
        .route("/events", get(command::events))
        .route("/state", get(command::state))
        .route("/sitting", post(command::open))
        .route("/close", post(command::close))
        .route("/board", post(command::board))
        .route("/start", post(command::start))
        .route("/leave", post(command::leave))
        .route("/stop", post(command::stop))
        .route("/answer", post(command::answer))
        .route("/take-over", post(command::take_over))
        .route("/boards", get(lookup::boards))
        .route("/board/{serial}", get(board_view::board))
        .route("/run/{run}", get(record_view::run))
        .route(
            "/run/{run}/capture/{scenario}/{number}",
            get(record_view::capture),
        )
        .route("/run/{run}/paper/{name}", get(record_view::paper))
        .route("/run/{run}/file/{name}", get(record_view::file))
        .route("/lots", get(lot_view::lots))
        .route("/lot/{lot}", get(lot_view::lot))
        .route("/lot/{lot}/paper/{name}", get(lot_view::paper))
        .route("/compare", get(compare_view::compare))
        .route("/bench", get(bench_view::bench))
        .route("/plan", get(plan_view::plan))
        .route("/plan/check", post(plan_view::check))
        .route("/plan/save", post(plan_view::save))
        .route("/page.css", get(shell::style))
        .route("/page.js", get(shell::script))
        .fallback(shell::nothing)
        .method_not_allowed_fallback(shell::nothing)
        .with_state(pages)
        .layer(DefaultBodyLimit::max(LONGEST_BODY))
        .layer(from_fn_with_state(guard, guard::at_the_door))
}
