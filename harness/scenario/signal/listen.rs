//! The output's voltage to a report, its edges, and the level of each
//! half-bit. It writes nothing down.

use crate::clock::{BenchInstant, BenchSpan, PICOSECONDS};
use crate::measurement::{Estimate, combined};
use crate::scenario::levels::own_u;
use crate::track::{
    ChannelScan, ChannelSettings, DecoderSettings, Edge, EdgeUncertainty, Packet, Polarity, Scale,
    ScanDecoder, SignalReport,
};
use crate::units::{Quantity, Seconds};
use crate::waveform::{Capture, Channel, Signal, Trace};

/// What the output said in one capture.
pub(super) struct Heard {
    pub(super) report: SignalReport,
    pub(super) packets: Vec<Packet>,
    pub(super) edges: Vec<Edge>,
    pub(super) edge: EdgeUncertainty,
    pub(super) end: BenchInstant,
    pub(super) period: f64,
    /// 10 % to 90 % of the slower direction; a sample where it is not known.
    pub(super) edge_duration: f64,
    pub(super) gain_u: f64,
    pub(super) zero_u: f64,
    pub(super) sample_u: f64,
    pub(super) levelled: Option<Levelled>,
    /// Within cutouts: mean, worst, and how many.
    pub(super) drop: Option<(Estimate, Estimate, usize)>,
}

/// Levels half-bit by half-bit, in volts.
pub(super) struct Levelled {
    pub(super) count: usize,
    pub(super) lowest: Estimate,
    pub(super) highest: Estimate,
    /// The largest difference of two half-bits that follow each other.
    pub(super) asymmetry: Estimate,
}

/// What the node voltage of `capture` says; `None` where there is none that
/// could be read. Samples within `crossing` seconds of an edge belong to no
/// level.
pub(super) fn listen(capture: &Capture, crossing: f64) -> Option<Heard> {
    let trace = Trace::of(capture, Signal::NodeVoltage)?;
    let channel = capture.channel(Signal::NodeVoltage)?;
    if trace.step() == 0.0 {
        return None;
    }
    let period = trace.period();
    let settings = settings(channel, period, trace.time_base_u());
    let mut scan = ChannelScan::new(settings);
    let mut edges = Vec::new();
    scan.push(&channel.codes, &mut |edge| edges.push(edge));
    let scanned = scan.finish(&mut |edge| edges.push(edge));
    // What edges mean is asked when it is known how well they are known.
    let decoded = |edge: EdgeUncertainty| {
        let mut decoder = ScanDecoder::new(settings.first, DecoderSettings::new(edge));
        let mut packets: Vec<Packet> = edges.iter().filter_map(|&e| decoder.push(e)).collect();
        let (last, report) = decoder.finish(scanned.clone());
        packets.extend(last);
        (report, packets, edge)
    };
    let first = decoded(scanned.edge);
    let scattered = first.0.scattered(&first.2);
    let (report, packets, edge) = scattered.map_or(first, decoded);
    let durations = report
        .shape
        .iter()
        .flat_map(|shape| [&shape.rising, &shape.falling])
        .filter_map(|figures| figures.duration);
    let edge_duration = durations.map(|d| d.value).fold(period, f64::max);
    let stretches = Stretches::of(&trace, &edges, crossing);
    Some(Heard {
        levelled: stretches.levels(&trace),
        drop: stretches.drop(&trace),
        edge,
        end: instant(trace.len() as f64, period),
        period,
        edge_duration,
        gain_u: trace.gain_u(),
        zero_u: trace.zero_u(),
        sample_u: trace.sample_u(),
        report,
        packets,
        edges,
    })
}

pub(super) fn instant(position: f64, period: f64) -> BenchInstant {
    let picoseconds = position * (period * PICOSECONDS as f64);
    BenchInstant::ZERO + BenchSpan::from_picoseconds(libm::round(picoseconds) as i64)
}

fn settings(channel: &Channel, period: f64, time_base_u: f64) -> ChannelSettings {
    let edge = EdgeUncertainty::sampled(period, time_base_u);
    ChannelSettings {
        accuracy: channel.accuracy,
        // A capture of a run is short: every sample counts for the levels.
        stride: 1,
        ..ChannelSettings::new(
            Seconds::new(period),
            Scale::of(channel),
            DecoderSettings::new(edge),
        )
    }
}

/// The inner samples between two edges that follow each other.
struct Stretches(Vec<Stretch>);

struct Stretch {
    polarity: Polarity,
    mean: f64,
    count: usize,
}

impl Stretches {
    fn of(trace: &Trace, edges: &[Edge], crossing: f64) -> Self {
        let inner = |pair: &[Edge]| {
            let from = pair[0].at.since_zero().si() + crossing + trace.first();
            let to = pair[1].at.since_zero().si() - crossing + trace.first();
            let samples = if from < to {
                trace.window(from, to)
            } else {
                &[]
            };
            let count = samples.len();
            (count > 0).then(|| Stretch {
                polarity: pair[0].to,
                mean: samples.iter().sum::<f64>() / count as f64,
                count,
            })
        };
        Self(edges.windows(2).filter_map(inner).collect())
    }

    fn levels(&self, trace: &Trace) -> Option<Levelled> {
        let halves: Vec<&Stretch> = self
            .0
            .iter()
            .filter(|stretch| stretch.polarity != Polarity::Zero)
            .collect();
        let estimate = |stretch: &Stretch| {
            let value = stretch.mean.abs();
            let own = own_u(trace, stretch.count);
            Estimate::new(value, combined([trace.scale_u(value), own]))
        };
        let by = |a: &Estimate, b: &Estimate| a.value.total_cmp(&b.value);
        let lowest = halves.iter().map(|h| estimate(h)).min_by(by)?;
        let highest = halves.iter().map(|h| estimate(h)).max_by(by)?;
        let pairs = halves.windows(2).filter(|p| p[0].polarity != p[1].polarity);
        let asymmetry = pairs
            .map(|pair| {
                let size = (pair[0].mean + pair[1].mean).abs();
                // Zero acts on both halves, the gain on their difference alone.
                let own = pair.iter().map(|half| own_u(trace, half.count));
                let common = [2.0 * trace.zero_u(), trace.gain_u() * size];
                Estimate::new(size, combined(own.chain(common)))
            })
            .max_by(by)?;
        Some(Levelled {
            count: halves.len(),
            lowest,
            highest,
            asymmetry,
        })
    }

    fn drop(&self, trace: &Trace) -> Option<(Estimate, Estimate, usize)> {
        let cutouts: Vec<&Stretch> = self
            .0
            .iter()
            .filter(|stretch| stretch.polarity == Polarity::Zero)
            .collect();
        let worst = cutouts
            .iter()
            .max_by(|a, b| a.mean.abs().total_cmp(&b.mean.abs()))?;
        let count = cutouts.len() as f64;
        let mean = cutouts.iter().map(|c| c.mean.abs()).sum::<f64>() / count;
        let u = |value: f64, samples: usize| {
            Estimate::new(
                value,
                combined([trace.scale_u(value), own_u(trace, samples)]),
            )
        };
        let worst = u(worst.mean.abs(), worst.count);
        Some((u(mean, cutouts[0].count), worst, cutouts.len()))
    }
}
