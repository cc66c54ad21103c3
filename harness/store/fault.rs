//! What can go wrong with a store, each with a plain sentence and what to do.
//! It recovers from nothing.

use super::kind::Kind;
use crate::record::{LineFault, RecordFault};
use rusqlite::ErrorCode;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long another process's lock is waited for.
pub(super) const PATIENCE: Duration = Duration::from_secs(20);

/// Why records could not be written or read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StoreError {
    /// The file or its folder cannot be opened.
    #[error(
        "{} cannot be opened: {what}; check that its folder exists and may be written to", path.display()
    )]
    CannotOpen {
        /// The file or folder.
        path: PathBuf,
        /// The system's words.
        what: String,
    },
    /// There is no store at that place.
    #[error("there is no record store at {}; run a plan first, or name the folder that holds it", path.display())]
    Absent {
        /// The place.
        path: PathBuf,
    },
    /// The file is no SQLite database.
    #[error("{} is not a record store; move that file away, or choose another folder", path.display())]
    NotAStore {
        /// The file.
        path: PathBuf,
    },
    /// The file belongs to the other kind of runs.
    #[error(
        "{} holds {}; {} never go into the same file, so choose another", path.display(), found.words(), wanted.words()
    )]
    OtherKind {
        /// The file.
        path: PathBuf,
        /// What it holds.
        found: Kind,
        /// What was to be written.
        wanted: Kind,
    },
    /// The file was made by a newer version.
    #[error(
        "{} has layout {found}, this program knows {known}; use the newer version of this program", path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its layout.
        found: i64,
        /// The newest layout known.
        known: i64,
    },
    /// The file is damaged.
    #[error(
        "{} is damaged: {what}; keep the file as it is and go back to the latest backup", path.display()
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was found.
        what: String,
    },
    /// The file may not be written to.
    #[error("{} may not be written to; check its permissions and those of its folder", path.display())]
    ReadOnly {
        /// The file.
        path: PathBuf,
    },
    /// No room is left.
    #[error("the disk that holds {} is full; make room and run the plan again", path.display())]
    Full {
        /// The file.
        path: PathBuf,
    },
    /// Another process holds the file.
    #[error(
        "{} is locked by another process for longer than {seconds} s; end that process or wait", path.display()
    )]
    Busy {
        /// The file.
        path: PathBuf,
        /// How long it was waited for.
        seconds: u64,
    },
    /// The database did not take a setting that the promise of durability
    /// rests on.
    #[error(
        "{} did not take the setting {name} = {wanted} (it says {found}); keep the store on a local disk", path.display()
    )]
    Setting {
        /// The file.
        path: PathBuf,
        /// The setting.
        name: &'static str,
        /// What was asked for.
        wanted: String,
        /// What it is.
        found: String,
    },
    /// The target of a copy exists.
    #[error("{} exists already; a backup never writes over anything, so choose another name", path.display())]
    TargetExists {
        /// The target.
        path: PathBuf,
    },
    /// A run with that identifier is in the store: a bug in the caller.
    #[error("run {run} is in the store already")]
    RunExists {
        /// The run.
        run: String,
    },
    /// No run with that identifier is in the store.
    #[error("run {run} is not in the store; `records list` shows those that are")]
    NoSuchRun {
        /// The run.
        run: String,
    },
    /// An entry that cannot follow: a bug in the caller.
    #[error(transparent)]
    Order(#[from] RecordFault),
    /// A line that cannot be kept or read.
    #[error(transparent)]
    Line(#[from] LineFault),
    /// More bytes than one observation may have.
    #[error("an observation of {bytes} bytes is too long to keep; let the plan capture less")]
    TooLong {
        /// How many.
        bytes: usize,
    },
    /// A name that is no plain file name: a bug in the caller.
    #[error("'{name}' is not a plain file name")]
    FileName {
        /// The name.
        name: String,
    },
    /// The store was closed while a run was still writing: a bug in the
    /// caller.
    #[error("the store is closed")]
    Closed,
    /// Anything else the system said.
    #[error("{} failed: {what}; check the disk it is on", path.display())]
    Failed {
        /// The file.
        path: PathBuf,
        /// The system's words.
        what: String,
    },
}

impl StoreError {
    /// What the database said about `path`.
    pub(super) fn sqlite(path: &Path, fault: &rusqlite::Error) -> Self {
        let path = path.to_owned();
        let what = fault.to_string();
        match fault.sqlite_error_code() {
            Some(ErrorCode::NotADatabase) => Self::NotAStore { path },
            Some(ErrorCode::DatabaseCorrupt) => Self::Damaged { path, what },
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => Self::ReadOnly { path },
            Some(ErrorCode::DiskFull) => Self::Full { path },
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy {
                path,
                seconds: PATIENCE.as_secs(),
            },
            Some(ErrorCode::CannotOpen) => Self::CannotOpen { path, what },
            Some(_) => Self::Failed { path, what },
            // A value of an unexpected type: not written by this program.
            None => Self::Damaged { path, what },
        }
    }

    /// What the file system said about `path`.
    pub(super) fn io(path: &Path, fault: &std::io::Error) -> Self {
        use std::io::ErrorKind;
        let path = path.to_owned();
        match fault.kind() {
            ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => Self::ReadOnly { path },
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => Self::Full { path },
            ErrorKind::AlreadyExists => Self::TargetExists { path },
            _ => Self::CannotOpen {
                path,
                what: fault.to_string(),
            },
        }
    }
}
