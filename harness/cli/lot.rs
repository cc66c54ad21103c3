//! `bufferstop records lot`: one lot summed up from the store: yield, what
//! boards failed by, capability, and what drifts. It changes nothing.

use super::arguments::RecordsLot;
use super::exit::Exit;
use super::handing_out;
use super::output::Output;
use super::proposed::proposed;
use super::records::{named, place};
use crate::comparison::{LotSummary, MetricSummary, summarise, terms};
use crate::console::table_within;
use crate::handout::lot_summary;
use crate::handout::lot_words::{self, span};
use crate::ident::{LotName, harmless};
use crate::measurement::in_words;
use crate::sitting::lot;
use crate::store::Kind;
use crate::units::show;
use serde_json::json;

pub(super) fn summed_up(arguments: &RecordsLot, output: Output) -> Result<Exit, Exit> {
    let name = named::<LotName>("the lot", Some(&arguments.lot))?.ok_or(Exit::Usage)?;
    let form = arguments
        .out_file
        .as_deref()
        .map(handing_out::form)
        .transpose()?;
    handing_out::present(&arguments.place)?;
    let (path, kind) = place(&arguments.place)?;
    let readings = lot(&path, &name)?;
    let found = summarise(&readings, &terms(&[&readings]));
    let model = kind == Kind::Model;
    if let (Some(form), Some(file)) = (form, &arguments.out_file) {
        let document = lot_summary(&found, model);
        handing_out::write(file, &handing_out::bytes(&document, form)?)?;
    }
    if arguments.propose_limits {
        say!("{}", proposed(&found, arguments.room));
        return Ok(Exit::Pass);
    }
    if output.json {
        output.document(&json!({ "lot": name, "model": model, "summary": found }));
    } else {
        tell(&found, model, output);
        if let Some(file) = &arguments.out_file {
            say_line!("{}", harmless(&file.display().to_string()));
        }
    }
    Ok(Exit::Pass)
}

fn tell(found: &LotSummary, model: bool, output: Output) {
    let room = output.screen().width;
    let model = if model { "MODEL " } else { "" };
    say_line!(
        "{model}lot {}, {} boards\n",
        found.lot.name,
        found.first_pass.of
    );
    for (words, share) in lot_words::yields(found) {
        let line = format!("{words:<22}{share}");
        say_line!("{}", output.fitted(&line));
    }
    if !found.retested.is_empty() {
        let rows: Vec<Vec<String>> = found.retested.iter().map(lot_words::retest_row).collect();
        say!(
            "\n{}",
            table_within(&["tested again", "runs", "last reason"], &rows, room)
        );
    }
    if !found.failing.is_empty() {
        let rows: Vec<Vec<String>> = lot_words::failing_rows(found);
        let headings = [
            "failed by",
            ">boards",
            ">of failures",
            ">cumulated",
            ">inconclusive",
        ];
        say!("\n{}", table_within(&headings, &rows, room));
    }
    let mut rows: Vec<Vec<String>> = Vec::new();
    let mut scenario = "";
    for metric in &found.metrics {
        if metric.scenario != scenario {
            scenario = &metric.scenario;
            rows.push(vec![scenario.to_owned()]);
        }
        rows.push(line(metric, found.at_last.of));
    }
    let headings = [
        "  metric",
        ">mean",
        ">std. dev.",
        "limit",
        ">Ppk",
        "to look at",
    ];
    say!("\n{}", table_within(&headings, &rows, room));
    for warning in &found.warnings {
        let warning = format!("warning: {}", harmless(warning));
        say_line!("{}", output.fitted(&warning));
    }
}

fn line(metric: &MetricSummary, boards: usize) -> Vec<String> {
    let dimension = metric.dimension;
    let moments = metric.readings.moments;
    let none = || "-".to_owned();
    let mut words: Vec<String> = Vec::new();
    if let Some(chart) = &metric.chart {
        // The report names them; a line of a terminal has no room.
        if !chart.outside.is_empty() {
            words.push(format!("{} outside", chart.outside.len()));
        }
        words.extend(chart.drifts_from.map(|_| "drifts".to_owned()));
    }
    let count = moments.map_or(0, |moments| moments.count());
    if count != boards {
        words.push(format!("n {count}"));
    }
    vec![
        format!("  {}", in_words(&metric.label)),
        moments.map_or_else(none, |moments| show(moments.mean(), dimension)),
        moments.map_or_else(none, |moments| span(moments.sd(), dimension)),
        lot_words::bounds(metric.limit, dimension),
        lot_words::index(metric),
        words.join(", "),
    ]
}
