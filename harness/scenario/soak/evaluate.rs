//! Metrics of the soak scenario: the steady temperature that a record leads to,
//! how fast, and what the output lost meanwhile. What the record does not
//! carry is a bound, never an extrapolation.

use super::metrics::ENTRY;
use super::seen::{CaseReading, Seen, SoakLook, Soaked};
use crate::measurement::{
    Blame, COVERAGE, Estimate, Finding, Rise, combined, fit_line, fit_rise, rectangular,
};
use crate::scenario::context::Context;
use crate::scenario::levels::{level_samples, magnitude, student};
use crate::scenario::sheet::{Sheet, distinct};
use crate::units::{Dimension, Quantity, show};
use crate::waveform::{Signal, Trace};

const RISE: (&str, Dimension) = ENTRY.metric("temperature_rise");
const CONSTANT: (&str, Dimension) = ENTRY.metric("thermal_time_constant");
const DRIFT: (&str, Dimension) = ENTRY.metric("output_drift");
const ALL: [(&str, Dimension); 3] = [RISE, CONSTANT, DRIFT];

/// A record carries an extrapolation from this many time constants on: the
/// last seventh of the rise is left then.
const LEAST_SPAN: f64 = 2.0;
/// The extrapolation's U may be this share of the rise.
const MOST_UNCERTAIN: f64 = 0.1;
/// The residuals may be this share of the rise, in standard deviations; where
/// the scatter of the readings does not explain them, only the smaller one.
const MOST_MISFIT: f64 = 0.02;
const LEAST_MISFIT: f64 = 0.002;
/// How many times their own scatter the residuals may be.
const EXPLAINED: f64 = 2.0;
/// No thermometer reads further; a number beyond is no temperature.
const BEYOND: f64 = 1e4;

/// Temperatures of one soak and what they lead to.
pub struct SoakRise {
    /// Seconds under load and degrees Celsius.
    pub points: Vec<(f64, f64)>,
    /// What the readings without power lead to, in degrees Celsius.
    pub ambient: Estimate,
    /// The exponential, where the points determine one.
    pub rise: Option<Rise>,
    /// Standard uncertainty of its end, what it does not fit included.
    pub end_u: f64,
    /// Why it is not extrapolated.
    pub refused: Option<String>,
}

pub(in crate::scenario) fn evaluate(sheet: &mut Sheet<'_>, context: &Context, seen: &Seen) {
    let soaks = seen.soaks.as_slice();
    if soaks.is_empty() {
        sheet.missing(&ALL, "", Blame::Plan, "nothing was held");
        return;
    }
    let mut used: Vec<String> = Vec::new();
    for soaked in soaks {
        let at = distinct(&mut used, soaked.drive.word());
        let levels = Levels::of(soaked, context);
        if let Some((blame, reason)) = levels.unseen(soaked) {
            sheet.missing(&ALL, &at, blame, reason);
            continue;
        }
        temperature(sheet, &at, soaked, &levels);
        drift(sheet, &at, &levels);
    }
}

/// The output over the looks.
struct Levels {
    /// Seconds, volts and their own uncertainty, of each look that shows it.
    volts: Vec<(f64, Estimate)>,
    gain_u: f64,
    /// The first look at which the output is dead or no current flows.
    failed: Option<Failure>,
}

struct Failure {
    at: f64,
    blame: Blame,
    reason: String,
}

impl Levels {
    fn of(soaked: &Soaked, context: &Context) -> Self {
        let mut levels = Self {
            volts: Vec::new(),
            gain_u: 0.0,
            failed: None,
        };
        for look in &soaked.looks {
            levels.look(look, soaked, context);
        }
        levels
    }

    /// Why nothing can be told: without voltage and current nobody knows what
    /// warmed the board.
    fn unseen(&self, soaked: &Soaked) -> Option<(Blame, &'static str)> {
        let mut looks = soaked.looks.iter().map(|look| &look.take.capture);
        if soaked.looks.is_empty() {
            Some((Blame::Plan, "no look was taken under load"))
        } else if self.volts.len() < soaked.looks.len() {
            Some((Blame::Bench, "no channel sees the output voltage"))
        } else if looks.any(|capture| Trace::of(capture, Signal::OutputCurrent).is_none()) {
            Some((Blame::Bench, "no channel sees the output current"))
        } else {
            None
        }
    }

    fn look(&mut self, look: &SoakLook, soaked: &Soaked, context: &Context) {
        let capture = &look.take.capture;
        let at = look.case.at.si();
        let Some(node) = Trace::of(capture, Signal::NodeVoltage) else {
            return;
        };
        let crossing = context.crossing.si();
        let level = |trace: &Trace| {
            let samples = level_samples(trace, &node, soaked.drive, crossing);
            magnitude(trace, &samples)
        };
        let dead = node
            .values()
            .iter()
            .all(|volts| volts.abs() < 0.5 * context.supply_voltage.si());
        let volts = if dead {
            Some((0.0, node.sample_u()))
        } else {
            level(&node).map(|level| (level.all.value, level.own_u))
        };
        if let Some((value, u)) = volts {
            self.volts.push((at, Estimate::new(value, u)));
        }
        self.gain_u = self.gain_u.max(node.gain_u());
        if self.failed.is_some() {
            return;
        }
        let asked = soaked.current.si().abs();
        let drawn = Trace::of(capture, Signal::OutputCurrent)
            .and_then(|trace| level(&trace))
            .map(|level| level.all.value);
        let (blame, reason) = if dead {
            (Blame::Board, "the output went dead".to_owned())
        } else if let Some(drawn) = drawn.filter(|drawn| *drawn < 0.9 * asked) {
            let shown = show(drawn, Dimension::Current);
            (Blame::Bench, format!("the load drew only {shown}"))
        } else {
            return;
        };
        let reason = format!("{reason} {} after it was loaded", show(at, Dimension::Time));
        self.failed = Some(Failure { at, blame, reason });
    }
}

fn read(reading: &CaseReading) -> Option<(f64, f64)> {
    let temperature = reading.temperature?;
    (temperature.value.abs() < BEYOND).then_some((reading.at.si(), temperature.value))
}

/// What the thermometer's accuracy allows, the worst of its readings.
fn accuracy(soaked: &Soaked) -> f64 {
    let rest = soaked.rest.iter();
    let all = rest.chain(soaked.looks.iter().map(|look| &look.case));
    all.filter_map(|reading| reading.temperature)
        .map(|temperature| temperature.u.abs())
        .filter(|u| *u < BEYOND)
        .fold(0.0, f64::max)
}

/// The temperatures of `soaked` up to `until` and the exponential through
/// them; `None` without readings before and under load.
pub fn soak_rise(soaked: &Soaked, until: f64) -> Option<SoakRise> {
    let rest: Vec<(f64, f64)> = soaked.rest.iter().filter_map(read).collect();
    let points: Vec<(f64, f64)> = soaked
        .looks
        .iter()
        .filter_map(|look| read(&look.case))
        .filter(|point| point.0 < until)
        .collect();
    let (Some(&(_, last_rest)), Some(_)) = (rest.last(), points.first()) else {
        return None;
    };
    let found = fit_rise(&points, false);
    let constant = found.as_ref().map_or(0.0, |rise| rise.time_constant);
    let ambient = ambient(&rest, last_rest, constant);
    let mut seen = SoakRise {
        ambient,
        rise: found.as_ref().ok().copied(),
        end_u: 0.0,
        refused: None,
        points,
    };
    match found {
        Ok(rise) => {
            seen.end_u = end_u(&seen.points, &rise);
            seen.refused = refusal(&seen, &rise);
        }
        Err(fault) => seen.refused = Some(fault.to_string()),
    }
    Some(seen)
}

/// Where a board without power tends to: it cools with about the time constant
/// with which it warms up, so its readings lie on a line over exp(-t / tau)
/// that meets the ambient at zero.
///
/// Standard uncertainty (GUM 5.1.2): the intercept's standard error widened
/// for its few degrees of freedom (GUM G.3.2), and a fifth of the way that is
/// left from the last reading as a rectangle, since both time constants are
/// alike only about.
fn ambient(rest: &[(f64, f64)], last: f64, constant: f64) -> Estimate {
    let first = rest.first().map_or(0.0, |point| point.0);
    let left = |at: f64| libm::exp(-(at - first) / constant);
    let turned: Vec<(f64, f64)> = rest.iter().map(|&(at, value)| (left(at), value)).collect();
    let line = match fit_line(&turned) {
        Ok(line) if constant > 0.0 && rest.len() > 2 => line,
        _ => return Estimate::new(last, 0.0),
    };
    let u = combined([
        line.intercept_u * student(rest.len() - 2) / COVERAGE,
        rectangular((last - line.intercept) / 5.0),
    ]);
    if line.intercept.is_finite() && u.is_finite() {
        Estimate::new(line.intercept, u)
    } else {
        // Readings at next to one instant lead nowhere.
        Estimate::new(last, 0.0)
    }
}

/// Standard uncertainty of the end: its standard error widened for its few
/// degrees of freedom (GUM G.3.2), and as a rectangle how far the end moves
/// when the first third is left out: a rise that is not one exponential shows
/// there.
fn end_u(points: &[(f64, f64)], rise: &Rise) -> f64 {
    let freedom = points.len() - rise.parameters;
    let later = fit_rise(&points[points.len() / 3..], false);
    let moved = later.map_or(0.0, |later| {
        // Of two uncertain ends only what their scatter does not explain.
        let apart = (later.end - rise.end).abs();
        (apart - COVERAGE * combined([later.end_u, rise.end_u])).max(0.0)
    });
    combined([rise.end_u * student(freedom) / COVERAGE, rectangular(moved)])
}

fn refusal(seen: &SoakRise, rise: &Rise) -> Option<String> {
    let span = seen.points.last().map_or(0.0, |point| point.0);
    let constants = span / rise.time_constant;
    let whole = (rise.end - seen.ambient.value).abs();
    if constants < LEAST_SPAN {
        return Some(format!(
            "the record is only {constants:.1} time constants long"
        ));
    }
    let share = COVERAGE * seen.end_u / whole;
    if share.is_nan() || share > MOST_UNCERTAIN {
        let shown = show(COVERAGE * seen.end_u, Dimension::TemperatureDifference);
        return Some(format!("the steady temperature is known to {shown} only"));
    }
    let explained = rise.residual <= EXPLAINED * scatter(&seen.points, rise);
    let most = if explained { MOST_MISFIT } else { LEAST_MISFIT };
    if rise.residual > most * whole {
        let shown = show(rise.residual, Dimension::TemperatureDifference);
        return Some(format!(
            "the rise is no exponential: the readings lie {shown} beside it"
        ));
    }
    None
}

/// Standard deviation of the readings about whatever smooth curve they follow:
/// the second differences of the residuals, over sqrt 6 (the weights 1, -2, 1).
fn scatter(points: &[(f64, f64)], rise: &Rise) -> f64 {
    let beside: Vec<f64> = points.iter().map(|&(x, y)| y - rise.at(x)).collect();
    let bends = beside.windows(3).map(|w| w[0] - 2.0 * w[1] + w[2]);
    let count = bends.len().max(1) as f64;
    libm::sqrt(bends.map(|bend| bend * bend).sum::<f64>() / (6.0 * count))
}

fn temperature(sheet: &mut Sheet<'_>, at: &str, soaked: &Soaked, levels: &Levels) {
    let until = levels.failed.as_ref().map_or(f64::INFINITY, |f| f.at);
    let Some(seen) = soak_rise(soaked, until) else {
        let (blame, reason) = match &levels.failed {
            Some(failed) => (failed.blame, failed.reason.clone()),
            None => (Blame::Bench, "the thermometer gave no reading".to_owned()),
        };
        sheet.missing(&[RISE, CONSTANT], at, blame, &reason);
        return;
    };
    // An error of the thermometer may differ along its scale, so what its
    // accuracy allows counts at both ends.
    let thermometer = accuracy(soaked) * std::f64::consts::SQRT_2;
    let &(last_at, last) = seen.points.last().expect("a rise has points");
    let so_far = Estimate::new(
        last - seen.ambient.value,
        combined([thermometer, seen.ambient.u]),
    );
    let mut notes = vec![format!(
        "from {} to {} in {}",
        show(seen.ambient.value, Dimension::Temperature),
        show(last, Dimension::Temperature),
        show(last_at, Dimension::Time)
    )];
    let failed = levels.failed.as_ref();
    let refused = failed.map(|f| f.reason.clone()).or(seen.refused.clone());
    let (Some(rise), None) = (seen.rise, &refused) else {
        let reason = refused.unwrap_or_else(|| "no exponential was fitted".to_owned());
        notes.push(reason.clone());
        sheet.add(RISE, at, Finding::Above(so_far), notes);
        let blame = failed.map_or(Blame::Plan, |failed| failed.blame);
        sheet.missing(&[CONSTANT], at, blame, &reason);
        return;
    };
    let whole = rise.end - seen.ambient.value;
    let u = combined([seen.end_u, seen.ambient.u, thermometer]);
    notes.push(format!(
        "{:.0} % of it by then, over {:.1} time constants",
        100.0 * so_far.value / whole,
        last_at / rise.time_constant
    ));
    notes.push(format!(
        "the readings lie {} beside the exponential",
        show(rise.residual, Dimension::TemperatureDifference)
    ));
    sheet.add(RISE, at, Finding::Value(Estimate::new(whole, u)), notes);
    let freedom = seen.points.len() - rise.parameters;
    let own = rise.time_constant_u * student(freedom) / COVERAGE;
    // What moves the end moves the time constant by about the same share.
    let shape = rise.time_constant * seen.end_u / whole.abs();
    let constant = Estimate::new(rise.time_constant, combined([own, shape]));
    sheet.add(CONSTANT, at, Finding::Value(constant), Vec::new());
}

/// First level less the least: zero cancels, the gain acts on the difference
/// alone, what is each reading's own adds up (GUM 5.2.2 with fully correlated
/// gain and zero).
fn drift(sheet: &mut Sheet<'_>, at: &str, levels: &Levels) {
    let Some(&(_, first)) = levels.volts.first() else {
        return;
    };
    if first.value == 0.0 {
        let reason = "the output was dead at the first look";
        sheet.missing(&[DRIFT], at, Blame::Board, reason);
        return;
    }
    if let Some(failed) = levels.failed.as_ref().filter(|f| f.blame == Blame::Bench) {
        sheet.missing(&[DRIFT], at, Blame::Bench, &failed.reason);
        return;
    }
    let least = levels
        .volts
        .iter()
        .copied()
        .reduce(|a, b| if b.1.value < a.1.value { b } else { a });
    let (when, least) = least.unwrap_or((0.0, first));
    let drift = first.value - least.value;
    let u = combined([levels.gain_u * drift, first.u, least.u]);
    let mut notes = vec![format!("lowest after {}", show(when, Dimension::Time))];
    notes.extend(levels.failed.as_ref().map(|failed| failed.reason.clone()));
    sheet.add(DRIFT, at, Finding::Value(Estimate::new(drift, u)), notes);
}
