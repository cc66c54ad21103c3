//! One pass over a capture file in pieces of bounded size, whatever its format.
//! It keeps nothing of what it reads and judges nothing.

use crate::capture_file::{
    CsvDialect, CsvFault, CsvReader, CsvSummary, NpyFault, NpyLayout, NpyReader, NpySummary,
    Samples, VcdFault, VcdReader, VcdSummary, VcdTrouble, WireEdges, WirePair,
};
use crate::cli::exit::Exit;
use crate::track::Edge;
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

/// Why a file could not be read, and who can mend it.
#[derive(Debug)]
pub(super) enum Trouble {
    /// The command line does not fit the file.
    Usage(String),
    /// The file is faulty.
    File(String),
    /// Already told, with the status to leave with.
    Told(Exit),
}

impl From<std::io::Error> for Trouble {
    fn from(fault: std::io::Error) -> Self {
        Self::File(fault.to_string())
    }
}

impl From<VcdFault> for Trouble {
    fn from(fault: VcdFault) -> Self {
        match &fault.trouble {
            VcdTrouble::Choose(known) => Self::Usage(format!(
                "name the wire to read with --wire; the file has: {known}"
            )),
            VcdTrouble::NoSuchWire { .. } | VcdTrouble::Ambiguous(_) => {
                Self::Usage(fault.trouble.to_string())
            }
            _ => Self::File(fault.to_string()),
        }
    }
}

impl From<CsvFault> for Trouble {
    fn from(fault: CsvFault) -> Self {
        match fault {
            CsvFault::NoSuchColumn { .. } => Self::Usage(fault.to_string()),
            _ => Self::File(fault.to_string()),
        }
    }
}

impl From<NpyFault> for Trouble {
    fn from(fault: NpyFault) -> Self {
        match fault {
            NpyFault::NoSuchChannel { .. } => Self::Usage(fault.to_string()),
            _ => Self::File(fault.to_string()),
        }
    }
}

/// What a logic file tells.
#[derive(Clone, Copy, Debug)]
pub(super) enum Told {
    /// The polarity known first; before any edge.
    Begin(Edge),
    /// An edge.
    Edge(Edge),
}

/// Hands on the bytes of `path`, a piece at a time and in order. A thread of
/// its own reads ahead by a few pieces, so that reading costs no time of its own
/// where there is a second core. A file that shrinks meanwhile simply ends:
/// nothing is mapped.
fn pieces(path: &Path, mut take: impl FnMut(&[u8]) -> Result<(), Trouble>) -> Result<(), Trouble> {
    let file = File::open(path)?;
    std::thread::scope(|scope| {
        let (emptied, empty) = sync_channel(AHEAD);
        let (filled, full) = sync_channel(AHEAD);
        for _ in 0..AHEAD {
            let _ = emptied.send(vec![0; PIECE]);
        }
        scope.spawn(move || read_ahead(file, &empty, &filled));
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
    mut file: File,
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

/// Edges of a wire of a value change dump; also how many of its values were
/// neither high nor low.
pub(super) fn vcd(
    path: &Path,
    wire: Option<&str>,
    each: &mut impl FnMut(Told),
) -> Result<(VcdSummary, u64), Trouble> {
    let names: Vec<&str> = wire.into_iter().collect();
    let mut reader = VcdReader::new(&names);
    let mut edges = WireEdges::new(WirePair::Single);
    let mut begun = false;
    let mut tell = |edges: &WireEdges, edge: Option<Edge>| {
        let initial = edges.initial().filter(|_| !begun);
        if let Some(initial) = initial {
            begun = true;
            each(Told::Begin(initial));
        }
        if let Some(edge) = edge {
            each(Told::Edge(edge));
        }
    };
    pieces(path, |bytes| {
        Ok(reader.push(bytes, &mut |change| {
            let edge = edges.push(change);
            tell(&edges, edge);
        })?)
    })?;
    let summary = reader.finish(&mut |change| {
        let edge = edges.push(change);
        tell(&edges, edge);
    })?;
    let last = edges.finish();
    tell(&edges, last);
    Ok((summary, edges.unknown()))
}

/// Which columns of a table to read.
#[derive(Clone, Copy, Debug)]
pub(super) struct Columns<'a> {
    /// Decimal comma.
    pub(super) comma: bool,
    /// The time column, where it is not the first.
    pub(super) time: Option<&'a str>,
    /// The columns; all when empty.
    pub(super) names: &'a [&'a str],
}

/// Rows of a table: time (s) and the values (SI).
pub(super) fn csv(
    path: &Path,
    columns: Columns<'_>,
    each: &mut impl FnMut(f64, &[f64]),
) -> Result<CsvSummary, Trouble> {
    let dialect = if columns.comma {
        CsvDialect::COMMA
    } else {
        CsvDialect::POINT
    };
    let mut reader = CsvReader::new(dialect, columns.names);
    if let Some(time) = columns.time {
        reader = reader.timed_by(time);
    }
    pieces(path, |bytes| Ok(reader.push(bytes, each)?))?;
    Ok(reader.finish(each)?)
}

/// What the header of an array says; a file that is shorter or longer than it
/// says is a fault.
pub(super) fn npy_facts(path: &Path, channel: usize) -> Result<NpySummary, Trouble> {
    let mut file = File::open(path)?;
    let (reader, facts) = npy_header(&mut file, channel)?;
    let length = file.metadata()?.len();
    match reader.promised() {
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
fn npy_header(file: &mut File, channel: usize) -> Result<(NpyReader, NpySummary), Trouble> {
    let mut reader = NpyReader::new(channel, NpyLayout::Longer);
    let mut bytes = [0; 256];
    loop {
        let count = file.read(&mut bytes)?;
        if count == 0 {
            let facts = reader.clone().finish()?;
            return Ok((reader, facts));
        }
        reader.push(&bytes[..count], &mut |_| ())?;
        if let Some(facts) = reader.summary() {
            return Ok((reader, facts));
        }
    }
}

/// All samples of a channel of an array, in its own units.
pub(super) fn npy(
    path: &Path,
    channel: usize,
    each: &mut impl FnMut(Samples<'_>),
) -> Result<NpySummary, Trouble> {
    let mut reader = NpyReader::new(channel, NpyLayout::Longer);
    pieces(path, |bytes| Ok(reader.push(bytes, each)?))?;
    Ok(reader.finish()?)
}

/// The samples of a channel from the first of `wanted` on, at least as far as
/// its end; nothing before is read.
pub(super) fn npy_part(
    path: &Path,
    channel: usize,
    wanted: Range<u64>,
    each: &mut impl FnMut(Samples<'_>),
) -> Result<(), Trouble> {
    let mut file = File::open(path)?;
    let (mut reader, _) = npy_header(&mut file, channel)?;
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
