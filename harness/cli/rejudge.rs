//! `bufferstop rejudge`: recorded captures evaluated and judged again under
//! another plan. It opens no port, knows no instrument and changes no record.

use super::arguments::Rejudge;
use super::exit::Exit;
use super::hindered::complain;
use super::output::Output;
use super::records::{known, named, open, place};
use super::store_fault::store_exit;
use crate::bench_file::Bench;
use crate::comparison::{Change, KeptFault, KeptFiles, Rejudgement, Side, rejudge};
use crate::console::table;
use crate::digest::Digest;
use crate::ident::{LotName, RunId, harmless};
use crate::judgement::Verdict;
use crate::measurement::in_words;
use crate::parallel::{cores, in_order};
use crate::plan::Plan;
use crate::record::Record;
use crate::sitting::{self, Files};
use crate::store::{Filter, Reader, StoreError};
use serde_json::json;
use std::collections::BTreeMap;
use std::path::Path;

pub(super) fn again(arguments: &Rejudge, output: Output) -> Exit {
    match rejudged(arguments, output) {
        Ok(exit) | Err(exit) => exit,
    }
}

fn rejudged(arguments: &Rejudge, output: Output) -> Result<Exit, Exit> {
    let lot = named::<LotName>("--lot", arguments.which.lot.as_deref())?;
    let mut files = Files::default();
    let plan = arguments.plan.as_deref().map(|path| files.plan(path));
    if let Some(exit) = complain(&files, true) {
        return Err(exit);
    }
    let plan = match plan {
        Some(None) => return Err(Exit::File),
        Some(plan) => plan,
        None => None,
    };
    let reader = open(&arguments.place)?;
    let (runs, open_runs) = runs(&reader, arguments, lot)?;
    if open_runs > 0 {
        warn_line!("{open_runs} unfinished runs are left out");
    }
    if runs.is_empty() {
        warn_line!("no run matches");
        return Err(Exit::Usage);
    }
    drop(reader);
    let (path, _) = place(&arguments.place)?;
    let mut exit = Exit::Pass;
    let mut tally = Tally::default();
    every(&path, &runs, plan.as_ref(), |run, judged| match judged {
        Ok(again) => {
            exit = exit.or(status(&again));
            tally.count(&again);
            tell(&again, output);
        }
        Err(Fault::Store(fault)) => exit = exit.or(store_exit(&fault)),
        Err(Fault::Kept(fault)) => {
            warn_line!("run {run} cannot be judged again: {}", harmless(&fault));
            exit = exit.or(Exit::File);
        }
    });
    tally.tell(output);
    Ok(exit)
}

/// The finished runs asked for, and how many unfinished ones are left out.
fn runs(
    reader: &Reader,
    arguments: &Rejudge,
    lot: Option<LotName>,
) -> Result<(Vec<RunId>, usize), Exit> {
    if let Some(run) = &arguments.which.run {
        return Ok((vec![known(reader, run)?], 0));
    }
    let filter = Filter {
        lot,
        diagnosis: Some(false),
        ..Filter::default()
    };
    let (mut runs, mut open) = (Vec::new(), 0);
    for run in reader.runs(&filter) {
        let run = run.map_err(|fault| store_exit(&fault))?;
        if run.finished.is_some() {
            runs.push(run.run);
        } else {
            open += 1;
        }
    }
    Ok((runs, open))
}

/// Why a run could not be judged again.
enum Fault {
    Store(StoreError),
    /// What the record keeps is not enough.
    Kept(String),
}

type Judged = Result<Rejudgement, Fault>;

/// Judges every run on all cores and tells each as soon as the order of the
/// runs allows, so that few are held.
fn every(path: &Path, runs: &[RunId], plan: Option<&Plan>, mut each: impl FnMut(&RunId, Judged)) {
    let begin = || (Reader::open(path), None);
    let work = |(reader, kept): &mut (Result<Reader, StoreError>, Option<Kept>), index: usize| {
        Some(match reader {
            Ok(reader) => one(reader, &runs[index], plan, kept),
            Err(fault) => Err(Fault::Store(fault.clone())),
        })
    };
    in_order(cores(), runs.len(), begin, work, |index, judged| {
        each(&runs[index], judged);
        true
    });
}

/// The plan and the bench of a run; the next run mostly has the same ones.
struct Kept {
    files: Vec<Digest>,
    plan: Result<Plan, KeptFault>,
    bench: Result<Bench, KeptFault>,
}

impl Kept {
    fn of(record: &Record) -> Self {
        let files = KeptFiles::of(&record.started);
        Self {
            files: digests(record),
            plan: files.plan(),
            bench: files.bench(),
        }
    }
}

fn digests(record: &Record) -> Vec<Digest> {
    let files = record.started.files.iter();
    files.map(|file| file.digest).collect()
}

fn one(reader: &Reader, run: &RunId, plan: Option<&Plan>, kept: &mut Option<Kept>) -> Judged {
    let record = reader.record(run).map_err(Fault::Store)?;
    let record = record.ok_or_else(|| Fault::Kept("it has no entry".to_owned()))?;
    let kept = match kept {
        Some(kept) if kept.files == digests(&record) => kept,
        _ => kept.insert(Kept::of(&record)),
    };
    let (plan, driven_by) = match (plan, &kept.plan) {
        (Some(plan), kept) => (plan, kept.as_ref().ok()),
        (None, Ok(kept)) => (kept, Some(kept)),
        (None, Err(fault)) => return Err(Fault::Kept(fault.to_string())),
    };
    let bench = kept
        .bench
        .as_ref()
        .map_err(|fault| Fault::Kept(fault.to_string()))?;
    let mut evaluated = BTreeMap::new();
    for scenario in &plan.scenarios {
        let mut recorded = record.scenarios.iter();
        let recorded = recorded
            .find(|old| old.name == scenario.name && old.kind == scenario.kind.word())
            .and_then(|old| old.observations.last());
        let Some(digest) = recorded else { continue };
        let seen = reader.observation(digest).map_err(Fault::Store)?;
        if let Some(seen) = seen {
            let metrics = sitting::metrics(plan, scenario, bench, &seen);
            evaluated.insert(scenario.name.clone(), metrics);
        }
    }
    Ok(rejudge(&record, plan, driven_by, &evaluated))
}

/// The status of its verdict; a diagnosis never accepts.
fn status(again: &Rejudgement) -> Exit {
    match (again.after, &again.only) {
        (Verdict::Pass, Some(_)) => Exit::Inconclusive,
        (verdict, _) => Exit::of(verdict),
    }
}

fn tell(again: &Rejudgement, output: Output) {
    if output.json {
        output.line(&json!({ "rejudged": again }));
        return;
    }
    let model = if again.model { "MODEL " } else { "" };
    let only = again.only.as_ref().map_or("", |_| "DIAGNOSIS ");
    let turned = if again.before == again.after {
        format!("{model}{only}{} as before", again.after)
    } else {
        format!("{model}{only}{}, was {}", again.after, again.before)
    };
    say_line!("{}  {turned}  run {}", again.serial, again.run);
    for remark in &again.remarks {
        say_line!("  note: {}", harmless(remark));
    }
    if again.changes.is_empty() {
        return;
    }
    let rows: Vec<Vec<String>> = again.changes.iter().map(row).collect();
    let shown = table(
        &["  scenario", "metric", ">value", "verdict", "was", "why"],
        &rows,
    );
    say_line!("{shown}");
}

fn row(change: &Change) -> Vec<String> {
    let word = |side: &Option<Side>| match side {
        None => "-".to_owned(),
        Some(side) => side
            .verdict
            .map_or_else(|| "no limit".to_owned(), |verdict| verdict.to_string()),
    };
    let value = change.after.as_ref().or(change.before.as_ref());
    vec![
        format!("  {}", change.scenario),
        in_words(&change.label),
        value.map_or_else(String::new, |side| side.finding.show(change.dimension)),
        word(&change.after),
        word(&change.before),
        change.why.clone(),
    ]
}

#[derive(Default)]
struct Tally {
    runs: usize,
    turned: usize,
    metrics: usize,
}

impl Tally {
    fn count(&mut self, again: &Rejudgement) {
        self.runs += 1;
        self.turned += usize::from(again.before != again.after);
        self.metrics += again.changes.len();
    }

    fn tell(&self, output: Output) {
        let Self {
            runs,
            turned,
            metrics,
        } = self;
        if output.json {
            output.line(
                &json!({ "summary": { "runs": runs, "verdicts_changed": turned, "metrics_changed": metrics } }),
            );
        } else {
            say_line!(
                "\nruns judged again {runs}, verdicts changed {turned}, metrics changed {metrics}; the records stay as they were"
            );
        }
    }
}
