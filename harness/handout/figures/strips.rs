//! Every board of two lots as a dot over one scale with the limits. Where a
//! limit lies too far off to share the scale, an arrow says so.

use crate::comparison::Row;
use crate::drawing::axes::Scale;
use crate::drawing::typeface::{face, fitted};
use crate::drawing::{Anchor, BLACK, Drawing, GREY, PALE, Picture};
use crate::handout::lot_words::bounds;
use crate::measurement::in_words;
use crate::statistics::Sample;
use crate::units::{show, unit_for};

const SIZE: (f64, f64) = (250.0, 124.0);
const LEFT: f64 = 10.0;
const RIGHT: f64 = 240.0;
/// The floor of each strip.
const FLOORS: [f64; 2] = [54.0, 93.0];
const HEIGHT: f64 = 26.0;
/// Size of a strip's name.
const NAME: f64 = 6.0;
/// A column of dots.
const COLUMN: f64 = 4.0;

pub(in crate::handout) const LEGEND: &str = "A dot a board: filled, the baseline; hollow, the candidate; where a column holds too many, a bar. Thick upright line: limit; an arrow where it lies beyond the scale; short upright stroke: mean.";

/// The strips of a metric that has values in both lots.
pub(in crate::handout) fn picture(row: &Row) -> Option<Picture> {
    let samples = [
        row.baseline.sample.as_ref()?,
        row.candidate.sample.as_ref()?,
    ];
    let ends = |pick: fn(&Sample) -> f64| samples.map(pick);
    let low = ends(|s| s.sorted()[0])
        .into_iter()
        .fold(f64::INFINITY, f64::min);
    let high = ends(|s| s.sorted()[s.count() - 1])
        .into_iter()
        .fold(f64::NEG_INFINITY, f64::max);
    // A limit shares the scale up to a dozen times the readings' own width.
    let reach = 12.0 * (high - low).max(1e-3 * high.abs());
    let bound =
        |value: Option<f64>| value.filter(|v| (v - low).abs().min((v - high).abs()) <= reach);
    let limit = row.limit;
    let lower = limit.and_then(|limit| limit.lower);
    let upper = limit.and_then(|limit| limit.upper);
    let shown = [bound(lower), bound(upper)];
    let (factor, unit) = unit_for(low.abs().max(high.abs()), row.dimension);
    let all = [low, high].into_iter().chain(shown.into_iter().flatten());
    let scale = Scale::over(all.map(|si| si / factor), false);
    let x = |si: f64| LEFT + scale.share(si / factor) * (RIGHT - LEFT);
    let mut drawing = Drawing::new(SIZE.0, SIZE.1);
    let title = format!("{} {}", row.scenario, in_words(&row.label));
    let title = fitted(&title, 8.5, true, SIZE.0);
    drawing.write((0.0, 8.0), 8.5, true, Anchor::Start, BLACK, title);
    drawing.write((0.0, 18.0), 7.0, false, Anchor::Start, GREY, row.words());
    axis(&mut drawing, scale, &unit);
    for (index, sample) in samples.into_iter().enumerate() {
        let columns: Vec<f64> = sample.values().iter().map(|value| x(*value)).collect();
        strip(&mut drawing, &columns, index);
        let mean = x(sample.moments().mean());
        let ends = [(mean, FLOORS[index] + 1.0), (mean, FLOORS[index] + 6.0)];
        drawing.line(&ends, BLACK, 1.6);
        let word = ["baseline", "candidate"][index];
        let word = format!("{word}, {} boards", sample.count());
        let width = face(false).width(&word) * NAME;
        let at = (
            clear(width, mean, shown.map(|b| b.map(x))),
            FLOORS[index] + 6.0,
        );
        drawing.write(at, NAME, false, Anchor::Start, GREY, word);
    }
    limits(&mut drawing, (lower, shown[0]), true, &x);
    limits(&mut drawing, (upper, shown[1]), false, &x);
    let words = format!(
        "{} {}: baseline mean {} (n {}), candidate mean {} (n {}), limit {}.",
        row.scenario,
        in_words(&row.label),
        show(samples[0].moments().mean(), row.dimension),
        samples[0].count(),
        show(samples[1].moments().mean(), row.dimension),
        samples[1].count(),
        bounds(limit, row.dimension)
    );
    Some(Picture { drawing, words })
}

/// Where a strip's name begins: between the limits that are shown or beside
/// them, and as far as can be from the mean.
fn clear(width: f64, mean: f64, limits: [Option<f64>; 2]) -> f64 {
    let mut edges = vec![LEFT, RIGHT];
    edges.extend(limits.into_iter().flatten());
    edges.sort_by(f64::total_cmp);
    let spans = edges
        .windows(2)
        .map(|pair| (pair[0] + 6.0, pair[1] - 6.0 - width));
    let places = spans.filter(|(from, to)| from <= to);
    let away = |from: &f64| (from - mean).max(mean - from - width);
    let places = places.flat_map(|(from, to)| [from, to]);
    let best = places.max_by(|a, b| away(a).total_cmp(&away(b)));
    best.unwrap_or(LEFT + 6.0)
}

fn axis(drawing: &mut Drawing, scale: Scale, unit: &str) {
    let floor = FLOORS[1] + 9.0;
    drawing.line(&[(LEFT, floor), (RIGHT, floor)], BLACK, 0.8);
    let (ticks, places) = scale.ticks();
    let count = ticks.len();
    for (index, tick) in ticks.into_iter().enumerate() {
        let x = LEFT + scale.share(tick) * (RIGHT - LEFT);
        drawing.line(&[(x, floor), (x, floor + 3.0)], BLACK, 0.6);
        let unit = if index + 1 == count { unit } else { "" };
        let text = format!("{:.places$} {unit}", tick + 0.0);
        let anchor = if x > RIGHT - 16.0 {
            Anchor::End
        } else {
            Anchor::Middle
        };
        let at = (if x > RIGHT - 16.0 { SIZE.0 } else { x }, floor + 11.0);
        drawing.write(at, 7.0, false, anchor, BLACK, text.trim_end());
    }
}

fn strip(drawing: &mut Drawing, places: &[f64], index: usize) {
    let floor = FLOORS[index];
    drawing.line(&[(LEFT, floor), (RIGHT, floor)], PALE, 0.5);
    let columns = ((RIGHT - LEFT) / COLUMN) as usize + 1;
    let mut counts = vec![0_usize; columns];
    for x in places {
        counts[(((x - LEFT) / COLUMN) as usize).min(columns - 1)] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(0).max(1);
    let bars = most > 14;
    let step = (HEIGHT / most as f64).min(3.6);
    for (column, count) in counts.into_iter().enumerate() {
        let x = LEFT + (column as f64 + 0.5) * COLUMN;
        if bars && count > 0 {
            let height = HEIGHT * count as f64 / most as f64;
            let corner = (x - COLUMN * 0.4, floor - height);
            let size = (COLUMN * 0.8, height);
            if index == 0 {
                drawing.block(corner, size, BLACK);
            } else {
                drawing.frame(corner, size, BLACK, 0.7);
            }
            continue;
        }
        for place in 0..count {
            let y = floor - 2.2 - step * place as f64;
            drawing.dot((x, y), index == 1);
        }
    }
}

/// A limit on the scale, or the arrow towards it.
fn limits(
    drawing: &mut Drawing,
    (bound, shown): (Option<f64>, Option<f64>),
    lower: bool,
    x: &impl Fn(f64) -> f64,
) {
    let (top, floor) = (FLOORS[0] - HEIGHT, FLOORS[1] + 9.0);
    if let Some(value) = shown {
        let x = x(value);
        drawing.line(&[(x, top), (x, floor)], BLACK, 2.2);
        return;
    }
    if bound.is_none() {
        return;
    }
    let (tip, back) = if lower {
        (LEFT - 7.0, LEFT - 1.0)
    } else {
        (RIGHT + 7.0, RIGHT + 1.0)
    };
    let y = (FLOORS[0] + FLOORS[1]) / 2.0 - 8.0;
    drawing.shape(&[(tip, y), (back, y - 4.0), (back, y + 4.0)], BLACK);
}
