//! What a case comes to: the faults that `check` would name, and what a run on
//! the model of that bench ends with. It decides nothing about whose fault
//! anything is; the record says that.

use super::case::Texts;
use bufferstop::clock::SystemClock;
use bufferstop::document::{Fault, Severity};
use bufferstop::event::Abort;
use bufferstop::ident::Role;
use bufferstop::judgement::Verdict;
use bufferstop::measurement::{Blame, Finding};
use bufferstop::model_board::{self, BoardParameters};
use bufferstop::plan::{Plan, demo};
use bufferstop::preflight::Preflight;
use bufferstop::profile::{self, Profile};
use bufferstop::record::Record;
use bufferstop::runner::{Entrant, Finished, Particulars, Rehearsal, Stop};
use bufferstop::seed::Seed;
use bufferstop::store::{Durability, Store};
use bufferstop::units::Quantity;
use bufferstop::{bench_file, plan};
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use tempfile::TempDir;
use tokio::sync::watch;

/// Files that `check` calls sound.
pub(super) struct Checked {
    plan: Plan,
    bench: bench_file::Bench,
    profiles: BTreeMap<Role, Profile>,
}

/// What is left of a reader's result once its errors are known.
fn sound<T>(read: Result<(T, Vec<Fault>), Vec<Fault>>, faults: &mut Vec<Fault>) -> Option<T> {
    match read {
        Ok((value, more)) => {
            faults.extend(more);
            Some(value)
        }
        Err(more) => {
            faults.extend(more);
            None
        }
    }
}

impl Checked {
    /// Reads the files as `check` does, each alone and all together.
    ///
    /// # Errors
    /// Every fault that makes them unusable.
    pub(super) fn of(texts: &Texts) -> Result<Self, Vec<Fault>> {
        let mut faults = Vec::new();
        let plan = sound(plan::parse(std::slice::from_ref(&texts.plan)), &mut faults);
        let bench = sound(bench_file::parse(&texts.bench), &mut faults);
        let mut profiles = BTreeMap::new();
        for instrument in bench.iter().flat_map(|bench| &bench.instruments) {
            if let Some(source) = texts.profiles.get(&instrument.role)
                && let Some(profile) = sound(profile::parse(source), &mut faults)
            {
                profiles.insert(instrument.role, profile);
            }
        }
        if let (Some(plan), Some(bench)) = (&plan, &bench) {
            faults.extend(Preflight::of(plan, bench, &profiles).faults);
        }
        faults.retain(|fault| fault.severity == Severity::Error);
        match (plan, bench) {
            (Some(plan), Some(bench)) if faults.is_empty() => Ok(Self {
                plan,
                bench,
                profiles,
            }),
            _ => Err(faults),
        }
    }
}

/// Something that `check` should have named.
#[derive(Clone, Debug)]
pub(super) struct Disagreement {
    /// In which scenario, or of the whole run.
    pub(super) scenario: String,
    /// What happened.
    pub(super) what: String,
    /// Whose fault the record calls it.
    pub(super) blame: String,
}

impl Disagreement {
    /// What two of a kind have in common: their words without their numbers.
    pub(super) fn kind(&self) -> String {
        format!(
            "{} ({}): {}",
            self.scenario,
            self.blame,
            wordless(&self.what)
        )
    }
}

/// Numbers with the unit behind them become `#`.
fn wordless(text: &str) -> String {
    const UNITS: [&str; 16] = [
        "A", "mA", "kA", "V", "mV", "kV", "s", "ms", "us", "ns", "A2s", "J", "W", "ohm", "mohm",
        "min",
    ];
    let mut words: Vec<String> = Vec::new();
    for word in text.split(' ') {
        let bare = word.trim_matches(|c: char| !c.is_alphanumeric());
        let after_number = words.last().is_some_and(|last| last.ends_with('#'));
        if after_number && UNITS.contains(&bare) {
            continue;
        }
        let number = bare.starts_with(|c: char| c.is_ascii_digit());
        words.push(if number {
            "#".to_owned()
        } else {
            word.to_owned()
        });
    }
    words.join(" ")
}

/// What a run ends with beside verdicts.
pub(super) struct Outcome {
    /// Troubles that are not the board's.
    pub(super) troubles: Vec<Disagreement>,
    /// Limits that could not be judged for want of something on the bench or
    /// in the plan; no trouble, but nothing that `check` said either.
    pub(super) unjudged: Vec<Disagreement>,
}

impl Outcome {
    fn only(trouble: Disagreement) -> Self {
        Self {
            troubles: vec![trouble],
            unjudged: Vec::new(),
        }
    }
}

/// What one scenario does: each step's words and whether it energises, and the
/// seconds of bench time that all of them take.
#[derive(Debug)]
pub(super) struct ScenarioSteps {
    pub(super) scenario: String,
    pub(super) steps: Vec<(String, bool)>,
    pub(super) takes: f64,
}

/// Where cases are run: a store of their own and a good board.
pub(super) struct Workshop {
    folder: TempDir,
    board: BoardParameters,
}

impl Workshop {
    pub(super) fn new() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a temporary folder"),
            board: model_board::parse(&demo::board())
                .expect("the demo's board is sound")
                .0
                .nominal,
        }
    }

    /// What a run of `checked` ends with that is neither the board's doing nor
    /// a verdict.
    pub(super) fn run(&self, checked: &Checked) -> Outcome {
        let whole = |what: String| Disagreement {
            scenario: "the run".to_owned(),
            what,
            blame: "nobody".to_owned(),
        };
        let record = match catch_unwind(AssertUnwindSafe(|| self.record(checked))) {
            Ok(Ok(record)) => record,
            Ok(Err(fault)) => return Outcome::only(whole(fault)),
            Err(_) => return Outcome::only(whole("it panics".to_owned())),
        };
        let mut troubles = troubles(&record);
        if record.abort() == Some(&Abort::Harness) {
            troubles.push(whole("it panics inside".to_owned()));
        }
        if record.made_safe() != Some(true) {
            troubles.push(whole("the bench was not made safe".to_owned()));
        }
        Outcome {
            troubles,
            unjudged: unjudged(&record),
        }
    }

    /// The steps that `check` shows of each scenario and those of its run.
    pub(super) fn steps(&self, checked: &Checked) -> Vec<[ScenarioSteps; 2]> {
        let record = self.record(checked).expect("a run");
        let shown = Preflight::of(&checked.plan, &checked.bench, &checked.profiles).steps;
        let scenarios = record.scenarios.iter();
        scenarios
            .map(|scenario| {
                let own = shown.iter().filter(|s| s.scenario == scenario.name);
                let shown = ScenarioSteps {
                    scenario: scenario.name.clone(),
                    takes: own.clone().map(|s| s.bench_time.si()).sum(),
                    steps: own.map(|s| (s.text.clone(), s.energises)).collect(),
                };
                let steps = scenario.steps.iter();
                let run = ScenarioSteps {
                    scenario: scenario.name.clone(),
                    takes: scenario.took.expect("ended").si(),
                    steps: steps.map(|s| (s.text.clone(), s.energises)).collect(),
                };
                [shown, run]
            })
            .collect()
    }

    fn record(&self, checked: &Checked) -> Result<Record, String> {
        let folder = tempfile::tempdir_in(self.folder.path()).expect("a temporary folder");
        let store =
            Store::for_run(folder.path(), true, Durability::AtEnd, &SystemClock).expect("a store");
        let (_raise, raised) = watch::channel(false);
        let rehearsal = Rehearsal {
            plan: &checked.plan,
            bench: &checked.bench,
            profiles: &checked.profiles,
            files: &[],
            store: &store,
            clock: &SystemClock,
            threads: 1,
            stop: &Stop::new(raised),
        };
        let entrant = Entrant {
            identity: None,
            run: "case".parse().expect("a plain name"),
            particulars: Particulars {
                serial: "M1".parse().expect("a plain name"),
                lot: None,
                seed: Seed(1),
                operator: None,
                ambient: None,
                retest: None,
                only: None,
                without: Vec::new(),
                planted: Vec::new(),
            },
            board: self.board,
            seed: Seed(1),
        };
        let mut came = None;
        rehearsal.perform(std::slice::from_ref(&entrant), |_, outcome| {
            came = Some(outcome);
            true
        });
        match came {
            Some(Ok(Finished { record, .. })) => Ok(record),
            Some(Err(fault)) => Err(fault.to_string()),
            None => Err("it was never run".to_owned()),
        }
    }
}

/// Limits that could not be judged for want of something on the bench or in the
/// plan.
fn unjudged(record: &Record) -> Vec<Disagreement> {
    let quiet = record.scenarios.iter().filter(|s| s.troubles.is_empty());
    quiet
        .flat_map(|scenario| scenario.metrics.iter().map(move |m| (scenario, m)))
        .filter(|(_, judged)| judged.verdict() == Some(Verdict::Inconclusive))
        .filter_map(|(scenario, judged)| match &judged.metric.finding {
            Finding::Unknown { reason, blame } if *blame != Blame::Board => Some(Disagreement {
                scenario: scenario.kind.clone(),
                what: format!("{} not judged: {reason}", judged.metric.key),
                blame: blame.to_string(),
            }),
            _ => None,
        })
        .collect()
}

fn troubles(record: &Record) -> Vec<Disagreement> {
    let of_scenarios = record
        .scenarios
        .iter()
        .flat_map(|scenario| scenario.troubles.iter().map(move |t| (&scenario.kind, t)));
    let mut found: Vec<Disagreement> = of_scenarios
        .filter(|(_, trouble)| trouble.blame != Blame::Board)
        .map(|(kind, trouble)| Disagreement {
            scenario: kind.clone(),
            what: trouble.what.clone(),
            blame: trouble.blame.to_string(),
        })
        .collect();
    let of_run = record.troubles.iter().map(|run| Disagreement {
        scenario: "the run".to_owned(),
        what: run.trouble.what.clone(),
        blame: run.trouble.blame.to_string(),
    });
    found.extend(of_run.filter(|found| found.blame != Blame::Board.to_string()));
    found
}
