//! How warm the board got over time, drawn with the exponential through its
//! readings and where that ends. Nothing is judged here.

use super::evaluate::soak_rise;
use super::seen::{Seen, Soaked};
use crate::drawing::axes::{Axes, Scale, THIRD};
use crate::drawing::{BLACK, GREY, Picture};
use crate::scenario::figure::Recorded;
use crate::units::{Dimension, show};

/// Points of the drawn curve.
const POINTS: usize = 80;

/// The figures of what was seen.
pub(in crate::scenario) fn figures(seen: &Seen, recorded: &Recorded<'_>) -> Vec<Picture> {
    let soaks = seen.soaks.iter();
    soaks
        .filter_map(|soak| warming(recorded.scenario, soak))
        .collect()
}

/// The rise; nothing where no temperature was read.
fn warming(scenario: &str, soaked: &Soaked) -> Option<Picture> {
    let seen = soak_rise(soaked, f64::INFINITY)?;
    let last = seen.points.last()?.0;
    let carried = seen.rise.filter(|_| seen.refused.is_none());
    let title = format!("{scenario}: case temperature, {}", soaked.drive.word());
    let ends = carried.iter().map(|rise| rise.end);
    let temperatures = seen.points.iter().map(|point| point.1);
    let mut axes = Axes::sized(
        THIRD,
        &title,
        (
            "time under load / s",
            Scale::over(seen.points.iter().map(|point| point.0), true),
        ),
        (
            "temperature / degC (dashed: ambient, steady)",
            Scale::over(temperatures.chain(ends).chain([seen.ambient.value]), false),
        ),
    );
    let levels = [Some(seen.ambient.value), carried.map(|rise| rise.end)];
    for level in levels.into_iter().flatten() {
        let y = axes.y(level);
        let ends = [(axes.x(0.0), y), (axes.x(last), y)];
        axes.drawing.dashed(&ends, GREY, 0.6);
    }
    if let Some(rise) = carried {
        let curve: Vec<(f64, f64)> = (0..=POINTS)
            .map(|index| last * index as f64 / POINTS as f64)
            .map(|at| (axes.x(at), axes.y(rise.at(at))))
            .collect();
        axes.drawing.line(&curve, BLACK, 0.8);
    }
    for &point in &seen.points {
        axes.diamond(point);
    }
    let told = match (carried, &seen.refused) {
        (Some(rise), _) => format!(
            "It leads from {} to {} with a time constant of {}.",
            show(seen.ambient.value, Dimension::Temperature),
            show(rise.end, Dimension::Temperature),
            show(rise.time_constant, Dimension::Time)
        ),
        (None, Some(reason)) => format!("Not extrapolated: {reason}."),
        (None, None) => "Not extrapolated.".to_owned(),
    };
    Some(axes.picture(format!("{title}. {told}")))
}
