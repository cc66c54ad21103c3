//! What the scenarios saw, drawn: trip waveforms with their instants, trip
//! times over current, output voltage over current. Nothing is judged here.

use super::Sources;
use super::half_bits::histogram;
use super::marks::{decided, instants, metric};
use super::sense_line::sense_plots;
use super::warming::warming;
use crate::drawing::axes::{Axes, Scale, THIRD as SIZE};
use crate::drawing::{BLACK, GREY, Picture as Plot};
use crate::judgement::Verdict;
use crate::measurement::{Finding, fit_line};
use crate::record::{JudgedMetric, Record};
use crate::scenario::Observation;
use crate::scenario::Place;
use crate::scenario::Polarity;
use crate::scenario::Take;
use crate::scenario::load::LoadStep;
use crate::scenario::overload::OverloadStep;
use crate::scenario::{load, loss, overload, reversal, sense, short, signal, soak};
use crate::units::{Dimension, Quantity, show};
use crate::waveform::{Signal, Trace, mean, top_state};

/// Every plot in the order of the run, with whether its scenario passed.
pub(super) fn plots(sources: &Sources<'_>) -> Vec<(Plot, bool)> {
    let record = sources.record;
    let passed = |name: &str| {
        let mut scenarios = record.scenarios.iter();
        let verdict = scenarios.find(|s| s.name == name).and_then(|s| s.verdict);
        verdict == Some(Verdict::Pass)
    };
    let (mut plots, mut of_passed) = (Vec::new(), Vec::new());
    for (scenario, observation) in sources.observations {
        match observation {
            Observation::Load(load::Seen { steps }) => {
                plots.extend(levels_over_current(scenario, steps))
            }
            Observation::Sense(sense::Seen { steps, .. }) => {
                plots.extend(sense_plots(scenario, steps))
            }
            Observation::Overload(overload::Seen { steps, .. }) => {
                plots.extend(time_over_current(record, scenario, steps));
            }
            Observation::Short(short::Seen { pulses }) => {
                for place in [Place::Near, Place::Far] {
                    let here: Vec<_> = pulses.iter().filter(|p| p.place == place).collect();
                    let Some(first) = here.first() else { continue };
                    let judged = metric(record, scenario, "trip_time", place.word());
                    let take = decided(observation, judged).unwrap_or(&first.fast);
                    let mut title = format!("{scenario}: short, {}", place.word());
                    let which = here.iter().find(|pulse| std::ptr::eq(&pulse.fast, take));
                    if let Some(worst) = which.filter(|_| here.len() > 1) {
                        title.push_str(&format!(" ({} of {})", worst.repeat, here.len()));
                    }
                    plots.extend(waveform(&title, take, Signal::OutputCurrent, judged));
                }
            }
            Observation::Reversal(reversal::Seen {
                closings, short, ..
            }) => {
                if let Some(closing) = closings.first() {
                    let word = closing.direction.word();
                    let title = format!("{scenario}: gap closed, {word}");
                    let judged = metric(record, scenario, "reversal_time", word);
                    plots.extend(waveform(&title, &closing.take, Signal::GapCurrent, judged));
                }
                if let Some(take) = short {
                    let title = format!("{scenario}: true short");
                    let judged = metric(record, scenario, "trip_time", "short");
                    plots.extend(waveform(&title, take, Signal::OutputCurrent, judged));
                }
            }
            Observation::Soak(soak::Seen { soaks }) => {
                plots.extend(soaks.iter().filter_map(|soak| warming(scenario, soak)));
            }
            // Numbers say it all.
            Observation::Inrush(_) | Observation::Supply(_) => {}
            Observation::Signal(signal::Seen { takes, .. }) => {
                let drawn = takes.iter().filter_map(|take| histogram(scenario, take));
                plots.extend(drawn);
            }
            // Levels and yes or no: the table says it all.
            Observation::Idle(_) => {}
            Observation::Loss(loss::Seen { losses }) => {
                for lost in losses {
                    let title = format!("{scenario}: {}", lost.cause.word());
                    plots.extend(waveform(&title, &lost.take, Signal::NodeVoltage, None));
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

/// A waveform over time, smallest and largest of each column joined, with the
/// instants that `judged` was read at.
fn waveform(
    title: &str,
    take: &Take,
    signal: Signal,
    judged: Option<&JudgedMetric>,
) -> Option<Plot> {
    let trace = Trace::of(&take.capture, signal)?;
    let instants = instants(judged);
    let begun = instants.first().map(|first| first.1);
    let limit = judged.and_then(|judged| judged.limit.as_ref()?.upper);
    let limit = begun.zip(limit).map(|(begun, limit)| begun + limit);
    let (mut from, mut to) = (trace.first(), trace.last());
    if let Some(begun) = begun {
        // The fault fills the plot, whatever the capture's length.
        let later = instants.iter().map(|instant| instant.1).chain(limit);
        let span = later.fold(0.0, |span: f64, at| span.max(at - begun));
        if span > 0.0 {
            from = from.max(begun - 0.15 * span);
            to = to.min(begun + 1.25 * span);
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
    let drawn = instants.iter().map(|&(what, at)| (at, what.words(), false));
    let drawn = drawn.chain(limit.map(|at| (at, "limit", true)));
    for (row, (at, word, dashed)) in drawn.enumerate() {
        let first = begun.filter(|_| row > 0);
        let label = first.map_or_else(
            || word.to_owned(),
            |begun| format!("{word} {}", show(at - begun, Dimension::Time)),
        );
        if at <= to * (1.0 + 1e-9) {
            axes.upright(at * factor, &label, row, dashed);
        }
        let after = instants.first().filter(|_| row > 0);
        words.push_str(&match after {
            None => format!(" {label} marked."),
            Some((what, _)) => format!(" {label} after {}.", what.words()),
        });
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
    let points = |drive: Polarity| -> Vec<(f64, f64)> {
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
    let sets = [Polarity::Positive, Polarity::Negative].map(|drive| (drive, points(drive)));
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
                Polarity::Positive => axes.drawing.line(&stroke, BLACK, 0.8),
                _ => axes.drawing.dashed(&stroke, GREY, 0.8),
            }
            let slope = show(-line.slope, Dimension::Resistance);
            words.push_str(&format!(" Fit, {}: {slope} at the node.", drive.word()));
        }
        for point in points {
            match drive {
                Polarity::Positive => axes.diamond(*point),
                _ => axes.hollow(*point),
            }
        }
    }
    Some(Plot {
        drawing: axes.drawing,
        words,
    })
}
