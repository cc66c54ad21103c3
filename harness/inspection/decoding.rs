//! Edges to packets: as they come, with what is known of them at first, and once
//! more where the end of the capture says otherwise. It reads no sample.

use super::hearing::settings;
use super::packets::Words;
use super::{PacketSink, Unread};
use crate::clock::{BenchInstant, BenchSpan};
use crate::track::{Edge, EdgeUncertainty, Packet, ScanDecoder, Scanned, SignalReport};
use crate::units::Seconds;

/// Edges, each known to a fit through its samples.
#[derive(Debug)]
pub(super) struct Edges {
    /// The first sample, and the time between samples, s.
    from: BenchInstant,
    period: f64,
    /// All, or as many as there is room for.
    kept: Vec<Edge>,
    most: usize,
    all: usize,
    /// Of samples at uneven steps.
    pub(super) uneven: bool,
    early: Option<Early>,
}

/// A decoding that did not wait for the end.
#[derive(Debug)]
struct Early {
    edge: EdgeUncertainty,
    decoding: Decoding,
    packets: Vec<Packet>,
}

impl Edges {
    /// None yet, and room for `most`, of samples from an instant on that are so far
    /// apart, s.
    pub(super) const fn of((from, period): (BenchInstant, f64), most: usize) -> Self {
        Self {
            from,
            period,
            kept: Vec::new(),
            most,
            all: 0,
            uneven: false,
            early: None,
        }
    }

    /// Takes an edge; the first is the first of those that are `known` so well.
    pub(super) fn push(&mut self, edge: Edge, known: Option<EdgeUncertainty>) {
        self.all += 1;
        if self.too_many() {
            self.early = None;
            return;
        }
        self.kept.push(edge);
        if self.kept.len() == 1 {
            self.early = known.map(|edge| Early {
                edge,
                decoding: Decoding::new(self.decoder(edge)),
                packets: Vec::new(),
            });
        }
        if let Some(Early {
            decoding, packets, ..
        }) = &mut self.early
        {
            decoding.push(edge, &mut |packet| packets.push(*packet));
        }
    }

    /// Whether there were more than are kept.
    const fn too_many(&self) -> bool {
        self.all > self.most
    }

    /// What decodes edges known so well.
    fn decoder(&self, edge: EdgeUncertainty) -> ScanDecoder {
        // Either edge may lie anywhere between two samples, and be read so.
        let bound = edge.sampling_alone().then_some(self.period);
        ScanDecoder::new(self.from, settings(edge, bound))
    }

    /// The same without what is `unread`.
    fn decoding(&self, edge: EdgeUncertainty, unread: &Unread) -> Box<Decoding> {
        // Edges lie between two readings where those are evenly spaced.
        let before = if self.uneven { 0.0 } else { self.period };
        let decoder = self.decoder(edge).without(gaps(unread, before));
        Box::new(Decoding::new(decoder))
    }

    /// All of them decoded, known as well as `closed` has it and without what is
    /// `unread`; where there were too many to keep, what decodes them as they come
    /// again.
    pub(super) fn decoded(
        mut self,
        closed: &Scanned,
        unread: &Unread,
    ) -> Result<Box<Decoded>, Box<Decoding>> {
        if self.too_many() {
            return Err(self.decoding(closed.edge, unread));
        }
        let sound = |early: &Early| early.edge == closed.edge && unread.missing.is_empty();
        let early = self.early.take().filter(sound);
        let all = |edge| {
            let decoding = self.decoding(edge, unread);
            decoding.all(&self.kept, closed.clone())
        };
        let decoded = match early {
            Some(early) => early.decoding.ended(early.packets, closed.clone()),
            None => all(closed.edge),
        };
        // Where halves scatter more than is explained, that counts.
        let scattered = decoded.report.scattered(&closed.edge);
        Ok(Box::new(scattered.map_or(decoded, all)))
    }
}

/// Edges to packets.
#[derive(Debug)]
pub(super) struct Decoding {
    decoder: ScanDecoder,
    words: Words,
}

/// What all edges came to.
#[derive(Debug)]
pub(super) struct Decoded {
    pub(super) report: SignalReport,
    pub(super) words: Words,
    pub(super) packets: Vec<Packet>,
}

impl Decoding {
    fn new(decoder: ScanDecoder) -> Self {
        Self {
            decoder,
            words: Words::default(),
        }
    }

    pub(super) fn push(&mut self, edge: Edge, sink: &mut PacketSink<'_>) {
        if let Some(packet) = self.decoder.push(edge) {
            self.words.count(&packet);
            sink(&packet);
        }
    }

    fn all(mut self, edges: &[Edge], scanned: Scanned) -> Decoded {
        let mut packets = Vec::new();
        for &edge in edges {
            self.push(edge, &mut |packet| packets.push(*packet));
        }
        self.ended(packets, scanned)
    }

    fn ended(self, mut packets: Vec<Packet>, scanned: Scanned) -> Decoded {
        let (report, words) = self.finish(scanned, &mut |packet| packets.push(*packet));
        Decoded {
            report,
            words,
            packets,
        }
    }

    /// The end; a packet that was waiting goes to `sink`.
    pub(super) fn finish(
        mut self,
        scanned: Scanned,
        sink: &mut PacketSink<'_>,
    ) -> (SignalReport, Words) {
        let (last, report) = self.decoder.finish(scanned);
        if let Some(packet) = last {
            self.words.count(&packet);
            sink(&packet);
        }
        (report, self.words)
    }
}

/// Where there are no readings, from the sample before on, as far as it was kept.
fn gaps(unread: &Unread, period: f64) -> impl Iterator<Item = (BenchInstant, BenchInstant)> {
    let at = |s: f64| BenchInstant::ZERO + BenchSpan::from_seconds(Seconds::new(s));
    let spans = unread.missing.first.iter();
    spans.map(move |span| (at(span.from - period), at(span.to)))
}
