//! What the scenarios saw, drawn: trip waveforms with their instants, trip
//! times over current, output voltage over current. Nothing is judged here.

use super::Sources;
use super::half_bits::histogram;
use super::marks::{first_episode, levels, plan};
use super::sense_line::sense_plots;
use super::warming::warming;
use crate::drawing::axes::{Axes, Scale, THIRD as SIZE};
use crate::drawing::{BLACK, GREY, Picture as Plot};
use crate::judgement::Verdict;
use crate::measurement::{Finding, fit_line};
use crate::observation::{Drive, LoadStep, Observation, OverloadStep, Place, Take};
use crate::plan::Plan;
use crate::record::{JudgedMetric, Record};
use crate::units::{Dimension, Quantity, show};
use crate::waveform::{Signal, Trace, mean, top_state};

/// Every plot in the order of the run, with whether its scenario passed.
pub(super) fn plots(sources: &Sources<'_>) -> Vec<(Plot, bool)> {
    let record = sources.record;
    let plan = plan(record);
    let passed = |name: &str| {
        let mut scenarios = record.scenarios.iter();
        let verdict = scenarios.find(|s| s.name == name).and_then(|s| s.verdict);
        verdict == Some(Verdict::Pass)
    };
    let (mut plots, mut of_passed) = (Vec::new(), Vec::new());
    for (scenario, observation) in sources.observations {
        match observation {
            Observation::Load { steps } => plots.extend(levels_over_current(scenario, steps)),
            Observation::Sense { steps, .. } => plots.extend(sense_plots(scenario, steps)),
            Observation::Overload { steps, .. } => {
                plots.extend(time_over_current(record, scenario, steps));
            }
            Observation::Short { pulses } => {
                for place in [Place::Near, Place::Far] {
                    if let Some(pulse) = pulses.iter().find(|pulse| pulse.place == place) {
                        let title = format!("{scenario}: short, {}", place.word());
                        let limit = trip_limit(record, scenario, place.word());
                        plots.extend(waveform(
                            &title,
                            &pulse.fast,
                            Signal::OutputCurrent,
                            scenario,
                            plan.as_ref(),
                            limit,
                        ));
                    }
                }
            }
            Observation::Reversal {
                closings, short, ..
            } => {
                if let Some(closing) = closings.first() {
                    let title = format!("{scenario}: gap closed, {}", closing.direction.word());
                    plots.extend(waveform(
                        &title,
                        &closing.take,
                        Signal::GapCurrent,
                        scenario,
                        None,
                        None,
                    ));
                }
                if let Some(take) = short {
                    let title = format!("{scenario}: true short");
                    let limit = trip_limit(record, scenario, "");
                    plots.extend(waveform(
                        &title,
                        take,
                        Signal::OutputCurrent,
                        scenario,
                        plan.as_ref(),
                        limit,
                    ));
                }
            }
            Observation::Soak { soaks } => {
                plots.extend(soaks.iter().filter_map(|soak| warming(scenario, soak)));
            }
            // Numbers say it all.
            Observation::Inrush { .. } | Observation::Supply { .. } => {}
            Observation::Signal { takes, .. } => {
                let drawn = takes.iter().filter_map(|take| histogram(scenario, take));
                plots.extend(drawn);
            }
            // Levels and yes or no: the table says it all.
            Observation::Idle { .. } => {}
            Observation::Loss { losses } => {
                for lost in losses {
                    let title = format!("{scenario}: {}", lost.cause.word());
                    plots.extend(waveform(
                        &title,
                        &lost.take,
                        Signal::NodeVoltage,
                        scenario,
                        None,
                        None,
                    ));
                }
            }
        }
        of_passed.resize(plots.len(), passed(scenario));
    }
    plots.into_iter().zip(of_passed).collect()
}

fn metrics<'a>(
    record: &'a Record,
    scenario: &'a str,
    key: &'a str,
) -> impl Iterator<Item = &'a JudgedMetric> {
    let scenarios = record.scenarios.iter().filter(move |s| s.name == scenario);
    scenarios
        .flat_map(|s| &s.metrics)
        .filter(move |judged| judged.metric.key == key)
}

fn trip_limit(record: &Record, scenario: &str, at: &str) -> Option<f64> {
    metrics(record, scenario, "trip_time")
        .filter(|judged| judged.metric.at.starts_with(at))
        .find_map(|judged| judged.limit.as_ref()?.upper)
}

/// A current over time, smallest and largest of each column joined.
fn waveform(
    title: &str,
    take: &Take,
    signal: Signal,
    scenario: &str,
    plan: Option<&Plan>,
    limit: Option<f64>,
) -> Option<Plot> {
    let trace = Trace::of(&take.capture, signal)?;
    let episode = plan.and_then(|plan| first_episode(&trace, levels(plan, scenario)));
    let onset = episode.map(|episode| episode.onset.value);
    let ended = episode
        .and_then(|episode| episode.interruption)
        .map(|at| at.value);
    let (mut from, mut to) = (trace.first(), trace.last());
    if let Some(onset) = onset {
        // The fault fills the plot, whatever the capture's length.
        let last = [ended, limit.map(|limit| onset + limit)]
            .into_iter()
            .flatten();
        let span = last.fold(0.0, |span: f64, at| span.max(at - onset));
        if span > 0.0 {
            from = from.max(onset - 0.15 * span);
            to = to.min(onset + 1.25 * span);
        }
    }
    let (factor, unit) = if to - from < 2e-3 {
        (1e6, "us")
    } else {
        (1e3, "ms")
    };
    let seen = trace.window(from, to).iter().copied();
    let up = Scale::over(seen, true);
    let unit_up = match signal.dimension() {
        Dimension::Voltage => "V",
        _ => "A",
    };
    let label = format!("{} / {unit_up}", signal.words());
    let across = Scale::exactly(from * factor, to * factor);
    let mut axes = Axes::sized(
        SIZE,
        title,
        (&format!("time from trigger / {unit}"), across),
        (&label, up),
    );
    let columns = axes.columns();
    let width = (to - from) / columns as f64;
    let mut line = Vec::with_capacity(2 * columns);
    for column in 0..columns {
        let begin = from + width * column as f64;
        let values = trace.window(begin, begin + width);
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if low <= high {
            let x = axes.x((begin + width / 2.0) * factor);
            line.push((x, axes.y(low)));
            line.push((x, axes.y(high)));
        }
    }
    axes.drawing.line(&line, BLACK, 0.7);
    let mut words = format!("{title}: {} over time.", signal.words());
    let instants = [
        (onset, "onset", false),
        (ended, "interruption", false),
        (
            onset.zip(limit).map(|(onset, limit)| onset + limit),
            "limit",
            true,
        ),
    ];
    for (row, (at, word, dashed)) in instants.into_iter().enumerate() {
        let Some(at) = at else { continue };
        let since = at - onset.unwrap_or(at);
        let word = if row == 0 {
            word.to_owned()
        } else {
            format!("{word} {}", show(since, Dimension::Time))
        };
        if at <= to * (1.0 + 1e-9) {
            axes.upright(at * factor, &word, row, dashed);
        }
        words.push_str(&format!(
            " {word}{}",
            if row == 0 {
                " marked."
            } else {
                " after onset."
            }
        ));
    }
    Some(Plot {
        drawing: axes.drawing,
        words,
    })
}

/// Trip times over the current asked for, each with its limit.
fn time_over_current(record: &Record, scenario: &str, steps: &[OverloadStep]) -> Option<Plot> {
    let found: Vec<(f64, &JudgedMetric)> = steps
        .iter()
        .filter_map(|step| {
            let at = format!("{} x", step.multiple);
            let judged = metrics(record, scenario, "trip_time").find(|j| j.metric.at == at)?;
            Some((step.current.si(), judged))
        })
        .collect();
    let value = |judged: &JudgedMetric| match judged.metric.finding {
        Finding::Value(e) | Finding::Above(e) | Finding::Below(e) => Some(e.value * 1e3),
        Finding::Unknown { .. } => None,
    };
    let bounds = |judged: &JudgedMetric| {
        let limit = judged.limit.as_ref();
        [limit.and_then(|l| l.lower), limit.and_then(|l| l.upper)].map(|b| b.map(|b| b * 1e3))
    };
    let times = found
        .iter()
        .flat_map(|(_, j)| value(j).into_iter().chain(bounds(j).into_iter().flatten()));
    let up = Scale::over(times, true);
    let across = Scale::over(found.iter().map(|f| f.0), false);
    if found.is_empty() {
        return None;
    }
    let title = format!("{scenario}: trip time over current");
    let mut axes = Axes::sized(
        SIZE,
        &title,
        ("current / A", across),
        ("trip time / ms (bars: limit, diamonds: measured)", up),
    );
    let mut words = format!("{title}.");
    for (current, judged) in found {
        let x = axes.x(current);
        for bound in bounds(judged).into_iter().flatten() {
            let y = axes.y(bound);
            axes.drawing.line(&[(x - 9.0, y), (x + 9.0, y)], BLACK, 1.4);
        }
        if let Some(value) = value(judged) {
            axes.diamond((current, value));
            let shown = judged.metric.finding.show(judged.metric.dimension);
            words.push_str(&format!(
                " {} at {}.",
                shown,
                show(current, Dimension::Current)
            ));
        }
    }
    Some(Plot {
        drawing: axes.drawing,
        words,
    })
}

/// Output voltage over output current, held positive and negative, with the
/// least-squares line through each.
fn levels_over_current(scenario: &str, steps: &[LoadStep]) -> Option<Plot> {
    let points = |drive: Drive| -> Vec<(f64, f64)> {
        steps
            .iter()
            .filter(|step| step.drive == drive)
            .filter_map(|step| {
                let read = |signal| {
                    let trace = Trace::of(&step.take.capture, signal)?;
                    let level = mean(&trace, trace.first(), trace.last(), true)
                        .or_else(|| top_state(&trace, trace.first(), trace.last()))?;
                    Some(level.value)
                };
                Some((read(Signal::OutputCurrent)?, read(Signal::NodeVoltage)?))
            })
            .collect()
    };
    let sets = [Drive::Positive, Drive::Negative].map(|drive| (drive, points(drive)));
    let all = || sets.iter().flat_map(|(_, points)| points.iter());
    all().next()?;
    let title = format!("{scenario}: output voltage over current");
    let mut axes = Axes::sized(
        SIZE,
        &title,
        ("output current / A", Scale::over(all().map(|p| p.0), true)),
        (
            "voltage at the node / V (filled: positive, hollow: negative)",
            Scale::over(all().map(|p| p.1), false),
        ),
    );
    let mut words = format!("{title}.");
    for (drive, points) in &sets {
        if let Ok(line) = fit_line(points) {
            let ends = points.iter().fold((f64::INFINITY, 0.0_f64), |e, p| {
                (e.0.min(p.0), e.1.max(p.0))
            });
            let at = |x: f64| (axes.x(x), axes.y(line.intercept + line.slope * x));
            let stroke = [at(ends.0), at(ends.1)];
            match drive {
                Drive::Positive => axes.drawing.line(&stroke, BLACK, 0.8),
                _ => axes.drawing.dashed(&stroke, GREY, 0.8),
            }
            let slope = show(-line.slope, Dimension::Resistance);
            words.push_str(&format!(" Fit, {}: {slope} at the node.", drive.word()));
        }
        for point in points {
            match drive {
                Drive::Positive => axes.diamond(*point),
                _ => axes.hollow(*point),
            }
        }
    }
    Some(Plot {
        drawing: axes.drawing,
        words,
    })
}
