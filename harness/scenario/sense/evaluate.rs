//! Metrics of the sense scenario: what one count of the board's own reading is
//! worth, its offset, its non-linearity and its full scale. It
//! corrects no board and knows no label.

use super::metrics::ENTRY;
use super::seen::{Seen, SenseStep};
use crate::measurement::{
    Blame, COVERAGE, Estimate, Finding, combined, fit_line, fit_proportional, resolution,
};
use crate::scenario::context::Context;
use crate::scenario::levels::student;
use crate::scenario::sheet::Sheet;
use crate::scenario::terms::Polarity;
use crate::units::{Dimension, Quantity, show};
use crate::waveform::{Signal, Trace};

const SCALE: (&str, Dimension) = ENTRY.metric("scale_factor");
const OFFSET: (&str, Dimension) = ENTRY.metric("zero_offset");
const DEPARTURE: (&str, Dimension) = ENTRY.metric("non_linearity");
const FULL: (&str, Dimension) = ENTRY.metric("full_scale");
const ALL: [(&str, Dimension); 4] = [SCALE, OFFSET, DEPARTURE, FULL];

/// No converter counts further; a number beyond is no count.
const MOST_COUNTS: f64 = 1e9;

/// One step as a point of the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensePoint {
    /// How the output was driven.
    pub drive: Polarity,
    /// Mean current, positive in the direction of the drive (A).
    pub current: f64,
    /// Mean counts.
    pub counts: f64,
    /// Standard uncertainty of the current that no other step shares (A).
    current_u: f64,
    /// The same of the counts.
    counts_u: f64,
}

/// The line through all steps: one slope, one intercept a polarity.
///
/// An error of the current channel's zero raises the magnitude in one polarity
/// and lowers it in the other; with an intercept for each it neither bends the
/// line nor moves the mean of the intercepts.
pub struct SenseLine {
    /// Counts for an ampere.
    pub slope: f64,
    /// Mean intercept in counts.
    pub intercept: f64,
    /// What each point lies beside its line, in counts, in their order.
    pub residuals: Vec<f64>,
    /// Intercept of each polarity.
    intercepts: Vec<(Polarity, f64)>,
    /// Standard uncertainty of the slope but for what all steps share.
    slope_u: f64,
    /// The part of it that would be there on a perfect line.
    slope_own_u: f64,
    /// Sum of squared distances from the mean currents (A2).
    spread: f64,
    /// Mean of the polarities' mean currents (A).
    centre: f64,
    /// What the points are worth for the mean intercept: like a number of
    /// points.
    weight: f64,
}

/// The steps as points; a step whose current was not captured or whose reading
/// was no number is left out.
pub fn sense_points(steps: &[SenseStep]) -> Vec<SensePoint> {
    let mut points: Vec<SensePoint> = steps.iter().filter_map(point).collect();
    // A sensor wired the other way round shows in the largest current.
    let sum: f64 = points.iter().map(|point| point.current).sum();
    if sum < 0.0 {
        for point in &mut points {
            point.current = -point.current;
        }
    }
    points
}

fn point(step: &SenseStep) -> Option<SensePoint> {
    let trace = Trace::of(&step.take.capture, Signal::OutputCurrent)?;
    let samples: Vec<f64> = match step.drive {
        Polarity::Positive => trace.values().to_vec(),
        Polarity::Negative => trace.values().iter().map(|x| -x).collect(),
        // The board's filter averages the crossings in, and so does this.
        Polarity::Alternating => {
            let node = Trace::of(&step.take.capture, Signal::NodeVoltage)?;
            let pairs = trace.values().iter().zip(node.values());
            pairs.map(|(x, volts)| x * volts.signum()).collect()
        }
    };
    let counts: Vec<f64> = step
        .counts
        .iter()
        .copied()
        .filter(|counts| counts.abs() <= MOST_COUNTS)
        .collect();
    if samples.is_empty() || counts.is_empty() {
        return None;
    }
    let many = samples.len() as f64;
    // Noise dithers the resolution only where it is of its size (GUM F.2.2.1).
    let dithered = trace.grain() > 0.5 * trace.step();
    let shrink = if dithered { libm::sqrt(many) } else { 1.0 };
    let (mean, scatter) = mean_and_scatter(&counts);
    let asked = libm::sqrt(counts.len() as f64);
    let own = if scatter > 0.5 {
        combined([scatter, resolution(1.0)]) / asked
    } else {
        combined([scatter / asked, resolution(1.0)])
    };
    Some(SensePoint {
        drive: step.drive,
        current: samples.iter().sum::<f64>() / many,
        counts: mean,
        current_u: trace.sample_u() / shrink,
        counts_u: own,
    })
}

/// Mean, and standard deviation with n - 1 (GUM 4.2.2).
fn mean_and_scatter(values: &[f64]) -> (f64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|x| (x - mean) * (x - mean)).sum();
    (mean, libm::sqrt(squares / (count - 1.0).max(1.0)))
}

/// The line through `points`; `None` where they determine none.
///
/// Least squares about each polarity's own means: the slope is common, the
/// residuals have n - g - 1 degrees of freedom for g polarities, and their
/// standard error is widened by Student's t (GUM G.3.2). What each point owns
/// is the least it can be.
pub fn sense_line(points: &[SensePoint]) -> Option<SenseLine> {
    let drives = [
        Polarity::Positive,
        Polarity::Negative,
        Polarity::Alternating,
    ];
    let mut about = vec![(0.0, 0.0); points.len()];
    let mut means = Vec::new();
    let mut weights = 0.0;
    for drive in drives {
        let of_drive = || points.iter().filter(|point| point.drive == drive);
        let count = of_drive().count() as f64;
        if count == 0.0 {
            continue;
        }
        let x = of_drive().map(|p| p.current).sum::<f64>() / count;
        let y = of_drive().map(|p| p.counts).sum::<f64>() / count;
        for (place, point) in about.iter_mut().zip(points) {
            if point.drive == drive {
                *place = (point.current - x, point.counts - y);
            }
        }
        means.push((drive, x, y));
        weights += 1.0 / count;
    }
    let groups = means.len();
    if points.len() < groups + 2 {
        return None;
    }
    let line = fit_line(&about).ok()?;
    let spread: f64 = about.iter().map(|p| p.0 * p.0).sum();
    let freedom = points.len() - groups - 1;
    // The fit took away two; here each polarity took one and the slope one.
    let lost = libm::sqrt((points.len() - 2) as f64 / freedom as f64);
    let fitted = line.slope_u * lost * student(freedom) / COVERAGE;
    let own = points
        .iter()
        .map(|p| combined([p.counts_u, line.slope * p.current_u]))
        .fold(0.0, f64::max)
        / libm::sqrt(spread);
    let share = groups as f64;
    let intercepts: Vec<(Polarity, f64)> = means
        .iter()
        .map(|&(drive, x, y)| (drive, y - line.slope * x))
        .collect();
    Some(SenseLine {
        slope: line.slope,
        intercept: intercepts.iter().map(|i| i.1).sum::<f64>() / share,
        residuals: about.iter().map(|p| p.1 - line.slope * p.0).collect(),
        intercepts,
        slope_u: fitted.max(own),
        slope_own_u: own,
        spread,
        centre: means.iter().map(|m| m.1).sum::<f64>() / share,
        weight: share * share / weights,
    })
}

impl SenseLine {
    /// The current at which the line shows `counts`.
    ///
    /// Standard uncertainty (GUM 5.1.2): the line's own, growing with the
    /// distance from its centre (NIST/SEMATECH e-Handbook 4.5.1.1), the gain
    /// `gain_u` through the whole current, and `zero_u` of the channel.
    fn current_at(&self, counts: f64, gain_u: f64, zero_u: f64) -> Estimate {
        let current = (counts - self.intercept) / self.slope;
        let scatter = self.slope_u * libm::sqrt(self.spread) / self.slope;
        let far = (current - self.centre) * (current - self.centre) / self.spread;
        let line = scatter * libm::sqrt(1.0 / self.weight + far);
        Estimate::new(current, combined([line, gain_u * current, zero_u]))
    }

    /// How much of an error of the channel's zero is left in the mean of the
    /// intercepts: none where both polarities were taken, or alternating alone.
    fn zero_left(&self) -> f64 {
        let sign = |drive| match drive {
            Polarity::Positive => 1.0,
            Polarity::Negative => -1.0,
            Polarity::Alternating => 0.0,
        };
        let sum: f64 = self.intercepts.iter().map(|i| sign(i.0)).sum();
        sum.abs() / self.intercepts.len() as f64
    }
}

pub(in crate::scenario) fn evaluate(sheet: &mut Sheet<'_>, context: &Context, seen: &Seen) {
    let (last_count, steps) = (seen.last_count, seen.steps.as_slice());
    if let Some((blame, reason)) = unusable(context, last_count, steps) {
        sheet.missing(&ALL, "", blame, &reason);
        return;
    }
    let points = sense_points(steps);
    let Some(line) = sense_line(&points) else {
        let reason = "there are too few steps for a line";
        sheet.missing(&ALL, "", Blame::Plan, reason);
        return;
    };
    let (gain_u, zero_u) = channel_u(steps);
    if line.slope <= 2.0 * COVERAGE * line.slope_own_u {
        // No count follows the current: one is worth more than this at least.
        let most = line.slope.max(0.0) + COVERAGE * line.slope_own_u;
        let least = 1.0 / most.max(1.0 / MOST_COUNTS);
        let bound = Finding::Above(Estimate::new(least, gain_u * least));
        let why = "the board's reading does not follow the current";
        sheet.add(SCALE, "", bound, vec![why.to_owned()]);
        sheet.missing(&[OFFSET, DEPARTURE, FULL], "", Blame::Board, why);
        return;
    }
    let scale = 1.0 / line.slope;
    let scale = Estimate::new(scale, scale * combined([line.slope_u / line.slope, gain_u]));
    sheet.add(SCALE, "", Finding::Value(scale), remarks(&points, &line));
    let nothing = line.current_at(0.0, gain_u, zero_u * line.zero_left());
    let offset = Estimate::new(-nothing.value, nothing.u);
    sheet.add(OFFSET, "", Finding::Value(offset), offsets(&line));
    departure(sheet, &points, &line);
    let full = line.current_at(f64::from(last_count), gain_u, zero_u * line.zero_left());
    let found = if full.value > 0.0 {
        Finding::Value(full)
    } else {
        Finding::unknown(Blame::Plan, "the last count lies below the board's zero")
    };
    let note = format!("the last count is {last_count}");
    sheet.add(FULL, "", found, vec![note]);
}

/// Why nothing can be made of `steps`.
fn unusable(context: &Context, last_count: u32, steps: &[SenseStep]) -> Option<(Blame, String)> {
    let because = |blame, reason: &str| Some((blame, reason.to_owned()));
    if steps.is_empty() {
        return because(Blame::Plan, "no step was taken");
    }
    let seen = |step: &SenseStep| Trace::of(&step.take.capture, Signal::OutputCurrent);
    if steps.iter().any(|step| seen(step).is_none()) {
        return because(Blame::Bench, "no channel sees the output current");
    }
    if steps.iter().filter_map(seen).any(|trace| trace.clipped()) {
        return because(Blame::Bench, "the current left the channel's range");
    }
    let points = sense_points(steps);
    if points.len() < steps.len() {
        let silent = |step: &SenseStep| !step.counts.iter().any(|c| c.abs() <= MOST_COUNTS);
        return if steps.iter().any(silent) {
            because(Blame::Board, "the board's console gave no counts")
        } else {
            because(Blame::Bench, "no channel sees the output voltage")
        };
    }
    let ends = |step: &SenseStep| step.counts.iter().any(|c| *c >= f64::from(last_count));
    if let Some(step) = steps.iter().find(|step| ends(step)) {
        let reason = format!(
            "the board's reading is at the end of its converter at {}",
            show(step.current.si(), Dimension::Current)
        );
        return Some((Blame::Board, reason));
    }
    let least = points.iter().map(|p| p.current).fold(f64::MAX, f64::min);
    let most = points.iter().map(|p| p.current).fold(f64::MIN, f64::max);
    if most - least <= 0.02 * context.rated_current.si().abs() {
        let same = steps.windows(2).all(|w| w[0].current == w[1].current);
        return if same {
            because(Blame::Plan, "the steps hold only one current")
        } else {
            because(Blame::Bench, "the current did not follow the steps")
        };
    }
    None
}

/// Relative gain and zero of the current's channel, the worst over the steps.
fn channel_u(steps: &[SenseStep]) -> (f64, f64) {
    let traces = steps
        .iter()
        .filter_map(|step| Trace::of(&step.take.capture, Signal::OutputCurrent));
    traces.fold((0.0, 0.0), |(gain, zero), trace| {
        (
            f64::max(gain, trace.gain_u()),
            f64::max(zero, trace.zero_u()),
        )
    })
}

/// How many steps, each polarity's own slope, and the scale for firmware that
/// knows no offset.
fn remarks(points: &[SensePoint], line: &SenseLine) -> Vec<String> {
    let mut notes = vec![format!("line through {} steps", points.len())];
    for &(drive, _) in &line.intercepts {
        let own: Vec<(f64, f64)> = points
            .iter()
            .filter(|p| p.drive == drive)
            .map(|p| (p.current, p.counts))
            .collect();
        if let Ok(own) = fit_line(&own)
            && own.slope > 0.0
        {
            let shown = show(1.0 / own.slope, Dimension::CountScale);
            notes.push(format!("{} alone {shown}", drive.word()));
        }
    }
    let pairs: Vec<(f64, f64)> = points.iter().map(|p| (p.current, p.counts)).collect();
    if let Ok(through) = fit_proportional(&pairs)
        && through.slope > 0.0
    {
        let shown = show(1.0 / through.slope, Dimension::CountScale);
        notes.push(format!("without an offset {shown}"));
    }
    notes
}

fn offsets(line: &SenseLine) -> Vec<String> {
    let shown = line.intercepts.iter().map(|(drive, counts)| {
        let amperes = show(counts / line.slope, Dimension::Current);
        format!("{} {amperes}", drive.word())
    });
    shown.collect()
}

/// The step farthest from its line. The converter's step and the noise of
/// both readings are its uncertainty; gain and zero do not bend a line.
fn departure(sheet: &mut Sheet<'_>, points: &[SensePoint], line: &SenseLine) {
    let farthest = points
        .iter()
        .zip(&line.residuals)
        .reduce(|a, b| if b.1.abs() > a.1.abs() { b } else { a });
    let Some((point, residual)) = farthest else {
        return;
    };
    let u = combined([point.counts_u / line.slope, point.current_u]);
    let apart = Estimate::new(residual.abs() / line.slope, u);
    let note = format!(
        "{} at {}",
        point.drive.word(),
        show(point.current, Dimension::Current)
    );
    sheet.add(DEPARTURE, "", Finding::Value(apart), vec![note]);
}
