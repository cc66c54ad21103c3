//! `bufferstop compare`: two lots after a part was substituted, and how many
//! boards such a comparison needs. It reads the store and changes nothing.

use super::arguments::Compare;
use super::exit::Exit;
use super::handing_out;
use super::hindered::complain;
use super::output::Output;
use super::records::{named, place};
use crate::comparison::{
    CheckRow, CheckStandard, LotsCompared, PartRow, PlanSize, Row, compare_lots, plan_sizes, terms,
};
use crate::console::table_within;
use crate::handout::lot_words::{self, span};
use crate::handout::lots_compared;
use crate::ident::{LotName, harmless};
use crate::measurement::in_words;
use crate::plan::Comparison;
use crate::sitting::{Files, lot};
use crate::statistics::equivalence::Margin;
use crate::statistics::lots::{LotComparison, Outcome};
use crate::store::Kind;
use crate::units::{Dimension, show};
use serde_json::json;

pub(super) fn compare(arguments: &Compare, output: Output) -> Exit {
    match compared(arguments, output) {
        Ok(exit) | Err(exit) => exit,
    }
}

fn compared(arguments: &Compare, output: Output) -> Result<Exit, Exit> {
    let baseline = name("--baseline", &arguments.baseline)?;
    let candidate = arguments.candidate.as_deref();
    let candidate = candidate
        .map(|text| name("--candidate", text))
        .transpose()?;
    let form = arguments
        .out_file
        .as_deref()
        .map(handing_out::form)
        .transpose()?;
    let stated = stated(arguments)?;
    let (path, kind) = place(&arguments.place)?;
    handing_out::present(&arguments.place)?;
    let before = lot(&path, &baseline)?;
    let Some(candidate) = candidate else {
        let terms = stated.unwrap_or_else(|| terms(&[&before]));
        let boards = plan_sizes(&before, &terms);
        sizes(&boards, terms.power, output);
        return Ok(Exit::Pass);
    };
    let after = lot(&path, &candidate)?;
    // Who substitutes a part writes the margins into the plan of the new lot.
    let terms = stated.unwrap_or_else(|| terms(&[&after, &before]));
    let found = compare_lots(&before, &after, &terms);
    let model = kind == Kind::Model;
    if let (Some(form), Some(file)) = (form, &arguments.out_file) {
        let document = lots_compared(&found, model);
        handing_out::write(file, &handing_out::bytes(&document, form)?)?;
    }
    if output.json {
        output.document(&json!({
            "baseline": baseline, "candidate": candidate, "model": model, "comparison": found,
        }));
    } else {
        let room = output.screen().width;
        tell(&found, model, arguments.boards_needed, room);
        if let Some(file) = &arguments.out_file {
            say_line!("{}", harmless(&file.display().to_string()));
        }
    }
    Ok(match found.outcome {
        Outcome::Equivalent => Exit::Pass,
        Outcome::Different => Exit::Fail,
        Outcome::NotEnough => Exit::Inconclusive,
    })
}

fn name(option: &str, text: &str) -> Result<LotName, Exit> {
    named::<LotName>(option, Some(text))?.ok_or(Exit::Usage)
}

/// What `--plan` says of comparisons.
fn stated(arguments: &Compare) -> Result<Option<Comparison>, Exit> {
    let Some(path) = &arguments.plan else {
        return Ok(None);
    };
    let mut files = Files::default();
    let plan = files.plan(path);
    match (complain(&files, true), plan) {
        (Some(exit), _) => Err(exit),
        (None, Some(plan)) => Ok(Some(plan.comparison)),
        (None, None) => Err(Exit::File),
    }
}

/// The order in which outcomes are told: what somebody must act on first.
const GROUPS: [(Option<Outcome>, bool, &str); 5] = [
    (Some(Outcome::Different), false, "DIFFERENT"),
    (Some(Outcome::NotEnough), false, "NOT ENOUGH BOARDS"),
    (
        Some(Outcome::Equivalent),
        true,
        "EQUIVALENT, SHIFT DETECTED",
    ),
    (Some(Outcome::Equivalent), false, "EQUIVALENT"),
    (None, false, "RECORDED ONLY"),
];

fn tell(found: &LotsCompared, model: bool, boards_needed: bool, room: usize) {
    let model = if model { "MODEL " } else { "" };
    let (before, after) = (&found.baseline, &found.candidate);
    say_line!(
        "{model}{} ({} boards) against {} ({} boards)",
        after.name,
        after.boards,
        before.name,
        before.boards
    );
    for lot in [before, after] {
        if lot.earlier_runs > 0 {
            say_line!(
                "lot {}: {} earlier runs of boards tested again are left out",
                lot.name,
                lot.earlier_runs
            );
        }
    }
    for key in [true, false] {
        let rows: Vec<&Row> = found.rows.iter().filter(|row| row.key == key).collect();
        if !key && !rows.is_empty() {
            say_line!("\nThe other metrics, which do not decide:");
        }
        for (outcome, shifted, title) in GROUPS {
            let in_group = |row: &&&Row| {
                let split = outcome != Some(Outcome::Equivalent) || row.shift_detected == shifted;
                row.outcome == outcome && split
            };
            let group: Vec<&Row> = rows.iter().filter(in_group).copied().collect();
            if !group.is_empty() {
                say_line!("\n{title}");
                say!("{}", rows_told(&group, boards_needed, room));
            }
        }
    }
    if let Some(check) = &found.check_standard {
        say_line!("\n{}", standard(found, check, room));
    }
    if !found.parts.is_empty() {
        say_line!("\n{}", parts(&found.parts, room));
    }
    for warning in &found.warnings {
        say_line!("warning: {}", harmless(warning));
    }
    say_line!("\n{model}{}", lot_words::conclusion(found));
}

fn rows_told(rows: &[&Row], boards_needed: bool, room: usize) -> String {
    let needed = boards_needed || rows.iter().any(|row| row.more_boards.is_some());
    let mut headings = vec![
        "  metric",
        ">baseline",
        ">shift",
        "90 % interval",
        ">margin",
    ];
    if needed {
        headings.push(">boards");
    }
    let mut lines: Vec<Vec<String>> = Vec::new();
    let mut scenario = "";
    for row in rows {
        if row.scenario != scenario {
            scenario = &row.scenario;
            lines.push(vec![scenario.to_owned()]);
        }
        let mut cells = line(row);
        if needed {
            cells.push(boards(row));
        }
        lines.push(cells);
        // Across the table: the columns fill a terminal already.
        if let Some(remark) = remark(row) {
            lines.push(vec![format!("    ({remark})")]);
        }
    }
    table_within(&headings, &lines, room)
}

fn line(row: &Row) -> Vec<String> {
    let dimension = row.dimension;
    let mean = row.baseline.moments.map(|moments| moments.mean());
    vec![
        format!("  {}", in_words(&row.label)),
        mean.map_or_else(|| "-".to_owned(), |mean| show(mean, dimension)),
        row.difference
            .map_or_else(|| "-".to_owned(), |d| span(d, dimension)),
        lot_words::interval(row),
        margin(row.margin.as_ref(), dimension),
    ]
}

fn margin(margin: Option<&Margin>, dimension: Dimension) -> String {
    margin.map_or_else(
        || "-".to_owned(),
        |margin| lot_words::margin(margin, dimension),
    )
}

/// Boards a lot needs, and how many more that is.
fn boards(row: &Row) -> String {
    // What lots of one size need is not what lots of two sizes lack.
    let one_size = |comparison: &LotComparison| {
        row.more_boards.is_none() || comparison.baseline.count() == comparison.candidate.count()
    };
    let needed = row
        .comparison
        .filter(one_size)
        .and_then(|comparison| comparison.boards_needed);
    match (needed, row.more_boards) {
        (Some(needed), Some(more)) => format!("{needed} (+{more})"),
        (Some(needed), None) => needed.to_string(),
        (None, Some(more)) => format!("(+{more})"),
        (None, None) => "-".to_owned(),
    }
}

fn remark(row: &Row) -> Option<String> {
    let nothing_demanded = row.outcome.is_none() && row.difference.is_some();
    let words = row.remark.iter().filter(|_| !nothing_demanded);
    let mut words: Vec<String> = words.cloned().collect();
    if row.remark.is_none() && row.outcome == Some(Outcome::NotEnough) && row.more_boards.is_none()
    {
        let text = row.words();
        let why = text.split_once(": ").map(|(_, why)| why.to_owned());
        words.extend(why);
    }
    let left_out = row.baseline.censored + row.candidate.censored;
    if left_out > 0 {
        words.push(format!("{left_out} bounds left out"));
    }
    (!words.is_empty()).then(|| words.join("; "))
}

/// Metrics of the check standard that weigh: where it adds a tenth of the margin
/// or more. The report tells all.
fn standard(found: &LotsCompared, check: &CheckStandard, room: usize) -> String {
    let weighs = |row: &&CheckRow| {
        let mut rows = found.rows.iter();
        let of = rows.find(|of| of.scenario == row.scenario && of.label == row.label);
        let margin = of.and_then(|of| of.margin);
        margin.is_some_and(|margin| row.common.u >= 0.1 * margin.upper().min(-margin.lower()))
    };
    let shown: Vec<&CheckRow> = check.rows.iter().filter(weighs).collect();
    let rest = check.rows.len() - shown.len();
    let rows: Vec<Vec<String>> = shown.into_iter().map(lot_words::check_cells).collect();
    let headings = [
        "metric",
        ">baseline (n)",
        ">candidate (n)",
        ">difference",
        ">std. dev.",
        ">adds u",
    ];
    let mut text = format!(
        "check standard {}: what the bench itself did between the lots\n",
        harmless(&check.serial)
    );
    if !rows.is_empty() {
        text.push_str(&table_within(&headings, &rows, room));
    }
    if rest > 0 {
        text.push_str(&format!(
            "it adds less than a tenth of the margin, or there is none, for {rest} metrics"
        ));
    }
    text
}

fn parts(parts: &[PartRow], room: usize) -> String {
    let rows: Vec<Vec<String>> = parts.iter().map(lot_words::part_cells).collect();
    table_within(&["part", "baseline", "candidate", ""], &rows, room)
}

fn sizes(found: &[PlanSize], power: f64, output: Output) {
    let key = found.iter().filter(|size| size.key);
    let most = key.filter_map(|size| size.boards).max();
    if output.json {
        output.document(&json!({ "metrics": found, "power": power, "boards_a_lot": most }));
        return;
    }
    let rows: Vec<Vec<String>> = found
        .iter()
        .map(|size| {
            let moments = size.baseline.moments;
            let shown =
                |si: Option<f64>| si.map_or_else(|| "-".to_owned(), |si| show(si, size.dimension));
            let spread = moments.map(|m| span(m.sd(), size.dimension));
            vec![
                format!("{} {}", size.scenario, in_words(&size.label)),
                moments.map_or(0, |moments| moments.count()).to_string(),
                shown(moments.map(|moments| moments.mean())),
                spread.unwrap_or_else(|| "-".to_owned()),
                margin(size.margin.as_ref(), size.dimension),
                size.boards
                    .map_or_else(|| "-".to_owned(), |boards| boards.to_string()),
                if size.key { "" } else { "does not decide" }.to_owned(),
            ]
        })
        .collect();
    let headings = [
        "metric",
        ">n",
        ">mean",
        ">std. dev.",
        ">margin",
        ">boards",
        "",
    ];
    let room = output.screen().width;
    say_line!("{}", table_within(&headings, &rows, room));
    match most {
        Some(most) => say_line!(
            "{most} boards in each lot prove every metric that decides equivalent with {:.0} % power, if the \
             lots are alike\n(each metric on its own, and the bench adding nothing from day to day)",
            100.0 * power
        ),
        None => say_line!("the baseline's numbers do not show how many boards are needed"),
    }
}
