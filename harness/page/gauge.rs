//! A metric as a mark on its limit line, drawn in the colours of the page. It prints no
//! number: value and limit stand beside it.

use super::markup::Markup;
use crate::drawing::axes::Scale;
use crate::judgement::Limit;
use crate::measurement::Finding;

const WIDTH: f64 = 140.0;
const HEIGHT: f64 = 14.0;
/// Room for a mark at either end.
const EDGE: f64 = 8.0;

/// The line, the allowed range, the value and its expanded uncertainty; nothing where
/// nothing was measured.
pub(super) fn gauge(finding: &Finding, limit: &Limit) -> Markup {
    let mut out = Markup::default();
    let (Some(estimate), Some(scale)) = (finding.estimate(), Scale::around(limit)) else {
        return out;
    };
    let x = |si: f64| EDGE + scale.share(si) * (WIDTH - 2.0 * EDGE);
    let middle = HEIGHT / 2.0;
    let lower = limit.lower.map_or(EDGE, x);
    let upper = limit.upper.map_or(WIDTH - EDGE, x);
    out.raw(
        "<svg class=\"gauge\" viewBox=\"0 0 140 14\" width=\"140\" height=\"14\" aria-hidden=\"true\">\
         <path class=\"line\" d=\"M 8 7 H 132\"/><path class=\"range\" d=\"M ",
    );
    out.numbers([lower, middle]).raw("H ").numbers([upper]);
    for bound in [limit.lower, limit.upper].into_iter().flatten() {
        out.raw("M ")
            .numbers([x(bound), 2.0])
            .raw("V ")
            .numbers([12.0]);
    }
    out.raw("\"/><path class=\"u\" d=\"M ");
    let reach = estimate.expanded();
    out.numbers([x(estimate.value - reach), middle])
        .raw("H ")
        .numbers([x(estimate.value + reach)]);
    let at = x(estimate.value);
    let half = 4.5;
    // A bound points to where the value may lie.
    let points = match finding {
        Finding::Above(_) => [
            at - half,
            middle - half,
            at + half,
            middle,
            at - half,
            middle + half,
        ],
        Finding::Below(_) => [
            at + half,
            middle - half,
            at - half,
            middle,
            at + half,
            middle + half,
        ],
        _ => [at - half, middle, at, middle - half, at + half, middle],
    };
    out.raw("\"/><path class=\"mark\" d=\"M ").numbers(points);
    if matches!(finding, Finding::Value(_)) {
        out.raw("L ").numbers([at, middle + half]);
    }
    out.raw("Z\"/></svg>");
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judgement::DecisionRule;
    use crate::measurement::Estimate;

    #[test]
    fn the_mark_moves_with_the_value_and_stays_on_the_line() {
        let limit = Limit {
            lower: Some(1.0),
            upper: Some(2.0),
            rule: DecisionRule::Simple,
            source: String::new(),
        };
        let mark = |value: f64| {
            let drawn = gauge(&Finding::Value(Estimate::new(value, 0.0)), &limit).into_string();
            let from = drawn.find("class=\"mark\" d=\"M ").expect("a mark") + 18;
            let words: Vec<f64> = drawn[from..]
                .split_whitespace()
                .map_while(|word| word.parse().ok())
                .collect();
            words[2]
        };
        assert!((mark(1.5) - WIDTH / 2.0).abs() < 0.1, "{}", mark(1.5));
        assert!(mark(1.2) < mark(1.5) && mark(1.5) < mark(1.8));
        for far in [-1e9, 1e9] {
            assert!((0.0..=WIDTH).contains(&mark(far)), "{}", mark(far));
        }
    }
}
