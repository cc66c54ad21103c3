//! Files that are handed out: under their name once they are whole and on
//! disk, or not there at all. It makes no bytes.

use crate::cli::exit::Exit;
use crate::ident::harmless;
use std::io::{self, Write as _};
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use tempfile::NamedTempFile;

/// What becomes of a file that has the name already.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::cli) enum Existing {
    /// It stays, and nothing is written.
    Stays,
    /// It makes way for the new one, whole.
    MakesWay,
}

/// Writes `bytes` to `path`.
pub(in crate::cli) fn whole(path: &Path, bytes: &[u8], existing: Existing) -> Result<(), Exit> {
    if existing == Existing::Stays {
        free(path)?;
    }
    let written = || -> io::Result<()> {
        let mut file = unfinished(path)?;
        file.write_all(bytes)?;
        finished(file, path, existing)
    };
    written().map_err(|fault| refused(path, &fault))
}

/// Refuses a name that is taken.
pub(super) fn free(path: &Path) -> Result<(), Exit> {
    if path.symlink_metadata().is_ok() {
        let file = harmless(&path.display().to_string());
        warn_line!("{file} exists already; choose another name");
        return Err(Exit::Usage);
    }
    Ok(())
}

/// A file beside `path` that vanishes unless it is finished.
pub(super) fn unfinished(path: &Path) -> io::Result<NamedTempFile> {
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    tempfile::Builder::new()
        .prefix(".unfinished-")
        .tempfile_in(folder)
}

/// Puts a file that is whole under its name. One to hand out is for others to
/// read; unfinished ones are not.
pub(super) fn finished(file: NamedTempFile, path: &Path, existing: Existing) -> io::Result<()> {
    let permissions = std::fs::Permissions::from_mode(0o644);
    file.as_file().set_permissions(permissions)?;
    file.as_file().sync_all()?;
    match existing {
        Existing::Stays => file.persist_noclobber(path)?,
        Existing::MakesWay => file.persist(path)?,
    };
    Ok(())
}

pub(super) fn refused(path: &Path, fault: &io::Error) -> Exit {
    let file = harmless(&path.display().to_string());
    warn_line!("{file} cannot be written: {fault}");
    Exit::Store
}
