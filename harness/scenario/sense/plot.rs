//! The board's own reading over the current, drawn with its line, and what
//! each step lies beside it. Nothing is judged here.

use super::evaluate::{SensePoint, sense_line, sense_points};
use super::seen::{Seen, SenseStep};
use crate::drawing::axes::{Axes, Scale, THIRD};
use crate::drawing::{GREY, Picture};
use crate::scenario::figure::Recorded;
use crate::scenario::terms::Polarity;
use crate::units::{Dimension, show};

/// The figures of what was seen.
pub(in crate::scenario) fn figures(seen: &Seen, recorded: &Recorded<'_>) -> Vec<Picture> {
    sense_plots(recorded.scenario, &seen.steps)
}

/// The line and, on a plot of its own, the residuals; nothing where there is
/// no line.
fn sense_plots(scenario: &str, steps: &[SenseStep]) -> Vec<Picture> {
    let points = sense_points(steps);
    let Some(line) = sense_line(&points).filter(|line| line.slope > 0.0) else {
        return Vec::new();
    };
    let most = points.iter().map(|p| p.current).fold(0.0, f64::max);
    let across = || Scale::over(points.iter().map(|p| p.current), true);
    let scale = show(1.0 / line.slope, Dimension::CountScale);
    let title = format!("{scenario}: the board's reading over current");
    let mut counts = Axes::sized(
        THIRD,
        &title,
        ("output current / A", across()),
        (
            "counts (filled: positive, hollow: negative or alternating)",
            Scale::over(points.iter().map(|p| p.counts), true),
        ),
    );
    let end = |x: f64| (counts.x(x), counts.y(line.intercept + line.slope * x));
    let stroke = [end(0.0), end(most)];
    counts.drawing.line(&stroke, GREY, 0.8);
    for point in &points {
        mark(&mut counts, point, point.counts);
    }
    let beside: Vec<f64> = line
        .residuals
        .iter()
        .map(|residual| residual / line.slope * 1e3)
        .collect();
    let title_beside = format!("{scenario}: departure from the line");
    let mut rest = Axes::sized(
        THIRD,
        &title_beside,
        ("output current / A", across()),
        (
            "departure / mA (dashed: half a count)",
            Scale::over(
                beside
                    .iter()
                    .copied()
                    .chain([0.6e3 / line.slope, -0.6e3 / line.slope]),
                true,
            ),
        ),
    );
    for half in [-0.5e3, 0.5e3] {
        let y = rest.y(half / line.slope);
        let ends = [(rest.x(0.0), y), (rest.x(most), y)];
        rest.drawing.dashed(&ends, GREY, 0.6);
    }
    let zero = [(rest.x(0.0), rest.y(0.0)), (rest.x(most), rest.y(0.0))];
    rest.drawing.line(&zero, GREY, 0.8);
    for (point, beside) in points.iter().zip(&beside) {
        mark(&mut rest, point, *beside);
    }
    let far = beside.iter().fold(0.0, |far: f64, x| far.max(x.abs()));
    vec![
        counts.picture(format!("{title}. One count of the fitted line is {scale}.")),
        rest.picture(format!(
            "{title_beside}: {} at most; half a count is {}.",
            show(far * 1e-3, Dimension::Current),
            show(0.5 / line.slope, Dimension::Current)
        )),
    ]
}

fn mark(axes: &mut Axes, point: &SensePoint, value: f64) {
    if point.drive == Polarity::Positive {
        axes.diamond((point.current, value));
    } else {
        axes.hollow((point.current, value));
    }
}
