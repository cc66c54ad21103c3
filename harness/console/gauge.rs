//! A limit drawn as a line with the measured value on it. The scale is linear
//! and always shows the limit's bounds; it prints no numbers.

use crate::drawing::axes::Scale;
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
    let Some(scale) = Scale::around(limit) else {
        return String::new();
    };
    // A share is 0 to 1, so that no value leaves the line.
    let column = |x: f64| (scale.share(x) * (WIDTH - 1) as f64).round() as usize;
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
