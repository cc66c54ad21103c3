//! The events of a wire of a value change dump, one pass for all of them and a
//! short one for a stretch. One thread reads, one makes events of the bytes, and
//! the caller takes them. It keeps marks from which to go on, and no event.

use super::{AHEAD, PART, Trouble, pieces, plain_file};
use crate::capture_file::{Spans, VcdReader, VcdSummary, WireEdges, WireEvent, WirePair};
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
}

/// A place in a dump from which it can be read on.
pub(in crate::cli::inspect) struct Mark {
    at: BenchInstant,
    byte: u64,
    reader: VcdReader,
    wire: WireEdges,
}

/// Events with the file's tick, s.
type Batch = (f64, Vec<WireEvent>);

/// Hands on the events of a wire, batch by batch, with the file's tick (s).
pub(in crate::cli::inspect) fn vcd(
    path: &Path,
    wire: Option<&str>,
    each: &mut dyn FnMut(&[WireEvent], f64),
) -> Result<WireRead, Trouble> {
    std::thread::scope(|scope| {
        let (filled, full) = sync_channel::<Batch>(AHEAD);
        let parser = scope.spawn(move || parse(path, wire, &filled));
        for (tick, events) in full {
            each(&events, tick);
        }
        let joined = parser.join();
        joined.unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    })
}

fn parse(path: &Path, wire: Option<&str>, filled: &SyncSender<Batch>) -> Result<WireRead, Trouble> {
    let names: Vec<&str> = wire.into_iter().collect();
    let mut reader = VcdReader::new(&names);
    let mut edges = WireEdges::new(WirePair::Single);
    let mut events = Vec::with_capacity(2 * BATCH);
    let mut marks = Vec::new();
    let (mut pieces_read, mut every) = (0_u64, 1);
    let tick_of = |reader: &VcdReader| reader.tick_femtoseconds().unwrap_or(0) as f64 * 1e-15;
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
                // A caller that is gone has its reasons.
                let _ = filled.send((tick_of(&reader), batch));
            }
        }
        pieces_read += 1;
        if reader.tick_femtoseconds().is_some() && pieces_read % every == 0 {
            let (reader, byte) = reader.mark();
            marks.push(Mark {
                at: reader.now(),
                byte,
                reader,
                wire: edges.clone(),
            });
            if marks.len() == MOST_MARKS {
                let mut odd = false;
                marks.retain(|_| {
                    odd = !odd;
                    !odd
                });
                every *= 2;
            }
        }
        Ok(())
    })?;
    let tick = tick_of(&reader);
    let summary = reader.finish(&mut |change| events.extend(edges.push(change)))?;
    events.extend(edges.finish());
    let _ = filled.send((tick, events));
    Ok(WireRead {
        unknown: edges.unknown_spans(summary.end),
        summary,
        marks,
    })
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
