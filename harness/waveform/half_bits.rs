//! Edges of a logic line and the half-bits between them. It decodes nothing.

use super::{Capture, LogicLine};

/// A change of a logic line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// When: the middle between the last sample before it and the first after
    /// it, so its standard uncertainty is period / sqrt 12.
    pub at: f64,
    /// From low to high.
    pub rising: bool,
}

/// The changes of `line`, in order; empty where the capture has no such line.
pub fn edges(capture: &Capture, line: LogicLine) -> Vec<Edge> {
    capture.line(line).map_or_else(Vec::new, |track| {
        let mut level = track.initial;
        track
            .changes
            .iter()
            .map(|&change| {
                level = !level;
                Edge {
                    at: capture.time(f64::from(change) - 0.5),
                    rising: level,
                }
            })
            .collect()
    })
}

/// The stretch between two edges of the signal line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HalfBit {
    /// Its first edge.
    pub from: f64,
    /// Its second edge.
    pub to: f64,
    /// Level of the line between them.
    pub high: bool,
}

/// The whole half-bits of a capture, in order.
#[derive(Clone, Debug, PartialEq)]
pub struct HalfBits(Vec<HalfBit>);

impl HalfBits {
    /// The half-bits of the board's first input line; empty where the capture
    /// has no such line or it does not change twice.
    pub fn of(capture: &Capture) -> Self {
        let edges = edges(capture, LogicLine::SignalA);
        Self(
            edges
                .windows(2)
                .map(|pair| HalfBit {
                    from: pair[0].at,
                    to: pair[1].at,
                    high: pair[0].rising,
                })
                .collect(),
        )
    }

    /// All of them.
    pub fn all(&self) -> &[HalfBit] {
        &self.0
    }

    /// Start and end of the last `count` whole half-bits that end at `before`
    /// or earlier; `None` where there are fewer.
    pub fn last_before(&self, before: f64, count: usize) -> Option<(f64, f64)> {
        let end = self.0.partition_point(|half| half.to <= before);
        let start = end.checked_sub(count)?;
        (count > 0).then(|| (self.0[start].from, self.0[end - 1].to))
    }
}
