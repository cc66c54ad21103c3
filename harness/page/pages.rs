//! What every page has at hand: how the server was begun, the desk, and the way to the
//! hand that works the bench. It answers nothing.

use super::desk::Desk;
use super::hand::Ask;
use crate::handout::Letterhead;
use crate::seed::Seed;
use axum::extract::State;
use std::path::PathBuf;
use std::sync::Arc;
use tokio::sync::mpsc;

/// What a server is told before it begins.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Names by which it is reached besides its address.
    pub names: Vec<String>,
    /// The folder of plans, benches and lots.
    pub files: PathBuf,
    /// The folder of the records.
    pub records: PathBuf,
    /// Who issues papers.
    pub letterhead: Option<Letterhead>,
    /// Who is at the bench, unless a page says otherwise.
    pub operator: Option<String>,
    /// The lot, unless a page says otherwise.
    pub lot: Option<String>,
    /// The key that stops beside Escape, as a foot switch types it.
    pub stop_key: String,
    /// Seed of the embedded model bench.
    pub seed: Seed,
}

/// What every page has at hand.
#[derive(Clone)]
pub(super) struct Pages(Arc<Within>);

struct Within {
    settings: Settings,
    desk: Arc<Desk>,
    asks: mpsc::Sender<Ask>,
}

impl Pages {
    pub(super) fn new(settings: Settings, desk: Arc<Desk>, asks: mpsc::Sender<Ask>) -> Self {
        Self(Arc::new(Within {
            settings,
            desk,
            asks,
        }))
    }

    pub(super) fn desk(&self) -> &Arc<Desk> {
        &self.0.desk
    }

    pub(super) fn settings(&self) -> &Settings {
        &self.0.settings
    }

    pub(super) fn asks(&self) -> &mpsc::Sender<Ask> {
        &self.0.asks
    }
}

/// What a handler is given.
pub(super) type At = State<Pages>;
