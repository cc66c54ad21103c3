//! Opening what must be a file with an end. It reads nothing.

use std::fs::File;
use std::io;
use std::path::Path;

/// Opens the plain file at `path`; a pipe or a device is refused before it is
/// opened, since opening one waits for its other end.
pub(super) fn open(path: &Path) -> io::Result<File> {
    if !std::fs::metadata(path)?.is_file() {
        return Err(io::Error::other(
            "this is not a plain file: copy what it gives into one first",
        ));
    }
    File::open(path)
}
