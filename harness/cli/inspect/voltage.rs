//! One pass over a voltage for all that is to be known of it, then a look at
//! the stretches worth drawing. It does not know the format of the file.

use super::analysis::{Heard, add, finished};
use super::packets::Words;
use super::stream::{Trouble, numbers};
use super::stretches::{Collector, collected, wanted};
use crate::capture_file::Samples;
use crate::cli::arguments::Audience;
use crate::clock::{BenchInstant, BenchSpan};
use crate::console::inspect::Inspection;
use crate::track::{
    ChannelScan, ChannelSettings, DecoderSettings, Edge, EdgeUncertainty, Scale, ScanDecoder,
    Scanned,
};
use crate::units::{Quantity, Seconds};
use crate::waveform::ChannelAccuracy;
use std::ops::Range;

/// Edges kept until it is known how well they are known; where there are more,
/// the file is read a second time instead. 32 MB.
const MOST_EDGES: usize = 1 << 21;
/// A drawing knows its polarity by what came this long before: longer than a
/// cutout.
const LEAD: BenchSpan = BenchSpan::from_microseconds(1_000);

/// Samples as a format hands them on.
pub(super) enum Piece<'a> {
    Even(Samples<'a>),
    At(f64, f64),
}

/// How an analogue channel lies in its file.
pub(super) struct Analogue {
    pub(super) period: f64,
    pub(super) scale: Scale,
    pub(super) first: f64,
    pub(super) samples: u64,
    /// Trust in the voltage, and in the clock (relative), as far as known.
    pub(super) accuracy: ChannelAccuracy,
    pub(super) time_base_u: f64,
}

/// Up to so many samples all of them count for the levels, since a prime number
/// of them would leave too few.
const FEW: u64 = 200_000;

/// Where the samples come from.
pub(super) trait Channel {
    /// Hands on all samples.
    fn whole(&self, each: &mut dyn FnMut(Piece<'_>)) -> Result<(), Trouble>;

    /// Hands on samples of these numbers, and perhaps more, from the number
    /// that it returns on.
    fn part(&self, wanted: Range<u64>, each: &mut dyn FnMut(Piece<'_>)) -> Result<(), Trouble>;

    /// The number of the first sample of a part.
    fn part_from(&self, wanted: u64) -> u64;
}

/// Reads the voltage into `inspection`.
pub(super) fn voltage(
    inspection: &mut Inspection,
    analogue: &Analogue,
    at: Audience,
    channel: &dyn Channel,
) -> Result<(), Trouble> {
    let heard = hear(analogue, channel)?;
    add(inspection, heard, at);
    if inspection
        .signal
        .as_ref()
        .is_some_and(|signal| signal.edges == 0)
    {
        inspection
            .odd
            .push("the voltage never passes zero: is it measured from rail to rail?".to_owned());
    }
    let mut collectors: Vec<Collector> = wanted(inspection);
    for collector in &mut collectors {
        collect(collector, analogue, channel)?;
    }
    inspection.stretches = collected(collectors);
    Ok(())
}

fn settings(analogue: &Analogue, edge: EdgeUncertainty) -> ChannelSettings {
    let decoder = DecoderSettings::new(edge);
    let first = BenchSpan::from_seconds(Seconds::new(analogue.first));
    let usual = ChannelSettings::new(Seconds::new(analogue.period), analogue.scale, decoder);
    ChannelSettings {
        first: BenchInstant::ZERO + first,
        accuracy: analogue.accuracy,
        stride: if analogue.samples <= FEW {
            1
        } else {
            usual.stride
        },
        ..usual
    }
}

/// Edges first, meaning afterwards: levels and slopes of the whole say how well
/// edges are known.
fn hear(analogue: &Analogue, channel: &dyn Channel) -> Result<Heard, Trouble> {
    let coarse = EdgeUncertainty::sampled(analogue.period, analogue.time_base_u);
    let settings = settings(analogue, coarse);
    let mut edges = Vec::new();
    let mut all = 0_usize;
    let scanned = scan(settings, analogue, channel, &mut |edge| {
        all += 1;
        if all <= MOST_EDGES {
            edges.push(edge);
        }
    })?;
    if all <= MOST_EDGES {
        let decoded = |edge| {
            let mut decoder = ScanDecoder::new(settings.first, DecoderSettings::new(edge));
            let mut words = Words::default();
            for &edge in &edges {
                if let Some(packet) = decoder.push(edge) {
                    words.count(&packet);
                }
            }
            let (last, report) = decoder.finish(scanned.clone());
            (words, last, report)
        };
        let first = decoded(scanned.edge);
        let scattered = first.2.scattered(&scanned.edge);
        let (words, last, report) = scattered.map_or(first, decoded);
        return Ok(finished(words, last, report));
    }
    drop(edges);
    let mut decoder = ScanDecoder::new(settings.first, DecoderSettings::new(scanned.edge));
    let mut words = Words::default();
    scan(settings, analogue, channel, &mut |edge| {
        if let Some(packet) = decoder.push(edge) {
            words.count(&packet);
        }
    })?;
    let (last, report) = decoder.finish(scanned);
    Ok(finished(words, last, report))
}

fn scan(
    settings: ChannelSettings,
    analogue: &Analogue,
    channel: &dyn Channel,
    each: &mut impl FnMut(Edge),
) -> Result<Scanned, Trouble> {
    let mut scan = ChannelScan::new(settings);
    channel.whole(&mut |piece| match piece {
        Piece::Even(Samples::I8(list)) => scan.push(list, each),
        Piece::Even(Samples::I16(list)) => scan.push(list, each),
        Piece::Even(Samples::I32(list)) => scan.push(list, each),
        Piece::Even(Samples::F32(list)) => scan.push(list, each),
        Piece::Even(Samples::F64(list)) => scan.push(list, each),
        Piece::At(time, volts) => scan.push_at(Seconds::new(time - analogue.first), volts, each),
    })?;
    Ok(scan.finish(each))
}

fn collect(
    collector: &mut Collector,
    analogue: &Analogue,
    channel: &dyn Channel,
) -> Result<(), Trouble> {
    let (from, to) = collector.window();
    let number = |at: BenchInstant| {
        let samples = (at.since_zero().si() - analogue.first) / analogue.period;
        // `as` saturates; what lies before the first sample begins with it.
        samples.max(0.0) as u64
    };
    let lead = BenchSpan::from_picoseconds(-LEAD.picoseconds());
    let wanted = number(from + lead)..number(to).saturating_add(2);
    let mut index = channel.part_from(wanted.start);
    channel.part(wanted, &mut |piece| match piece {
        Piece::At(time, volts) => collector.sample(time, volts),
        Piece::Even(samples) => numbers(samples, |raw| {
            let time = analogue.first + index as f64 * analogue.period;
            collector.sample(time, raw * analogue.scale.gain + analogue.scale.offset);
            index += 1;
        }),
    })
}
