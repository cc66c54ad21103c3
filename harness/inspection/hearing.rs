//! From the edges of a logic signal to what was heard in it. It does not ask
//! how the edges were found.

use super::Unread;
use super::packets::Words;
use super::tallies::{Levels, Slopes};
use super::unread::Silence;
use crate::capture_file::Spans;
use crate::clock::BenchInstant;
use crate::track::{Decoder, DecoderSettings, Edge, EdgeUncertainty, Packet, SignalReport};

/// How many violations, glitches and packets of a sort are located.
const LOCATED: usize = super::tallies::PLACES;

/// What a pass over a signal found.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// Half-bits, packets, cutouts and what the standards say of them.
    pub report: SignalReport,
    /// Packets in words and how many, the most frequent first.
    pub packets: Vec<(String, u64)>,
    /// What is no reading, and where there is no signal.
    pub unread: Unread,
    /// Levels of halves and shapes of crossings, of a voltage.
    pub(super) shaped: Option<Shaped>,
}

/// Levels of halves and shapes of crossings, and how far they are trusted.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Shaped {
    pub(super) levels: [Levels; 2],
    pub(super) slopes: [Slopes; 2],
    /// Whether samples are evenly spaced; where not, there is none of it.
    pub(super) even: bool,
    /// Relative standard uncertainty of the scale, that of its zero (V) and its
    /// step (V).
    pub(super) gain_u: f64,
    pub(super) offset_u: f64,
    pub(super) step: f64,
}

/// Where packets go as they are completed.
pub type PacketSink<'a> = dyn FnMut(&Packet) + Send + 'a;

/// How edges known so well are read; no error of one is larger than `bound`, s.
pub(super) const fn settings(edge: EdgeUncertainty, bound: Option<f64>) -> DecoderSettings {
    let usual = DecoderSettings::new(edge);
    DecoderSettings {
        keep: LOCATED,
        bound,
        ..usual
    }
}

/// Takes the edges of a logic signal.
#[derive(Clone, Debug)]
pub struct Hearing {
    decoder: Decoder,
    words: Words,
    silence: Silence,
    from: Option<BenchInstant>,
}

impl Hearing {
    /// Before the first edge, of which each is seen by the next sample, taken
    /// every `period` s.
    pub fn sampled(period: f64) -> Self {
        // What all are late by is no error of a length.
        let bound = Some(period / 2.0);
        let edge = EdgeUncertainty::sampled(period, 0.0);
        Self {
            decoder: Decoder::new(settings(edge, bound)),
            words: Words::default(),
            silence: Silence::default(),
            from: None,
        }
    }

    /// The polarity known first, before any edge, or known again.
    pub fn resume(&mut self, edge: Edge) {
        self.from = Some(edge.at);
        self.decoder.resume(edge.at, edge.to);
    }

    /// From here on the polarity is not known; a packet before it goes to `sink`.
    pub fn lose(&mut self, at: BenchInstant, sink: &mut PacketSink<'_>) {
        let from = self.from.take().unwrap_or(at);
        self.silence.lose(from, at);
        if let Some(packet) = self.decoder.lose(at) {
            self.words.count(&packet);
            sink(&packet);
        }
    }

    /// An edge; a packet that it completes goes to `sink`.
    #[inline]
    pub fn push(&mut self, edge: Edge, sink: &mut PacketSink<'_>) {
        self.silence.push(self.from.unwrap_or(edge.at), edge);
        if let Some(packet) = self.decoder.push(edge) {
            self.words.count(&packet);
            sink(&packet);
        }
    }

    /// The end. Of the stretches that are `missing` the values do not say what
    /// the signal was.
    pub fn finish(mut self, end: BenchInstant, missing: Spans, sink: &mut PacketSink<'_>) -> Heard {
        let (last, report) = self.decoder.finish(end);
        if let Some(packet) = last {
            self.words.count(&packet);
            sink(&packet);
        }
        let from = self.from.unwrap_or(end);
        Heard {
            report,
            packets: self.words.ranked(),
            unread: Unread {
                missing,
                silent: self.silence.finish(from, end),
                ..Unread::default()
            },
            shaped: None,
        }
    }
}
