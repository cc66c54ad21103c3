//! A wire of a value change dump or a column of zeros and ones, decoded while it
//! is read, and how its edges were sampled. It formats nothing.

use super::packet_list::PacketList;
use super::source::{Format, bare, rate};
use super::stream::{Trouble, csv, vcd, vcd_part};
use crate::capture_file::{
    Change, CsvSummary, CsvWish, FoundGrid, Grid, Spans, Value, WireEdges, WireEvent, WirePair,
};
use crate::cli::arguments::Inspect;
use crate::clock::{BenchInstant, BenchSpan};
use crate::inspection::{Collector, Hearing, Inspection, wanted};
use crate::track::Packet;
use crate::units::{Quantity, Seconds};
use std::path::Path;

/// A wire of a value change dump.
pub(super) fn logic(arguments: &Inspect) -> Result<Inspection, Trouble> {
    let (path, wire) = (arguments.capture.as_path(), arguments.wire.as_deref());
    let given = rate(arguments)?.map(|rate| 1.0 / rate);
    let mut listener = Listener::new(arguments, given);
    let looks = given.is_none().then_some(FIRST);
    let read = vcd(path, wire, looks, &mut |events, found| {
        listener.take(events, found);
    })?;
    let tick = read.summary.tick_femtoseconds as f64 * 1e-15;
    let end = read.summary.end;
    let name = read
        .summary
        .wires
        .first()
        .map_or("", |wire| wire.name.as_str());
    let mut inspection = bare(arguments, Format::Vcd, format!("wire {name}"));
    let again = |listener: &mut Listener| {
        vcd(path, wire, None, &mut |events, _| {
            listener.take(events, None)
        })
        .map(|_| ())
    };
    let length = end.since_zero().si();
    inspection.length = length;
    let all = All {
        tick,
        end,
        missing: read.unknown,
        found: read.found,
    };
    heard(&mut inspection, arguments, listener, all, &again)?;
    inspection.samples = libm::round(length / inspection.period) as u64;
    let mut collectors = wanted(&inspection);
    for collector in &mut collectors {
        vcd_part(path, wire, &read.marks, collector.window(), &mut |event| {
            draw(collector, event);
        })?;
    }
    inspection.stretches = collectors.into_iter().map(Collector::finish).collect();
    Ok(inspection)
}

/// A column of zeros and ones: a row at every change, or every so often.
pub(super) fn logic_table(
    arguments: &Inspect,
    wish: &CsvWish,
    summary: &CsvSummary,
    column: &str,
) -> Result<Inspection, Trouble> {
    let path = arguments.capture.as_path();
    let given = rate(arguments)?.map(|rate| 1.0 / rate);
    // Rows that lie evenly are samples; of changes only the grid is known.
    let period = given.or(summary.period);
    let tick = summary.digit.max(1e-12);
    let mut listener = Listener::new(arguments, period);
    let mut grid = period.is_none().then(Grid::default);
    let missing = table_events(path, wish, &mut |event| {
        let found = grid
            .as_mut()
            .and_then(|grid| grid.take(&[event], FIRST, tick));
        listener.take(&[event], found);
    })?;
    let mut inspection = bare(arguments, Format::Csv, format!("column {column}, logic"));
    let again = |listener: &mut Listener| {
        table_events(path, wish, &mut |event| listener.take(&[event], None)).map(|_| ())
    };
    let end = instant(summary.time.1);
    inspection.samples = summary.rows;
    inspection.length = summary.time.1 - summary.time.0;
    let all = All {
        tick,
        end,
        missing,
        found: grid.map(|grid| grid.found(tick)),
    };
    heard(&mut inspection, arguments, listener, all, &again)?;
    if given.is_none() && summary.period.is_some() {
        inspection.period_from = "from the time column";
    }
    let mut collectors = wanted(&inspection);
    table_events(path, wish, &mut |event| {
        collectors
            .iter_mut()
            .for_each(|collector| draw(collector, event));
    })?;
    inspection.stretches = collectors.into_iter().map(Collector::finish).collect();
    Ok(inspection)
}

/// The events of a column, and where it says nothing.
fn table_events(
    path: &Path,
    wish: &CsvWish,
    each: &mut dyn FnMut(WireEvent),
) -> Result<Spans, Trouble> {
    let mut wire = WireEdges::new(WirePair::Single);
    let mut end = BenchInstant::ZERO;
    csv(path, wish, &mut |time, values| {
        let value = match values[0] {
            value if !value.is_finite() => Value::Unknown,
            0.0 => Value::Low,
            _ => Value::High,
        };
        let at = instant(time);
        end = at;
        let change = Change { at, wire: 0, value };
        if let Some(event) = wire.push(change) {
            each(event);
        }
    })?;
    if let Some(event) = wire.finish() {
        each(event);
    }
    Ok(wire.unknown_spans(end))
}

fn instant(seconds: f64) -> BenchInstant {
    let span = Seconds::from_si(seconds).map(BenchSpan::from_seconds);
    BenchInstant::ZERO + span.unwrap_or(BenchSpan::ZERO)
}

fn draw(collector: &mut Collector, event: WireEvent) {
    if let WireEvent::Known(edge) | WireEvent::Edge(edge) = event {
        collector.edge(edge);
    }
}

/// What a whole pass showed besides events.
struct All {
    /// The file's unit of time, s.
    tick: f64,
    end: BenchInstant,
    /// Where the values do not say what the signal was.
    missing: Spans,
    /// What the events lie on, where that was not given.
    found: Option<FoundGrid>,
}

/// What was heard, by the period that the whole shows; where the beginning did
/// not show it, the file is read once more.
fn heard(
    inspection: &mut Inspection,
    arguments: &Inspect,
    mut listener: Listener,
    all: All,
    again: &dyn Fn(&mut Listener) -> Result<(), Trouble>,
) -> Result<(), Trouble> {
    let All {
        tick,
        end,
        missing,
        found,
    } = all;
    let (period, from) = match (listener.given, found.and_then(|found| found.sampled)) {
        (Some(period), _) => (period, "as given"),
        (None, Some(period)) => (period, "edges lie on this grid"),
        (None, None) => (tick, "the file's time unit"),
    };
    inspection.period = period;
    inspection.period_from = from;
    if !listener.used(period) {
        listener = Listener::new(arguments, Some(period));
        again(&mut listener)?;
    }
    if let (
        Some(FoundGrid {
            divisor: Some(divisor),
            ..
        }),
        "the file's time unit",
    ) = (found, from)
        && divisor > 10.0 * tick
    {
        inspection.odd.push(format!(
            "all lengths are multiples of {} us though the file counts finer: if it was sampled so, give --rate",
            (divisor * 1e9).round() / 1e3
        ));
    }
    listener.finish(inspection, arguments, (period, end, missing));
    Ok(())
}

/// Events from which it is concluded how they were sampled, before they are
/// decoded.
const FIRST: u64 = 16_384;

/// Decodes events as they come. How well edges are known must be known first:
/// either it is given or the first events show it, and all others must agree.
struct Listener {
    given: Option<f64>,
    /// A packet that was handed out as a line cannot be taken back: the grid is
    /// then found in a pass of its own.
    looks_only: bool,
    first: Vec<WireEvent>,
    hearing: Option<Hearing>,
    /// The period by which it decodes, s.
    period: f64,
    packets: PacketList,
}

impl Listener {
    fn new(arguments: &Inspect, given: Option<f64>) -> Self {
        Self {
            given,
            looks_only: arguments.packets && given.is_none(),
            first: Vec::new(),
            hearing: None,
            period: 0.0,
            packets: PacketList::new(arguments),
        }
    }

    /// Takes events, and once what those so far lie on.
    fn take(&mut self, events: &[WireEvent], found: Option<FoundGrid>) {
        if self.looks_only {
            return;
        }
        if self.hearing.is_some() {
            return self.hear(events);
        }
        self.first.extend_from_slice(events);
        let seen = found.map(|found| found.sampled.unwrap_or(found.tick));
        if let Some(period) = self.given.or(seen) {
            self.hear_first(period);
        }
    }

    fn hear_first(&mut self, period: f64) {
        self.hearing = Some(Hearing::sampled(period));
        self.period = period;
        let first = std::mem::take(&mut self.first);
        self.hear(&first);
    }

    fn hear(&mut self, events: &[WireEvent]) {
        let Some(hearing) = &mut self.hearing else {
            return;
        };
        let mut sink = |packet: &Packet| self.packets.take(packet);
        for event in events {
            match *event {
                WireEvent::Edge(edge) => hearing.push(edge, &mut sink),
                WireEvent::Known(edge) => hearing.resume(edge),
                WireEvent::Lost(at) => hearing.lose(at, &mut sink),
            }
        }
    }

    /// Whether what was decoded so far was decoded by this period.
    fn used(&self, period: f64) -> bool {
        let same = || (self.period - period).abs() <= 1e-6 * period;
        !self.looks_only && (self.hearing.is_none() || same())
    }

    /// The end: what waited is decoded too.
    fn finish(
        mut self,
        inspection: &mut Inspection,
        arguments: &Inspect,
        (period, end, missing): (f64, BenchInstant, Spans),
    ) {
        if self.hearing.is_none() {
            self.hear_first(period);
        }
        if let Some(hearing) = self.hearing {
            let mut sink = |packet: &Packet| self.packets.take(packet);
            let heard = hearing.finish(end, missing, &mut sink);
            self.packets.fill(inspection);
            inspection.add(heard, arguments.at.into());
        }
    }
}
