//! The content of a comparison's report: conclusion, pictures, tables,
//! warnings. It lays nothing out.

use super::block::{Block, Handout, Head, ROOMY, grouped};
use super::figures::{shifts, strips};
use super::lot_words::{
    bounds, check_cells, conclusion, interval, margin, or_dash, part_cells, span,
};
use crate::comparison::{CheckStandard, LotFacts, LotsCompared, PartRow, Readings, Row};
use crate::measurement::in_words;
use crate::statistics::lots::Outcome;
use crate::units::{Dimension, show};

/// Strip plots on a report; the tables hold every metric.
const MOST_STRIPS: usize = 12;

/// Two lots compared. `model` says that no real board was measured.
pub fn lots_compared(found: &LotsCompared, model: bool) -> Handout {
    let (before, after) = (&found.baseline, &found.candidate);
    let prefix = if model { "MODEL " } else { "" };
    let headline = match found.outcome {
        Outcome::Equivalent => "EQUIVALENT",
        Outcome::Different => "DIFFERENT",
        Outcome::NotEnough => "NOT ENOUGH BOARDS",
    };
    let mut blocks = vec![Block::framed([conclusion(found)])];
    blocks.push(lots([before, after]));
    if !found.warnings.is_empty() {
        blocks.push(Block::heading(
            "What the shifts could come from besides the boards",
        ));
        blocks.extend(found.warnings.iter().map(|text| Block::Text(text.clone())));
    }
    if !found.parts.is_empty() {
        blocks.push(Block::heading("Parts, revision, firmware"));
        blocks.push(parts(&found.parts));
    }
    let key: Vec<&Row> = found.rows.iter().filter(|row| row.key).collect();
    let rest: Vec<&Row> = found.rows.iter().filter(|row| !row.key).collect();
    blocks.push(Block::heading("Shift against the margin"));
    blocks.extend(Block::pictures(1, shifts::pictures(&key)));
    blocks.push(Block::text(shifts::LEGEND));
    strip_plots(found, &mut blocks);
    let title = if found.key_metrics_named {
        "Key metrics"
    } else {
        "Metrics"
    };
    blocks.push(Block::heading(title));
    blocks.push(metrics(found, &key));
    if !rest.is_empty() {
        blocks.push(Block::heading("Other metrics, which do not decide"));
        blocks.push(metrics(found, &rest));
    }
    if let Some(check) = &found.check_standard {
        let title = format!("Check standard {}", check.serial);
        blocks.push(Block::heading(title));
        blocks.push(Block::text(STANDARD));
        blocks.push(standard(check));
    }
    blocks.push(Block::Text(method(found)));
    let about = format!("{} against {}", after.name, before.name);
    let until = after.until.or(before.until);
    let head = Head {
        model,
        identity: format!("compare {} {}", before.name, after.name),
        at: until.unwrap_or(jiff::Timestamp::UNIX_EPOCH),
        ..Head::of_many("Comparison of lots", format!("{prefix}{headline}"), about)
    };
    Handout {
        head,
        blocks,
        layout: &ROOMY,
    }
}

const STANDARD: &str = "A reference board measured with both lots. What changed in it is the bench's doing: its difference and its standard deviation enter the interval of every shift, divided by no number of boards.";

fn method(found: &LotsCompared) -> String {
    format!(
        "Method: two one-sided tests on the means (Welch) at alpha 5 %, so the 90 % interval lies inside the \
         margin exactly where a metric is equivalent; a wider one, with its confidence beside it, is shown where \
         only that does not lie wholly beyond the margin. What the bench adds has its own Student's t and stands \
         beside the boards' part in root sum of squares, so more boards never lose equivalence. Margin, unless the plan declares one: {:.0} % of the way \
         from the baseline's mean to the nearer limit. All metrics are equivalent only if each is \
         (intersection-union); differences and shifts are claimed after Holm's correction. \"More boards\" are for \
         {:.0} % power, were difference and standard deviation what they seem. Bounds (such as > 198 ms) are left out and \
         counted; a number of boards in brackets stands where it is not the lot's.",
        100.0 * found.margin_share,
        100.0 * found.power
    )
}

fn lots(lots: [&LotFacts; 2]) -> Block {
    let day =
        |at: Option<jiff::Timestamp>| or_dash(at.map(|at| at.strftime("%Y-%m-%d").to_string()));
    let row = |(word, lot): (&str, &LotFacts)| {
        vec![
            word.to_owned(),
            lot.name.clone(),
            lot.boards.to_string(),
            lot.earlier_runs.to_string(),
            day(lot.from),
            day(lot.until),
        ]
    };
    Block::table(
        " | lot | >boards | >earlier runs left out | first run | last run",
        ["baseline", "candidate"].into_iter().zip(lots).map(row),
    )
}

fn parts(parts: &[PartRow]) -> Block {
    let cells = parts.iter().map(part_cells);
    Block::table("place | baseline | candidate | ", cells)
}

fn metrics<'a>(found: &LotsCompared, rows: &[&'a Row]) -> Block {
    let mean = |readings: &Readings, dimension: Dimension, boards: usize| {
        or_dash(readings.moments.map(|m| {
            let mean = show(m.mean(), dimension);
            // The number of boards where it is not the lot's.
            match m.count() {
                count if count == boards => mean,
                count => format!("{mean} ({count})"),
            }
        }))
    };
    let sd = |readings: &Readings, dimension: Dimension| {
        or_dash(readings.moments.map(|m| span(m.sd(), dimension)))
    };
    let row = |row: &&'a Row| {
        let dimension = row.dimension;
        let mut outcome = row.words();
        let left_out = row.baseline.censored + row.candidate.censored;
        if left_out > 0 {
            outcome.push_str(&format!("; {left_out} bounds left out"));
        }
        if let Some(remark) = &row.remark {
            outcome.push_str(&format!("; {remark}"));
        }
        let declared = if row.margin_declared { " (plan)" } else { "" };
        let cells = vec![
            in_words(&row.label),
            mean(&row.baseline, dimension, found.baseline.boards),
            sd(&row.baseline, dimension),
            mean(&row.candidate, dimension, found.candidate.boards),
            sd(&row.candidate, dimension),
            bounds(row.limit, dimension),
            or_dash(row.difference.map(|d| span(d, dimension))),
            interval(row),
            or_dash(row.margin.map(|m| margin(&m, dimension) + declared)),
            outcome,
        ];
        (row.scenario.as_str(), cells)
    };
    Block::table(
        "metric | >baseline | >std. dev. | >candidate | >std. dev. | >limit | >shift | >90 % interval | >margin | outcome",
        grouped(rows.iter().map(row)),
    )
}

fn standard(check: &CheckStandard) -> Block {
    Block::table(
        "metric | >baseline (n) | >candidate (n) | >difference | >std. dev. | >standard uncertainty added",
        grouped(check.rows.iter().map(|row| {
            let mut cells = check_cells(row);
            cells[0] = in_words(&row.label);
            (row.scenario.as_str(), cells)
        })),
    )
}

/// What is not plainly equivalent first, then key metrics.
fn strip_plots(found: &LotsCompared, blocks: &mut Vec<Block>) {
    let rank = |row: &Row| match (row.outcome, row.shift_detected, row.key) {
        (Some(Outcome::Different), _, true) => 0,
        (Some(Outcome::NotEnough), _, true) => 1,
        (_, true, true) => 2,
        (Some(Outcome::Different | Outcome::NotEnough), ..) => 3,
        (_, true, false) => 4,
        (_, _, true) => 5,
        _ => 6,
    };
    let mut rows: Vec<&Row> = found
        .rows
        .iter()
        .filter(|row| row.outcome.is_some())
        .collect();
    rows.sort_by_key(|row| rank(row));
    let drawn: Vec<_> = rows.iter().filter_map(|row| strips::picture(row)).collect();
    if drawn.is_empty() {
        return;
    }
    blocks.push(Block::heading("Every board against the limits"));
    let left = drawn.len().saturating_sub(MOST_STRIPS);
    blocks.extend(Block::pictures(2, drawn.into_iter().take(MOST_STRIPS)));
    let mut text = strips::LEGEND.to_owned();
    if left > 0 {
        text.push_str(&format!(" {left} further metrics are in the tables alone."));
    }
    blocks.push(Block::Text(text));
}
