//! A limit drawn as a line with the measured value on it. The scale is linear
//! and always shows the limit's bounds; it prints no numbers.

use crate::judgement::Limit;
use crate::measurement::Finding;

/// Columns of a gauge.
pub(super) const WIDTH: usize = 21;

/// Draws `finding` against `limit`: bounds as bars, the allowed range heavy,
/// the value as a diamond, a bound as an arrow; off the scale sticks at the
/// edge. Empty where there is nothing to draw.
pub(super) fn gauge(finding: &Finding, limit: &Limit) -> String {
    let (value, mark) = match finding {
        Finding::Value(estimate) => (estimate.value, '\u{25C6}'),
        Finding::Above(bound) => (bound.value, '\u{25B6}'),
        Finding::Below(bound) => (bound.value, '\u{25C0}'),
        Finding::Unknown { .. } => return String::new(),
    };
    let Some((from, to)) = scale(limit) else {
        return String::new();
    };
    let column = |x: f64| {
        let place = (x - from) / (to - from) * (WIDTH - 1) as f64;
        // Clamped before the cast, so that no value leaves the line.
        place.round().clamp(0.0, (WIDTH - 1) as f64) as usize
    };
    let lower = limit.lower.map(column);
    let upper = limit.upper.map(column);
    let mut cells: Vec<char> = (0..WIDTH)
        .map(|at| {
            let inside = lower.is_none_or(|l| at >= l) && upper.is_none_or(|u| at <= u);
            if inside { '\u{2501}' } else { '\u{2508}' }
        })
        .collect();
    if let Some(at) = lower {
        cells[at] = '\u{2523}';
    }
    if let Some(at) = upper {
        cells[at] = '\u{252B}';
    }
    cells[column(value)] = mark;
    cells.into_iter().collect()
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
        (None, Some(_)) => (-1.0, 1.0),
        (Some(lower), None) if lower > 0.0 => (0.0, lower * 1.5),
        (Some(lower), None) if lower < 0.0 => (lower * 1.5, 0.0),
        (Some(_), None) => (-1.0, 1.0),
        (None, None) => return None,
    };
    (from.is_finite() && to.is_finite() && to > from).then_some((from, to))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judgement::DecisionRule;
    use crate::measurement::Estimate;

    fn limit(lower: Option<f64>, upper: Option<f64>) -> Limit {
        Limit {
            lower,
            upper,
            rule: DecisionRule::Simple,
            source: String::new(),
        }
    }

    #[test]
    fn the_value_stands_where_it_belongs() {
        let value = |x| Finding::Value(Estimate::new(x, 0.0));
        let both = limit(Some(0.0), Some(10.0));
        let drawn: Vec<char> = gauge(&value(5.0), &both).chars().collect();
        assert_eq!(drawn.iter().position(|c| *c == '\u{25C6}'), Some(WIDTH / 2));
        let far: Vec<char> = gauge(&value(1e9), &both).chars().collect();
        assert_eq!(far.last(), Some(&'\u{25C6}'));
        assert_eq!(gauge(&value(5.0), &limit(None, None)), "");
        for odd in [
            limit(None, Some(0.0)),
            limit(Some(0.0), None),
            limit(Some(2.0), Some(2.0)),
        ] {
            assert_eq!(gauge(&value(1.0), &odd).chars().count(), WIDTH);
        }
    }
}
