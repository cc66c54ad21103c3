//! What every page has at hand: how the server was begun, the desk, and the way to the
//! hand that works the bench. It answers nothing.

use super::desk::Desk;
use super::hand::Ask;
use crate::handout::Letterhead;
use crate::seed::Seed;
use axum::extract::State;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::SystemTime;
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
    /// The stores whose list of runs was found whole, each as its file was then.
    whole: Mutex<BTreeMap<PathBuf, FileState>>,
}

/// What changes with every change of a file.
type FileState = (u64, Option<SystemTime>);

impl Pages {
    pub(super) fn new(settings: Settings, desk: Arc<Desk>, asks: mpsc::Sender<Ask>) -> Self {
        Self(Arc::new(Within {
            settings,
            desk,
            asks,
            whole: Mutex::default(),
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

    /// Whether the store at `path` was found whole as it is.
    pub(super) fn is_known_whole(&self, path: &Path) -> bool {
        let whole = self.0.whole.lock().unwrap_or_else(PoisonError::into_inner);
        let now = state_of(path);
        now.is_some() && whole.get(path) == now.as_ref()
    }

    /// The store at `path` was found whole.
    pub(super) fn is_whole(&self, path: PathBuf) {
        let mut whole = self.0.whole.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(now) = state_of(&path) {
            whole.insert(path, now);
        }
    }
}

/// As the file is now; nothing where that cannot be known.
fn state_of(path: &Path) -> Option<FileState> {
    let found = std::fs::metadata(path).ok()?;
    Some((found.len(), found.modified().ok()))
}

/// What a handler is given.
pub(super) type At = State<Pages>;
