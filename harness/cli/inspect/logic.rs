//! The passes over a value change dump, and how its edges were sampled. It
//! formats nothing.

use super::analysis::{add, bare, finished};
use super::packets::Words;
use super::source::{Format, quantity};
use super::stream::{Told, Trouble, vcd};
use super::stretches::{collected, wanted};
use crate::cli::arguments::Inspect;
use crate::clock::BenchInstant;
use crate::console::inspect::Inspection;
use crate::track::{Decoder, DecoderSettings, EdgeUncertainty};
use crate::units::{Dimension, Quantity};

pub(super) fn logic(arguments: &Inspect) -> Result<Inspection, Trouble> {
    let (path, wire) = (arguments.capture.as_path(), arguments.wire.as_deref());
    let mut grid = Grid::default();
    let (summary, unknown) = vcd(path, wire, &mut |told| grid.take(told))?;
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
    let mut decoder = Decoder::new(DecoderSettings::new(edge));
    let mut words = Words::default();
    vcd(path, wire, &mut |told| match told {
        Told::Begin(edge) => decoder.begin(edge.at, edge.to),
        Told::Edge(edge) => {
            if let Some(packet) = decoder.push(edge) {
                words.count(&packet);
            }
        }
    })?;
    let (last, report) = decoder.finish(summary.end);
    add(&mut inspection, finished(words, last, report), arguments.at);
    let mut collectors = wanted(&inspection);
    vcd(path, wire, &mut |told| match told {
        Told::Begin(edge) | Told::Edge(edge) => {
            collectors.iter_mut().for_each(|c| c.edge(edge));
        }
    })?;
    inspection.stretches = collected(collectors);
    Ok(inspection)
}

/// Fewest stretches from which a sampling grid is concluded: that so many
/// lengths are by chance all multiples of a step of two units or more has a
/// probability of a half to this power.
const GRID_FEWEST: u64 = 40;

/// The coarsest grid on which all edges lie: no edge is known better than to a
/// step of it, whatever the file's time unit. A generated signal may be round
/// without being sampled; nothing in it says so, `--rate` does.
#[derive(Default)]
struct Grid {
    last: Option<BenchInstant>,
    step: i64,
    count: u64,
}

impl Grid {
    fn take(&mut self, told: Told) {
        let (Told::Begin(edge) | Told::Edge(edge)) = told;
        if let (Some(last), Told::Edge(_)) = (self.last, told) {
            let length = (edge.at - last).picoseconds();
            self.step = divisor(self.step, length);
            self.count += 1;
        }
        // The first stretch began before the capture.
        self.last = matches!(told, Told::Edge(_)).then_some(edge.at);
    }

    fn period(&self) -> Option<f64> {
        let concluded = self.count >= GRID_FEWEST && self.step > 0;
        concluded.then_some(self.step as f64 * 1e-12)
    }
}

fn divisor(a: i64, b: i64) -> i64 {
    let (mut a, mut b) = (a.abs(), b.abs());
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}
