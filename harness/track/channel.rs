//! From samples of the rail-to-rail voltage to a [`SignalReport`]: what the scan
//! finds goes through the decoder, at once or, since the scan tells how well
//! edges are known, afterwards. It looks at no sample itself.

use super::analogue::{ChannelScan, ChannelSettings, Scanned};
use super::decoder::Decoder;
use super::packet::Packet;
use super::report::SignalReport;
use super::settings::DecoderSettings;
use super::{Edge, Polarity};
use crate::clock::{BenchInstant, BenchSpan};
use crate::units::Seconds;
use crate::waveform::crossing::Sample;
use std::collections::VecDeque;

/// A stretch without readings that is longer than this hides when an edge in it was
/// (our own allowance, no source).
const HIDES_AN_EDGE: BenchSpan = BenchSpan::from_microseconds(1);

/// Takes the edges of a scan, of which the first tells what was before it.
#[derive(Clone, Debug)]
pub struct ScanDecoder {
    decoder: Decoder,
    first: BenchInstant,
    begun: bool,
    /// Stretches without readings that no edge has passed yet.
    unread: VecDeque<(BenchInstant, BenchInstant)>,
    /// Longer ones hide two edges and more.
    hides_two: BenchSpan,
    polarity: Option<Polarity>,
}

impl ScanDecoder {
    /// A decoder before the first edge of a scan that began at `first`.
    pub fn new(first: BenchInstant, settings: DecoderSettings) -> Self {
        Self {
            decoder: Decoder::new(settings),
            first,
            begun: false,
            unread: VecDeque::new(),
            hides_two: settings.glitch,
            polarity: None,
        }
    }

    /// The decoder of a scan that has no readings from one instant to another, of
    /// each pair, in their order: what the signal was there is not made up. An edge
    /// may be told in such a stretch, or from the sample before it on.
    #[must_use]
    pub fn without(
        mut self,
        unread: impl IntoIterator<Item = (BenchInstant, BenchInstant)>,
    ) -> Self {
        self.unread = unread.into_iter().collect();
        self
    }

    /// Takes an edge and tells the packet that it completes.
    pub fn push(&mut self, edge: Edge) -> Option<Packet> {
        if !self.begun {
            self.begun = true;
            if edge.to != Polarity::Zero {
                self.decoder.begin(self.first, edge.to.opposite());
            }
        }
        let mut packet = None;
        while let Some(&(from, to)) = self.unread.front()
            && from < edge.at
        {
            self.unread.pop_front();
            let within = edge.at <= to;
            let hides = if within {
                HIDES_AN_EDGE
            } else {
                self.hides_two
            };
            if to - from > hides {
                packet = packet.or(self.decoder.lose(from));
                let polarity = if within { Some(edge.to) } else { self.polarity };
                self.resume(to, polarity);
            }
            if within && to - from > hides {
                self.polarity = Some(edge.to);
                return packet;
            }
        }
        self.polarity = Some(edge.to);
        packet.or(self.decoder.push(edge))
    }

    fn resume(&mut self, at: BenchInstant, polarity: Option<Polarity>) {
        if let Some(polarity) = polarity {
            self.decoder.resume(at, polarity);
        }
    }

    /// The end: the last packet, if one was waiting, and all that was found.
    pub fn finish(mut self, scanned: Scanned) -> (Option<Packet>, SignalReport) {
        if let (false, Some(polarity)) = (self.begun, scanned.polarity) {
            self.decoder.begin(self.first, polarity);
        }
        let mut waiting = None;
        for (from, to) in std::mem::take(&mut self.unread) {
            if to - from > self.hides_two {
                waiting = waiting.or(self.decoder.lose(from));
                self.resume(to, scanned.polarity.filter(|_| to < scanned.to));
            }
        }
        let (packet, mut report) = self.decoder.finish(scanned.to);
        let packet = waiting.or(packet);
        report.levels = scanned.levels;
        report.shape = scanned.shape;
        (packet, report)
    }
}

/// Reads one analogue channel, pushed in pieces of any length.
#[derive(Clone, Debug)]
pub struct ChannelAnalyser {
    scan: ChannelScan,
    decoder: ScanDecoder,
}

impl ChannelAnalyser {
    /// An analyser before the first sample.
    pub fn new(settings: ChannelSettings) -> Self {
        Self {
            scan: ChannelScan::new(settings),
            decoder: ScanDecoder::new(settings.first, settings.decoder),
        }
    }

    /// Takes evenly spaced samples and tells the packets they complete.
    pub fn push<S: Sample>(&mut self, samples: &[S], sink: &mut impl FnMut(Packet)) {
        let Self { scan, decoder } = self;
        scan.push(samples, &mut |edge| {
            if let Some(packet) = decoder.push(edge) {
                sink(packet);
            }
        });
    }

    /// Takes one sample at `time` after the first instant, for uneven steps.
    /// Levels then weigh every sample alike, and shapes are not measured.
    pub fn push_at(&mut self, time: Seconds, value: f64, sink: &mut impl FnMut(Packet)) {
        let Self { scan, decoder } = self;
        scan.push_at(time, value, &mut |edge| {
            if let Some(packet) = decoder.push(edge) {
                sink(packet);
            }
        });
    }

    /// The end: the last packets, if any were waiting, and all that was found.
    pub fn finish(self, sink: &mut impl FnMut(Packet)) -> SignalReport {
        let Self { scan, mut decoder } = self;
        let scanned = scan.finish(&mut |edge| {
            if let Some(packet) = decoder.push(edge) {
                sink(packet);
            }
        });
        let (last, report) = decoder.finish(scanned);
        last.into_iter().for_each(sink);
        report
    }
}
