//! From the samples of a voltage to what was heard in it: edges first, meaning
//! afterwards, since levels and slopes of the whole say how well edges are known.
//! It does not know the format of the file.

use super::decoding::{Decoded, Decoding, Edges};
use super::hearing::{Shaped, settings};
use super::packets::Words;
use super::passing::{Ahead, Noticed, Outline, Outlining, Piece, Telling, Timing, timed};
use super::shapes::Shapes;
use super::unread::CutOff;
use super::{Heard, PacketSink, Unread};
use crate::capture_file::{Clipping, Readings, Samples, Survey};
use crate::clock::{BenchInstant, BenchSpan};
use crate::track::{ChannelScan, ChannelSettings, EdgeUncertainty, Scale, Scanned, SignalReport};
use crate::units::{Quantity, Seconds};
use crate::waveform::ChannelAccuracy;

/// Up to so many samples all of them count for the levels, since a prime number
/// of them would leave too few.
const FEW: u64 = 200_000;

/// Edges kept until it is known how well they are known; where there are more,
/// the samples are pushed a second time instead. 32 MB.
const MOST_EDGES: usize = 1 << 21;

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
    outline: Outline,
    edges: Edges,
    readings: [Readings; 3],
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
    readings: [Readings; 2],
    decoding: Box<Decoding>,
    scanned: Scanned,
    beside: Beside,
}

impl Listener {
    /// Before the first sample.
    pub fn new(analogue: Analogue) -> Self {
        Self::keeping(analogue, MOST_EDGES)
    }

    /// The same with room for so many edges.
    pub(super) fn keeping(analogue: Analogue, most: usize) -> Self {
        let Analogue { first, period, .. } = analogue;
        let settings = channel_settings(&analogue);
        Self {
            analogue,
            scan: ChannelScan::new(settings),
            survey: Survey::new(first, period).coded(analogue.codes),
            outline: Outline::new(Shapes::new(first, period, analogue.scale)),
            edges: Edges::of((settings.first, period), most),
            readings: Default::default(),
        }
    }

    /// What takes the pieces: every one goes to each of these in their order, with
    /// what was noticed before. They may work on different pieces at a time.
    pub const fn parts(&mut self) -> (Ahead<'_>, Timing<'_>, Outlining<'_>, Telling<'_>) {
        let (search, timing) = self.scan.parts();
        let [searched, timed, outlined] = &mut self.readings;
        let ruler = timing.ruler();
        let ahead = Ahead {
            first: self.analogue.first,
            search,
            readings: searched,
        };
        let timing = Timing {
            survey: &mut self.survey,
            timing,
            readings: timed,
            known: None,
        };
        let outlining = Outlining {
            ruler,
            outline: &mut self.outline,
            readings: outlined,
        };
        (ahead, timing, outlining, Telling(&mut self.edges))
    }

    /// The end of the samples. What is left to do are two things that need nothing of
    /// each other: [`Figures::read`] and [`Closed::decoded`].
    pub fn close(mut self) -> (Figures, Closed) {
        let edges = &mut self.edges;
        let scanned = self.scan.close(&mut |edge| edges.push(edge, None));
        let parts = (self.survey, self.outline);
        let closed = Closed {
            analogue: self.analogue,
            beside: Beside::of(&self.analogue, parts, &scanned, !self.edges.uneven),
            edges: self.edges,
            scanned: scanned.clone(),
        };
        let figures = Figures {
            scan: self.scan,
            closed: scanned,
        };
        (figures, closed)
    }
}

/// Levels and shape of a voltage, still to be read.
#[derive(Debug)]
pub struct Figures {
    scan: ChannelScan,
    closed: Scanned,
}

impl Figures {
    /// Reads them.
    pub fn read(self) -> Scanned {
        self.scan.figured(self.closed)
    }
}

/// A voltage all of whose samples were taken.
#[derive(Debug)]
pub struct Closed {
    analogue: Analogue,
    edges: Edges,
    beside: Beside,
    /// Without levels and shape.
    scanned: Scanned,
}

impl Closed {
    /// Decodes its edges, known as well as all of them together say.
    pub fn decoded(self) -> Told {
        Told {
            analogue: self.analogue,
            decoded: self.edges.decoded(&self.scanned, &self.beside.unread),
            beside: self.beside,
        }
    }
}

/// A voltage whose edges were decoded, unless there were too many to keep.
#[derive(Debug)]
pub struct Told {
    analogue: Analogue,
    decoded: Result<Box<Decoded>, Box<Decoding>>,
    beside: Beside,
}

impl Told {
    /// All of it, with levels and shape as [`Figures::read`] found them; packets go to
    /// `sink`.
    pub fn finish(self, figured: Scanned, sink: &mut PacketSink<'_>) -> Listened {
        let Self {
            analogue, beside, ..
        } = self;
        match self.decoded {
            Ok(mut decoded) => {
                decoded.packets.iter().for_each(sink);
                decoded.report.levels = figured.levels;
                decoded.report.shape = figured.shape;
                Listened::Heard(Box::new(beside.heard(decoded.report, decoded.words)))
            }
            Err(decoding) => Listened::Again(Box::new(SecondListener {
                first: analogue.first,
                scan: ChannelScan::new(channel_settings(&analogue)),
                readings: Default::default(),
                decoding,
                scanned: figured,
                beside,
            })),
        }
    }
}

impl SecondListener {
    /// What takes the pieces, as at first; packets go to `sink`.
    pub fn parts<'a>(
        &'a mut self,
        sink: &'a mut PacketSink<'_>,
    ) -> (Ahead<'a>, impl FnMut(Piece<'_>, &mut Noticed)) {
        let (search, timing) = self.scan.parts();
        let [before, behind] = &mut self.readings;
        let ahead = Ahead {
            first: self.first,
            search,
            readings: before,
        };
        let decoding = &mut self.decoding;
        let behind = move |piece: Piece<'_>, noticed: &mut Noticed| {
            timed(timing, (piece, noticed), behind, &mut |edge| {
                decoding.push(edge, sink);
            });
        };
        (ahead, behind)
    }

    /// The end of the samples.
    pub fn finish(self, sink: &mut PacketSink<'_>) -> Box<Heard> {
        let Self {
            scan, mut decoding, ..
        } = self;
        scan.finish(&mut |edge| decoding.push(edge, sink));
        let (report, words) = decoding.finish(self.scanned, sink);
        Box::new(self.beside.heard(report, words))
    }
}

/// What was found beside edges and packets.
#[derive(Debug)]
struct Beside {
    unread: Unread,
    shaped: Shaped,
}

impl Beside {
    fn of(
        analogue: &Analogue,
        (survey, outline): (Survey, Outline),
        closed: &Scanned,
        even: bool,
    ) -> Self {
        let Outline {
            shapes, silence, ..
        } = outline;
        let facts = survey.finish(closed.to.since_zero().si());
        let ChannelAccuracy { gain_u, offset_u } = analogue.accuracy;
        let Scale { gain, step, .. } = analogue.scale;
        Self {
            unread: Unread {
                silent: silence.finish(closed.from, closed.to),
                clipped: clipped(&analogue.scale, &shapes, [facts.high, facts.low]),
                missing: facts.missing,
                infinite: facts.infinite,
            },
            shaped: Shaped {
                levels: shapes.levels,
                slopes: shapes.slopes,
                even,
                gain_u,
                offset_u,
                step: step * gain.abs(),
            },
        }
    }

    fn heard(self, report: SignalReport, words: Words) -> Heard {
        Heard {
            report,
            packets: words.ranked(),
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
