//! The passes over a value change dump. It decodes nothing itself and formats
//! nothing.

use super::analysis::bare;
use super::packet_list::PacketList;
use super::source::{Format, quantity};
use super::stream::{Told, Trouble, vcd};
use crate::cli::arguments::Inspect;
use crate::inspection::{Collector, Grid, Hearing, Inspection, wanted};
use crate::track::{EdgeUncertainty, Packet};
use crate::units::{Dimension, Quantity};

pub(super) fn logic(arguments: &Inspect) -> Result<Inspection, Trouble> {
    let (path, wire) = (arguments.capture.as_path(), arguments.wire.as_deref());
    let mut grid = Grid::default();
    let (summary, unknown) = vcd(path, wire, &mut |told| match told {
        Told::Begin(_) => grid.begin(),
        Told::Edge(edge) => grid.push(edge),
    })?;
    let tick = summary.tick_femtoseconds as f64 * 1e-15;
    let rate = quantity("--rate", arguments.rate.as_ref(), Dimension::Frequency)?;
    let (period, period_from) = match (rate, grid.period()) {
        (Some(rate), _) => (1.0 / rate, "as given"),
        (None, Some(period)) if period > 1.5 * tick => (period, "edges lie on this grid"),
        _ => (tick, "the file's time unit"),
    };
    let name = summary.wires.first().map_or("", |wire| wire.name.as_str());
    let mut inspection = bare(arguments, Format::Vcd, format!("wire {name}"));
    let length = summary.end.since_zero().si();
    inspection.samples = libm::round(length / period) as u64;
    inspection.period = period;
    inspection.period_from = period_from;
    inspection.length = length;
    if unknown > 0 {
        inspection.odd.push(format!(
            "{unknown} values were neither high nor low and passed over"
        ));
    }
    let edge = EdgeUncertainty::sampled(period, 0.0);
    let mut hearing = Hearing::new(edge);
    let mut packets = PacketList::new(arguments);
    let mut sink = |packet: &Packet| packets.take(packet);
    vcd(path, wire, &mut |told| match told {
        Told::Begin(edge) => hearing.begin(edge),
        Told::Edge(edge) => hearing.push(edge, &mut sink),
    })?;
    hearing.unknown(unknown);
    let heard = hearing.finish(summary.end, &mut sink);
    packets.fill(&mut inspection);
    inspection.add(heard, arguments.at.into());
    let mut collectors = wanted(&inspection);
    vcd(path, wire, &mut |told| match told {
        Told::Begin(edge) | Told::Edge(edge) => {
            collectors.iter_mut().for_each(|c| c.edge(edge));
        }
    })?;
    inspection.stretches = collectors.into_iter().map(Collector::finish).collect();
    Ok(inspection)
}
