//! From the samples of a voltage to what was heard in it: edges first, meaning
//! afterwards, since levels and slopes of the whole say how well edges are known.
//! It does not know the format of the file.

use super::hearing::{Shaped, settings};
use super::packets::Words;
use super::shapes::Shapes;
use super::unread::{CutOff, Silence};
use super::{Heard, PacketSink, Unread};
use crate::capture_file::{Clipping, Samples, Survey};
use crate::clock::{BenchInstant, BenchSpan};
use crate::track::{
    ChannelScan, ChannelSettings, Edge, EdgeUncertainty, Scale, ScanDecoder, Scanned, SignalReport,
};
use crate::units::{Quantity, Seconds};
use crate::waveform::ChannelAccuracy;

/// Edges kept until it is known how well they are known; where there are more,
/// the samples are pushed a second time instead. 32 MB.
const MOST_EDGES: usize = 1 << 21;
/// Up to so many samples all of them count for the levels, since a prime number
/// of them would leave too few.
const FEW: u64 = 200_000;

/// Samples as a format hands them on.
#[derive(Clone, Copy, Debug)]
pub enum Piece<'a> {
    /// At even steps, following the piece before.
    Even(Samples<'a>),
    /// One sample: time (s) and volts.
    At(f64, f64),
}

/// How an analogue channel lies in its file.
#[derive(Clone, Copy, Debug)]
pub struct Analogue {
    /// Time between samples, s; where steps are uneven, the longest.
    pub period: f64,
    /// Raw samples to volts.
    pub scale: Scale,
    /// The ends of the range of its codes; none of numbers without steps.
    pub codes: Option<(f64, f64)>,
    /// Instant of the first sample, s.
    pub first: f64,
    /// Samples.
    pub samples: u64,
    /// Trust in the voltage, as far as known.
    pub accuracy: ChannelAccuracy,
    /// Trust in the clock (relative), as far as known.
    pub time_base_u: f64,
}

/// Takes all samples of a voltage once.
#[derive(Debug)]
pub struct Listener {
    analogue: Analogue,
    scan: ChannelScan,
    survey: Survey,
    shapes: Shapes,
    silence: Silence,
    even: bool,
    /// Crossings of the present piece.
    fresh: Vec<Edge>,
    /// Edges, each known to a fit through its samples.
    edges: Vec<Edge>,
    all: usize,
}

/// What a [`Listener`] came to.
#[derive(Debug)]
pub enum Listened {
    /// All there is.
    Heard(Box<Heard>),
    /// There are too many edges to keep: push the samples once more.
    Again(Box<SecondListener>),
}

/// Takes all samples of a voltage a second time.
#[derive(Debug)]
pub struct SecondListener {
    first: f64,
    scan: ChannelScan,
    survey: Survey,
    decoding: Decoding,
}

impl Listener {
    /// Before the first sample.
    pub fn new(analogue: Analogue) -> Self {
        let Analogue { first, period, .. } = analogue;
        Self {
            analogue,
            scan: ChannelScan::new(channel_settings(&analogue)),
            survey: survey(&analogue),
            shapes: Shapes::new(first, period, analogue.scale),
            silence: Silence::default(),
            even: true,
            fresh: Vec::new(),
            edges: Vec::new(),
            all: 0,
        }
    }

    /// Takes a piece.
    pub fn push(&mut self, piece: Piece<'_>) {
        let Self {
            analogue,
            scan,
            survey,
            shapes,
            silence,
            fresh,
            edges,
            all,
            ..
        } = self;
        fresh.clear();
        let room = MOST_EDGES.saturating_sub(edges.len());
        let (mut kept, mut count) = (Vec::new(), 0);
        let mut keep = |edge| {
            count += 1;
            if kept.len() < room {
                kept.push(edge);
            }
        };
        match piece {
            Piece::At(time, volts) => {
                self.even = false;
                let volts = survey.push_at(time, volts);
                scan.push_at(Seconds::new(time - analogue.first), volts, &mut |edge| {
                    fresh.push(edge);
                    keep(edge);
                });
            }
            Piece::Even(samples) => {
                let samples = survey.push(samples);
                scanned(scan, samples, &mut |edge| fresh.push(edge), &mut keep);
                match samples {
                    Samples::I8(list) => shapes.take(list, fresh),
                    Samples::I16(list) => shapes.take(list, fresh),
                    Samples::I32(list) => shapes.take(list, fresh),
                    Samples::F32(list) => shapes.take(list, fresh),
                    Samples::F64(list) => shapes.take(list, fresh),
                }
            }
        }
        let from = BenchInstant::ZERO + BenchSpan::from_seconds(Seconds::new(analogue.first));
        for &edge in fresh.iter() {
            silence.push(from, edge);
        }
        edges.append(&mut kept);
        *all += count;
    }

    /// The end of the samples; packets go to `sink`.
    pub fn finish(mut self, sink: &mut PacketSink<'_>) -> Listened {
        let (edges, all) = (&mut self.edges, &mut self.all);
        let scanned = self.scan.finish(&mut |edge| {
            *all += 1;
            if edges.len() < MOST_EDGES {
                edges.push(edge);
            }
        });
        let facts = self.survey.finish(scanned.to.since_zero().si());
        let unread = Unread {
            silent: self.silence.finish(scanned.from, scanned.to),
            clipped: clipped(&self.analogue.scale, &self.shapes, [facts.high, facts.low]),
            missing: facts.missing,
            infinite: facts.infinite,
        };
        // Edges lie between two readings where those are evenly spaced.
        let before = if self.even { self.analogue.period } else { 0.0 };
        let first = channel_settings(&self.analogue).first;
        let ChannelAccuracy { gain_u, offset_u } = self.analogue.accuracy;
        let Scale { gain, step, .. } = self.analogue.scale;
        let edge = if self.all > MOST_EDGES {
            scanned.edge
        } else {
            // Where halves scatter more than is explained, that counts.
            let report = first_look((first, &unread), &scanned, &self.edges, before);
            report.scattered(&scanned.edge).unwrap_or(scanned.edge)
        };
        // Either edge may lie anywhere between two samples, and be read so.
        let bound = edge.sampling_alone().then_some(self.analogue.period);
        let mut decoding = Decoding {
            decoder: ScanDecoder::new(first, settings(edge, bound)).without(gaps(&unread, before)),
            words: Words::default(),
            scanned,
            unread,
            shaped: Shaped {
                levels: self.shapes.levels,
                slopes: self.shapes.slopes,
                even: self.even,
                gain_u,
                offset_u,
                step: step * gain.abs(),
            },
        };
        if self.all > MOST_EDGES {
            return Listened::Again(Box::new(SecondListener {
                first: self.analogue.first,
                scan: ChannelScan::new(channel_settings(&self.analogue)),
                survey: survey(&self.analogue),
                decoding,
            }));
        }
        for edge in self.edges {
            decoding.push(edge, sink);
        }
        Listened::Heard(Box::new(decoding.finish(sink)))
    }
}

impl SecondListener {
    /// Takes a piece; packets go to `sink`.
    pub fn push(&mut self, piece: Piece<'_>, sink: &mut PacketSink<'_>) {
        let Self {
            first,
            scan,
            survey,
            decoding,
        } = self;
        let mut decode = |edge| decoding.push(edge, sink);
        match piece {
            Piece::At(time, volts) => {
                let volts = survey.push_at(time, volts);
                scan.push_at(Seconds::new(time - *first), volts, &mut decode);
            }
            Piece::Even(samples) => {
                scanned(scan, survey.push(samples), &mut |_| (), &mut decode);
            }
        }
    }

    /// The end of the samples.
    pub fn finish(self, sink: &mut PacketSink<'_>) -> Box<Heard> {
        let Self {
            scan, mut decoding, ..
        } = self;
        scan.finish(&mut |edge| decoding.push(edge, sink));
        Box::new(decoding.finish(sink))
    }
}

/// Edges to packets, beside what is known already.
#[derive(Debug)]
struct Decoding {
    decoder: ScanDecoder,
    words: Words,
    scanned: Scanned,
    unread: Unread,
    shaped: Shaped,
}

impl Decoding {
    fn push(&mut self, edge: Edge, sink: &mut PacketSink<'_>) {
        if let Some(packet) = self.decoder.push(edge) {
            self.words.count(&packet);
            sink(&packet);
        }
    }

    fn finish(mut self, sink: &mut PacketSink<'_>) -> Heard {
        let (last, report) = self.decoder.finish(self.scanned);
        if let Some(packet) = last {
            self.words.count(&packet);
            sink(&packet);
        }
        Heard {
            report,
            packets: self.words.ranked(),
            unread: self.unread,
            shaped: Some(self.shaped),
        }
    }
}

/// Where the range cuts positive and negative halves off: at the last code of
/// the type, at an end that the voltage keeps turning back to, or flat while the
/// other polarity is not.
fn clipped(scale: &Scale, shapes: &Shapes, ends: [Option<Clipping>; 2]) -> [Option<CutOff>; 2] {
    let [mut high, mut low] = ends.map(|end| end.map(|end| CutOff::of(end, scale)));
    if scale.gain < 0.0 {
        std::mem::swap(&mut high, &mut low);
    }
    let flat = |side: usize| {
        let at = shapes.levels[side].flat_at();
        let at = at.filter(|_| shapes.levels[1 - side].moves());
        at.map(CutOff::flat)
    };
    [
        high.filter(|end| end.level > 0.0).or_else(|| flat(0)),
        low.filter(|end| end.level < 0.0).or_else(|| flat(1)),
    ]
}

/// Where there are no readings, from the sample before on, as far as it was kept.
fn gaps(unread: &Unread, period: f64) -> impl Iterator<Item = (BenchInstant, BenchInstant)> {
    let at = |s: f64| BenchInstant::ZERO + BenchSpan::from_seconds(Seconds::new(s));
    let spans = unread.missing.first.iter();
    spans.map(move |span| (at(span.from - period), at(span.to)))
}

fn survey(analogue: &Analogue) -> Survey {
    Survey::new(analogue.first, analogue.period).coded(analogue.codes)
}

/// What edges say that are taken for as well known as `scanned` has it.
fn first_look(
    (first, unread): (BenchInstant, &Unread),
    scanned: &Scanned,
    edges: &[Edge],
    period: f64,
) -> SignalReport {
    let decoder = ScanDecoder::new(first, settings(scanned.edge, None));
    let mut decoder = decoder.without(gaps(unread, period));
    for &edge in edges {
        decoder.push(edge);
    }
    decoder.finish(scanned.clone()).1
}

fn scanned(
    scan: &mut ChannelScan,
    samples: Samples<'_>,
    crossed: &mut impl FnMut(Edge),
    each: &mut impl FnMut(Edge),
) {
    match samples {
        Samples::I8(list) => scan.push_telling(list, crossed, each),
        Samples::I16(list) => scan.push_telling(list, crossed, each),
        Samples::I32(list) => scan.push_telling(list, crossed, each),
        Samples::F32(list) => scan.push_telling(list, crossed, each),
        Samples::F64(list) => scan.push_telling(list, crossed, each),
    }
}

fn coarse(analogue: &Analogue) -> EdgeUncertainty {
    EdgeUncertainty::sampled(analogue.period, analogue.time_base_u)
}

fn channel_settings(analogue: &Analogue) -> ChannelSettings {
    let decoder = settings(coarse(analogue), None);
    let first = BenchSpan::from_seconds(Seconds::new(analogue.first));
    let usual = ChannelSettings::new(Seconds::new(analogue.period), analogue.scale, decoder);
    ChannelSettings {
        first: BenchInstant::ZERO + first,
        accuracy: analogue.accuracy,
        stride: if analogue.samples <= FEW {
            1
        } else {
            usual.stride
        },
        ..usual
    }
}

/// The samples as numbers.
pub fn numbers(samples: Samples<'_>, mut each: impl FnMut(f64)) {
    match samples {
        Samples::I8(list) => list.iter().for_each(|&x| each(f64::from(x))),
        Samples::I16(list) => list.iter().for_each(|&x| each(f64::from(x))),
        Samples::I32(list) => list.iter().for_each(|&x| each(f64::from(x))),
        Samples::F32(list) => list.iter().for_each(|&x| each(f64::from(x))),
        Samples::F64(list) => list.iter().for_each(|&x| each(x)),
    }
}
