//! The words that tables, screens and pictures about lots share. No layout.

pub(crate) use crate::report::words::show_span as span;

use crate::comparison::{
    Bounds, CheckRow, LotSummary, LotsCompared, MetricSummary, PartRow, Retested, Row, Share,
};
use crate::measurement::in_words;
use crate::statistics::equivalence::Margin;
use crate::statistics::lots::Outcome;
use crate::units::{Dimension, show, unit_for};

/// The text, or a dash where there is none.
pub(super) fn or_dash(text: Option<String>) -> String {
    text.unwrap_or_else(|| "-".to_owned())
}

/// Both ends of the shift's interval in one unit: `-12.1 to 3.4 us`.
pub(crate) fn interval(row: &Row) -> String {
    let Some(interval) = row.interval else {
        return "-".to_owned();
    };
    let dimension = match row.dimension {
        Dimension::Temperature => Dimension::TemperatureDifference,
        dimension => dimension,
    };
    let text = pair(interval.lower, interval.upper, dimension);
    match row.confidence {
        // Wider than the rest: what a claim of a difference would have needed.
        Some(confidence) if confidence > 0.9 + 1e-9 => {
            format!("{text} ({:.1} %)", 100.0 * confidence)
        }
        _ => text,
    }
}

/// One part beside the other: its place, both, and whether it was substituted.
pub(crate) fn part_cells(part: &PartRow) -> Vec<String> {
    let same = part.baseline == part.candidate;
    let mark = if same { "" } else { "substituted" };
    vec![
        part.place.clone(),
        or_dash(part.baseline.clone()),
        or_dash(part.candidate.clone()),
        mark.to_owned(),
    ]
}

/// What the check standard says of one metric: its name, what it read with
/// either lot, by how much that differs, its spread and what it adds.
pub(crate) fn check_cells(row: &CheckRow) -> Vec<String> {
    let span = |si| span(si, row.dimension);
    let read = |(mean, count): (f64, usize)| format!("{} ({count})", show(mean, row.dimension));
    vec![
        format!("{} {}", row.scenario, in_words(&row.label)),
        read(row.baseline),
        read(row.candidate),
        span(row.difference),
        or_dash(row.spread.map(span)),
        span(row.common.u),
    ]
}

/// Two numbers in one unit, with places enough for three digits of the distance
/// between them, at most six.
pub(crate) fn pair(lower: f64, upper: f64, dimension: Dimension) -> String {
    let (factor, unit) = unit_for(lower.abs().max(upper.abs()), dimension);
    let width = (upper - lower).abs() / factor;
    let places = if dimension == Dimension::Count && lower.fract() == 0.0 && upper.fract() == 0.0 {
        0
    } else if width > 0.0 {
        (2.0 - libm::floor(libm::log10(width))).clamp(0.0, 6.0) as usize
    } else {
        1
    };
    let (lower, upper) = (lower / factor + 0.0, upper / factor + 0.0);
    let text = format!("{lower:.places$} to {upper:.places$} {unit}");
    text.trim_end().to_owned()
}

/// Two numbers that somebody stated: in one unit where that keeps both, else each
/// in its own, so that no bound moves by how it is written.
fn stated(lower: f64, upper: f64, dimension: Dimension) -> String {
    let (factor, _) = unit_for(lower.abs().max(upper.abs()), dimension);
    let text = pair(lower, upper, dimension);
    let mut written = text.split(' ').filter_map(|word| word.parse::<f64>().ok());
    let same = |si: f64| {
        let written = written.next().unwrap_or(f64::NAN);
        (written * factor - si).abs() <= 1e-6 * si.abs()
    };
    if [lower, upper].map(same) == [true; 2] {
        return text;
    }
    format!("{} to {}", show(lower, dimension), show(upper, dimension))
}

/// `+/- 2.5 ms`, or both ends where they differ.
pub(crate) fn margin(margin: &Margin, dimension: Dimension) -> String {
    if -margin.lower() == margin.upper() {
        return span(margin.upper(), dimension);
    }
    stated(margin.lower(), margin.upper(), dimension)
}

/// A limit: `<= 25 ms`, `16.5 V to 18.6 V`.
pub(crate) fn bounds(bounds: Option<Bounds>, dimension: Dimension) -> String {
    match bounds.map(|b| (b.lower, b.upper)) {
        None | Some((None, None)) => "-".to_owned(),
        Some((Some(lower), None)) => format!(">= {}", show(lower, dimension)),
        Some((None, Some(upper))) => format!("<= {}", show(upper, dimension)),
        // Limits are round numbers: no more places than they need.
        Some((Some(lower), Some(upper))) if dimension == Dimension::Count => {
            format!("{lower} to {upper}")
        }
        Some((Some(lower), Some(upper))) => stated(lower, upper, dimension),
    }
}

/// An index that large says only that the readings hardly differ.
const BEYOND: f64 = 100.0;

/// Ppk with its 95 % interval.
pub(crate) fn index_interval(metric: &MetricSummary) -> String {
    let indices = metric.spread.as_ref().and_then(|spread| spread.performance);
    or_dash(indices.map(|indices| {
        let near = indices.nearer;
        let (lower, upper) = (near.interval.lower, near.interval.upper);
        match near.value {
            beyond if beyond >= BEYOND => format!("over {BEYOND}"),
            value => format!("{value:.2} ({lower:.2} to {upper:.2})"),
        }
    }))
}

/// Ppk alone, for narrow tables.
pub(crate) fn index(metric: &MetricSummary) -> String {
    let indices = metric.spread.as_ref().and_then(|spread| spread.performance);
    or_dash(indices.map(|indices| match indices.nearer.value {
        beyond if beyond >= BEYOND => format!("over {BEYOND}"),
        value => format!("{value:.2}"),
    }))
}

/// What a comparison comes to, in one sentence.
pub(crate) fn conclusion(found: &LotsCompared) -> String {
    let rows = found.rows.iter().filter(|row| row.key);
    let count = |outcome| {
        rows.clone()
            .filter(|row| row.outcome == Some(outcome))
            .count()
    };
    let judged = rows.clone().filter(|row| row.outcome.is_some()).count();
    let which = if found.key_metrics_named {
        "key metrics"
    } else {
        "metrics"
    };
    let shifted = rows
        .clone()
        .filter(|row| row.outcome == Some(Outcome::Equivalent) && row.shift_detected)
        .count();
    let shifted = match shifted {
        0 => String::new(),
        shifted => format!("; in {shifted} of them a shift is detected"),
    };
    let equivalent = count(Outcome::Equivalent);
    match found.outcome {
        Outcome::Equivalent => {
            format!("EQUIVALENT: all {judged} {which}{shifted}")
        }
        Outcome::Different => format!(
            "DIFFERENT: {} of {judged} {which}; {equivalent} equivalent{shifted}",
            count(Outcome::Different)
        ),
        Outcome::NotEnough => format!(
            "NOT ENOUGH BOARDS: for {} of {judged} {which}; {equivalent} equivalent{shifted}",
            count(Outcome::NotEnough)
        ),
    }
}

/// Yields with their intervals.
pub(crate) fn yields(found: &LotSummary) -> [(&'static str, String); 2] {
    [
        ("first-pass yield", share(&found.first_pass)),
        ("final yield", share(&found.at_last)),
    ]
}

fn share(share: &Share) -> String {
    let Some(found) = share.share else {
        return "no board".to_owned();
    };
    format!(
        "{} of {}, {:.1} % (95 % interval {:.1} % to {:.1} %)",
        share.boards,
        share.of,
        100.0 * found.share,
        100.0 * found.interval.lower,
        100.0 * found.interval.upper
    )
}

/// A board tested again: serial number, what each run came to, the last reason.
pub(crate) fn retest_row(board: &Retested) -> Vec<String> {
    let runs: Vec<String> = board
        .runs
        .iter()
        .map(|(at, verdict, _)| format!("{} {verdict}", at.strftime("%Y-%m-%d")))
        .collect();
    let reason = board
        .runs
        .iter()
        .rev()
        .find_map(|(_, _, reason)| reason.clone());
    vec![
        board.serial.clone(),
        runs.join(", "),
        reason.unwrap_or_else(|| "not stated".to_owned()),
    ]
}

/// What boards failed by, with its share of all failures and the sum of the
/// shares so far. A board may fail by several metrics.
pub(crate) fn failing_rows(found: &LotSummary) -> Vec<Vec<String>> {
    let all: usize = found.failing.iter().map(|failing| failing.boards).sum();
    let share = |count: usize| match all {
        0 => "-".to_owned(),
        all => format!("{:.0} %", 100.0 * count as f64 / all as f64),
    };
    let mut so_far = 0;
    let rows = found.failing.iter().map(|failing| {
        so_far += failing.boards;
        vec![
            format!("{} {}", failing.scenario, in_words(&failing.metric)),
            failing.boards.to_string(),
            share(failing.boards),
            share(so_far),
            failing.undecided.to_string(),
        ]
    });
    rows.collect()
}
