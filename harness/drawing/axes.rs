//! A frame with two scales: ticks at round numbers, labels with units, and
//! where a value stands. It draws no data.

use super::typeface::{face, shrunk, wrapped};
use super::{Anchor, BLACK, Drawing, GREY, Item, PALE, Picture, WHITE};
use crate::judgement::Limit;

/// Points of a plot, unless it is told another size.
const SIZE: (f64, f64) = (250.0, 165.0);
/// Points of a plot of which three stand beside each other.
pub(crate) const THIRD: (f64, f64) = (163.0, 120.0);
const LEFT: f64 = 36.0;
/// From line to line of a label.
const LEAD: f64 = 7.5;
/// Least distance of numbers that stand above each other.
const APART: f64 = 8.0;
const RIGHT: f64 = 10.0;
const BOTTOM: f64 = 28.0;

/// One scale.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Scale {
    from: f64,
    to: f64,
}

impl Scale {
    /// A scale over `values`, a little wider; zero included where asked.
    pub(crate) fn over(values: impl IntoIterator<Item = f64>, zero: bool) -> Self {
        let start = if zero {
            (0.0, 0.0)
        } else {
            (f64::INFINITY, f64::NEG_INFINITY)
        };
        let (low, high) = values
            .into_iter()
            .filter(|value| value.is_finite())
            .fold(start, |(low, high), value| {
                (low.min(value), high.max(value))
            });
        if low > high {
            return Self { from: 0.0, to: 1.0 };
        }
        // Where all are one, a scale on which it can be told from others.
        let room = match (low == high, high == 0.0) {
            (true, true) => 1.0,
            (true, false) => high.abs() * 0.1,
            (false, _) => ((high - low) * 0.08).max(high.abs() * 1e-3).max(1e-12),
        };
        let from = if zero && low == 0.0 { 0.0 } else { low - room };
        Self {
            from,
            to: high + room,
        }
    }

    /// Exactly from here to there.
    pub(crate) fn exactly(from: f64, to: f64) -> Self {
        Self {
            from,
            to: if to > from { to } else { from + 1.0 },
        }
    }

    /// Around a limit: from a quarter of the range below the lower bound to a
    /// quarter above the upper; a single bound stands at two thirds of the way
    /// from zero. `None` where there is nothing to stand around.
    pub(crate) fn around(limit: &Limit) -> Option<Self> {
        let (from, to) = match (limit.lower, limit.upper) {
            (Some(lower), Some(upper)) => {
                let room = (upper - lower).abs().max(upper.abs() * 1e-6) / 4.0;
                (lower - room, upper + room)
            }
            (None, None) => return None,
            (one, other) => match one.or(other).filter(|bound| *bound != 0.0) {
                Some(bound) => (bound.min(0.0) * 1.5, bound.max(0.0) * 1.5),
                None => (-1.0, 1.0),
            },
        };
        (from.is_finite() && to.is_finite() && to > from).then_some(Self { from, to })
    }

    /// Where a value stands, 0 to 1.
    pub(crate) fn share(self, value: f64) -> f64 {
        ((value - self.from) / (self.to - self.from)).clamp(0.0, 1.0)
    }

    /// Three to eight round numbers, with the decimals they need.
    pub(crate) fn ticks(self) -> (Vec<f64>, usize) {
        // At least three steps, however the scale lies.
        let most = (self.to - self.from) / 3.0;
        let power = libm::pow(10.0, libm::floor(libm::log10(most)));
        let step = [5.0, 2.0]
            .into_iter()
            .map(|factor| factor * power)
            .find(|step| *step <= most)
            .unwrap_or(power);
        let places = libm::ceil(-libm::log10(step) - 1e-9).clamp(0.0, 6.0) as usize;
        let first = libm::ceil(self.from / step);
        let ticks = (0..9)
            .map(|index| (first + f64::from(index)) * step)
            .take_while(|tick| *tick <= self.to * (1.0 + 1e-12))
            .collect();
        (ticks, places)
    }
}

/// The frame of a plot.
pub(crate) struct Axes {
    pub(crate) drawing: Drawing,
    size: (f64, f64),
    /// Where the frame begins, below its titles.
    top: f64,
    across: Scale,
    up: Scale,
    /// How much was drawn before the first word beside a mark, which no later
    /// mark must cross.
    words_from: Option<usize>,
}

impl Axes {
    pub(crate) fn new(title: &str, across: (&str, Scale), up: (&str, Scale)) -> Self {
        Self::sized(SIZE, title, across, up)
    }

    /// A frame of that size.
    pub(crate) fn sized(
        size: (f64, f64),
        title: &str,
        across: (&str, Scale),
        up: (&str, Scale),
    ) -> Self {
        let mut drawing = Drawing::new(size.0, size.1);
        let small = size.0 < SIZE.0;
        let bold = shrunk(title, if small { 7.4 } else { 8.5 }, true, size.0);
        let mut y = -1.5;
        for line in wrapped(title, bold, true, size.0 + 0.1) {
            y += 9.5;
            drawing.write((0.0, y), bold, true, Anchor::Start, BLACK, line);
        }
        let text = if small { 6.2 } else { 7.0 };
        y += 11.0 - LEAD;
        for line in wrapped(up.0, text, false, size.0) {
            y += LEAD;
            drawing.write((0.0, y), text, false, Anchor::Start, GREY, line);
        }
        let top = y + 5.0;
        let mut axes = Self {
            drawing,
            size,
            top,
            across: across.1,
            up: up.1,
            words_from: None,
        };
        let floor = axes.size.1 - BOTTOM;
        let (ticks, places) = axes.up.ticks();
        let pitch = match ticks[..] {
            [first, second, ..] => axes.y(first) - axes.y(second),
            _ => APART,
        };
        let every = libm::ceil(APART / pitch.max(1.0)).clamp(1.0, 9.0) as usize;
        for (index, tick) in ticks.into_iter().enumerate() {
            let y = axes.y(tick);
            axes.drawing
                .line(&[(LEFT, y), (axes.size.0 - RIGHT, y)], PALE, 0.4);
            if index % every == 0 {
                let number = format!("{:.places$}", tick + 0.0);
                let at = (LEFT - 4.0, y + 2.5);
                axes.drawing
                    .write(at, text, false, Anchor::End, BLACK, number);
            }
        }
        let (ticks, places) = axes.across.ticks();
        for tick in ticks {
            let x = axes.x(tick);
            axes.drawing
                .line(&[(x, floor), (x, floor + 3.0)], BLACK, 0.6);
            let number = format!("{:.places$}", tick + 0.0);
            axes.drawing.write(
                (x, floor + 10.0),
                text,
                false,
                Anchor::Middle,
                BLACK,
                number,
            );
        }
        let end = (axes.size.0 - RIGHT, axes.size.1 - 6.0);
        axes.drawing
            .write(end, text, false, Anchor::End, GREY, across.0);
        axes.drawing.line(
            &[(LEFT, top), (LEFT, floor), (axes.size.0 - RIGHT, floor)],
            BLACK,
            0.8,
        );
        axes
    }

    pub(crate) fn x(&self, value: f64) -> f64 {
        LEFT + self.across.share(value) * (self.size.0 - LEFT - RIGHT)
    }

    pub(crate) fn y(&self, value: f64) -> f64 {
        let floor = self.size.1 - BOTTOM;
        floor - self.up.share(value) * (floor - self.top)
    }

    /// A filled mark at those values.
    pub(crate) fn diamond(&mut self, at: (f64, f64)) {
        let place = (self.x(at.0), self.y(at.1));
        self.drawing.diamond(place, 3.2);
    }

    /// A hollow mark at those values.
    pub(crate) fn hollow(&mut self, at: (f64, f64)) {
        let place = (self.x(at.0), self.y(at.1));
        self.drawing.hollow(place, 2.6, 0.9);
    }

    /// What was drawn, with the words that stand for it.
    pub(crate) fn picture(self, words: String) -> Picture {
        let drawing = self.drawing;
        Picture { drawing, words }
    }

    /// Columns of a point each, for decimation.
    pub(crate) fn columns(&self) -> usize {
        (self.size.0 - LEFT - RIGHT) as usize
    }

    /// A marked instant: a line from floor to top with its word beside it, on
    /// its own row so that neighbours do not collide.
    pub(crate) fn upright(&mut self, value: f64, word: &str, row: usize, dashed: bool) {
        let x = self.x(value);
        let place = self.words_from.unwrap_or(self.drawing.items.len());
        let mark = Item::Line {
            points: vec![(x, self.top), (x, self.size.1 - BOTTOM)],
            ink: BLACK,
            width: if dashed { 0.9 } else { 0.7 },
            dashed,
        };
        self.drawing.items.insert(place, mark);
        self.words_from = Some(place + 1);
        let width = face(false).width(word) * 6.2 + 2.0;
        let past = x + 3.0 + width - self.size.0;
        let late = x > LEFT + 0.6 * (self.size.0 - LEFT - RIGHT);
        let (anchor, at) = if x - 3.0 - width > LEFT && (late || past > 0.0) {
            (Anchor::End, x - 3.0)
        } else {
            // Where neither side has the room, the word breaks its line.
            (Anchor::Start, x + 3.0 - past.max(0.0))
        };
        let y = self.top + 7.0 + 9.0 * row as f64;
        // What is drawn already must not hide the word.
        let left = match anchor {
            Anchor::End => at - width + 1.0,
            _ => at - 1.0,
        };
        self.drawing.block((left, y - 6.0), (width, 8.0), WHITE);
        self.drawing.write((at, y), 6.2, false, anchor, BLACK, word);
    }
}
