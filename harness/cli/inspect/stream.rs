//! One pass over a capture file in pieces of bounded size, whatever its format.
//! It keeps nothing of what it reads and judges nothing.

mod trouble;
mod wires;

pub(super) use trouble::Trouble;
pub(super) use wires::{vcd, vcd_part};

use super::source::Format;
use crate::capture_file::{
    CsvReader, CsvSummary, CsvWish, NpyFault, NpyLayout, NpyReader, NpySummary, Samples, WavReader,
};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::ops::Range;
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

/// What an array or a sound file says of itself.
#[derive(Clone, Copy, Debug)]
pub(super) struct ArrayFacts {
    pub(super) array: NpySummary,
    /// Samples a second, where the file says it.
    pub(super) rate: Option<f64>,
}

/// A reader of either kind of file.
enum ArrayReader {
    Npy(NpyReader),
    Wav(WavReader),
}

impl ArrayReader {
    fn new(file: &File, format: Format, channel: usize) -> Result<Self, Trouble> {
        Ok(match format {
            Format::Wav => Self::Wav(WavReader::new(channel, Some(file.metadata()?.len()))),
            _ => Self::Npy(NpyReader::new(channel, NpyLayout::Longer)),
        })
    }

    fn push(&mut self, bytes: &[u8], each: &mut impl FnMut(Samples<'_>)) -> Result<(), Trouble> {
        match self {
            Self::Npy(reader) => Ok(reader.push(bytes, each)?),
            Self::Wav(reader) => Ok(reader.push(bytes, each)?),
        }
    }

    fn facts(&self) -> Option<ArrayFacts> {
        match self {
            Self::Npy(reader) => reader
                .summary()
                .map(|array| ArrayFacts { array, rate: None }),
            Self::Wav(reader) => reader.summary().map(|sound| ArrayFacts {
                array: sound.samples,
                rate: Some(sound.rate),
            }),
        }
    }

    fn go_to(&mut self, sample: u64) -> Option<u64> {
        match self {
            Self::Npy(reader) => reader.go_to(sample),
            Self::Wav(reader) => reader.go_to(sample),
        }
    }

    fn finish(self) -> Result<(), Trouble> {
        match self {
            Self::Npy(reader) => drop(reader.finish()?),
            Self::Wav(reader) => drop(reader.finish()?),
        }
        Ok(())
    }
}

/// What the header says; an array that is shorter or longer than it says is a
/// fault.
pub(super) fn array_facts(
    path: &Path,
    format: Format,
    channel: usize,
) -> Result<ArrayFacts, Trouble> {
    let mut file = plain_file(path)?;
    let (reader, facts) = header(&mut file, format, channel)?;
    let length = file.metadata()?.len();
    let promised = match &reader {
        ArrayReader::Npy(reader) => reader.promised(),
        ArrayReader::Wav(_) => None,
    };
    match promised {
        Some(byte) if length > byte => Err(NpyFault::Surplus { byte }.into()),
        Some(promised) if length < promised => Err(NpyFault::Truncated {
            byte: length,
            promised,
        }
        .into()),
        _ => Ok(facts),
    }
}

/// A reader that has read the header.
fn header(
    file: &mut File,
    format: Format,
    channel: usize,
) -> Result<(ArrayReader, ArrayFacts), Trouble> {
    let mut reader = ArrayReader::new(file, format, channel)?;
    let mut bytes = [0; 256];
    loop {
        let count = file.read(&mut bytes)?;
        reader.push(&bytes[..count], &mut |_| ())?;
        if let Some(facts) = reader.facts() {
            return Ok((reader, facts));
        }
        if count == 0 {
            reader.finish()?;
            return Err(Trouble::File("it ends inside its header".to_owned()));
        }
    }
}

/// All samples of a channel of an array or a sound file, in its own units.
pub(super) fn array(
    path: &Path,
    format: Format,
    channel: usize,
    each: &mut impl FnMut(Samples<'_>),
) -> Result<(), Trouble> {
    let mut reader = ArrayReader::new(&plain_file(path)?, format, channel)?;
    pieces(path, |bytes| reader.push(bytes, each))?;
    reader.finish()
}

/// The samples of a channel from the first of `wanted` on, at least as far as
/// its end; nothing before is read.
pub(super) fn array_part(
    path: &Path,
    format: Format,
    channel: usize,
    wanted: Range<u64>,
    each: &mut impl FnMut(Samples<'_>),
) -> Result<(), Trouble> {
    let mut file = plain_file(path)?;
    let (mut reader, _) = header(&mut file, format, channel)?;
    let Some(byte) = reader.go_to(wanted.start) else {
        return Ok(());
    };
    file.seek(SeekFrom::Start(byte))?;
    let mut bytes = vec![0; PART];
    let mut told = wanted.start;
    while told < wanted.end {
        let count = file.read(&mut bytes)?;
        if count == 0 {
            return Ok(());
        }
        reader.push(&bytes[..count], &mut |samples| {
            told += samples.len() as u64;
            each(samples);
        })?;
    }
    Ok(())
}
