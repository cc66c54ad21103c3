//! Which stretches of a signal are worth drawing, and their collection in
//! bounded memory. It draws nothing.

use super::passing::Piece;
use super::voltage::{Analogue, numbers};
use super::{Inspection, Measure, RuleRow, Standing};
use crate::clock::{BenchInstant, BenchSpan};
use crate::track::{Clause, Edge, Polarity, Violation};
use crate::units::{Dimension, Quantity, show};
use std::ops::Range;

/// Stretches collected.
const MOST: usize = 4;
/// Edges and samples of one stretch.
const MOST_EDGES: usize = 2_000;
const MOST_SAMPLES: usize = 20_000;
/// Shown before and after what is pointed at.
const MARGIN: BenchSpan = BenchSpan::from_microseconds(250);
/// A longer reading is shown up to here.
const LONGEST: BenchSpan = BenchSpan::from_microseconds(12_000);
/// The voltage must pass zero by this much to count in a drawing, V.
const BAND: f64 = 2.5;
/// A drawing knows its polarity by what came this long before: longer than a
/// cutout.
const LEAD: BenchSpan = BenchSpan::from_microseconds(1_000);

/// A stretch of the signal worth looking at.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// What there is to see.
    pub title: String,
    /// First and last instant shown.
    pub window: (BenchInstant, BenchInstant),
    /// What is pointed at.
    pub mark: (BenchInstant, BenchInstant),
    /// The polarity at the start of the window, where known.
    pub before: Option<Polarity>,
    /// Edges within the window.
    pub edges: Vec<Edge>,
    /// Samples within the window: time (s), volts; none of a logic file.
    pub samples: Vec<(f64, f64)>,
}

/// Fills one stretch.
#[derive(Debug)]
pub struct Collector {
    stretch: Stretch,
    polarity: Option<Polarity>,
}

impl Collector {
    fn new(title: String, mark: (BenchInstant, BenchInstant)) -> Self {
        Self {
            stretch: Stretch {
                title,
                window: (mark.0 + before(MARGIN), mark.1 + MARGIN),
                mark,
                before: None,
                edges: Vec::new(),
                samples: Vec::new(),
            },
            polarity: None,
        }
    }

    /// From when to when it collects.
    pub const fn window(&self) -> (BenchInstant, BenchInstant) {
        self.stretch.window
    }

    /// An edge.
    pub fn edge(&mut self, edge: Edge) {
        let (from, to) = self.stretch.window;
        if edge.at < from {
            self.stretch.before = Some(edge.to);
        } else if edge.at <= to && self.stretch.edges.len() < MOST_EDGES {
            self.stretch.edges.push(edge);
        }
    }

    /// The samples of an analogue channel that it needs, by number.
    pub fn wanted(&self, analogue: &Analogue) -> Range<u64> {
        let (from, to) = self.stretch.window;
        let number = |at: BenchInstant| {
            let samples = (at.since_zero().si() - analogue.first) / analogue.period;
            // `as` saturates; what lies before the first sample begins with it.
            samples.max(0.0) as u64
        };
        number(from + before(LEAD))..number(to).saturating_add(2)
    }

    /// A piece of an analogue channel of which the first sample has the number
    /// `index`; the number of the next is returned.
    pub fn take(&mut self, piece: Piece<'_>, analogue: &Analogue, mut index: u64) -> u64 {
        match piece {
            Piece::At(time, volts) => self.sample(time, volts),
            Piece::Even(samples) => numbers(samples, |raw| {
                let time = analogue.first + index as f64 * analogue.period;
                self.sample(time, raw * analogue.scale.gain + analogue.scale.offset);
                index += 1;
            }),
        }
        index
    }

    /// The stretch, filled.
    pub fn finish(self) -> Stretch {
        self.stretch
    }

    /// A sample; its edges are only for drawing.
    fn sample(&mut self, time: f64, volts: f64) {
        // What is no reading is not drawn.
        if !volts.is_finite() {
            return;
        }
        let at = BenchInstant::from_picoseconds(libm::round(time * 1e12) as i64);
        let to = match self.polarity {
            Some(Polarity::Positive) if volts > -BAND => Polarity::Positive,
            Some(Polarity::Negative) if volts < BAND => Polarity::Negative,
            _ if volts > 0.0 => Polarity::Positive,
            _ => Polarity::Negative,
        };
        if self.polarity.replace(to) != Some(to) {
            self.edge(Edge { at, to });
        }
        let (from, end) = self.stretch.window;
        if at >= from && at <= end && self.stretch.samples.len() < MOST_SAMPLES {
            self.stretch.samples.push((time, volts));
        }
    }
}

fn before(span: BenchSpan) -> BenchSpan {
    BenchSpan::from_picoseconds(-span.picoseconds())
}

/// The worst violation, the first ones, or where there is none the first
/// packet.
pub fn wanted(inspection: &Inspection) -> Vec<Collector> {
    let Some(signal) = &inspection.signal else {
        return Vec::new();
    };
    let station = inspection.rules == signal.power_station.rules;
    let timing = if station {
        vec![&signal.power_station, &signal.packet_rules]
    } else {
        vec![&signal.receiver]
    };
    let clauses = timing.iter().flat_map(|findings| findings.clauses.values());
    let mut seen: Vec<Violation> = Vec::new();
    let mut first: Vec<Violation> = Vec::new();
    for found in clauses {
        seen.extend(found.worst);
        first.extend(&found.first);
    }
    // What is decided comes first, then the farthest beyond its limit.
    let excess = |v: &Violation| ((v.value - v.limit) / v.limit).abs();
    seen.sort_by(|a, b| {
        b.decided
            .cmp(&a.decided)
            .then(excess(b).total_cmp(&excess(a)))
    });
    first.retain(|violation| violation.decided);
    first.sort_by_key(|violation| violation.at);
    let mut list: Vec<Violation> = Vec::new();
    for violation in seen.into_iter().take(1).chain(first) {
        if list.len() < MOST && !list.iter().any(|known| known.at == violation.at) {
            list.push(violation);
        }
    }
    let mut collectors: Vec<Collector> = list.iter().map(of_violation).collect();
    let shapes = inspection.rows.iter().filter_map(of_shape);
    let room = MOST.saturating_sub(collectors.len()).max(1);
    let shapes: Vec<Collector> = shapes.take(room).collect();
    collectors.truncate(MOST - shapes.len().min(MOST));
    collectors.extend(shapes);
    if let (true, Some(packet)) = (collectors.is_empty(), signal.packets.first.first()) {
        // A whole packet would be too fine to see.
        let shown = packet.start + BenchSpan::from_microseconds(700);
        let mark = (packet.start, shown);
        let title = format!(
            "the beginning of the first packet, {}: {}",
            packet.kind, packet.bytes
        );
        collectors.push(Collector::new(title, mark));
    }
    if collectors.is_empty() && signal.edges > 0 {
        let end = signal.from + BenchSpan::from_microseconds(1_000);
        let mark = (signal.from, end);
        collectors.push(Collector::new("the beginning".to_owned(), mark));
    }
    collectors
}

/// The first place where a demand on the shape or level of a voltage is broken.
fn of_shape(row: &RuleRow) -> Option<Collector> {
    let dimension = match row.measure {
        Measure::Slew => Dimension::VoltageSlew,
        Measure::Voltage => Dimension::Voltage,
        Measure::Time | Measure::Count => return None,
    };
    let place = row.places.iter().find(|place| place.decided)?;
    let title = format!(
        "{} at {:.6} s: {}, {} (limit {})",
        Standing::Violation.word(),
        place.at_s,
        row.what,
        show(place.value, dimension),
        show(row.limit, dimension),
    );
    let mark = (place.at, place.at + BenchSpan::from_microseconds(20));
    Some(Collector::new(title, mark))
}

fn of_violation(violation: &Violation) -> Collector {
    let clause = violation.clause;
    let length = if clause.counts_bits() {
        BenchSpan::from_microseconds(116)
    } else if clause == Clause::OneHalvesDiffer {
        BenchSpan::from_microseconds(174)
    } else {
        BenchSpan::from_picoseconds(libm::round(violation.value * 1e12) as i64)
    };
    let length = length.min(LONGEST);
    let mark = if clause.counts_bits() {
        (violation.at + before(length), violation.at)
    } else {
        (violation.at, violation.at + length)
    };
    let word = if violation.decided {
        Standing::Violation
    } else {
        Standing::Inconclusive
    };
    let value = |value: f64| match clause.counts_bits() {
        true => format!("{value} bits"),
        false => show(value, Dimension::Time),
    };
    let title = format!(
        "{} at {:.6} s: {}, {} (limit {})",
        word.word(),
        violation.at.picoseconds() as f64 / 1e12,
        clause.describe(),
        value(violation.value),
        value(violation.limit),
    );
    Collector::new(title, mark)
}
