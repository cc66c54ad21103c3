//! Stretches of a capture of which something must be said, counted, summed and
//! the first of them kept. What is to be said of them it does not know.

use serde::Serialize;

/// Stretches that are kept of a sort; the rest is counted.
const MOST: usize = 1024;

/// From when to when, s.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Span {
    /// The beginning.
    pub from: f64,
    /// The end.
    pub to: f64,
}

impl Span {
    /// How long it is, s.
    pub fn length(self) -> f64 {
        self.to - self.from
    }
}

/// All stretches of a sort, in order.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Spans {
    /// How many.
    pub count: u64,
    /// Samples or values in them.
    pub samples: u64,
    /// Their length, all together, s.
    pub total: f64,
    /// The longest.
    pub longest: Option<Span>,
    /// The first 1024.
    pub first: Vec<Span>,
}

impl Spans {
    /// Adds the next one.
    pub fn push(&mut self, span: Span, samples: u64) {
        self.count += 1;
        self.samples += samples;
        self.total += span.length();
        if self
            .longest
            .is_none_or(|longest| span.length() > longest.length())
        {
            self.longest = Some(span);
        }
        if self.first.len() < MOST {
            self.first.push(span);
        }
    }

    /// Whether there is none.
    pub const fn is_empty(&self) -> bool {
        self.count == 0
    }
}
