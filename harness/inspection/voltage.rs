//! From the samples of a voltage to what was heard in it: edges first, meaning
//! afterwards, since levels and slopes of the whole say how well edges are known.
//! It does not know the format of the file.

use super::hearing::{Shaped, settings};
use super::packets::Words;
use super::shapes::Shapes;
use super::unread::{Readable, Silence};
use super::{Heard, PacketSink, Unread};
use crate::capture_file::Samples;
use crate::clock::{BenchInstant, BenchSpan};
use crate::track::{
    ChannelScan, ChannelSettings, Edge, EdgeUncertainty, Scale, ScanDecoder, Scanned,
    VerticalUncertainty,
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
    readable: Readable,
    shapes: Shapes,
    silence: Silence,
    even: bool,
    /// Edges of the present piece.
    fresh: Vec<Edge>,
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
    readable: Readable,
    decoding: Decoding,
}

impl Listener {
    /// Before the first sample.
    pub fn new(analogue: Analogue) -> Self {
        let Analogue { first, period, .. } = analogue;
        Self {
            analogue,
            scan: ChannelScan::new(channel_settings(&analogue)),
            readable: Readable::new(first, period),
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
            readable,
            shapes,
            silence,
            fresh,
            ..
        } = self;
        fresh.clear();
        let mut note = |edge| fresh.push(edge);
        match piece {
            Piece::At(time, volts) => {
                self.even = false;
                let volts = readable.at(time, volts);
                scan.push_at(Seconds::new(time - analogue.first), volts, &mut note);
            }
            Piece::Even(samples) => {
                let samples = readable.clean(samples);
                scanned(scan, samples, &mut note);
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
        self.all += self.fresh.len();
        let room = MOST_EDGES.saturating_sub(self.edges.len());
        self.edges.extend(self.fresh.iter().take(room));
    }

    /// The end of the samples; packets go to `sink`.
    pub fn finish(mut self, sink: &mut PacketSink<'_>) -> Listened {
        let scanned = self.scan.finish();
        let edge = uncertainty(&self.analogue, &scanned);
        let edge = edge.unwrap_or_else(|| coarse(&self.analogue));
        self.readable.finish(scanned.to.since_zero().si());
        let mut unread = self.readable.unread;
        unread.silent = self.silence.finish(scanned.from, scanned.to);
        unread.clipped = clipped(&self.analogue, &scanned, &self.shapes, &self.readable);
        let first = channel_settings(&self.analogue).first;
        let ChannelAccuracy { gain_u, offset_u } = self.analogue.accuracy;
        let Scale { gain, step, .. } = self.analogue.scale;
        let mut decoding = Decoding {
            decoder: ScanDecoder::new(first, settings(edge)),
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
            let Analogue { first, period, .. } = self.analogue;
            return Listened::Again(Box::new(SecondListener {
                first,
                scan: ChannelScan::new(channel_settings(&self.analogue)),
                readable: Readable::new(first, period),
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
            readable,
            decoding,
        } = self;
        let mut decode = |edge| decoding.push(edge, sink);
        match piece {
            Piece::At(time, volts) => {
                let volts = readable.at(time, volts);
                scan.push_at(Seconds::new(time - *first), volts, &mut decode);
            }
            Piece::Even(samples) => scanned(scan, readable.clean(samples), &mut decode),
        }
    }

    /// The end of the samples.
    pub fn finish(self, sink: &mut PacketSink<'_>) -> Box<Heard> {
        Box::new(self.decoding.finish(sink))
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
/// the type, or flat while the other polarity is not.
fn clipped(
    analogue: &Analogue,
    scanned: &Scanned,
    shapes: &Shapes,
    readable: &Readable,
) -> [Option<f64>; 2] {
    let Some(levels) = &scanned.levels else {
        return [None; 2];
    };
    let inverted = analogue.scale.gain < 0.0;
    [0, 1].map(|side: usize| {
        let extreme = [levels.extremes.1, levels.extremes.0][side];
        let code = readable.last_code[if inverted { 1 - side } else { side }];
        let flat = || {
            let at = shapes.levels[side].flat_at();
            at.filter(|_| shapes.levels[1 - side].moves())
        };
        code.then_some(extreme).or_else(flat)
    })
}

fn scanned(scan: &mut ChannelScan, samples: Samples<'_>, each: &mut impl FnMut(Edge)) {
    match samples {
        Samples::I8(list) => scan.push(list, each),
        Samples::I16(list) => scan.push(list, each),
        Samples::I32(list) => scan.push(list, each),
        Samples::F32(list) => scan.push(list, each),
        Samples::F64(list) => scan.push(list, each),
    }
}

fn coarse(analogue: &Analogue) -> EdgeUncertainty {
    EdgeUncertainty::sampled(analogue.period, analogue.time_base_u)
}

fn channel_settings(analogue: &Analogue) -> ChannelSettings {
    let decoder = settings(coarse(analogue));
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

/// How well edges between samples are known, if shapes could be measured.
fn uncertainty(analogue: &Analogue, scanned: &Scanned) -> Option<EdgeUncertainty> {
    let levels = scanned.levels.as_ref()?;
    let shape = scanned.shape.as_ref()?;
    let slope = [&shape.rising, &shape.falling]
        .iter()
        .filter_map(|figures| figures.slowest)
        .map(|slew| slew.value)
        .fold(f64::INFINITY, f64::min);
    slope.is_finite().then(|| {
        let vertical = VerticalUncertainty {
            slope,
            amplitude: levels.states.amplitude(),
            noise: levels.states.noise_low.max(levels.states.noise_high),
            step: analogue.scale.step * analogue.scale.gain.abs(),
            offset_u: analogue.accuracy.offset_u,
        };
        EdgeUncertainty::interpolated(analogue.period, analogue.time_base_u, &vertical)
    })
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
