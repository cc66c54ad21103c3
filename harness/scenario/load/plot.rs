//! Output voltage over output current, drawn with the line through each held
//! polarity. Nothing is judged here.

use super::seen::{LoadStep, Seen};
use crate::drawing::axes::{Axes, Scale, THIRD};
use crate::drawing::{BLACK, GREY, Picture};
use crate::measurement::fit_line;
use crate::scenario::figure::Recorded;
use crate::scenario::terms::Polarity;
use crate::units::{Dimension, show};
use crate::waveform::{Signal, Trace, mean, top_state};

/// The figures of what was seen.
pub(in crate::scenario) fn figures(seen: &Seen, recorded: &Recorded<'_>) -> Vec<Picture> {
    let drawn = levels_over_current(recorded.scenario, &seen.steps);
    drawn.into_iter().collect()
}

/// Output voltage over output current, held positive and negative, with the
/// least-squares line through each.
fn levels_over_current(scenario: &str, steps: &[LoadStep]) -> Option<Picture> {
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
        THIRD,
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
    Some(axes.picture(words))
}
