//! The content of a lot summary's report: yield, what boards failed by,
//! capability, board-to-board charts. It lays nothing out.

use super::block::{Block, Handout, Head, ROOMY, grouped};
use super::figures::{chart, pareto};
use super::lot_words::{
    bounds, failing_rows, index_interval, or_dash, pair, retest_row, span, yields,
};
use crate::comparison::{LotSummary, MetricSummary};
use crate::measurement::in_words;
use crate::units::show;

/// Charts on a report; the table holds every metric.
const MOST_CHARTS: usize = 12;
/// Metrics named in the first lines.
const MOST_NAMED: usize = 3;
/// Ppk from which a metric is far enough from its limits (common practice, no
/// source).
const CAPABLE: f64 = 1.33;

/// A lot summed up. `model` says that no real board was measured.
pub fn lot_summary(found: &LotSummary, model: bool) -> Handout {
    let prefix = if model { "MODEL " } else { "" };
    let lot = &found.lot;
    let mut first: Vec<String> = yields(found)
        .map(|(word, share)| format!("{word}: {share}"))
        .into();
    first.push(worst(found));
    first.push(drifting(found));
    let mut blocks = vec![Block::framed(first)];
    if !found.failing.is_empty() {
        blocks.push(Block::heading("What boards failed by, first runs"));
        blocks.push(Block::Pictures(1, vec![pareto::picture(found)]));
        blocks.push(Block::table(
            "failed by | >boards | >of failures | >cumulated | >inconclusive",
            failing_rows(found),
        ));
    }
    if !found.retested.is_empty() {
        blocks.push(Block::heading("Boards tested again"));
        blocks.push(Block::table(
            "serial number | runs | last reason",
            found.retested.iter().map(retest_row),
        ));
    }
    charts(found, &mut blocks);
    blocks.push(Block::heading("Capability, last run of each board"));
    blocks.push(capability(found));
    blocks.push(Block::text(LEGEND));
    if !found.parts.is_empty() {
        blocks.push(Block::heading("Parts, revision, firmware"));
        let rows = found
            .parts
            .iter()
            .map(|(place, part)| vec![place.clone(), part.clone()]);
        blocks.push(Block::table("place | part", rows));
    }
    blocks.extend(found.warnings.iter().map(|text| Block::Text(text.clone())));
    let (passed, of) = (found.at_last.boards, found.at_last.of);
    let headline = format!("{prefix}{passed} of {of} passed");
    let about = format!("Lot {}", lot.name);
    let head = Head {
        model,
        identity: format!("lot {}", lot.name),
        at: lot.until.unwrap_or(jiff::Timestamp::UNIX_EPOCH),
        ..Head::of_many("Lot summary", headline, about)
    };
    Handout {
        head,
        blocks,
        layout: &ROOMY,
    }
}

const LEGEND: &str = "Ppk: distance from the mean to the nearer limit over three standard deviations, with its 95 % interval; it means little where readings are far from normal. 95/95: holds 95 % of all such boards with 95 % confidence. Outliers: generalised extreme studentised deviates at 5 %. Bounds are left out and counted.";

fn capability<'a>(found: &'a LotSummary) -> Block {
    let row = |metric: &'a MetricSummary| {
        let dimension = metric.dimension;
        let moments = metric.readings.moments;
        let tolerance = metric.spread.as_ref().and_then(|spread| spread.tolerance);
        let mut notes: Vec<String> = Vec::new();
        if !metric.outliers.is_empty() {
            let (first, rest) = metric.outliers.split_at(metric.outliers.len().min(3));
            let mut text = format!("outliers {}", first.join(", "));
            if !rest.is_empty() {
                text.push_str(&format!(" and {} more", rest.len()));
            }
            notes.push(text);
        }
        if metric.readings.censored > 0 {
            notes.push(format!("{} bounds left out", metric.readings.censored));
        }
        if metric.readings.unknown > 0 {
            notes.push(format!("{} not measured", metric.readings.unknown));
        }
        if let Some(chart) = &metric.chart {
            let drifts = chart.drifts_from.map(|at| &chart.serials[at]);
            notes.extend(drifts.map(|serial| format!("drifts from {serial}")));
        }
        let cells = vec![
            in_words(&metric.label),
            moments.map_or(0, |m| m.count()).to_string(),
            or_dash(moments.map(|m| show(m.mean(), dimension))),
            or_dash(moments.map(|m| span(m.sd(), dimension))),
            bounds(metric.limit, dimension),
            index_interval(metric),
            or_dash(tolerance.map(|i| pair(i.lower, i.upper, dimension))),
            notes.join("; "),
        ];
        (metric.scenario.as_str(), cells)
    };
    Block::table(
        "metric | >n | >mean | >std. dev. | >limit | >Ppk | >95/95 | to look at",
        grouped(found.metrics.iter().map(row)),
    )
}

/// By what boards failed, the most frequent first.
fn worst(found: &LotSummary) -> String {
    let named = failing_rows(found);
    let named = named.iter().take(MOST_NAMED).map(|row| match row.get(1) {
        Some(boards) => format!("{} ({boards})", row[0].trim()),
        None => row[0].trim().to_owned(),
    });
    let named: Vec<String> = named.collect();
    match (named.len(), found.failing.len()) {
        (0, _) => "what failed: nothing".to_owned(),
        (shown, all) if all > shown => {
            format!("what failed: {} and {} more", named.join(", "), all - shown)
        }
        _ => format!("what failed: {}", named.join(", ")),
    }
}

/// What drifts from board to board, and from which one on.
fn drifting(found: &LotSummary) -> String {
    let drifting = found.metrics.iter().filter_map(|metric| {
        let chart = metric.chart.as_ref()?;
        let serial = &chart.serials[chart.drifts_from?];
        let name = format!("{} {}", metric.scenario, in_words(&metric.label));
        Some(format!("{name} from {serial}"))
    });
    let drifting: Vec<String> = drifting.collect();
    match drifting.len() {
        0 => "what drifts: nothing".to_owned(),
        all if all > MOST_NAMED => format!(
            "what drifts: {} and {} more",
            drifting[..MOST_NAMED].join(", "),
            all - MOST_NAMED
        ),
        _ => format!("what drifts: {}", drifting.join(", ")),
    }
}

/// Why a metric needs attention; nothing where it does not.
fn why(metric: &MetricSummary) -> Option<String> {
    let mut reasons = Vec::new();
    if let Some(chart) = &metric.chart {
        let drifts = chart.drifts_from.map(|at| &chart.serials[at]);
        reasons.extend(drifts.map(|serial| format!("it drifts from {serial} on")));
        if !chart.outside.is_empty() {
            let count = chart.outside.len();
            reasons.push(match count {
                1 => "1 board is outside its control limits".to_owned(),
                _ => format!("{count} boards are outside its control limits"),
            });
        }
    }
    let nearer = nearest(metric);
    if nearer < CAPABLE {
        reasons.push(format!("its Ppk of {nearer:.2} is below {CAPABLE}"));
    }
    (!reasons.is_empty()).then(|| reasons.join("; "))
}

/// The performance index to the nearer limit.
fn nearest(metric: &MetricSummary) -> f64 {
    let indices = metric.spread.as_ref().and_then(|spread| spread.performance);
    indices.map_or(f64::INFINITY, |indices| indices.nearer.value)
}

/// Charts in the order in which they need attention: what drifts, what has boards
/// outside its control limits, what is near its limit, then key metrics. The
/// table before them says why.
fn charts(found: &LotSummary, blocks: &mut Vec<Block>) {
    let mut metrics: Vec<&MetricSummary> = found
        .metrics
        .iter()
        .filter(|metric| metric.chart.is_some() && metric.limit.is_some())
        .collect();
    metrics.sort_by(|a, b| {
        let rank = |metric: &MetricSummary| {
            let chart = metric.chart.as_ref();
            let drifts = chart.is_some_and(|chart| chart.drifts_from.is_some());
            let outside = chart.is_some_and(|chart| !chart.outside.is_empty());
            let near = nearest(metric) < CAPABLE;
            (!drifts, !outside, !near, !metric.key)
        };
        rank(a)
            .cmp(&rank(b))
            .then(nearest(a).total_cmp(&nearest(b)))
    });
    let reasons: Vec<Vec<String>> = metrics
        .iter()
        .filter_map(|metric| {
            let name = format!("{} {}", metric.scenario, in_words(&metric.label));
            Some(vec![name, why(metric)?])
        })
        .collect();
    if !reasons.is_empty() {
        blocks.push(Block::heading("What needs attention, and why"));
        blocks.push(Block::table("metric | why", reasons));
    }
    let left = metrics.len().saturating_sub(MOST_CHARTS);
    let pictures = metrics
        .into_iter()
        .take(MOST_CHARTS)
        .filter_map(chart::picture);
    let pictures = Block::pictures(2, pictures);
    if pictures.is_empty() {
        return;
    }
    blocks.push(Block::heading(
        "From board to board, what needs attention first",
    ));
    blocks.extend(pictures);
    let mut text = chart::LEGEND.to_owned();
    if left > 0 {
        text.push_str(&format!(" {left} further metrics are in the table alone."));
    }
    blocks.push(Block::Text(text));
}
