//! A metric as a value on a limit line: the allowed range heavy with end bars,
//! the value a diamond with its expanded uncertainty. It prints no numbers.

use crate::drawing::axes::Scale;
use crate::drawing::{BLACK, Drawing, PALE};
use crate::judgement::Limit;
use crate::measurement::Finding;

/// The line; `None` where there is nothing to draw.
pub(in crate::handout) fn gauge(
    finding: &Finding,
    limit: &Limit,
    (width, height): (f64, f64),
) -> Option<Drawing> {
    let estimate = finding.estimate()?;
    let scale = Scale::around(limit)?;
    let margin = height / 2.0;
    let x = |si: f64| margin + scale.share(si) * (width - 2.0 * margin);
    let (from, to, y) = (margin, width - margin, height / 2.0);
    let mut drawing = Drawing::new(width, height);
    drawing.line(&[(from, y), (to, y)], PALE, 0.8);
    let lower = limit.lower.map_or(from, x);
    let upper = limit.upper.map_or(to, x);
    drawing.line(&[(lower, y), (upper, y)], BLACK, 1.4);
    for bound in [limit.lower, limit.upper].into_iter().flatten() {
        let bar = [(x(bound), y - height * 0.4), (x(bound), y + height * 0.4)];
        drawing.line(&bar, BLACK, 1.2);
    }
    let reach = [-estimate.expanded(), estimate.expanded()];
    let reach = reach.map(|to| (x(estimate.value + to), y));
    drawing.line(&reach, BLACK, 2.6);
    let (at, half) = (x(estimate.value), height * 0.32);
    let arrow = |tip: f64| [(at - tip, y - half), (at + tip, y), (at - tip, y + half)];
    match finding {
        Finding::Above(_) => drawing.shape(&arrow(half), BLACK),
        Finding::Below(_) => drawing.shape(&arrow(-half), BLACK),
        _ => drawing.diamond((at, y), half),
    }
    Some(drawing)
}
