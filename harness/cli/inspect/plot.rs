//! Whether a drawing may be written to a place: never over the capture itself,
//! by whatever path, nor over anything that is not a drawing. It draws nothing.

use std::fs::File;
use std::io::Read;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// Why writing a drawing there would destroy something, if it would.
pub(super) fn spoils(place: &Path, capture: &Path) -> Option<&'static str> {
    // Links are followed: what would be written to counts.
    let there = std::fs::metadata(place).ok()?;
    let same = |other: &Path| {
        std::fs::metadata(other).is_ok_and(|o| (o.dev(), o.ino()) == (there.dev(), there.ino()))
    };
    if same(capture) {
        return Some("that is the capture itself; nothing was written");
    }
    if there.is_file() && there.len() > 0 && !drawing(place) {
        return Some("what is there is not a drawing; nothing was written over it");
    }
    None
}

/// Whether the file begins as drawings do.
fn drawing(place: &Path) -> bool {
    let mut bytes = Vec::new();
    let read = File::open(place).and_then(|file| file.take(256).read_to_end(&mut bytes));
    let text = bytes.trim_ascii_start();
    read.is_ok() && (text.starts_with(b"<svg") || text.starts_with(b"<?xml"))
}
