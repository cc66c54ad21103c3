//! What a file leaves open of its signal: stretches without readings, and a
//! range that was left. It says so beside what was found, and lets nothing be
//! called met that was not seen. It looks at no sample.

use crate::capture_file::{Clipping, SampleFacts, Span};
use crate::inspection::{Inspection, Measure, RuleRow, Standing};

/// A gap up to here hides no half-bit: what is shorter counts as a glitch to the
/// decoder, s.
const HIDES_NOTHING: f64 = 20e-6;
/// Many short gaps may hide what one does not: share of the length.
const MANY: f64 = 1e-3;

/// Adds what the facts leave open.
pub(super) fn doubt(inspection: &mut Inspection, facts: SampleFacts) {
    for (spans, what) in [
        (&facts.missing, "without a reading"),
        (&facts.infinite, "beyond the range of the numbers"),
    ] {
        let (Some(first), Some(longest)) = (spans.first.first(), spans.longest) else {
            continue;
        };
        let samples = if spans.samples > 0 {
            format!("{} samples or values", spans.samples)
        } else {
            "values".to_owned()
        };
        inspection.odd.push(format!(
            "{samples} {what}, in {} stretches of {} together: the first at {:.6} s, the longest {}",
            spans.count,
            milliseconds(spans.total),
            first.from,
            milliseconds(longest.length())
        ));
    }
    for (clipping, end) in [(&facts.high, "upper"), (&facts.low, "lower")] {
        if let Some(clipping) = clipping {
            inspection.odd.push(clipped(clipping, end));
        }
    }
    let (longest, total) = unknown(&facts);
    let hides = longest > HIDES_NOTHING || total > MANY * inspection.length.max(0.0);
    if hides && !inspection.rows.is_empty() {
        inspection.rows.push(open_row(&facts, total));
    }
    inspection.facts = Some(facts);
}

fn unknown(facts: &SampleFacts) -> (f64, f64) {
    let longest = [&facts.missing, &facts.infinite].map(|spans| spans.longest);
    let longest = longest.into_iter().flatten().map(Span::length);
    (longest.fold(0.0, f64::max), facts.unknown())
}

fn milliseconds(seconds: f64) -> String {
    format!("{:.3} ms", seconds * 1e3)
}

fn clipped(clipping: &Clipping, end: &str) -> String {
    let first = clipping.spans.first.first().map_or(0.0, |span| span.from);
    let why = if clipping.last_code {
        "is the last code of the file's type"
    } else {
        "is flat while the signal moves elsewhere"
    };
    format!(
        "the {end} end of the range was reached {} times, the first at {first:.6} s: the reading {} {why}, and the voltage may be more",
        clipping.spans.count, clipping.level
    )
}

/// What was not seen cannot be met.
fn open_row(facts: &SampleFacts, total: f64) -> RuleRow {
    let count = facts.missing.count + facts.infinite.count;
    RuleRow {
        source: "this capture".to_owned(),
        what: "the whole signal is known".to_owned(),
        measure: Measure::Time,
        value: Some(total),
        expanded: None,
        limit: 0.0,
        lower: false,
        checked: count,
        beyond: 0,
        near: count,
        standing: Standing::Undecided,
        note: Some(format!(
            "of {} nothing is known: the file has no readings there",
            milliseconds(total)
        )),
    }
}
