//! Listens and serves connections: so many at a time, each with limits on what it
//! may send, on how long it may take to ask and to take an answer. It knows no page.

use super::patience::Patient;
use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::future::Future;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, watch};
use tokio::task::JoinSet;

/// Connections at a time; beyond that nobody is let in until one ends.
const MOST_CONNECTIONS: usize = 256;

/// The head of a request comes within this, or it comes too late.
const HEAD: Duration = Duration::from_secs(10);

/// Bytes of the head of a request.
const LONGEST_HEAD: usize = 16 * 1024;

/// What is sent is taken within this, or the other end is dropped.
const TAKEN: Duration = Duration::from_secs(20);

/// What is under way at the end is waited for so long.
const END: Duration = Duration::from_secs(5);

/// Between two attempts where the system has no room for a connection.
const NO_ROOM: Duration = Duration::from_millis(100);

/// Serves `pages` until `over` comes; then what is under way is ended.
pub(super) async fn serve(listener: TcpListener, pages: Router, over: impl Future<Output = ()>) {
    let places = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    let (end, ended) = watch::channel(false);
    let mut connections = JoinSet::new();
    let mut over = std::pin::pin!(over);
    loop {
        while connections.try_join_next().is_some() {}
        let stream = tokio::select! {
            () = &mut over => break,
            accepted = listener.accept() => match accepted {
                Ok((stream, _)) => stream,
                Err(fault) => {
                    tracing::warn!(%fault, "a connection could not be had");
                    tokio::time::sleep(NO_ROOM).await;
                    continue;
                }
            },
        };
        // Who finds no place is turned away at once, and knows it.
        let Ok(place) = Arc::clone(&places).try_acquire_owned() else {
            continue;
        };
        let (pages, ended) = (pages.clone(), ended.clone());
        connections.spawn(async move {
            connection(stream, pages, ended).await;
            drop(place);
        });
    }
    drop(listener);
    end.send_replace(true);
    let all = async { while connections.join_next().await.is_some() {} };
    // Whoever still takes an answer then has it cut off.
    let _ = tokio::time::timeout(END, all).await;
}

async fn connection(stream: TcpStream, pages: Router, mut ended: watch::Receiver<bool>) {
    // An event is small and waits for nothing.
    let _ = stream.set_nodelay(true);
    let io = TokioIo::new(Patient::new(stream, TAKEN));
    let serving = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(LONGEST_HEAD)
        .serve_connection(io, TowerToHyperService::new(pages));
    let mut serving = std::pin::pin!(serving);
    let served = tokio::select! {
        served = serving.as_mut() => Some(served),
        () = over(&mut ended) => None,
    };
    told(match served {
        Some(served) => served,
        None => {
            serving.as_mut().graceful_shutdown();
            serving.await
        }
    });
}

/// Waits until the server ends.
async fn over(ended: &mut watch::Receiver<bool>) {
    // A sender that is gone ends it as well.
    let _ = ended.wait_for(|ended| *ended).await;
}

fn told(served: Result<(), hyper::Error>) {
    if let Err(fault) = served {
        // The other end's doing, mostly: it went away.
        tracing::debug!(%fault, "a connection ended");
    }
}
