//! Samples by their numbers, in volts: those that are kept of the pieces before and
//! those of the present one. It knows no half and no crossing.

use crate::track::Scale;
use crate::waveform::crossing::Sample;
use crate::waveform::levels::BEYOND_READING;
use crate::waveform::rest::Band;

/// Distortion is allowed from -2 V to +2 V: NMRA S-9.1:2020 table 2.
pub(super) const ALLOWED: f64 = 2.0;
/// What is farther beyond zero than what is allowed, by so much at least that
/// rounding decides nothing (our own choice, no source), is not looked at again, V.
const CLEARLY: f64 = ALLOWED + 0.01;
/// Samples that tell the level of a half: their median withstands ringing.
pub(super) const LOOKS: usize = 9;

/// Samples by number, as far as they are still there.
pub(super) struct View<'a, S> {
    tail: &'a [f64],
    start: u64,
    samples: &'a [S],
    scale: Scale,
    /// No reading is an infinite voltage.
    bounded: bool,
    /// Those that are clearly beyond the crossing, downwards and upwards.
    beyond: [Option<Band<S>>; 2],
}

impl<'a, S: Sample> View<'a, S> {
    /// What is kept, a piece that follows it, and the number of the first of all.
    pub(super) fn of(tail: &'a [f64], start: u64, samples: &'a [S], scale: Scale) -> Self {
        let finite = |raw| volts(scale, raw).is_finite();
        Self {
            tail,
            start,
            samples,
            scale,
            bounded: finite(BEYOND_READING) && finite(-BEYOND_READING),
            beyond: [false, true].map(|rising| beyond(scale, rising)),
        }
    }

    fn at(&self, number: u64) -> Option<f64> {
        let index = usize::try_from(number.checked_sub(self.start)?).ok()?;
        let raw = match self.tail.get(index) {
            Some(raw) => *raw,
            None => self.samples.get(index - self.tail.len())?.number(),
        };
        Some(volts(self.scale, raw)).filter(|volts| volts.is_finite())
    }

    /// The readings among [`LOOKS`] samples at rising numbers, and how many.
    pub(super) fn looks(&self, number: impl Fn(usize) -> u64) -> ([f64; LOOKS], usize) {
        let (mut looks, mut seen) = ([0.0; LOOKS], 0);
        if let Some(fresh) = self.fresh((number(0), number(LOOKS - 1))) {
            for (n, look) in looks.iter_mut().enumerate() {
                let raw = fresh[(number(n) - number(0)) as usize].number();
                *look = volts(self.scale, raw);
            }
            if looks
                .iter()
                .fold(true, |all, volts| all & volts.is_finite())
            {
                return (looks, LOOKS);
            }
        }
        for volts in (0..LOOKS).filter_map(|n| self.at(number(n))) {
            looks[seen] = volts;
            seen += 1;
        }
        (looks, seen)
    }

    /// Those from one number to another, the last included: what is kept of them and
    /// what came with the piece. `None` where one of them is not there.
    fn part(&self, (from, to): (u64, u64)) -> Option<(&[f64], &[S])> {
        let index = |number: u64| usize::try_from(number.checked_sub(self.start)?).ok();
        let (from, behind) = (index(from)?, index(to + 1)?);
        let kept = self.tail.len();
        let before = self.tail.get(from..behind.min(kept)).unwrap_or_default();
        let fresh = from.saturating_sub(kept)..behind.saturating_sub(kept);
        Some((before, self.samples.get(fresh)?))
    }

    /// The same into `way`, volts times `sign`; `None` also where one is no reading.
    pub(super) fn read(&self, range: (u64, u64), sign: f64, way: &mut Vec<f64>) -> Option<()> {
        let (before, fresh) = self.part(range)?;
        let (gain, offset) = (sign * self.scale.gain, sign * self.scale.offset);
        way.clear();
        way.extend(before.iter().map(|raw| raw * gain + offset));
        way.extend(fresh.iter().map(|raw| raw.number() * gain + offset));
        let finite = way.iter().fold(true, |all, volts| all & volts.is_finite());
        finite.then_some(())
    }

    /// Those from one number to another, the last included, where all came with the
    /// piece and each is a number or no reading at all.
    fn fresh(&self, (from, to): (u64, u64)) -> Option<&[S]> {
        let index = |number: u64| number.checked_sub(self.start + self.tail.len() as u64);
        let range = index(from)? as usize..index(to + 1)? as usize;
        self.samples.get(range).filter(|_| self.bounded)
    }

    /// The number of the first of them whose volts are so, or that of the last.
    #[inline]
    pub(super) fn find(
        &self,
        range: (u64, u64),
        last: bool,
        is: impl Fn(f64) -> bool,
    ) -> Option<u64> {
        let Some(fresh) = self.fresh(range) else {
            let mut numbers = range.0..=range.1;
            let is = |&number: &u64| self.at(number).is_some_and(&is);
            return if last {
                numbers.rfind(is)
            } else {
                numbers.find(is)
            };
        };
        let is = |raw: &S| is(volts(self.scale, raw.number()));
        let place = if last {
            fresh.iter().rposition(is)
        } else {
            fresh.iter().position(is)
        };
        Some(range.0 + place? as u64)
    }

    /// Whether all of them came with the piece, and lie clearly beyond the crossing.
    pub(super) fn clearly(&self, range: (u64, u64), rising: bool) -> bool {
        let beyond = self.beyond[usize::from(rising)];
        match (self.fresh(range), beyond) {
            (Some(fresh), Some(band)) => band.has_numbers(fresh),
            _ => false,
        }
    }

    /// The least of them, volts times `sign`; infinite of none.
    pub(super) fn least(&self, range: (u64, u64), sign: f64) -> Option<f64> {
        let (before, fresh) = self.part(range)?;
        if before.is_empty() && fresh.is_empty() {
            return Some(f64::INFINITY);
        }
        let (kept, new) = (f64::extremes(before), S::extremes(fresh));
        let missing =
            before.iter().any(|raw| raw.is_nan()) || fresh.iter().any(|raw| raw.number().is_nan());
        let signed = |raw| sign * volts(self.scale, raw);
        let ends = (signed(kept.0.min(new.0)), signed(kept.1.max(new.1)));
        let finite = ends.0.is_finite() && ends.1.is_finite() && !missing;
        finite.then_some(ends.0.min(ends.1))
    }
}

fn volts(Scale { gain, offset, .. }: Scale, raw: f64) -> f64 {
    raw * gain + offset
}

/// The samples that are clearly beyond a crossing upwards or downwards.
fn beyond<S: Sample>(Scale { gain, offset, .. }: Scale, rising: bool) -> Option<Band<S>> {
    let level = if rising { CLEARLY } else { -CLEARLY };
    let raw = (level - offset) / gain;
    if rising == (gain > 0.0) {
        Band::of(raw, BEYOND_READING)
    } else {
        Band::of(-BEYOND_READING, raw)
    }
}
