//! The events of a wire of a value change dump, one pass for all of them and a
//! short one for a stretch. One thread reads, one makes events of the bytes and
//! finds the grid they lie on, and the caller takes them. It keeps marks from which
//! to go on, and no event.

use super::{AHEAD, PART, Trouble, pieces, plain_file};
use crate::capture_file::{
    FoundGrid, Grid, Spans, VcdReader, VcdSummary, WireEdges, WireEvent, WirePair,
};
use crate::clock::BenchInstant;
use crate::track::Edge;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::mpsc::{SyncSender, sync_channel};

/// Events handed over together, at least, where there are so many.
const BATCH: usize = 4096;
/// Marks that are kept; on reaching it every other one is dropped.
const MOST_MARKS: usize = 64;

/// What one pass over a dump found besides events.
pub(in crate::cli::inspect) struct WireRead {
    pub(in crate::cli::inspect) summary: VcdSummary,
    /// Where the values do not say what the signal was.
    pub(in crate::cli::inspect) unknown: Spans,
    pub(in crate::cli::inspect) marks: Vec<Mark>,
    /// What all events lie on, where that was asked for.
    pub(in crate::cli::inspect) found: Option<FoundGrid>,
}

/// A place in a dump from which it can be read on.
pub(in crate::cli::inspect) struct Mark {
    at: BenchInstant,
    byte: u64,
    reader: VcdReader,
    wire: WireEdges,
}

/// Events, and with those that are enough to show it what the first ones lie on.
type Batch = (Vec<WireEvent>, Option<FoundGrid>);

/// Hands on the events of a wire, batch by batch. With `looks`, so many events and
/// all after them in their batch show on which grid the first ones lie.
pub(in crate::cli::inspect) fn vcd(
    path: &Path,
    wire: Option<&str>,
    looks: Option<u64>,
    each: &mut dyn FnMut(&[WireEvent], Option<FoundGrid>),
) -> Result<WireRead, Trouble> {
    std::thread::scope(|scope| {
        let (filled, full) = sync_channel::<Batch>(AHEAD);
        let parser = scope.spawn(move || parse(path, wire, looks, &filled));
        for (events, found) in full {
            each(&events, found);
        }
        let joined = parser.join();
        joined.unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    })
}

fn parse(
    path: &Path,
    wire: Option<&str>,
    looks: Option<u64>,
    filled: &SyncSender<Batch>,
) -> Result<WireRead, Trouble> {
    let names: Vec<&str> = wire.into_iter().collect();
    let mut reader = VcdReader::new(&names);
    let mut edges = WireEdges::new(WirePair::Single);
    let mut events = Vec::with_capacity(2 * BATCH);
    let mut marks = Marks::default();
    let mut grid = looks.map(|_| Grid::default());
    let tick_of = |reader: &VcdReader| reader.tick_femtoseconds().unwrap_or(0) as f64 * 1e-15;
    let mut hand_on = |events: Vec<WireEvent>, tick: f64| {
        let looking = grid.as_mut().zip(looks);
        let found = looking.and_then(|(grid, enough)| grid.take(&events, enough, tick));
        // A caller that is gone has its reasons.
        let _ = filled.send((events, found));
    };
    pieces(path, |bytes| {
        // What is handed over should still be in a cache where it is taken.
        for part in bytes.chunks(PART) {
            reader.push(part, &mut |change| {
                if let Some(event) = edges.push(change) {
                    events.push(event);
                }
            })?;
            if events.len() >= BATCH {
                let batch = std::mem::replace(&mut events, Vec::with_capacity(2 * BATCH));
                hand_on(batch, tick_of(&reader));
            }
        }
        marks.piece(&reader, &edges);
        Ok(())
    })?;
    let tick = tick_of(&reader);
    let summary = reader.finish(&mut |change| events.extend(edges.push(change)))?;
    events.extend(edges.finish());
    hand_on(events, tick);
    Ok(WireRead {
        unknown: edges.unknown_spans(summary.end),
        summary,
        marks: marks.kept,
        found: grid.map(|grid| grid.found(tick)),
    })
}

/// Marks a dump here and there, so that few are kept however long it is.
struct Marks {
    kept: Vec<Mark>,
    pieces: u64,
    every: u64,
}

impl Default for Marks {
    fn default() -> Self {
        Self {
            kept: Vec::new(),
            pieces: 0,
            every: 1,
        }
    }
}

impl Marks {
    /// A piece has been read.
    fn piece(&mut self, reader: &VcdReader, wire: &WireEdges) {
        self.pieces += 1;
        if reader.tick_femtoseconds().is_none() || !self.pieces.is_multiple_of(self.every) {
            return;
        }
        let (reader, byte) = reader.mark();
        self.kept.push(Mark {
            at: reader.now(),
            byte,
            reader,
            wire: wire.clone(),
        });
        if self.kept.len() == MOST_MARKS {
            let mut odd = false;
            self.kept.retain(|_| {
                odd = !odd;
                !odd
            });
            self.every *= 2;
        }
    }
}

/// Hands on the events from the last mark before `from` on, at least up to
/// `to`, or all where there is no mark.
pub(in crate::cli::inspect) fn vcd_part(
    path: &Path,
    wire: Option<&str>,
    marks: &[Mark],
    (from, to): (BenchInstant, BenchInstant),
    each: &mut dyn FnMut(WireEvent),
) -> Result<(), Trouble> {
    let mut file = plain_file(path)?;
    let names: Vec<&str> = wire.into_iter().collect();
    let mark = marks.iter().rev().find(|mark| mark.at < from);
    let (mut reader, mut edges) = match mark {
        Some(mark) => {
            file.seek(SeekFrom::Start(mark.byte))?;
            if let Some(to) = mark.wire.polarity() {
                each(WireEvent::Known(Edge { at: mark.at, to }));
            }
            (mark.reader.clone(), mark.wire.clone())
        }
        None => (VcdReader::new(&names), WireEdges::new(WirePair::Single)),
    };
    let mut bytes = vec![0; PART];
    while reader.now() <= to {
        let count = file.read(&mut bytes)?;
        if count == 0 {
            break;
        }
        reader.push(&bytes[..count], &mut |change| {
            if let Some(event) = edges.push(change) {
                each(event);
            }
        })?;
    }
    if let Some(event) = edges.finish() {
        each(event);
    }
    Ok(())
}
