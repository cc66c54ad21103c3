//! What is done while the samples of a voltage pass, in parts that may work on two
//! threads, each on a piece that the one before it has done with: every sample is
//! looked at for crossings, those about crossings are read for when they were and
//! for what they look like, and edges are decoded. It concludes nothing.

use super::decoding::Edges;
use super::shapes::Shapes;
use super::unread::Silence;
use crate::capture_file::{Readings, Samples, Survey};
use crate::track::{CrossingSearch, Edge, EdgeTiming, EdgeUncertainty, Found, Ruler};
use crate::units::Seconds;

/// Samples as a format hands them on.
#[derive(Clone, Copy, Debug)]
pub enum Piece<'a> {
    /// At even steps, following the piece before.
    Even(Samples<'a>),
    /// One sample: time (s) and volts.
    At(f64, f64),
}

/// What was noticed in a piece, for those who take it later.
#[derive(Clone, Debug)]
pub struct Noticed {
    found: Vec<Found>,
    /// Some of the samples are no readings.
    damaged: bool,
    /// The least and the greatest reading.
    ends: (f64, f64),
    /// Edges of this piece and of those before it of which all is known now, and
    /// how well the first of all are known.
    told: Vec<Edge>,
    known: Option<EdgeUncertainty>,
}

impl Default for Noticed {
    fn default() -> Self {
        Self {
            // As many as most pieces have: where room grows on one thread, the
            // other may have to wait for its own.
            found: Vec::with_capacity(64),
            damaged: false,
            ends: (0.0, 0.0),
            told: Vec::new(),
            known: None,
        }
    }
}

/// Searches for crossings.
#[derive(Debug)]
pub struct Ahead<'a> {
    /// The instant of the first sample, s.
    pub(super) first: f64,
    pub(super) search: &'a mut CrossingSearch,
    pub(super) readings: &'a mut Readings,
}

impl Ahead<'_> {
    /// Takes the next piece; `noticed` is what was noticed in it.
    pub fn take(&mut self, piece: Piece<'_>, noticed: &mut Noticed) {
        let Noticed {
            found,
            damaged,
            ends,
            ..
        } = noticed;
        found.clear();
        match piece {
            Piece::At(time, volts) => {
                let since = Seconds::new(time - self.first);
                let volts = Readings::of_one(volts);
                self.search.push_at(since, volts, found);
            }
            Piece::Even(samples) => {
                *damaged = Readings::are_others_among(samples);
                *ends = match read(samples, *damaged, self.readings) {
                    Samples::I8(list) => self.search.push(list, found),
                    Samples::I16(list) => self.search.push(list, found),
                    Samples::I32(list) => self.search.push(list, found),
                    Samples::F32(list) => self.search.push(list, found),
                    Samples::F64(list) => self.search.push(list, found),
                };
            }
        }
    }
}

/// What crossings tell whose instants no fit has read.
#[derive(Debug)]
pub(super) struct Outline {
    pub(super) shapes: Shapes,
    pub(super) silence: Silence,
}

impl Outline {
    pub(super) fn new(shapes: Shapes) -> Self {
        Self {
            shapes,
            silence: Silence::default(),
        }
    }

    /// Takes what was found in a piece.
    fn crossed(&mut self, ruler: Ruler, found: &[Found], even: bool) {
        for found in found {
            self.silence.push(ruler.first(), ruler.untimed(found));
            if even {
                let (place, to) = ruler.place(found);
                self.shapes.crossed(place, to);
            }
        }
    }
}

/// Tells what of the samples are readings, and when the edges were.
#[derive(Debug)]
pub struct Timing<'a> {
    pub(super) survey: &'a mut Survey,
    pub(super) timing: &'a mut EdgeTiming,
    pub(super) readings: &'a mut Readings,
    /// How well the first edges are known.
    pub(super) known: Option<EdgeUncertainty>,
}

impl Timing<'_> {
    /// Takes a piece, and what was noticed in it.
    pub fn take(&mut self, piece: Piece<'_>, noticed: &mut Noticed) {
        match piece {
            Piece::At(time, volts) => self.survey.push_at(time, volts),
            Piece::Even(samples) => self.survey.push(samples, noticed.ends),
        }
        let mut told = std::mem::take(&mut noticed.told);
        told.clear();
        timed(self.timing, (piece, noticed), self.readings, &mut |edge| {
            told.push(edge);
        });
        if self.known.is_none() && !told.is_empty() {
            self.known = Some(self.timing.edge());
        }
        noticed.told = told;
        noticed.known = self.known;
    }
}

/// Looks at halves and crossings.
#[derive(Debug)]
pub struct Outlining<'a> {
    pub(super) ruler: Ruler,
    pub(super) outline: &'a mut Outline,
    pub(super) readings: &'a mut Readings,
}

impl Outlining<'_> {
    /// Takes a piece, and what was noticed in it.
    pub fn take(&mut self, piece: Piece<'_>, noticed: &mut Noticed) {
        let even = matches!(piece, Piece::Even(_));
        let outline = &mut *self.outline;
        outline.crossed(self.ruler, &noticed.found, even);
        if let Piece::Even(samples) = piece {
            let shapes = &mut outline.shapes;
            match read(samples, noticed.damaged, self.readings) {
                Samples::I8(list) => shapes.take(list),
                Samples::I16(list) => shapes.take(list),
                Samples::I32(list) => shapes.take(list),
                Samples::F32(list) => shapes.take(list),
                Samples::F64(list) => shapes.take(list),
            }
        }
    }
}

/// Keeps the edges and decodes them.
#[derive(Debug)]
pub struct Telling<'a>(pub(super) &'a mut Edges);

impl Telling<'_> {
    /// Takes a piece, and what was noticed in it.
    pub fn take(&mut self, piece: Piece<'_>, noticed: &mut Noticed) {
        self.0.uneven |= matches!(piece, Piece::At(..));
        for &edge in &noticed.told {
            self.0.push(edge, noticed.known);
        }
    }
}

/// Times the edges of a piece.
pub(super) fn timed(
    timing: &mut EdgeTiming,
    (piece, noticed): (Piece<'_>, &Noticed),
    readings: &mut Readings,
    each: &mut impl FnMut(Edge),
) {
    let found = &noticed.found;
    match piece {
        Piece::At(..) => timing.tell(found, each),
        Piece::Even(samples) => match read(samples, noticed.damaged, readings) {
            Samples::I8(list) => timing.take(list, found, each),
            Samples::I16(list) => timing.take(list, found, each),
            Samples::I32(list) => timing.take(list, found, each),
            Samples::F32(list) => timing.take(list, found, each),
            Samples::F64(list) => timing.take(list, found, each),
        },
    }
}

fn read<'a>(samples: Samples<'a>, damaged: bool, readings: &'a mut Readings) -> Samples<'a> {
    if damaged {
        readings.of(samples)
    } else {
        samples
    }
}

#[cfg(test)]
mod tests;
