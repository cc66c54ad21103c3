//! One pass over a capture file in pieces of bounded size, whatever its format.
//! It keeps nothing of what it reads and judges nothing.

mod abreast;
mod arrays;
mod trouble;
mod wires;

pub(super) use arrays::{array, array_abreast, array_facts, array_part};
pub(super) use trouble::Trouble;
pub(super) use wires::{vcd, vcd_part};

use crate::capture_file::{CsvReader, CsvSummary, CsvWish};
use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

/// Bytes read at a time; handing over few large pieces costs less than many
/// small ones, and three of them stay in a cache.
const PIECE: usize = 1 << 20;
/// Pieces that may wait, read or empty.
const AHEAD: usize = 3;
/// Bytes read at a time where little is wanted.
const PART: usize = 1 << 16;

/// Opens a file that has an end: of a pipe or a device nobody knows where it
/// is, and a second pass finds nothing.
pub(super) fn plain_file(path: &Path) -> Result<File, Trouble> {
    Ok(crate::sitting::plain_file::open(path)?)
}

/// Hands on the bytes of `path`, a piece at a time and in order. A thread of
/// its own reads ahead by a few pieces, so that reading costs no time of its own
/// where there is a second core. A file that shrinks meanwhile simply ends, and
/// one that grows is read as far as it went: nothing is mapped.
fn pieces(path: &Path, mut take: impl FnMut(&[u8]) -> Result<(), Trouble>) -> Result<(), Trouble> {
    let file = plain_file(path)?;
    let length = file.metadata()?.len();
    std::thread::scope(|scope| {
        let (emptied, empty) = sync_channel(AHEAD);
        let (filled, full) = sync_channel(AHEAD);
        for _ in 0..AHEAD {
            let _ = emptied.send(vec![0; PIECE]);
        }
        scope.spawn(move || read_ahead(file.take(length), &empty, &filled));
        for piece in full {
            let (bytes, count): (Vec<u8>, usize) = piece?;
            take(&bytes[..count])?;
            // The reader may have come to the end and gone.
            let _ = emptied.send(bytes);
        }
        Ok(())
    })
}

/// Fills what is empty until the file or the interest in it ends.
fn read_ahead(
    mut file: impl Read,
    empty: &Receiver<Vec<u8>>,
    filled: &SyncSender<std::io::Result<(Vec<u8>, usize)>>,
) {
    for mut bytes in empty {
        let read = file.read(&mut bytes);
        let over = !matches!(read, Ok(1..));
        if matches!(read, Ok(0)) || filled.send(read.map(|count| (bytes, count))).is_err() || over {
            return;
        }
    }
}

/// Rows of a table: time (s) and the values (SI).
pub(super) fn csv(
    path: &Path,
    wish: &CsvWish,
    each: &mut impl FnMut(f64, &[f64]),
) -> Result<CsvSummary, Trouble> {
    let mut reader = CsvReader::wished(wish.clone());
    pieces(path, |bytes| Ok(reader.push(bytes, each)?))?;
    Ok(reader.finish(each)?)
}
