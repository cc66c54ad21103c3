//! Work that waits for a disk, done beside the pages, and what hinders it as a view. It
//! knows no view.

use super::pages::Pages;
use super::shell::{View, refused};
use crate::sitting::Hindrance;
use crate::store::{Kind, Reader};
use axum::body::Body;
use axum::http::{Response, StatusCode};
use std::path::PathBuf;

/// Why a view shows nothing.
#[derive(Debug)]
pub(super) enum Nothing {
    /// There is no such thing.
    Absent(String),
    /// What was asked cannot be.
    Wrong(String),
    /// Something hinders it.
    Hindered(String),
}

impl From<Hindrance> for Nothing {
    fn from(hindrance: Hindrance) -> Self {
        match hindrance {
            Hindrance::Usage(why) => Self::Absent(why),
            other => Self::Hindered(other.to_string()),
        }
    }
}

impl From<crate::store::StoreError> for Nothing {
    fn from(fault: crate::store::StoreError) -> Self {
        Hindrance::from(fault).into()
    }
}

impl Nothing {
    /// With its status.
    pub(super) fn told(&self) -> (StatusCode, &str) {
        match self {
            Self::Absent(why) => (StatusCode::NOT_FOUND, why),
            Self::Wrong(why) => (StatusCode::BAD_REQUEST, why),
            Self::Hindered(why) => (StatusCode::INTERNAL_SERVER_ERROR, why),
        }
    }
}

/// An answer whose making reads files.
pub(super) async fn beside(
    pages: Pages,
    view: View,
    work: impl FnOnce(&Pages) -> Result<Response<Body>, Nothing> + Send + 'static,
) -> Response<Body> {
    let own = pages.clone();
    let done = tokio::task::spawn_blocking(move || work(&own)).await;
    match done {
        Ok(Ok(answer)) => answer,
        Ok(Err(nothing)) => {
            let (status, why) = nothing.told();
            refused(&pages, view, status, why)
        }
        // The panic's sentence stands on standard error.
        Err(_) => refused(
            &pages,
            view,
            StatusCode::INTERNAL_SERVER_ERROR,
            "A bug in bufferstop: this view cannot be shown.",
        ),
    }
}

impl Pages {
    /// Where the store of that kind is.
    pub(super) fn store(&self, kind: Kind) -> PathBuf {
        self.settings().records.join(kind.file_name())
    }

    /// The store of that kind, opened for reading; nothing where no run was ever
    /// recorded. Its list of runs is checked again whenever the file has changed.
    pub(super) fn reader(&self, kind: Kind) -> Result<Option<Reader>, Nothing> {
        let path = self.store(kind);
        if !path.exists() {
            return Ok(None);
        }
        if self.is_known_whole(&path) {
            return Ok(Some(Reader::open_as_found(&path)?));
        }
        let reader = Reader::open(&path)?;
        self.is_whole(path);
        Ok(Some(reader))
    }

    /// The store that a view asked for: the model bench's where it says so, else the
    /// records, or the model bench's where there is nothing else.
    pub(super) fn kind(&self, model: bool) -> Kind {
        let records = self.store(Kind::Records).exists();
        if model || (!records && self.store(Kind::Model).exists()) {
            Kind::Model
        } else {
            Kind::Records
        }
    }
}
