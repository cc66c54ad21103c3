//! What keeps a sitting from going on, with whose turn it is. It is shown by the
//! face, never here.

use crate::ident::harmless;
use crate::store::StoreError;
use std::fmt::Display;

/// Why something could not be done, in words for the person at the bench.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Hindrance {
    /// What was asked for cannot be done as it was asked.
    #[error("{0}")]
    Usage(String),
    /// A file is faulty.
    #[error("{0}")]
    File(String),
    /// The bench is not available.
    #[error("{0}")]
    Bench(String),
    /// Records could not be read or written.
    #[error("{0}")]
    Store(String),
    /// A bug here.
    #[error("a bug in bufferstop: {0}")]
    Bug(String),
}

impl Hindrance {
    /// The bench that cannot be had, and why.
    pub fn unavailable(fault: &dyn Display) -> Self {
        let fault = fault.to_string();
        Self::Bench(format!("the bench is not available: {}", harmless(&fault)))
    }
}

impl From<StoreError> for Hindrance {
    fn from(fault: StoreError) -> Self {
        Self::Store(harmless(&fault.to_string()).to_string())
    }
}
