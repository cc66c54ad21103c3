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

/// A lot summed up. `model` says that no real board was measured.
pub fn lot_summary(found: &LotSummary, model: bool) -> Handout {
    let prefix = if model { "MODEL " } else { "" };
    let lot = &found.lot;
    let yields = yields(found).map(|(word, share)| format!("{word}: {share}"));
    let mut blocks = vec![Block::framed(yields)];
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

/// What is not steady first, then key metrics, then those nearest to a limit.
fn charts(found: &LotSummary, blocks: &mut Vec<Block>) {
    let nearest = |metric: &MetricSummary| {
        let indices = metric.spread.as_ref().and_then(|spread| spread.performance);
        indices.map_or(f64::INFINITY, |indices| indices.nearer.value)
    };
    let unsteady = |metric: &MetricSummary| {
        let chart = metric.chart.as_ref();
        chart.is_some_and(|chart| !chart.outside.is_empty() || chart.drifts_from.is_some())
    };
    let mut metrics: Vec<&MetricSummary> = found
        .metrics
        .iter()
        .filter(|metric| metric.chart.is_some() && metric.limit.is_some())
        .collect();
    metrics.sort_by(|a, b| {
        let rank = |metric: &MetricSummary| (!unsteady(metric), !metric.key);
        rank(a)
            .cmp(&rank(b))
            .then(nearest(a).total_cmp(&nearest(b)))
    });
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
        "From board to board, in the order of serial numbers",
    ));
    blocks.extend(pictures);
    let mut text = chart::LEGEND.to_owned();
    if left > 0 {
        text.push_str(&format!(" {left} further metrics are in the table alone."));
    }
    blocks.push(Block::Text(text));
}
