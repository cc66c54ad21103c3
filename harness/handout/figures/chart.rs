//! A metric from board to board with its control limits. They come from the
//! readings and pass no board; the limit is drawn where it shares the scale.

use crate::comparison::MetricSummary;
use crate::drawing::axes::{Axes, Scale};
use crate::drawing::typeface::fitted;
use crate::drawing::{Anchor, BLACK, GREY, Picture};
use crate::measurement::in_words;
use crate::units::unit_for;

pub(in crate::handout) const LEGEND: &str = "Line: mean; dashed: control limits, three standard deviations from the moving ranges; a square marks a board outside them; thick: the metric's limit, where it shares the scale.";

/// Points drawn at most; more are thinned to least and greatest of each column.
const MOST_POINTS: usize = 200;

pub(in crate::handout) fn picture(metric: &MetricSummary) -> Option<Picture> {
    let chart = metric.chart.as_ref()?;
    let (low, high) = chart.values.iter().fold(
        (chart.limits.lower, chart.limits.upper),
        |(low, high), value| (low.min(*value), high.max(*value)),
    );
    let (factor, unit) = unit_for(low.abs().max(high.abs()), metric.dimension);
    let reach = high - low;
    let bounds = metric
        .limit
        .map_or([None, None], |limit| [limit.lower, limit.upper]);
    let shown = bounds.map(|b| b.filter(|b| (b - low).abs().min((b - high).abs()) <= reach));
    let all = [low, high].into_iter().chain(shown.into_iter().flatten());
    let up = Scale::over(all.map(|si| si / factor), false);
    let count = chart.values.len();
    let across = Scale::exactly(0.0, count as f64 + 1.0);
    let title = format!("{} {}", metric.scenario, in_words(&metric.label));
    let title = fitted(&title, 8.5, true, 250.0);
    let key = metric.label.split(" (").next().unwrap_or_default();
    let mut label = in_words(key);
    if !unit.is_empty() {
        label.push_str(&format!(" / {unit}"));
    }
    let boards = match (chart.serials.first(), chart.serials.last()) {
        (Some(first), Some(last)) if first != last => {
            fitted(&format!("board, {first} to {last}"), 6.5, false, 190.0)
        }
        _ => "board".to_owned(),
    };
    let mut axes = Axes::new(&title, (&boards, across), (&label, up));
    let (left, right) = (axes.x(0.0), axes.x(count as f64 + 1.0));
    let level = |axes: &Axes, si: f64| [left, right].map(|x| (x, axes.y(si / factor)));
    for control in [chart.limits.lower, chart.limits.upper] {
        let line = level(&axes, control);
        axes.drawing.dashed(&line, BLACK, 0.8);
    }
    let centre = level(&axes, chart.limits.centre);
    axes.drawing.line(&centre, GREY, 0.8);
    for bound in shown.into_iter().flatten() {
        let line = level(&axes, bound);
        axes.drawing.line(&line, BLACK, 2.0);
    }
    let points: Vec<(f64, f64)> = chart
        .values
        .iter()
        .enumerate()
        .map(|(at, value)| (axes.x(at as f64 + 1.0), axes.y(value / factor)))
        .collect();
    let thin = count > MOST_POINTS;
    if thin {
        axes.drawing.line(&thinned(&points), GREY, 0.5);
    } else {
        axes.drawing.line(&points, GREY, 0.5);
        for point in &points {
            axes.drawing.dot(*point, false);
        }
    }
    let alike = beginning(&chart.serials);
    for (index, at) in chart.outside.iter().take(MOST_POINTS).enumerate() {
        let (x, y) = points[*at];
        axes.drawing.hollow((x, y), 3.4, 1.0);
        // The first few by the end of their name; the table names all in full.
        if index < 3 {
            let late = x > (left + right) / 2.0;
            let (anchor, x) = if late {
                (Anchor::End, x - 5.0)
            } else {
                (Anchor::Start, x + 5.0)
            };
            let serial = &chart.serials[*at][alike..];
            axes.drawing
                .write((x, y + 2.5), 6.5, false, anchor, BLACK, serial);
        }
    }
    Some(axes.picture(format!("{title}: {count} boards, {}.", chart.words())))
}

/// How many bytes all serial numbers begin alike with, up to a sign between
/// words.
fn beginning(serials: &[String]) -> usize {
    let Some((first, rest)) = serials.split_first() else {
        return 0;
    };
    let alike = rest.iter().fold(first.len(), |alike, serial| {
        let pairs = first.bytes().zip(serial.bytes()).take(alike);
        pairs.take_while(|(a, b)| a == b).count()
    });
    let inside = |(at, c): &(usize, char)| at + c.len_utf8() <= alike && !c.is_alphanumeric();
    let last = first.char_indices().rfind(inside);
    last.map_or(0, |(at, c)| at + c.len_utf8())
}

/// Least and greatest of each column of a point.
fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut line = Vec::new();
    let mut rest = points;
    while let Some(first) = rest.first() {
        let end = rest.iter().take_while(|p| p.0 < first.0 + 1.0).count();
        let (column, after) = rest.split_at(end.max(1));
        let low = column.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
        let high = column.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
        line.push((first.0, low));
        line.push((first.0, high));
        rest = after;
    }
    line
}
