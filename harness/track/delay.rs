//! What a board does to a signal on its way from input to output: delay, its
//! spread, and the change of pulse widths. It compares edges, nothing else.

use super::spread::{Budget, Figures, Spread};
use super::uncertainty::EdgeUncertainty;
use super::{Edge, Polarity};
use crate::clock::BenchSpan;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// How edges are brought together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DelaySettings {
    /// How well edges are known.
    pub edge: EdgeUncertainty,
    /// The output may seem this much earlier (skew of the capture's channels).
    pub lead: BenchSpan,
    /// The longest delay looked for; less than the shortest half-bit.
    pub longest: BenchSpan,
    /// Whether the output has the other polarity.
    pub inverted: bool,
}

impl DelaySettings {
    /// Up to 40 us late and 2 us early, not inverted.
    pub const fn new(edge: EdgeUncertainty) -> Self {
        Self {
            edge,
            lead: BenchSpan::from_microseconds(2),
            longest: BenchSpan::from_microseconds(40),
            inverted: false,
        }
    }
}

/// Input to output, times in seconds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DelayReport {
    /// Delay of all edges between the two polarities.
    pub delay: Option<Figures>,
    /// Of those that make the output positive.
    pub rising: Option<Figures>,
    /// Of those that make the output negative.
    pub falling: Option<Figures>,
    /// Of edges into and out of a cutout's zero.
    pub zero: Option<Figures>,
    /// Maximum less least delay; includes what quantisation adds.
    pub spread: Option<f64>,
    /// Output pulse less input pulse, for positive output pulses; those of the
    /// other polarity change by the opposite on average.
    pub width_change: Option<Figures>,
    /// Input edges without an output edge.
    pub missing: u64,
    /// Output edges without an input edge.
    pub extra: u64,
}

/// Input edges waiting for their output edge; within the longest delay there
/// are few, so more than this means chatter.
const WAITING: usize = 256;

struct Matcher {
    settings: DelaySettings,
    waiting: VecDeque<Edge>,
    rising: Spread,
    falling: Spread,
    zero: Spread,
    width: Spread,
    /// Delay of the last rising edge, if its falling edge may follow.
    opened: Option<BenchSpan>,
    missing: u64,
    extra: u64,
}

/// Compares two edge streams, each in order of time, in bounded memory.
pub fn compare_edges(
    input: impl IntoIterator<Item = Edge>,
    output: impl IntoIterator<Item = Edge>,
    settings: DelaySettings,
) -> DelayReport {
    let none = || Spread::about(BenchSpan::ZERO);
    let mut matcher = Matcher {
        settings,
        waiting: VecDeque::new(),
        rising: none(),
        falling: none(),
        zero: none(),
        width: none(),
        opened: None,
        missing: 0,
        extra: 0,
    };
    let mut input = input.into_iter().peekable();
    let mut end = None;
    for edge in output {
        end = Some(edge.at);
        while let Some(entered) = input.next_if(|i| i.at - edge.at <= settings.lead) {
            matcher.input(entered);
        }
        matcher.output(edge);
    }
    // Input edges after the last output edge may be answered after the end.
    let unanswered = matcher.waiting.drain(..).chain(input);
    let late = |edge: &Edge| end.is_none_or(|end| edge.at < end);
    let unanswered = unanswered.filter(late).count();
    matcher.missing += unanswered as u64;
    matcher.report()
}

impl Matcher {
    fn input(&mut self, edge: Edge) {
        let to = if self.settings.inverted {
            edge.to.opposite()
        } else {
            edge.to
        };
        if self.waiting.len() == WAITING {
            self.waiting.pop_front();
            self.missing += 1;
        }
        self.waiting.push_back(Edge { at: edge.at, to });
    }

    fn output(&mut self, edge: Edge) {
        while let Some(oldest) = self.waiting.front()
            && edge.at - oldest.at > self.settings.longest
        {
            self.waiting.pop_front();
            self.missing += 1;
            self.opened = None;
        }
        let Some(index) = self.waiting.iter().position(|w| w.to == edge.to) else {
            self.extra += 1;
            return;
        };
        if index > 0 {
            self.opened = None;
        }
        self.missing += index as u64;
        let matched = self.waiting.drain(..=index).next_back();
        let Some(matched) = matched else { return };
        let delay = edge.at - matched.at;
        match edge.to {
            Polarity::Positive => {
                self.rising.push(delay, edge.at);
                self.opened = Some(delay);
            }
            Polarity::Negative => {
                self.falling.push(delay, edge.at);
                if let Some(opened) = self.opened.take() {
                    let change = delay.picoseconds() - opened.picoseconds();
                    self.width
                        .push(BenchSpan::from_picoseconds(change), edge.at);
                }
            }
            Polarity::Zero => {
                self.zero.push(delay, edge.at);
                self.opened = None;
            }
        }
    }

    fn report(&self) -> DelayReport {
        let edge = self.settings.edge;
        let skewed = |left: f64| Budget {
            edge,
            weights: 2.0,
            joined: 0.0,
            mixed: left < 0.5,
            upwards: 0.0,
            biased: true,
            shared: edge.skew_u,
            left: edge.skew_u * left,
        };
        let figures = |spread: &Spread| spread.figures(skewed(1.0));
        let mut all = self.rising.clone();
        all.merge(&self.falling);
        // What makes edges upwards late makes those downwards early.
        let counts = [&self.rising, &self.falling].map(|way| way.count() as f64);
        let left = (counts[0] - counts[1]).abs() / (counts[0] + counts[1]).max(1.0);
        let mut delay = all.figures(skewed(left));
        // What sampling does to an edge it does again on the same phase, and to
        // those downwards as to those upwards: a line between two samples leads to
        // the pause of a bridge's dead time either way. In lengths that cancels, in
        // delays it does not; how far it averages out each direction shows.
        let locked = |spread: &Spread| {
            let alone = Budget {
                mixed: false,
                upwards: 0.0,
                ..skewed(0.0)
            };
            let own = spread.figures(alone).map_or(0.0, |figures| figures.mean.u);
            own * spread.count() as f64
        };
        let locked = (locked(&self.rising) + locked(&self.falling)) / all.count().max(1) as f64;
        if let Some(delay) = &mut delay {
            delay.mean.u = delay.mean.u.max(locked);
        }
        let spread = delay
            .as_ref()
            .map(|d| d.maximum.estimate.value - d.least.estimate.value);
        DelayReport {
            rising: figures(&self.rising),
            falling: figures(&self.falling),
            zero: figures(&self.zero),
            spread,
            // Four edges: twice that of one.
            width_change: self.width.figures(Budget {
                edge,
                weights: 4.0,
                joined: 0.0,
                mixed: false,
                upwards: 0.0,
                biased: false,
                shared: 2.0 * edge.skew_u,
                left: 2.0 * edge.skew_u,
            }),
            missing: self.missing,
            extra: self.extra,
            delay,
        }
    }
}
