//! A metric as a value on a limit line: the allowed range heavy with end bars,
//! the value a diamond with its expanded uncertainty. It prints no numbers.

use crate::drawing::{BLACK, Drawing, PALE};
use crate::judgement::Limit;
use crate::measurement::Finding;

/// The line; `None` where there is nothing to draw.
pub(super) fn gauge(finding: &Finding, limit: &Limit, width: f64, height: f64) -> Option<Drawing> {
    let estimate = match finding {
        Finding::Value(e) | Finding::Above(e) | Finding::Below(e) => *e,
        Finding::Unknown { .. } => return None,
    };
    let (from, to) = scale(limit)?;
    let margin = height / 2.0;
    let x = |si: f64| margin + ((si - from) / (to - from)).clamp(0.0, 1.0) * (width - 2.0 * margin);
    let y = height / 2.0;
    let mut drawing = Drawing::new(width, height);
    drawing.line(&[(x(from), y), (x(to), y)], PALE, 0.8);
    let lower = limit.lower.map_or(x(from), x);
    let upper = limit.upper.map_or(x(to), x);
    drawing.line(&[(lower, y), (upper, y)], BLACK, 1.4);
    for bound in [limit.lower, limit.upper].into_iter().flatten() {
        let at = x(bound);
        drawing.line(
            &[(at, y - height * 0.4), (at, y + height * 0.4)],
            BLACK,
            1.2,
        );
    }
    let at = x(estimate.value);
    let half = height * 0.32;
    let mark: Vec<(f64, f64)> = match finding {
        Finding::Above(_) => vec![(at - half, y - half), (at + half, y), (at - half, y + half)],
        Finding::Below(_) => vec![(at + half, y - half), (at - half, y), (at + half, y + half)],
        _ => vec![
            (at, y - half),
            (at + half, y),
            (at, y + half),
            (at - half, y),
        ],
    };
    let spread = (
        x(estimate.value - estimate.expanded()),
        x(estimate.value + estimate.expanded()),
    );
    drawing.line(&[(spread.0, y), (spread.1, y)], BLACK, 2.6);
    drawing.shape(&mark, BLACK);
    Some(drawing)
}

/// From a quarter of the range below the lower bound to a quarter above the
/// upper; a single bound stands at two thirds of the way from zero.
fn scale(limit: &Limit) -> Option<(f64, f64)> {
    let (from, to) = match (limit.lower, limit.upper) {
        (Some(lower), Some(upper)) => {
            let room = (upper - lower).abs().max(upper.abs() * 1e-6) / 4.0;
            (lower - room, upper + room)
        }
        (None, Some(upper)) if upper != 0.0 => (upper.min(0.0) * 1.5, upper.max(0.0) * 1.5),
        (Some(lower), None) if lower != 0.0 => (lower.min(0.0) * 1.5, lower.max(0.0) * 1.5),
        (None, Some(_)) | (Some(_), None) => (-1.0, 1.0),
        (None, None) => return None,
    };
    (from.is_finite() && to.is_finite() && to > from).then_some((from, to))
}
