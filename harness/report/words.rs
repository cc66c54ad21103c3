//! Findings, limits and decisions as lines and sentences, shared by every
//! report so that all say the same. No layout.

use crate::judgement::{Decision, Limit, Verdict};
use crate::measurement::{COVERAGE, Estimate, Finding, in_words};
use crate::record::{JudgedMetric, Record};
use crate::units::{Dimension, show, show_two};

/// What a note says of a bench whose run did not end proven off.
pub(crate) const BENCH_IS_OFF: &str = "The bench was looked at: everything on it is off.";

/// `1 board`, `2 boards`.
pub(crate) fn counted(count: u64, what: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {what}{plural}")
}

/// `trip time (near)`.
pub(crate) fn label(judged: &JudgedMetric) -> String {
    in_words(&judged.metric.label())
}

/// The scale of the current that the board itself reports.
pub(crate) fn scale_factor(record: &Record) -> Option<&JudgedMetric> {
    let mut metrics = record.scenarios.iter().flat_map(|s| &s.metrics);
    metrics.find(|judged| judged.metric.key == "scale_factor")
}

/// What belongs on the board's label: the current of one count as measured,
/// the uncertainty with two significant digits and the value to the same place
/// (GUM 7.2.6).
pub(crate) fn label_scale(record: &Record) -> Option<String> {
    match &scale_factor(record)?.metric.finding {
        Finding::Value(scale) => {
            let shown = Finding::Value(*scale).show(Dimension::CountScale);
            Some(format!("scale factor {shown} (k = {COVERAGE})"))
        }
        _ => None,
    }
}

/// The value or bound, without its uncertainty.
pub(crate) fn found(judged: &JudgedMetric) -> String {
    match &judged.metric.finding {
        Finding::Value(estimate) => show(estimate.value, judged.metric.dimension),
        finding => finding.show(judged.metric.dimension),
    }
}

/// The expanded uncertainty.
pub(crate) fn uncertainty(judged: &JudgedMetric) -> String {
    match judged.metric.finding.estimate() {
        Some(estimate) => format!(
            "{} (k = {COVERAGE})",
            show_span(estimate.expanded(), judged.metric.dimension)
        ),
        None => "none".to_owned(),
    }
}

/// The expanded uncertainty with two significant digits (GUM 7.2.6), for a page
/// that says once what k is; nothing where it is zero.
fn expanded(judged: &JudgedMetric) -> String {
    let dimension = judged.metric.dimension;
    match judged.metric.finding.estimate() {
        Some(estimate) if estimate.u > 0.0 => match dimension {
            Dimension::Temperature => {
                show_two(estimate.expanded(), Dimension::TemperatureDifference)
            }
            dimension => show_two(estimate.expanded(), dimension),
        },
        _ => String::new(),
    }
}

/// Value and expanded uncertainty for two columns: in one unit and to the same
/// place, for a page that says once what k is.
pub(crate) fn value_and_uncertainty(judged: &JudgedMetric) -> (String, String) {
    let dimension = judged.metric.dimension;
    let shown = judged.metric.finding.show(dimension);
    let Some((value, rest)) = shown.split_once(" +/- ") else {
        return (found(judged), expanded(judged));
    };
    let (expanded, unit) = rest.split_once(' ').unwrap_or((rest, ""));
    let span = match dimension {
        Dimension::Temperature => Dimension::TemperatureDifference.unit(),
        _ => unit,
    };
    let joined = |number: &str, unit: &str| format!("{number} {unit}").trim_end().to_owned();
    (joined(value, unit), joined(expanded, span))
}

/// The margin of a decision, positive inside.
pub(crate) fn margin(decision: &Decision, dimension: Dimension) -> String {
    decision
        .margin
        .map_or("none".to_owned(), |margin| show_span(margin, dimension))
}

/// A difference: the same unit, except that temperatures become kelvins.
pub(crate) fn show_span(si: f64, dimension: Dimension) -> String {
    match dimension {
        Dimension::Temperature => show(si, Dimension::TemperatureDifference),
        dimension => show(si, dimension),
    }
}

/// One sentence for a person who asks what was wrong.
pub(crate) fn sentence(judged: &JudgedMetric) -> String {
    let (Some(limit), Some(decision)) = (&judged.limit, &judged.decision) else {
        return "Recorded, not judged.".to_owned();
    };
    let mut text = match &judged.metric.finding {
        Finding::Unknown { reason, blame } => {
            return format!("Not measured: {reason} (for the {blame} to mend).");
        }
        Finding::Value(estimate) => of_value(*estimate, limit, judged.metric.dimension),
        Finding::Above(_) => format!("It is at least {}, its end was not seen.", bound(judged)),
        Finding::Below(_) => format!(
            "It is at most {}: over before it could be seen.",
            bound(judged)
        ),
    };
    text.push_str(match decision.verdict {
        Verdict::Pass => " This passes: ",
        Verdict::Fail => " This fails: ",
        Verdict::Inconclusive => " This is inconclusive: ",
    });
    text.push_str(&decision.reason);
    text.push('.');
    if let Some(blame) = decision.blame {
        text.push_str(&format!(" It is for the {blame} to mend."));
    }
    text
}

fn bound(judged: &JudgedMetric) -> String {
    judged
        .metric
        .finding
        .estimate()
        .map_or(String::new(), |estimate| {
            show(estimate.value, judged.metric.dimension)
        })
}

fn of_value(estimate: Estimate, limit: &Limit, dimension: Dimension) -> String {
    let value = estimate.value;
    let over = limit.upper.map(|upper| (value - upper, upper));
    let under = limit.lower.map(|lower| (lower - value, lower));
    let (words, distance, edge) = match (over, under) {
        (Some((by, upper)), _) if by > 0.0 => ("above the upper limit", by, upper),
        (_, Some((by, lower))) if by > 0.0 => ("below the lower limit", by, lower),
        _ => return inside(value, limit, dimension),
    };
    let mut text = format!(
        "It is {} {words}, {}",
        show_span(distance, dimension),
        show(edge, dimension)
    );
    if estimate.u > 0.0 {
        let u = show_span(estimate.expanded(), dimension);
        text.push_str(&match distance / estimate.expanded() {
            times if times < 1.0 => format!(", which is within its expanded uncertainty of {u}"),
            times if times < 10.0 => {
                format!(", which is {times:.1} times its expanded uncertainty of {u}")
            }
            // More digits would say nothing more.
            _ => format!(", far beyond its expanded uncertainty of {u}"),
        });
    }
    text.push('.');
    text
}

fn inside(value: f64, limit: &Limit, dimension: Dimension) -> String {
    let to_upper = limit.upper.map(|upper| upper - value);
    let to_lower = limit.lower.map(|lower| value - lower);
    let spare = to_upper.into_iter().chain(to_lower).reduce(f64::min);
    match spare {
        Some(spare) => format!("It is within its limit by {}.", show_span(spare, dimension)),
        None => "Any value is allowed.".to_owned(),
    }
}
