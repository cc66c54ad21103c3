//! The workshop's own file, `bufferstop.toml`: looked for in the working
//! directory and then upwards, so that it serves every folder below it. What it
//! says is used elsewhere.

use super::exit::Exit;
use super::files::{Files, complain};
use crate::workshop::{FILE, Workshop};
use std::path::{Path, PathBuf};

/// Folders looked into at most.
const DEEPEST: usize = 64;

/// What the workshop's file says.
#[derive(Clone, Debug, Default)]
pub(super) struct OwnWorkshop {
    /// What it says; nothing where there is no such file.
    pub(super) workshop: Workshop,
}

impl OwnWorkshop {
    /// Reads the nearest file, if there is one.
    ///
    /// # Errors
    /// [`Exit::File`], after saying every fault in it.
    pub(super) fn nearest() -> Result<Self, Exit> {
        // A folder that cannot be named has none above it that could be.
        let from = std::env::current_dir().unwrap_or_default();
        let Some(path) = above(&from) else {
            return Ok(Self::default());
        };
        let mut files = Files::default();
        let workshop = files.workshop(&path);
        match (complain(&files, true), workshop) {
            (None, Some(workshop)) => Ok(Self { workshop }),
            _ => Err(Exit::File),
        }
    }
}

/// The nearest such file in `folder` or above it.
fn above(folder: &Path) -> Option<PathBuf> {
    let folders = folder.ancestors().take(DEEPEST);
    let mut paths = folders.map(|folder| folder.join(FILE));
    paths.find(|path| path.is_file())
}
