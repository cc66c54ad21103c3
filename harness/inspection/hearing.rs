//! From the edges of a logic signal to what was heard in it. It does not ask
//! how the edges were found.

use super::packets::Words;
use crate::clock::BenchInstant;
use crate::track::{Decoder, DecoderSettings, Edge, EdgeUncertainty, Packet, SignalReport};

/// What a pass over a signal found.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// Half-bits, packets, cutouts and what the standards say of them.
    pub report: SignalReport,
    /// Packets in words and how many, the most frequent first.
    pub packets: Vec<(String, u64)>,
}

impl Heard {
    pub(super) fn new(mut words: Words, last: Option<Packet>, report: SignalReport) -> Self {
        if let Some(packet) = last {
            words.count(&packet);
        }
        Self {
            report,
            packets: words.ranked(),
        }
    }
}

/// Takes the edges of a logic signal.
#[derive(Clone, Debug)]
pub struct Hearing {
    decoder: Decoder,
    words: Words,
}

impl Hearing {
    /// Before the first edge, of which each is known so well.
    pub fn new(edge: EdgeUncertainty) -> Self {
        Self {
            decoder: Decoder::new(DecoderSettings::new(edge)),
            words: Words::default(),
        }
    }

    /// The polarity known first, before any edge, or known again.
    pub fn resume(&mut self, edge: Edge) {
        self.decoder.resume(edge.at, edge.to);
    }

    /// From here on the polarity is not known.
    pub fn lose(&mut self, at: BenchInstant) {
        if let Some(packet) = self.decoder.lose(at) {
            self.words.count(&packet);
        }
    }

    /// An edge.
    pub fn push(&mut self, edge: Edge) {
        if let Some(packet) = self.decoder.push(edge) {
            self.words.count(&packet);
        }
    }

    /// The end.
    pub fn finish(self, end: BenchInstant) -> Heard {
        let (last, report) = self.decoder.finish(end);
        Heard::new(self.words, last, report)
    }
}
