//! `bufferstop compare`: two lots after a part was substituted, and how many
//! boards such a comparison needs. It reads the store and changes nothing.

use super::arguments::Compare;
use super::exit::Exit;
use super::output::Output;
use super::records::{named, open};
use super::session::store_exit;
use crate::comparison::{LotsCompared, PlanSize, Readings, Row, compare_lots, latest, plan_sizes};
use crate::console::table;
use crate::ident::{LotName, harmless};
use crate::record::Record;
use crate::statistics::lots::Outcome;
use crate::store::{Filter, Reader};
use crate::units::{Dimension, show};
use serde_json::json;

/// The margin as a share of the distance to the nearer limit (house rule).
const MARGIN_SHARE: f64 = 0.25;

pub(super) fn compare(arguments: &Compare, output: Output) -> Exit {
    match compared(arguments, output) {
        Ok(exit) | Err(exit) => exit,
    }
}

fn compared(arguments: &Compare, output: Output) -> Result<Exit, Exit> {
    let baseline = named::<LotName>("--baseline", Some(&arguments.baseline))?;
    let candidate = named::<LotName>("--candidate", arguments.candidate.as_deref())?;
    let reader = open(&arguments.place)?;
    let before = lot(&reader, baseline)?;
    let Some(candidate) = candidate else {
        sizes(&plan_sizes(&before, MARGIN_SHARE), before.len(), output);
        return Ok(Exit::Pass);
    };
    let after = lot(&reader, Some(candidate))?;
    let found = compare_lots(&before, &after, MARGIN_SHARE);
    if output.json {
        output.document(&json!({
            "baseline": arguments.baseline, "candidate": arguments.candidate, "model": arguments.place.model,
            "comparison": found,
        }));
    } else {
        tell(arguments, &found);
    }
    Ok(match found.outcome {
        Outcome::Equivalent => Exit::Pass,
        Outcome::Different => Exit::Fail,
        Outcome::NotEnough => Exit::Inconclusive,
    })
}

/// The last whole run of each board of the lot.
fn lot(reader: &Reader, name: Option<LotName>) -> Result<Vec<Record>, Exit> {
    let filter = Filter {
        lot: name.clone(),
        diagnosis: Some(false),
        open: Some(false),
        ..Filter::default()
    };
    let mut records = Vec::new();
    for run in reader.runs(&filter) {
        let run = run.map_err(|fault| store_exit(&fault))?;
        // A run that was cut short says nothing of the lot.
        if run.abort.is_none() {
            records.push(super::records::record(reader, &run.run)?);
        }
    }
    let (records, earlier) = latest(records);
    let name = name.map_or_else(String::new, |name| name.to_string());
    if records.is_empty() {
        anstream::eprintln!("no finished run of lot {name} is in this store");
        return Err(Exit::Usage);
    }
    if earlier > 0 {
        anstream::eprintln!(
            "lot {name}: {earlier} earlier runs of boards tested again are left out"
        );
    }
    Ok(records)
}

fn tell(arguments: &Compare, found: &LotsCompared) {
    let model = if arguments.place.model { "MODEL " } else { "" };
    anstream::println!(
        "{model}{} ({} boards) against {} ({} boards)\n",
        arguments.candidate.as_deref().unwrap_or_default(),
        found.candidate_boards,
        arguments.baseline,
        found.baseline_boards
    );
    let mut headings = vec![
        "metric",
        ">n",
        ">baseline",
        ">spread",
        ">n",
        ">candidate",
        ">spread",
        ">shift",
        "90 % interval",
        ">margin",
        "outcome",
    ];
    if arguments.plan_size {
        headings.insert(10, ">boards");
    }
    let mut scenario = "";
    for row in &found.rows {
        if row.scenario != scenario {
            scenario = &row.scenario;
            let rows = found.rows.iter().filter(|row| row.scenario == scenario);
            let cells: Vec<Vec<String>> = rows.map(|row| line(row, arguments.plan_size)).collect();
            anstream::println!("{}\n{}", harmless(scenario), table(&headings, &cells));
        }
    }
    let changed: Vec<Vec<String>> = found
        .parts
        .iter()
        .map(|part| {
            let text = |part: &Option<String>| part.clone().unwrap_or_else(|| "-".to_owned());
            let mark = if part.baseline == part.candidate {
                ""
            } else {
                "substituted"
            };
            vec![
                part.place.clone(),
                text(&part.baseline),
                text(&part.candidate),
                mark.to_owned(),
            ]
        })
        .collect();
    if !changed.is_empty() {
        anstream::println!(
            "{}",
            table(&["part", "baseline", "candidate", ""], &changed)
        );
    }
    for warning in &found.warnings {
        anstream::println!("warning: {}", harmless(warning));
    }
    anstream::println!(
        "{model}{}  margin {:.0} % of the way from the baseline's mean to the nearer limit, alpha 5 %",
        word(found.outcome).to_uppercase(),
        100.0 * found.margin_share
    );
}

fn line(row: &Row, plan_size: bool) -> Vec<String> {
    let dimension = row.dimension;
    let optional =
        |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |v| show(v, dimension));
    let mut cells = vec![format!("  {}", row.label.replace('_', " "))];
    cells.extend(numbers(&row.baseline, dimension));
    cells.extend(numbers(&row.candidate, dimension));
    cells.push(optional(row.difference));
    cells.push(row.interval.map_or_else(
        || "-".to_owned(),
        |interval| {
            format!(
                "{} to {}",
                show(interval.lower, dimension),
                show(interval.upper, dimension)
            )
        },
    ));
    cells.push(optional(row.margin));
    if plan_size {
        let boards = row
            .comparison
            .and_then(|comparison| comparison.boards_needed);
        cells.push(boards.map_or_else(|| "-".to_owned(), |boards| boards.to_string()));
    }
    let outcome = row.outcome.map(word);
    let words = [outcome.map(str::to_owned), row.remark.clone()];
    let left_out = row.baseline.censored + row.candidate.censored;
    let left_out = (left_out > 0).then(|| format!("{left_out} bounds left out"));
    let words: Vec<String> = words.into_iter().flatten().chain(left_out).collect();
    cells.push(words.join("; "));
    cells
}

/// Number, mean, spread.
fn numbers(readings: &Readings, dimension: Dimension) -> [String; 3] {
    match &readings.moments {
        None => ["0", "-", "-"].map(str::to_owned),
        Some(moments) => [
            moments.count().to_string(),
            show(moments.mean(), dimension),
            show(moments.sd(), dimension),
        ],
    }
}

const fn word(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Equivalent => "equivalent",
        Outcome::Different => "different",
        Outcome::NotEnough => "not enough boards",
    }
}

fn sizes(found: &[PlanSize], boards: usize, output: Output) {
    let most = found.iter().filter_map(|size| size.boards).max();
    if output.json {
        output.document(
            &json!({ "boards_measured": boards, "metrics": found, "boards_a_lot": most }),
        );
        return;
    }
    let rows: Vec<Vec<String>> = found
        .iter()
        .map(|size| {
            let margin = size
                .margin
                .map_or_else(|| "-".to_owned(), |m| show(m, size.dimension));
            let [count, mean, spread] = numbers(&size.baseline, size.dimension);
            let needed = size
                .boards
                .map_or_else(|| "-".to_owned(), |boards| boards.to_string());
            let label = size.label.replace('_', " ");
            vec![
                size.scenario.clone(),
                label,
                count,
                mean,
                spread,
                margin,
                needed,
            ]
        })
        .collect();
    let headings = [
        "scenario", "metric", ">n", ">mean", ">spread", ">margin", ">boards",
    ];
    anstream::println!("{}", table(&headings, &rows));
    match most {
        Some(most) => anstream::println!(
            "{most} boards in each lot prove every metric equivalent nine times in ten, if the lots are alike (each metric on its own)"
        ),
        None => anstream::println!("the baseline's numbers do not tell how many boards are needed"),
    }
}
