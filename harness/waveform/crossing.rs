//! Instants at which a sampled voltage changes polarity: hysteresis against
//! noise, linear interpolation between samples; only samples that do not rest
//! are walked through. It knows no bits and no units: positions are sample numbers (or
//! whatever the caller counts in) and values are the caller's.

pub use super::rest::Sample;

use super::rest::Band;
use serde::{Deserialize, Serialize};

/// The sign of a rail-to-rail voltage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Polarity {
    /// Below the band around zero.
    Negative,
    /// Within the band, for longer than a crossing takes: both rails joined.
    Zero,
    /// Above the band.
    Positive,
}

impl Polarity {
    /// The other sign; zero stays zero.
    pub const fn opposite(self) -> Self {
        match self {
            Self::Negative => Self::Positive,
            Self::Zero => Self::Zero,
            Self::Positive => Self::Negative,
        }
    }
}

/// What counts as a crossing.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Thresholds {
    /// The level whose crossing is timed, usually zero volts.
    pub level: f64,
    /// How far beyond the level, either side, the value must go.
    pub hysteresis: f64,
    /// How long the value must stay inside the band to be [`Polarity::Zero`],
    /// in positions; infinity where there is no such state.
    pub dwell: f64,
}

/// One change of polarity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// Where, interpolated. Between the two signs: the crossing of the level,
    /// and where noise crosses it several times the middle of first and last.
    /// Into and out of zero: the crossing of the band's border.
    pub position: f64,
    /// The polarity from here on.
    pub to: Polarity,
    /// Last minus first crossing of the level; zero for a clean one.
    pub ambiguity: f64,
}

/// Samples that are looked at twice while they are in the nearest cache: for
/// their extremes and for where they leave their band.
const BLOCK: usize = 8192;

/// Finds crossings in a stream of samples, pushed in pieces of any length: the
/// result does not depend on where the pieces are cut.
#[derive(Clone, Debug)]
pub struct CrossingDetector {
    level: f64,
    upper: f64,
    lower: f64,
    dwell: f64,
    state: Option<Polarity>,
    /// Position and value of the last sample that was a number.
    previous: Option<(f64, f64)>,
    /// Where the value entered the band and has not left it since.
    entered: Option<f64>,
    /// First and last crossing of the level since the value left its side.
    pending: Option<(f64, f64)>,
    /// Since when the value is exactly at the level, and on which side it was
    /// before: code zero belongs to neither side.
    level_since: Option<(f64, bool)>,
    next: u64,
    least: f64,
    greatest: f64,
}

/// The samples that leave each state as it is.
struct Bands<S> {
    above: Option<Band<S>>,
    below: Option<Band<S>>,
    inside: Option<Band<S>>,
}

impl CrossingDetector {
    /// A detector before the first sample. A negative hysteresis counts as
    /// none.
    pub fn new(thresholds: Thresholds) -> Self {
        let hysteresis = thresholds.hysteresis.max(0.0);
        Self {
            level: thresholds.level,
            upper: thresholds.level + hysteresis,
            lower: thresholds.level - hysteresis,
            dwell: thresholds.dwell,
            state: None,
            previous: None,
            entered: None,
            pending: None,
            level_since: None,
            next: 0,
            least: f64::INFINITY,
            greatest: f64::NEG_INFINITY,
        }
    }

    /// The polarity now, once the value has been outside the band.
    pub fn polarity(&self) -> Option<Polarity> {
        self.state
    }

    /// Samples pushed so far.
    pub fn samples(&self) -> u64 {
        self.next
    }

    /// Least and greatest value so far, if there was any number.
    pub fn extremes(&self) -> Option<(f64, f64)> {
        (self.least <= self.greatest).then_some((self.least, self.greatest))
    }

    /// Takes evenly spaced samples; their positions are their numbers. Tells the
    /// least and the greatest of them, as [`Sample::extremes`] does.
    pub fn push<S: Sample>(
        &mut self,
        samples: &[S],
        sink: &mut impl FnMut(Crossing),
    ) -> (f64, f64) {
        let bands = Bands {
            above: Band::of(self.upper, f64::INFINITY),
            below: Band::of(f64::NEG_INFINITY, self.lower),
            inside: Band::of(self.lower.next_up(), self.upper.next_down()),
        };
        let mut ends = (f64::INFINITY, f64::NEG_INFINITY);
        for block in samples.chunks(BLOCK) {
            let (least, greatest) = S::extremes(block);
            ends = (ends.0.min(least), ends.1.max(greatest));
            self.block(block, &bands, sink);
        }
        self.least = self.least.min(ends.0);
        self.greatest = self.greatest.max(ends.1);
        ends
    }

    fn block<S: Sample>(&mut self, block: &[S], bands: &Bands<S>, sink: &mut impl FnMut(Crossing)) {
        let mut rest = block;
        while !rest.is_empty() {
            if let Some(band) = self.at_rest(bands) {
                let (resting, others) = rest.split_at(band.holds_first(rest));
                self.skip(resting);
                rest = others;
            }
            // Up to a sample that may begin another rest.
            while let [sample, others @ ..] = rest {
                self.step(self.next as f64, sample.number(), sink);
                self.next += 1;
                rest = others;
                if self.entered.is_none() {
                    break;
                }
            }
        }
    }

    /// Takes one sample at `position`, for unevenly spaced samples. Positions
    /// must not fall; a sample at or before the last position is passed over.
    pub fn push_at(&mut self, position: f64, value: f64, sink: &mut impl FnMut(Crossing)) {
        let later = self.previous.is_none_or(|(last, _)| position > last);
        if later && position.is_finite() {
            self.least = self.least.min(value);
            self.greatest = self.greatest.max(value);
            self.step(position, value, sink);
            self.next += 1;
        }
    }

    /// The samples that leave everything as it is, where the last one did.
    fn at_rest<S: Sample>(&self, bands: &Bands<S>) -> Option<Band<S>> {
        if self.entered.is_some() || self.pending.is_some() {
            return None;
        }
        match self.state {
            Some(Polarity::Positive) => bands.above,
            Some(Polarity::Negative) => bands.below,
            Some(Polarity::Zero) | None => bands.inside,
        }
    }

    /// Passes over samples at rest.
    fn skip<S: Sample>(&mut self, resting: &[S]) {
        let last = resting.iter().rposition(|s| !s.number().is_nan());
        self.level_since = None;
        if let Some(index) = last {
            self.previous = Some((self.next as f64 + index as f64, resting[index].number()));
        }
        self.next += resting.len() as u64;
    }

    fn side(&self, value: f64) -> Polarity {
        if value >= self.upper {
            Polarity::Positive
        } else if value <= self.lower {
            Polarity::Negative
        } else {
            Polarity::Zero
        }
    }

    fn step(&mut self, position: f64, value: f64, sink: &mut impl FnMut(Crossing)) {
        if value.is_nan() {
            return;
        }
        let side = self.side(value);
        let before = self.previous.replace((position, value));
        let (Some(state), Some(before)) = (self.state, before) else {
            // Which way noise inside the band points says nothing.
            self.state = (side != Polarity::Zero).then_some(side);
            return;
        };
        let here = (position, value);
        if let Some(at) = self.passes(before, here) {
            let first = self.pending.map_or(at, |(first, _)| first);
            self.pending = Some((first, at));
        }
        if side == state {
            self.entered = None;
            self.pending = None;
            self.level_since = None;
        } else if side == Polarity::Zero {
            self.inside_band(state, before, here, sink);
        } else {
            let border = if side == Polarity::Positive {
                self.upper
            } else {
                self.lower
            };
            let (first, last) = match (state, self.pending) {
                (Polarity::Zero, _) | (_, None) => {
                    let at = between(before, here, border);
                    (at, at)
                }
                (_, Some(pending)) => pending,
            };
            self.emit(side, first, last, sink);
        }
    }

    /// Where the value passes the level between two samples. Samples exactly at
    /// it count for neither side: their middle is the crossing, up and down.
    fn passes(&mut self, before: (f64, f64), here: (f64, f64)) -> Option<f64> {
        if here.1 == self.level {
            if before.1 != self.level {
                self.level_since = Some((here.0, before.1 > self.level));
            }
            return None;
        }
        let above = here.1 > self.level;
        if before.1 == self.level {
            let (since, was_above) = self.level_since.take()?;
            return (was_above != above).then_some(since + (before.0 - since) / 2.0);
        }
        ((before.1 > self.level) != above).then(|| between(before, here, self.level))
    }

    fn inside_band(
        &mut self,
        state: Polarity,
        before: (f64, f64),
        here: (f64, f64),
        sink: &mut impl FnMut(Crossing),
    ) {
        let border = if state == Polarity::Positive {
            self.upper
        } else {
            self.lower
        };
        let entered = *self
            .entered
            .get_or_insert_with(|| between(before, here, border));
        if here.0 - entered >= self.dwell {
            self.emit(Polarity::Zero, entered, entered, sink);
        }
    }

    fn emit(&mut self, to: Polarity, first: f64, last: f64, sink: &mut impl FnMut(Crossing)) {
        self.state = Some(to);
        self.entered = None;
        self.pending = None;
        self.level_since = None;
        sink(Crossing {
            position: first + (last - first) / 2.0,
            to,
            ambiguity: last - first,
        });
    }
}

/// Where the straight line through two samples meets `level`, kept between
/// them.
fn between(before: (f64, f64), here: (f64, f64), level: f64) -> f64 {
    let rise = here.1 - before.1;
    let fraction = if rise == 0.0 {
        0.0
    } else {
        ((level - before.1) / rise).clamp(0.0, 1.0)
    };
    // Infinite samples leave no fraction; the later of the two is all we know.
    let fraction = if fraction.is_nan() { 1.0 } else { fraction };
    before.0 + (here.0 - before.0) * fraction
}

#[cfg(test)]
mod tests;
