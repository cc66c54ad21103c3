//! Metrics of the signal scenario: bit timing, shape, levels, delay, packets
//! and cutouts, on top of the analysis of the track signal. It knows no limit
//! but one: how well an asymmetry must be known to be told at all.

#[cfg(test)]
mod coverage;
mod input;
mod listen;

use super::Context;
use super::sheet::Sheet;
use crate::measurement::{Blame, COVERAGE, Estimate, Finding, combined, resolution};
use crate::observation::{Loading, SignalTake, Stream};
use crate::track::{DelayReport, Figures, POWER_STATION, Shape, ShapeFigures, SignalReport, Worst};
use crate::units::{Dimension, Quantity, show};
use crate::waveform::Capture;
use listen::{Heard, Levelled};
use std::collections::BTreeSet;

const ONE: (&str, Dimension) = ("one_half", Dimension::Time);
const ZERO: (&str, Dimension) = ("zero_half", Dimension::Time);
const ASYMMETRY: (&str, Dimension) = ("asymmetry", Dimension::Time);
const SLEW: (&str, Dimension) = ("slew", Dimension::VoltageSlew);
const DISTORTION: (&str, Dimension) = ("crossing_distortion", Dimension::Voltage);
const AMPLITUDE: (&str, Dimension) = ("amplitude", Dimension::Voltage);
const SYMMETRY: (&str, Dimension) = ("amplitude_symmetry", Dimension::Voltage);
const OVERSHOOT: (&str, Dimension) = ("overshoot", Dimension::Ratio);
const DELAY: (&str, Dimension) = ("propagation_delay", Dimension::Time);
const SPREAD: (&str, Dimension) = ("delay_spread", Dimension::Time);
const PACKETS: (&str, Dimension) = ("packet_errors", Dimension::Count);
const MISSING: (&str, Dimension) = ("cutouts_missing", Dimension::Count);
const START: (&str, Dimension) = ("cutout_start", Dimension::Time);
const END: (&str, Dimension) = ("cutout_end", Dimension::Time);
const DROP: (&str, Dimension) = ("cutout_drop", Dimension::Voltage);

/// What needs the output's voltage alone.
const OF_OUTPUT: [(&str, Dimension); 8] = [
    ONE, ZERO, ASYMMETRY, SLEW, DISTORTION, AMPLITUDE, SYMMETRY, OVERSHOOT,
];
/// What needs the input lines too.
const OF_BOTH: [(&str, Dimension); 3] = [DELAY, SPREAD, PACKETS];
/// What needs cutouts.
const OF_CUTOUTS: [(&str, Dimension); 4] = [MISSING, START, END, DROP];

/// Slew is told from samples no farther apart than this (s); with fewer
/// samples in an edge it is a bound.
const SLEW_PERIOD: f64 = 200e-9;

pub(super) fn evaluate(
    sheet: &mut Sheet,
    context: &Context,
    sent: Option<&Stream>,
    takes: &[SignalTake],
) {
    let Some(sent) = sent.filter(|_| !takes.is_empty()) else {
        for metrics in [&OF_OUTPUT[..], &OF_BOTH, &OF_CUTOUTS] {
            sheet.missing(metrics, "", Blame::Plan, "nothing was captured");
        }
        return;
    };
    let mut used = BTreeSet::new();
    for take in takes {
        let mut label = take.loading.words().to_owned();
        while !used.insert(label.clone()) {
            label.push_str(" again");
        }
        Page {
            sheet,
            at: &label,
            remarks: remarks(take),
        }
        .fill(context, sent, take);
    }
}

/// Half-bits of the output by whole microseconds.
pub(super) fn histogram(capture: &Capture) -> Vec<(u32, u64)> {
    listen::listen(capture, 0.0).map_or_else(Vec::new, |heard| heard.report.histogram)
}

/// What the instruments said around the capture.
fn remarks(take: &SignalTake) -> Vec<String> {
    let mut notes = Vec::new();
    if take.loading == Loading::Electronic {
        notes.push("loaded by the electronic load, which draws nothing about crossings".into());
    }
    if take.take.load_protected {
        notes.push("the load protected itself".into());
    }
    if take.take.supply_protected {
        notes.push("the supply protected itself".into());
    }
    notes
}

/// The sheet at one loading.
struct Page<'a> {
    sheet: &'a mut Sheet,
    at: &'a str,
    remarks: Vec<String>,
}

impl Page<'_> {
    fn add(&mut self, metric: (&str, Dimension), part: &str, finding: Finding, note: String) {
        let at = if part.is_empty() {
            self.at.to_owned()
        } else {
            format!("{}, {part}", self.at)
        };
        let mut notes = Vec::new();
        if !note.is_empty() {
            notes.push(note);
        }
        notes.extend(self.remarks.iter().cloned());
        self.sheet.add(metric, &at, finding, notes);
    }

    fn missing(&mut self, metrics: &[(&str, Dimension)], blame: Blame, reason: &str) {
        self.sheet.missing(metrics, self.at, blame, reason);
    }

    fn fill(&mut self, context: &Context, sent: &Stream, take: &SignalTake) {
        let capture = &take.take.capture;
        let Some(heard) = listen::listen(capture, context.crossing.si()) else {
            let reason = "no channel sees the output voltage";
            for metrics in [&OF_OUTPUT[..], &OF_BOTH, &OF_CUTOUTS] {
                self.missing(metrics, Blame::Bench, reason);
            }
            return;
        };
        let input = input::read(capture, sent);
        if heard.report.edges == 0 {
            self.missing(
                &OF_OUTPUT,
                Blame::Board,
                "the output does not follow the signal",
            );
        } else {
            self.output(&heard);
        }
        let Some(input) = input else {
            let reason = "no logic line sees the board's inputs";
            self.missing(&OF_BOTH, Blame::Bench, reason);
            self.missing(&OF_CUTOUTS, Blame::Bench, reason);
            return;
        };
        let delays = input.delays(&heard);
        self.delay(&delays);
        match input.packet_errors(sent, &heard, &delays) {
            Ok((errors, note)) => {
                let count = Finding::Value(Estimate::new(errors as f64, 0.0));
                self.add(PACKETS, "", count, note);
            }
            Err(reason) => self.missing(&[PACKETS], Blame::Bench, reason),
        }
        if sent.cutouts {
            self.cutouts(&heard, &input);
        } else {
            let reason = "no cutouts were sent";
            self.missing(&OF_CUTOUTS, Blame::Plan, reason);
        }
    }

    fn output(&mut self, heard: &Heard) {
        let report = &heard.report;
        self.halves(ONE, report.ones.all.as_ref(), "halves");
        self.halves(ZERO, report.zeros.all.as_ref(), "halves");
        self.asymmetry(heard);
        match (&report.shape, &heard.levelled) {
            (Some(shape), Some(levelled)) => {
                self.slew(shape, heard.period);
                self.distortion(shape, heard);
                self.levels(report, levelled);
                self.overshoot(shape);
            }
            _ => self.missing(
                &[SLEW, DISTORTION, AMPLITUDE, SYMMETRY, OVERSHOOT],
                Blame::Board,
                "the output has no two levels",
            ),
        }
    }

    /// The mean, and what of `of` readings is shortest and longest.
    fn halves(&mut self, metric: (&str, Dimension), figures: Option<&Figures>, of: &str) {
        let Some(figures) = figures else {
            self.missing(&[metric], Blame::Board, "no such half-bit is on the output");
            return;
        };
        let mean = Finding::Value(figures.mean);
        self.add(metric, "mean", mean, format!("of {} {of}", figures.count));
        for (part, worst) in [("shortest", &figures.least), ("longest", &figures.greatest)] {
            let note = of_many(worst, of);
            self.add(metric, part, Finding::Value(worst.estimate), note);
        }
    }

    /// U of a single reading must not exceed a third of what S-9.1:2020 table 1
    /// allows; else the metric is not told, since it would decide nothing.
    fn asymmetry(&mut self, heard: &Heard) {
        let report = &heard.report;
        let (Some(signed), Some(size)) = (&report.asymmetry, &report.difference) else {
            let reason = "no whole 1 is on the output";
            self.missing(&[ASYMMETRY], Blame::Board, reason);
            return;
        };
        let allowed = POWER_STATION.difference.seconds().si();
        let expanded = COVERAGE * heard.edge.difference_u();
        if expanded > allowed / 3.0 {
            let reason = format!(
                "one reading has U = {}, more than a third of the {} that S-9.1 allows: sample \
                 faster",
                show(expanded, Dimension::Time),
                show(allowed, Dimension::Time)
            );
            self.missing(&[ASYMMETRY], Blame::Bench, &reason);
            return;
        }
        let mean = Estimate::new(signed.mean.value.abs(), signed.mean.u);
        let longer = if signed.mean.value >= 0.0 {
            "positive"
        } else {
            "negative"
        };
        let note = format!("of {} ones, the {longer} halves longer", signed.count);
        self.add(ASYMMETRY, "mean", Finding::Value(mean), note);
        let worst = Finding::Value(size.greatest.estimate);
        let note = of_many(&size.greatest, "ones");
        self.add(ASYMMETRY, "worst", worst, note);
    }

    fn slew(&mut self, shape: &Shape, period: f64) {
        let sides = [&shape.rising, &shape.falling];
        let slower = |pick: fn(&ShapeFigures) -> Option<Estimate>| {
            let found = sides.iter().filter_map(|figures| pick(figures));
            found.reduce(|a, b| if b.value < a.value { b } else { a })
        };
        let measured: u64 = sides.iter().map(|figures| figures.measured).sum();
        let bounded: u64 = sides.iter().map(|figures| figures.slew_bounded).sum();
        let bound = bounded > 0 || period > SLEW_PERIOD * 1.000_001;
        let parts = [
            ("mean", slower(|figures| figures.slew)),
            ("slowest", slower(|figures| figures.slowest)),
        ];
        for (part, found) in parts {
            let (finding, note) = match found {
                None => (
                    Finding::unknown(Blame::Board, "no edge goes from -4 V to +4 V and back"),
                    String::new(),
                ),
                Some(slew) if bound => (
                    Finding::Above(slew),
                    format!(
                        "of {measured} edges; samples every {} tell no more",
                        show(period, Dimension::Time)
                    ),
                ),
                Some(slew) => (Finding::Value(slew), format!("of {measured} edges")),
            };
            self.add(SLEW, part, finding, note);
        }
    }

    fn distortion(&mut self, shape: &Shape, heard: &Heard) {
        let sides = [&shape.rising, &shape.falling];
        let measured: u64 = sides.iter().map(|figures| figures.measured).sum();
        let distorted: u64 = sides.iter().map(|figures| figures.distorted).sum();
        let worst = sides
            .iter()
            .filter_map(|figures| figures.distortion)
            .map(|(low, high)| low.abs().max(high.abs()))
            .fold(0.0, f64::max);
        let shortest = sides
            .iter()
            .filter_map(|figures| figures.duration)
            .map(|duration| duration.value)
            .fold(f64::INFINITY, f64::min);
        let mut note = format!("{distorted} of {measured} edges run backwards");
        if shortest < 3.0 * heard.period {
            note.push_str(&format!(
                "; edges hold fewer than three samples, so what is shorter than {} is not seen",
                show(2.0 * heard.period, Dimension::Time)
            ));
        }
        let u = combined([heard.gain_u * worst, heard.zero_u, heard.sample_u]);
        let finding = if measured == 0 {
            Finding::unknown(Blame::Board, "no edge could be measured")
        } else {
            Finding::Value(Estimate::new(worst, if distorted == 0 { 0.0 } else { u }))
        };
        self.add(DISTORTION, "worst", finding, note);
    }

    fn levels(&mut self, report: &SignalReport, levelled: &Levelled) {
        let Some(levels) = &report.levels else {
            return self.missing(
                &[AMPLITUDE, SYMMETRY],
                Blame::Board,
                "the output has no two levels",
            );
        };
        let note = "state levels by histogram".to_owned();
        self.add(AMPLITUDE, "mean", Finding::Value(levels.amplitude), note);
        let note = format!("of {} half-bits", levelled.count);
        for (part, level) in [("lowest", levelled.lowest), ("highest", levelled.highest)] {
            self.add(AMPLITUDE, part, Finding::Value(level), note.clone());
        }
        let symmetry = levels.symmetry;
        let size = Estimate::new(symmetry.value.abs(), symmetry.u);
        self.add(SYMMETRY, "mean", Finding::Value(size), String::new());
        let worst = Finding::Value(levelled.asymmetry);
        self.add(SYMMETRY, "worst", worst, note);
    }

    fn overshoot(&mut self, shape: &Shape) {
        let sides = [&shape.rising, &shape.falling];
        let found = sides.iter().filter_map(|figures| figures.overshoot);
        let worse = found.reduce(|a, b| {
            let larger = |a: Estimate, b: Estimate| if b.value > a.value { b } else { a };
            (larger(a.0, b.0), larger(a.1, b.1))
        });
        let Some((mean, greatest)) = worse else {
            let reason = "no edge could be measured";
            return self.missing(&[OVERSHOOT], Blame::Board, reason);
        };
        let measured: u64 = sides.iter().map(|figures| figures.measured).sum();
        let note = format!("of {measured} edges");
        self.add(OVERSHOOT, "mean", Finding::Value(mean), note.clone());
        self.add(OVERSHOOT, "worst", Finding::Value(greatest), note);
    }

    fn delay(&mut self, delays: &DelayReport) {
        let Some(delay) = &delays.delay else {
            let reason = "no edge of the output answers one of the inputs";
            return self.missing(&[DELAY, SPREAD], Blame::Board, reason);
        };
        let note = format!(
            "of {} edges, {} of the inputs unanswered",
            delay.count, delays.missing
        );
        self.add(DELAY, "mean", Finding::Value(delay.mean), note);
        let longest = Finding::Value(delay.greatest.estimate);
        let note = of_many(&delay.greatest, "edges");
        self.add(DELAY, "longest", longest, note);
        // Both extremes are less what sampling and noise spread them by.
        let spread = delay.greatest.estimate.minus(delay.least.estimate);
        let spread = Estimate::new(spread.value.max(0.0), spread.u);
        let sampled = delay.greatest.bias + delay.least.bias;
        let note = format!(
            "of {} edges, less {} that sampling and noise alone spread so many by",
            delay.count,
            show(sampled, Dimension::Time)
        );
        self.add(SPREAD, "", Finding::Value(spread), note);
    }

    fn cutouts(&mut self, heard: &Heard, input: &input::Input) {
        let (sent, missing) = input.cutouts_missing(heard);
        if sent == 0 {
            let reason = "no whole cutout is on the input lines: the drive sends none";
            return self.missing(&OF_CUTOUTS, Blame::Bench, reason);
        }
        let count = Finding::Value(Estimate::new(missing as f64, 0.0));
        self.add(MISSING, "", count, format!("of {sent} cutouts"));
        if missing > 0 {
            let reason = if missing == sent {
                "the output shows no cutout".to_owned()
            } else {
                format!("{missing} of {sent} cutouts are not on the output")
            };
            return self.missing(&[START, END, DROP], Blame::Board, &reason);
        }
        let cutouts = &heard.report.cutouts;
        for (metric, figures) in [(START, &cutouts.start), (END, &cutouts.end)] {
            let Some(figures) = figures else {
                self.missing(&[metric], Blame::Board, "the output shows no cutout");
                continue;
            };
            // The band's border stands for the crossing; where within the edge
            // a receiver sees it is not known.
            let edge = resolution(heard.edge_duration);
            let widened =
                |e: Estimate| Finding::Value(Estimate::new(e.value, combined([e.u, edge])));
            let note = format!("of {} cutouts", figures.count);
            self.add(metric, "mean", widened(figures.mean), note);
            for (part, worst) in [("earliest", &figures.least), ("latest", &figures.greatest)] {
                let note = of_many(worst, "cutouts");
                self.add(metric, part, widened(worst.estimate), note);
            }
        }
        match &heard.drop {
            Some((mean, worst, count)) => {
                let note = format!("of {count} cutouts");
                self.add(DROP, "mean", Finding::Value(*mean), note.clone());
                self.add(DROP, "worst", Finding::Value(*worst), note);
            }
            None => self.missing(&[DROP], Blame::Board, "the output shows no cutout"),
        }
    }
}

/// Of how many an extreme is one, and what noise alone makes of that.
fn of_many(worst: &Worst, of: &str) -> String {
    format!(
        "the extreme of {} {of}, less {} that noise alone carries it beyond",
        worst.of,
        show(worst.bias, Dimension::Time)
    )
}
