//! Ten thousand captures drawn from a stated prior, read as boards are: how
//! often each stated U holds the truth. The truth is what each capture was made
//! with, in closed form; nothing of it is taken from the code under test.

use super::evaluate::Page;
use super::listen::Heard;
use super::seen::Stream as Sent;
use super::{input, listen};
use crate::measurement::{COVERAGE, Finding};
use crate::scenario::sheet::Sheet;
use crate::seed::{Seed, Stream};
use crate::units::Quantity;
use crate::waveform::synthetic::{Flaws, Sampling};
use crate::waveform::{Capture, LogicLine, Signal};
use std::collections::BTreeMap;
use std::f64::consts::PI;

const CAPTURES: u64 = 10_000;
/// Halves of 1 and 0, in bits: runs of ones between zeros.
const BITS: [bool; 10] = [true, true, true, true, false, true, true, false, true, true];

/// How an edge goes from one level to the other.
#[derive(Clone, Copy, PartialEq)]
enum Bend {
    /// A straight line.
    Straight,
    /// Half a cosine.
    Cosine,
    /// As through a resistance into a capacitance: steepest at its start.
    Exponential,
}

/// One draw of the prior. Every number is uniform over the stated range unless
/// it says otherwise.
struct Drawn {
    /// Sampling period: 0.125 to 1 us, uniform in its logarithm.
    period: f64,
    /// Duration of an edge: 2 ns to 8 us, uniform in its logarithm; the whole
    /// of it, for an exponential the 10 % to 90 % of it.
    edge: f64,
    /// One of three with even odds.
    bend: Bend,
    /// Positive and negative half of a 1: 56 to 60 us each; a 0's: 97 to 110.
    one: (f64, f64),
    zero: f64,
    /// Levels: 14 to 19 V, the negative one within 0.3 V of it.
    levels: (f64, f64),
    /// Noise 5 to 100 mV, uniform in its logarithm; u of the gain up to 1 %
    /// and of the offset up to 30 mV, their errors drawn from a normal law; a
    /// step of the converter is 14.6 mV.
    flaws: Flaws,
    /// Delay of a rising and of a falling edge: 1 to 8 us.
    delays: (f64, f64),
    /// From the first sample to the first edge: 20 to 40 us, so that phases to
    /// the sampling are uniform.
    phase: f64,
}

impl Drawn {
    fn new(chance: &mut Stream) -> Self {
        let mut between = |low: f64, high: f64| low + (high - low) * chance.uniform();
        let period = libm::exp(between(libm::log(0.125e-6), libm::log(1e-6)));
        let edge = libm::exp(between(libm::log(2e-9), libm::log(8e-6)));
        let bend = match between(0.0, 3.0) {
            x if x < 1.0 => Bend::Straight,
            x if x < 2.0 => Bend::Cosine,
            _ => Bend::Exponential,
        };
        let one = (between(56e-6, 60e-6), between(56e-6, 60e-6));
        let zero = between(97e-6, 110e-6);
        let high = between(14.0, 19.0);
        let low = high + between(-0.3, 0.3);
        let noise = libm::exp(between(libm::log(5e-3), libm::log(0.1)));
        let flaws = Flaws {
            range: 30.0,
            noise,
            gain_u: between(0.0, 0.01),
            offset_u: between(0.0, 0.03),
        };
        Self {
            period,
            edge,
            bend,
            one,
            zero,
            levels: (high, low),
            flaws,
            delays: (between(1e-6, 8e-6), between(1e-6, 8e-6)),
            phase: between(20e-6, 40e-6),
        }
    }

    /// The share of an edge's way at the share `time` of its duration.
    fn way(&self, time: f64) -> f64 {
        match self.bend {
            Bend::Straight => time.clamp(0.0, 1.0),
            Bend::Cosine => (1.0 - libm::cos(PI * time.clamp(0.0, 1.0))) / 2.0,
            // From 10 % to 90 % it takes ln 9 time constants.
            Bend::Exponential => 1.0 - libm::exp(-libm::log(9.0) * time.max(0.0)),
        }
    }

    /// The share of its duration after which an edge has gone the share `way`.
    fn after(&self, way: f64) -> f64 {
        match self.bend {
            Bend::Straight => way,
            Bend::Cosine => libm::acos(1.0 - 2.0 * way) / PI,
            Bend::Exponential => -libm::log(1.0 - way) / libm::log(9.0),
        }
    }

    /// The share of a rising (falling) edge's way at which it is at `volts`.
    fn share(&self, rising: bool, volts: f64) -> f64 {
        let (high, low) = self.levels;
        if rising {
            (volts + low) / (high + low)
        } else {
            (high - volts) / (high + low)
        }
    }

    /// Instants at which the output passes zero, the first upwards.
    fn crossings(&self) -> Vec<f64> {
        let mut at = self.phase;
        let mut crossings = vec![at];
        for bit in BITS {
            let (first, second) = if bit {
                self.one
            } else {
                (self.zero, self.zero)
            };
            for half in [first, second] {
                at += half;
                crossings.push(at);
            }
        }
        crossings
    }

    fn capture(&self, chance: &mut Stream) -> Capture {
        let crossings = self.crossings();
        let starts: Vec<f64> = crossings
            .iter()
            .enumerate()
            .map(|(index, at)| at - self.edge * self.after(self.share(index % 2 == 0, 0.0)))
            .collect();
        let end = crossings[crossings.len() - 1] + 30e-6;
        let sampling = Sampling {
            first: 0.0,
            period: self.period,
            count: (end / self.period) as usize,
        };
        let (high, low) = self.levels;
        // Samples are asked for in their order.
        let next = std::cell::Cell::new(0);
        let voltage = |time: f64| {
            while next.get() < starts.len() && starts[next.get()] <= time {
                next.set(next.get() + 1);
            }
            let Some(last) = next.get().checked_sub(1) else {
                return -low;
            };
            let way = self.way((time - starts[last]) / self.edge);
            if last % 2 == 0 {
                -low + (high + low) * way
            } else {
                high - (high + low) * way
            }
        };
        let mut capture = sampling.capture();
        let channel = sampling.channel(Signal::NodeVoltage, self.flaws, chance, voltage);
        capture.channels.push(channel);
        let inputs: Vec<f64> = crossings
            .iter()
            .enumerate()
            .map(|(index, at)| at - self.delay(index % 2 == 0))
            .collect();
        let line = |time: f64| inputs.partition_point(|at| *at <= time) % 2 == 1;
        capture.lines.push(sampling.line(LogicLine::SignalA, line));
        capture
    }

    fn delay(&self, rising: bool) -> f64 {
        if rising { self.delays.0 } else { self.delays.1 }
    }

    /// Mean slope from -4 V to +4 V of the slower direction, V/s.
    fn slew(&self) -> f64 {
        let slope = |rising: bool| {
            let from = self.after(self.share(rising, if rising { -4.0 } else { 4.0 }));
            let to = self.after(self.share(rising, if rising { 4.0 } else { -4.0 }));
            8.0 / ((to - from) * self.edge)
        };
        slope(true).min(slope(false))
    }

    /// How its edges are known.
    fn sort(&self) -> Sort {
        let samples = self.edge / self.period;
        let (high, low) = self.levels;
        let noise = self.flaws.noise / (high + low) * samples;
        if samples < 0.01 {
            Sort::Sampled
        } else if samples < 8.0 {
            Sort::Between
        } else if self.flaws.noise > STEP && noise > 0.3 / samples {
            Sort::Noisy
        } else {
            Sort::Interpolated
        }
    }
}

/// One step of the converter, V.
const STEP: f64 = 30.0 / 2048.0;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Sort {
    /// By sampling alone: no sample lies on an edge.
    Sampled,
    /// Better than sampling alone, in a way that no budget counts on.
    Between,
    /// By lines between samples, what bends and quantisation leave in them.
    Interpolated,
    /// By lines between samples, with noise well above all else.
    Noisy,
}

/// How often a stated U held the truth.
#[derive(Clone, Copy, Default)]
struct Held {
    within: u64,
    draws: u64,
    /// Sum of errors over u, and of their squares.
    sum: f64,
    squares: f64,
}

impl Held {
    fn add(&mut self, error: f64, u: f64) {
        self.draws += 1;
        self.within += u64::from(error.abs() <= COVERAGE * u);
        let share = error / u.max(1e-300);
        self.sum += share;
        self.squares += share * share;
    }

    fn share(&self) -> f64 {
        self.within as f64 / self.draws as f64
    }

    /// Half of the binomial interval about `share` that holds 99.7 %.
    fn three_deviations(&self, share: f64) -> f64 {
        3.0 * libm::sqrt(share * (1.0 - share) / self.draws as f64)
    }
}

type Tally = BTreeMap<(String, Sort), Held>;

fn study() -> Tally {
    let mut tally = Tally::new();
    for key in 0..CAPTURES {
        let mut chance = Seed(20_262).stream(&[910, key]);
        let drawn = Drawn::new(&mut chance);
        let capture = drawn.capture(&mut chance);
        let heard = listen::listen(&capture, 4e-6).expect("a channel sees the output");
        let mut add = |name: &str, error: f64, u: f64| {
            let key = (name.to_owned(), drawn.sort());
            tally.entry(key).or_default().add(error, u);
        };
        readings(&drawn, &heard, &mut add);
        metrics(&drawn, &capture, &heard, &mut add);
    }
    tally
}

/// Single readings, as the extremes state their U: the third 1 of the stream,
/// and its first 0.
fn readings(drawn: &Drawn, heard: &Heard, add: &mut impl FnMut(&str, f64, f64)) {
    let truth = drawn.crossings();
    assert_eq!(
        heard.edges.len(),
        truth.len(),
        "{} {}",
        drawn.edge,
        drawn.period
    );
    let at = |index: usize| heard.edges[index].at.since_zero().si();
    let half = |index: usize| at(index + 1) - at(index);
    add("one half", half(4) - drawn.one.0, heard.edge.span_u(58e-6));
    add("zero half", half(9) - drawn.zero, heard.edge.span_u(100e-6));
    let asymmetry = half(4) - half(5);
    let error = asymmetry - (drawn.one.0 - drawn.one.1);
    add("asymmetry", error, heard.edge.difference_u());
}

/// What is written on the sheet, but for extremes: of those the bias is stated
/// and not in U.
fn metrics(drawn: &Drawn, capture: &Capture, heard: &Heard, add: &mut impl FnMut(&str, f64, f64)) {
    let mut sheet = Sheet::new("signal", Vec::new());
    let mut page = Page {
        sheet: &mut sheet,
        at: "",
        remarks: Vec::new(),
    };
    page.output(heard);
    if let Some(shape) = &heard.report.shape {
        let truth = (drawn.after(0.9) - drawn.after(0.1)) * drawn.edge;
        for (way, figures) in [("rising", &shape.rising), ("falling", &shape.falling)] {
            if let Some(found) = figures.duration {
                add(&format!("transition, {way}"), found.value - truth, found.u);
            }
        }
    }
    let sent = Sent {
        packets: Vec::new(),
        cutouts: false,
        signal_lines: 1,
    };
    let input = input::read(capture, &sent).expect("a line sees the input");
    page.delay(&input.delays(heard));
    let (high, low) = drawn.levels;
    for metric in sheet.into_metrics() {
        let truth = match (metric.key.as_str(), metric.at.as_str()) {
            ("half_bit_of_a_one", ", mean") => (drawn.one.0 + drawn.one.1) / 2.0,
            ("half_bit_of_a_zero", ", mean") => drawn.zero,
            ("asymmetry", ", mean") => (drawn.one.0 - drawn.one.1).abs(),
            ("slew_rate", ", mean") => drawn.slew(),
            ("amplitude", ", mean") => (high + low) / 2.0,
            ("amplitude_asymmetry", ", mean") => (high - low).abs(),
            ("propagation_delay", ", mean") => {
                (drawn.delays.0 * 11.0 + drawn.delays.1 * 10.0) / 21.0
            }
            _ => continue,
        };
        let key = metric.key;
        match metric.finding {
            Finding::Value(found) => {
                // A size is positive; the sign of what is near zero is noise.
                let size = matches!(key.as_str(), "asymmetry" | "amplitude_asymmetry");
                if size && truth < 3.0 * found.u {
                    continue;
                }
                add(&format!("{key}, mean"), found.value - truth, found.u);
            }
            // A bound must lie below the truth.
            Finding::Above(bound) => {
                add(
                    &format!("{key}, bound"),
                    (bound.value - truth).max(0.0),
                    bound.u,
                );
            }
            Finding::Unknown { .. } => {}
            other => panic!("{key}: {other:?}"),
        }
    }
}

#[test]
fn every_stated_u_holds_the_truth_as_often_as_it_says() {
    let tally = study();
    let (mut faults, mut all) = (Vec::new(), Vec::new());
    for ((name, sort), held) in &tally {
        let n = held.draws as f64;
        let line = format!(
            "{name}, {sort:?}: {:.4} of {}, errors over u: mean {:.3}, rms {:.3}",
            held.share(),
            held.draws,
            held.sum / n,
            libm::sqrt(held.squares / n)
        );
        all.push(line.clone());
        if held.share() < 0.95 - held.three_deviations(0.95) {
            faults.push(line);
        }
    }
    for (name, sort, predicted) in predictions() {
        let held = tally[&(name.to_owned(), sort)];
        let apart = (held.share() - predicted).abs();
        if apart > held.three_deviations(predicted) {
            faults.push(format!(
                "{name}, {sort:?}: {} for {predicted}",
                held.share()
            ));
        }
    }
    assert!(faults.is_empty(), "{faults:#?} of {all:#?}");
}

/// What two standard uncertainties hold where a budget has one distribution; by
/// arithmetic. Other budgets hold bounds, and of them only 95 % is asked.
fn predictions() -> Vec<(&'static str, Sort, f64)> {
    // The difference of two instants each uniform over a sample is a triangle
    // of one sample either side, u = 1 / sqrt 6.
    let beyond = 1.0 - COVERAGE / libm::sqrt(6.0);
    let triangle = 1.0 - beyond * beyond;
    // 2 t2 - t1 - t3 reaches 2 samples, u = 1 / sqrt 2; beyond 2 - s it has
    // left 2 a + b + c < s, of the unit cube s^3 / 12, on either side.
    let left = 2.0 - COVERAGE / libm::sqrt(2.0);
    let weighed = 1.0 - 2.0 * left * left * left / 12.0;
    let normal = libm::erf(COVERAGE / libm::sqrt(2.0));
    let mut list = vec![
        ("one half", Sort::Sampled, triangle),
        ("zero half", Sort::Sampled, triangle),
        ("asymmetry", Sort::Sampled, weighed),
        ("slew_rate, mean", Sort::Noisy, normal),
    ];
    // The gain's error and the offset's were drawn from a normal law.
    let sorts = [
        Sort::Sampled,
        Sort::Between,
        Sort::Interpolated,
        Sort::Noisy,
    ];
    list.extend(sorts.map(|sort| ("amplitude, mean", sort, normal)));
    list
}
