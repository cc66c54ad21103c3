//! Files that have an end. What they hold is not known here.

use std::fs::File;
use std::io::{self, Read as _};
use std::path::Path;

/// Reads the plain file at `path`, but no more than one byte beyond `most`: whoever
/// asks says what is too long.
pub fn read(path: &Path, most: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    open(path)?.take(most + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Opens the plain file at `path`; a pipe or a device is refused before it is
/// opened, since opening one waits for its other end.
pub fn open(path: &Path) -> io::Result<File> {
    if !std::fs::metadata(path)?.is_file() {
        return Err(io::Error::other(
            "this is not a plain file: copy what it gives into one first",
        ));
    }
    File::open(path)
}
