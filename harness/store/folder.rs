//! The folder of one run beside the store, for people and other programs. Its
//! files are copies, made elsewhere: the store alone is the record.

use super::StoreError;
use crate::record::Record;
use std::fs::File;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// Writes `reports/<serial>/<run>/` with the given files (name and bytes), such
/// as the run's reports and documents. Each file is there whole or not at all,
/// and on disk when this returns; the folder's path is returned.
///
/// # Errors
/// [`StoreError::FileName`] for a name that is more than a file name or is given
/// twice, or whatever kept a file from the disk.
pub fn write(
    reports: &Path,
    record: &Record,
    files: &[(&str, &[u8])],
) -> Result<PathBuf, StoreError> {
    for (index, (name, _)) in files.iter().enumerate() {
        let taken = files[..index].iter().any(|(before, _)| before == name);
        if taken || !is_plain(name) {
            let name = (*name).to_owned();
            return Err(StoreError::FileName { name });
        }
    }
    // Names of boards and runs are letters, digits, '-', '_' and '.' by
    // construction and start with a letter or digit: never a way out.
    let board = reports.join(record.started.serial.as_str());
    let folder = board.join(record.started.run.as_str());
    std::fs::create_dir_all(&folder).map_err(|fault| StoreError::io(&folder, &fault))?;
    let put = |name: &str, bytes: &[u8]| {
        let path = folder.join(name);
        place(&folder, &path, bytes).map_err(|fault| StoreError::io(&path, &fault))
    };
    for (name, bytes) in files {
        put(name, bytes)?;
    }
    for made in [folder.as_path(), &board, reports] {
        sync(made).map_err(|fault| StoreError::io(made, &fault))?;
    }
    Ok(folder)
}

fn place(folder: &Path, path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = scratch(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    file.persist(path)?;
    Ok(())
}

/// An empty file without a final name, readable by others once it has one.
pub(super) fn scratch(folder: &Path) -> io::Result<NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".unfinished-");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        // Less what the user's mask takes away.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}

/// Puts a folder's list of names on disk.
pub(super) fn sync(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// Whether `name` is one plain file name.
fn is_plain(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    name.starts_with(|c: char| c.is_ascii_alphanumeric()) && name.chars().all(plain)
}
