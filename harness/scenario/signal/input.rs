//! The board's input lines: their states as edges, the packets and cutouts in
//! them, and what the output made of each. It measures no voltage.

use super::listen::{Heard, instant};
use super::seen::Stream;
use crate::clock::{BenchInstant, BenchSpan};
use crate::measurement::combined;
use crate::track::{
    Decoder, DecoderSettings, DelayReport, DelaySettings, Edge, EdgeUncertainty, Packet, Polarity,
    compare_edges,
};
use crate::units::Quantity;
use crate::waveform::{Capture, LogicLine};

/// Both lines change together; one may be seen so many samples later.
const SKEW: u32 = 2;
/// A packet of the output begins within this of its packet on the inputs: less
/// than half a 1, more than any board delays.
const NEAR: BenchSpan = BenchSpan::from_microseconds(40);
/// Rails joined for less than this are no cutout: S-9.3.2 has 422 us at least.
const CUTOUT: BenchSpan = BenchSpan::from_microseconds(300);

/// The input lines of one capture.
pub(super) struct Input {
    edges: Vec<Edge>,
    packets: Vec<Packet>,
    edge: EdgeUncertainty,
}

/// The lines of `capture`, read as the stream uses them; `None` where a line
/// is not captured.
pub(super) fn read(capture: &Capture, sent: &Stream) -> Option<Input> {
    let a = capture.line(LogicLine::SignalA)?;
    let b = capture.line(LogicLine::SignalB);
    if sent.cutouts && b.is_none() {
        return None;
    }
    let b = b.filter(|_| sent.cutouts);
    let mut changes: Vec<u32> = a
        .changes
        .iter()
        .chain(b.iter().flat_map(|line| &line.changes))
        .copied()
        .collect();
    changes.sort_unstable();
    changes.dedup();
    let state = |sample: u32| {
        let a = a.level(sample as usize);
        match b.map(|line| line.level(sample as usize)) {
            Some(b) if a == b => Polarity::Zero,
            _ if a => Polarity::Positive,
            _ => Polarity::Negative,
        }
    };
    let initial = state(0);
    let period = capture.period.si();
    let mut states: Vec<(u32, Polarity)> = Vec::new();
    for &sample in &changes {
        let to = state(sample);
        // What both lines show for an instant between them is no state.
        if let Some(&(since, Polarity::Zero)) = states.last()
            && sample - since <= SKEW
        {
            states.pop();
        }
        let before = states.last().map_or(initial, |&(_, state)| state);
        if to != before {
            states.push((sample, to));
        }
    }
    let edges: Vec<Edge> = states
        .into_iter()
        .map(|(sample, to)| Edge {
            at: instant(f64::from(sample) - 0.5, period),
            to,
        })
        .collect();
    let edge = EdgeUncertainty::sampled(period, capture.time_base_u);
    let mut decoder = Decoder::new(DecoderSettings::new(edge));
    decoder.begin(BenchInstant::ZERO, initial);
    let packets = edges.iter().filter_map(|&edge| decoder.push(edge));
    let mut packets: Vec<Packet> = packets.collect();
    let (last, _) = decoder.finish(instant(capture.len() as f64, period));
    packets.extend(last);
    Some(Input {
        edges,
        packets,
        edge,
    })
}

impl Input {
    /// Input to output, the output taken the way round that answers more of
    /// the input's edges: a reversing board may stand reversed.
    pub(super) fn delays(&self, heard: &Heard) -> DelayReport {
        // A delay lies between one edge of each kind.
        let both = |of: fn(&EdgeUncertainty) -> f64| {
            combined([of(&self.edge), of(&heard.edge)]) / std::f64::consts::SQRT_2
        };
        let edge = EdgeUncertainty {
            edge_u: both(|edge| edge.edge_u),
            grid_u: both(|edge| edge.grid_u),
            sampled_u: both(|edge| edge.sampled_u),
            unseen_u: heard.edge.unseen_u,
            worse_u: both(|edge| edge.worse_u),
            skew_u: heard.edge.skew_u,
            offset_u: heard.edge.offset_u,
            ..self.edge
        };
        let settings = DelaySettings::new(edge);
        let compare = |inverted| {
            let settings = DelaySettings {
                inverted,
                ..settings
            };
            let (input, output) = (self.edges.iter().copied(), heard.edges.iter().copied());
            compare_edges(input, output, settings)
        };
        let (straight, inverted) = (compare(false), compare(true));
        if straight.missing + straight.extra <= inverted.missing + inverted.extra {
            straight
        } else {
            inverted
        }
    }

    /// Packets that were not repeated or not sent, and of how many.
    pub(super) fn packet_errors(
        &self,
        sent: &Stream,
        heard: &Heard,
        delays: &DelayReport,
    ) -> Result<(usize, String), &'static str> {
        let late = delays
            .delay
            .as_ref()
            .map_or(0.0, |delay| delay.maximum.estimate.value);
        // A packet that ends with the capture is not told from one cut off.
        let room = BenchSpan::from_microseconds(700 + (late * 1e6) as i64);
        let whole: Vec<&Packet> = self
            .packets
            .iter()
            .filter(|packet| packet.end + room <= heard.end)
            .collect();
        if whole.is_empty() {
            return Err("no whole packet of the inputs was captured");
        }
        let known = |packet: &&Packet| sent.packets.contains(&packet.bytes);
        let next = |pair: &[&Packet]| {
            let cycle = sent.packets.iter().zip(sent.packets.iter().cycle().skip(1));
            let mut cycle = cycle.filter(|(here, _)| **here == pair[0].bytes);
            cycle.any(|(_, after)| *after == pair[1].bytes)
        };
        if !whole.iter().all(known) || !whole.windows(2).all(next) {
            return Err("the inputs carry other packets than were asked of the drive");
        }
        let near = |a: &Packet, b: &Packet| {
            let apart = (a.start - b.start).picoseconds();
            apart.abs() <= NEAR.picoseconds()
        };
        let lost = whole.iter().filter(|input| {
            let mut output = heard.packets.iter();
            !output.any(|output| near(input, output) && output.bytes == input.bytes)
        });
        let lost = lost.count();
        let made_up = heard.packets.iter().filter(|output| {
            let mut input = self.packets.iter();
            !input.any(|input| near(input, output))
        });
        let made_up = made_up.count();
        let note = format!("of {} packets, {made_up} not sent", whole.len());
        Ok((lost + made_up, note))
    }

    /// Whole cutouts on the lines, and those during which the output's rails
    /// are not joined.
    pub(super) fn cutouts_missing(&self, heard: &Heard) -> (usize, usize) {
        let sent: Vec<BenchInstant> = zeros(&self.edges)
            .into_iter()
            .filter(|&(from, to)| to - from >= CUTOUT)
            .map(|(from, to)| from + BenchSpan::from_picoseconds((to - from).picoseconds() / 2))
            .collect();
        let shown = zeros(&heard.edges);
        let missing = sent.iter().filter(|&&middle| {
            let mut shown = shown.iter();
            !shown.any(|&(from, to)| from <= middle && middle <= to)
        });
        let missing = missing.count();
        (sent.len(), missing)
    }
}

/// Whole stretches of joined rails.
fn zeros(edges: &[Edge]) -> Vec<(BenchInstant, BenchInstant)> {
    let pairs = edges.windows(2);
    pairs
        .filter(|pair| pair[0].to == Polarity::Zero)
        .map(|pair| (pair[0].at, pair[1].at))
        .collect()
}
