//! From the samples of a voltage to what was heard in it: edges first, meaning
//! afterwards, since levels and slopes of the whole say how well edges are known.
//! It does not know the format of the file.

use super::Heard;
use super::packets::Words;
use crate::capture_file::Samples;
use crate::clock::{BenchInstant, BenchSpan};
use crate::track::{
    ChannelScan, ChannelSettings, DecoderSettings, Edge, EdgeUncertainty, Scale, ScanDecoder,
    Scanned, VerticalUncertainty,
};
use crate::units::Seconds;
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
    decoding: Decoding,
    scanned: Scanned,
}

impl Listener {
    /// Before the first sample.
    pub fn new(analogue: Analogue) -> Self {
        Self {
            analogue,
            scan: ChannelScan::new(settings(&analogue)),
            edges: Vec::new(),
            all: 0,
        }
    }

    /// Takes a piece.
    pub fn push(&mut self, piece: Piece<'_>) {
        let Self {
            analogue,
            scan,
            edges,
            all,
        } = self;
        scanned(scan, analogue.first, piece, &mut |edge| {
            *all += 1;
            if *all <= MOST_EDGES {
                edges.push(edge);
            }
        });
    }

    /// The end of the samples.
    pub fn finish(self) -> Listened {
        let scanned = self.scan.finish();
        let coarse = coarse(&self.analogue);
        let edge = uncertainty(&self.analogue, &scanned).unwrap_or(coarse);
        let settings = settings(&self.analogue);
        let mut decoding = Decoding {
            decoder: ScanDecoder::new(settings.first, DecoderSettings::new(edge)),
            words: Words::default(),
        };
        if self.all > MOST_EDGES {
            return Listened::Again(Box::new(SecondListener {
                first: self.analogue.first,
                scan: ChannelScan::new(settings),
                decoding,
                scanned,
            }));
        }
        self.edges.into_iter().for_each(|edge| decoding.push(edge));
        Listened::Heard(Box::new(decoding.finish(scanned)))
    }
}

impl SecondListener {
    /// Takes a piece.
    pub fn push(&mut self, piece: Piece<'_>) {
        let Self {
            first,
            scan,
            decoding,
            ..
        } = self;
        scanned(scan, *first, piece, &mut |edge| decoding.push(edge));
    }

    /// The end of the samples.
    pub fn finish(self) -> Box<Heard> {
        Box::new(self.decoding.finish(self.scanned))
    }
}

/// Edges to packets.
#[derive(Debug)]
struct Decoding {
    decoder: ScanDecoder,
    words: Words,
}

impl Decoding {
    fn push(&mut self, edge: Edge) {
        if let Some(packet) = self.decoder.push(edge) {
            self.words.count(&packet);
        }
    }

    fn finish(self, scanned: Scanned) -> Heard {
        let (last, report) = self.decoder.finish(scanned);
        Heard::new(self.words, last, report)
    }
}

fn scanned(scan: &mut ChannelScan, first: f64, piece: Piece<'_>, each: &mut impl FnMut(Edge)) {
    match piece {
        Piece::Even(Samples::I8(list)) => scan.push(list, each),
        Piece::Even(Samples::I16(list)) => scan.push(list, each),
        Piece::Even(Samples::I32(list)) => scan.push(list, each),
        Piece::Even(Samples::F32(list)) => scan.push(list, each),
        Piece::Even(Samples::F64(list)) => scan.push(list, each),
        Piece::At(time, volts) => scan.push_at(Seconds::new(time - first), volts, each),
    }
}

fn coarse(analogue: &Analogue) -> EdgeUncertainty {
    EdgeUncertainty::sampled(analogue.period, analogue.time_base_u)
}

fn settings(analogue: &Analogue) -> ChannelSettings {
    let decoder = DecoderSettings::new(coarse(analogue));
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
