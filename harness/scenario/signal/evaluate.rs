//! Metrics of the signal scenario: bit timing, shape, levels, delay, packets
//! and cutouts, on top of the analysis of the track signal. It knows no limit
//! but one: how well an asymmetry must be known to be told at all.

use super::listen::{Heard, Levelled};
use super::metrics::ENTRY;
use super::seen::{Loading, Seen, SignalTake, Stream};
use super::{input, listen};
use crate::measurement::{Blame, COVERAGE, Estimate, Finding, combined, rectangular, resolution};
use crate::scenario::context::Context;
use crate::scenario::sheet::Sheet;
use crate::track::{DelayReport, Figures, POWER_STATION, Shape, ShapeFigures, SignalReport, Worst};
use crate::units::{Dimension, Quantity, show};
use crate::waveform::Capture;
use std::collections::BTreeSet;

const ONE: (&str, Dimension) = ENTRY.metric("half_bit_of_a_one");
const ZERO: (&str, Dimension) = ENTRY.metric("half_bit_of_a_zero");
const ASYMMETRY: (&str, Dimension) = ENTRY.metric("asymmetry");
const SLEW: (&str, Dimension) = ENTRY.metric("slew_rate");
const DISTORTION: (&str, Dimension) = ENTRY.metric("crossing_distortion");
const AMPLITUDE: (&str, Dimension) = ENTRY.metric("amplitude");
const SYMMETRY: (&str, Dimension) = ENTRY.metric("amplitude_asymmetry");
const OVERSHOOT: (&str, Dimension) = ENTRY.metric("overshoot");
const DELAY: (&str, Dimension) = ENTRY.metric("propagation_delay");
const SPREAD: (&str, Dimension) = ENTRY.metric("delay_range");
const PACKETS: (&str, Dimension) = ENTRY.metric("packet_errors");
const MISSING: (&str, Dimension) = ENTRY.metric("cutouts_missing");
const START: (&str, Dimension) = ENTRY.metric("cutout_start");
const END: (&str, Dimension) = ENTRY.metric("cutout_end");
const DROP: (&str, Dimension) = ENTRY.metric("cutout_drop");

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

pub(in crate::scenario) fn evaluate(sheet: &mut Sheet<'_>, context: &Context, seen: &Seen) {
    let (sent, takes) = (seen.sent.as_ref(), seen.takes.as_slice());
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

/// The half-bits of the output in a capture by whole microseconds, and how
/// many; empty where the output was not captured.
pub fn half_bit_histogram(capture: &Capture) -> Vec<(u32, u64)> {
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
pub(super) struct Page<'a, 'b> {
    pub(super) sheet: &'a mut Sheet<'b>,
    pub(super) at: &'a str,
    pub(super) remarks: Vec<String>,
}

impl Page<'_, '_> {
    fn add(&mut self, metric: (&str, Dimension), part: &str, finding: Finding, note: String) {
        self.add_with_common(metric, part, finding, 0.0, note);
    }

    /// `common` is the standard uncertainty that the bench puts on every board
    /// alike.
    fn add_with_common(
        &mut self,
        metric: (&str, Dimension),
        part: &str,
        finding: Finding,
        common: f64,
        note: String,
    ) {
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
        self.sheet
            .add_with_common(metric, &at, finding, common, notes);
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

    pub(super) fn output(&mut self, heard: &Heard) {
        let report = &heard.report;
        self.halves(ONE, report.ones.all.as_ref(), heard);
        self.halves(ZERO, report.zeros.all.as_ref(), heard);
        self.asymmetry(report, heard);
        match (&report.shape, &heard.levelled) {
            (Some(shape), Some(levelled)) => {
                self.slew(shape, heard.period);
                self.distortion(shape, heard);
                self.levels(report, levelled, heard);
                self.overshoot(shape);
            }
            _ => self.missing(
                &[SLEW, DISTORTION, AMPLITUDE, SYMMETRY, OVERSHOOT],
                Blame::Board,
                "the output has no two levels",
            ),
        }
    }

    /// The mean, and what of all halves is shortest and longest. Common to all
    /// boards are the time base and, in a single half, what the channel's offset
    /// does through the slope.
    fn halves(&mut self, metric: (&str, Dimension), figures: Option<&Figures>, heard: &Heard) {
        let edge = &heard.edge;
        let of = "halves";
        let Some(figures) = figures else {
            self.missing(&[metric], Blame::Board, "no such half-bit is on the output");
            return;
        };
        let mean = Finding::Value(figures.mean);
        let base = figures.mean.value * edge.time_base_u;
        let note = format!("of {} {of}", figures.count);
        self.add_with_common(metric, "mean", mean, base, note);
        for (part, worst) in [("shortest", &figures.least), ("longest", &figures.maximum)] {
            let base = worst.estimate.value * edge.time_base_u;
            let common = combined([2.0 * edge.offset_u, base]);
            let note = of_many(worst, of);
            self.add_with_common(metric, part, Finding::Value(worst.estimate), common, note);
        }
    }

    /// U of a single reading must not exceed a third of what S-9.1:2020 table 1
    /// allows; else the metric is not told, since it would decide nothing.
    /// Common to all boards is what the channel's offset does through the slope:
    /// it skews four edges (two of weight one, one of weight two) alike.
    fn asymmetry(&mut self, report: &SignalReport, heard: &Heard) {
        let common = 4.0 * heard.edge.offset_u;
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
        self.add_with_common(ASYMMETRY, "mean", Finding::Value(mean), common, note);
        let worst = Finding::Value(size.maximum.estimate);
        let note = of_many(&size.maximum, "ones");
        self.add_with_common(ASYMMETRY, "worst", worst, common, note);
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
                        "of {measured} edges; samples every {} resolve no more",
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

    /// Common to all boards are the gain and, but for the amplitude, where it
    /// cancels, the zero of the channel.
    fn levels(&mut self, report: &SignalReport, levelled: &Levelled, heard: &Heard) {
        let Some(levels) = &report.levels else {
            return self.missing(
                &[AMPLITUDE, SYMMETRY],
                Blame::Board,
                "the output has no two levels",
            );
        };
        let note = "state levels by histogram".to_owned();
        let scale = |level: f64, zeros: f64| combined([heard.gain_u * level, heard.zero_u * zeros]);
        let mean = levels.amplitude;
        let common = scale(mean.value, 0.0);
        self.add_with_common(AMPLITUDE, "mean", Finding::Value(mean), common, note);
        let note = format!("of {} half-bits", levelled.count);
        for (part, level) in [("lowest", levelled.lowest), ("highest", levelled.highest)] {
            let common = scale(level.value, 1.0);
            let note = note.clone();
            self.add_with_common(AMPLITUDE, part, Finding::Value(level), common, note);
        }
        let symmetry = levels.symmetry;
        let size = Estimate::new(symmetry.value.abs(), symmetry.u);
        let common = scale(size.value, 2.0);
        self.add_with_common(
            SYMMETRY,
            "mean",
            Finding::Value(size),
            common,
            String::new(),
        );
        let common = scale(levelled.asymmetry.value, 2.0);
        let worst = Finding::Value(levelled.asymmetry);
        self.add_with_common(SYMMETRY, "worst", worst, common, note);
    }

    fn overshoot(&mut self, shape: &Shape) {
        let sides = [&shape.rising, &shape.falling];
        let found = sides.iter().filter_map(|figures| figures.overshoot);
        let worse = found.reduce(|a, b| {
            let larger = |a: Estimate, b: Estimate| if b.value > a.value { b } else { a };
            (larger(a.0, b.0), larger(a.1, b.1))
        });
        let Some((mean, maximum)) = worse else {
            let reason = "no edge could be measured";
            return self.missing(&[OVERSHOOT], Blame::Board, reason);
        };
        let measured: u64 = sides.iter().map(|figures| figures.measured).sum();
        let note = format!("of {measured} edges");
        self.add(OVERSHOOT, "mean", Finding::Value(mean), note.clone());
        self.add(OVERSHOOT, "worst", Finding::Value(maximum), note);
    }

    pub(super) fn delay(&mut self, delays: &DelayReport) {
        let Some(delay) = &delays.delay else {
            let reason = "no edge of the output answers one of the inputs";
            return self.missing(&[DELAY, SPREAD], Blame::Board, reason);
        };
        let note = format!(
            "of {} edges, {} of the inputs unanswered",
            delay.count, delays.missing
        );
        self.add(DELAY, "mean", Finding::Value(delay.mean), note);
        let longest = Finding::Value(delay.maximum.estimate);
        let note = of_many(&delay.maximum, "edges");
        self.add(DELAY, "longest", longest, note);
        // Both extremes are less what sampling and noise spread them by.
        let spread = delay.maximum.estimate.minus(delay.least.estimate);
        let sampled = delay.maximum.bias + delay.least.bias;
        // Either end lies between two edges, each read somewhere within a
        // rectangle: so much of what is left sampling may have made as well.
        let most = 2.0 * libm::sqrt(6.0) * delay.maximum.estimate.u;
        let doubt = sampled.max(spread.value.min(most));
        let u = combined([spread.u, rectangular(doubt.max(0.0))]);
        let spread = Estimate::new(spread.value.max(0.0), u);
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
            for (part, worst) in [("earliest", &figures.least), ("latest", &figures.maximum)] {
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
    // A picosecond is the step of the clock.
    if worst.bias < 1e-12 {
        return format!("the extreme of {} {of}", worst.of);
    }
    format!(
        "the extreme of {} {of}, less {} that noise alone carries it beyond",
        worst.of,
        show(worst.bias, Dimension::Time)
    )
}
