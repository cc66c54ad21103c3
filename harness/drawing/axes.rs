//! A frame with two scales: ticks at round numbers, labels with units, and
//! where a value stands. It draws no data.

use super::typeface::face;
use super::{Anchor, BLACK, Drawing, GREY, PALE, WHITE};

/// Points of a plot.
pub(crate) const SIZE: (f64, f64) = (250.0, 165.0);
const LEFT: f64 = 36.0;
const TOP: f64 = 24.0;
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
        let room = ((high - low) * 0.08).max(high.abs() * 1e-3).max(1e-12);
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
    across: Scale,
    up: Scale,
}

impl Axes {
    pub(crate) fn new(title: &str, across: (&str, Scale), up: (&str, Scale)) -> Self {
        let mut drawing = Drawing::new(SIZE.0, SIZE.1);
        drawing.write((0.0, 8.0), 8.5, true, Anchor::Start, BLACK, title);
        drawing.write((0.0, 19.0), 7.0, false, Anchor::Start, GREY, up.0);
        let mut axes = Self {
            drawing,
            across: across.1,
            up: up.1,
        };
        let floor = SIZE.1 - BOTTOM;
        let (ticks, places) = axes.up.ticks();
        for tick in ticks {
            let y = axes.y(tick);
            axes.drawing
                .line(&[(LEFT, y), (SIZE.0 - RIGHT, y)], PALE, 0.4);
            let text = format!("{:.places$}", tick + 0.0);
            axes.drawing
                .write((LEFT - 4.0, y + 2.5), 7.0, false, Anchor::End, BLACK, text);
        }
        let (ticks, places) = axes.across.ticks();
        for tick in ticks {
            let x = axes.x(tick);
            axes.drawing
                .line(&[(x, floor), (x, floor + 3.0)], BLACK, 0.6);
            let text = format!("{:.places$}", tick + 0.0);
            axes.drawing
                .write((x, floor + 11.0), 7.0, false, Anchor::Middle, BLACK, text);
        }
        let end = (SIZE.0 - RIGHT, SIZE.1 - 6.0);
        axes.drawing
            .write(end, 7.0, false, Anchor::End, GREY, across.0);
        axes.drawing.line(
            &[(LEFT, TOP), (LEFT, floor), (SIZE.0 - RIGHT, floor)],
            BLACK,
            0.8,
        );
        axes
    }

    pub(crate) fn x(&self, value: f64) -> f64 {
        LEFT + self.across.share(value) * (SIZE.0 - LEFT - RIGHT)
    }

    pub(crate) fn y(&self, value: f64) -> f64 {
        let floor = SIZE.1 - BOTTOM;
        floor - self.up.share(value) * (floor - TOP)
    }

    /// Columns of a point each, for decimation.
    pub(crate) fn columns(&self) -> usize {
        (SIZE.0 - LEFT - RIGHT) as usize
    }

    /// A marked instant: a line from floor to top with its word beside it, on
    /// its own row so that neighbours do not collide.
    pub(crate) fn upright(&mut self, value: f64, word: &str, row: usize, dashed: bool) {
        let x = self.x(value);
        let ends = [(x, TOP), (x, SIZE.1 - BOTTOM)];
        if dashed {
            self.drawing.dashed(&ends, BLACK, 0.9);
        } else {
            self.drawing.line(&ends, BLACK, 0.7);
        }
        let late = x > LEFT + 0.6 * (SIZE.0 - LEFT - RIGHT);
        let (anchor, at) = if late {
            (Anchor::End, x - 3.0)
        } else {
            (Anchor::Start, x + 3.0)
        };
        let y = TOP + 7.0 + 9.0 * row as f64;
        // What is drawn already must not hide the word.
        let width = face(false).width(word) * 6.5 + 2.0;
        let left = match anchor {
            Anchor::End => at - width + 1.0,
            _ => at - 1.0,
        };
        self.drawing.block((left, y - 6.0), (width, 8.0), WHITE);
        self.drawing.write((at, y), 6.5, false, anchor, BLACK, word);
    }
}
