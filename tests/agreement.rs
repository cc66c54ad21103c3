//! What `check` says of a plan on a bench against what a run there comes to:
//! parts of the demo's plan on changed benches, by chance from a seed, as text.
//! A handful of cases; `BUFFERSTOP_AGREEMENT_CASES=5000` runs so many, from the
//! first on, and every distinct disagreement is printed with its smallest case.

mod case;
mod chance;
mod outcome;

use bufferstop::ident::Role;
use bufferstop::seed::Seed;
use case::{Case, Change, Edit, File, Files};
use chance::{Chance, KINDS};
use outcome::{Checked, Disagreement, Outcome, Workshop};
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

/// Cases in the ordinary test: a few seconds.
const CASES: u64 = 24;
/// Everything that chance decides here follows from it.
const SEED: Seed = Seed(20_261);
/// How often the same disagreement is reduced to a smaller case.
const REDUCTIONS: u64 = 3;

/// A disagreement with the smallest case that shows it.
struct Found {
    seen: u64,
    first: u64,
    case: Case,
    example: String,
}

#[derive(Default)]
struct Findings(BTreeMap<String, Found>);

impl Findings {
    /// Whether another case of this kind is worth being reduced.
    fn wants(&mut self, kind: &str) -> bool {
        match self.0.get_mut(kind) {
            Some(found) => {
                found.seen += 1;
                found.seen <= REDUCTIONS
            }
            None => true,
        }
    }

    fn take(&mut self, kind: String, index: u64, case: Case, example: String) {
        match self.0.get_mut(&kind) {
            Some(found) if found.case.size() <= case.size() => {}
            Some(found) => {
                found.case = case;
                found.example = example;
            }
            None => {
                // A long run shows at once what it finds.
                println!("case {index}: {kind}\n    {case}");
                let found = Found {
                    seen: 1,
                    first: index,
                    case,
                    example,
                };
                self.0.insert(kind, found);
            }
        }
    }

    fn told(&self) -> String {
        let one = |(kind, found): (&String, &Found)| {
            format!(
                "{kind}\n    {} times, first in case {}: {}\n    {}\n",
                found.seen, found.first, found.example, found.case
            )
        };
        self.0.iter().map(one).collect()
    }
}

/// The case without whatever it also shows `kind` without.
fn reduced(
    case: &Case,
    kind: &str,
    demo: &Files,
    found: impl Fn(&Checked) -> Vec<Disagreement>,
) -> (Case, String) {
    let shows = |case: &Case| {
        let checked = Checked::of(&demo.with(case).texts()).ok()?;
        let same = found(&checked).into_iter().find(|one| one.kind() == kind)?;
        Some(same.what)
    };
    let mut smallest = case.clone();
    let mut example = shows(case).unwrap_or_default();
    let mut try_smaller = |smaller: Case, smallest: &mut Case| {
        if let Some(what) = shows(&smaller) {
            example = what;
            *smallest = smaller;
        }
    };
    for at in (0..smallest.kept.len()).rev() {
        let mut smaller = smallest.clone();
        smaller.kept.remove(at);
        if !smaller.kept.is_empty() {
            try_smaller(smaller, &mut smallest);
        }
    }
    for at in (0..smallest.edits.len()).rev() {
        let mut smaller = smallest.clone();
        smaller.edits.remove(at);
        try_smaller(smaller, &mut smallest);
    }
    (smallest, example)
}

/// What all cases came to.
#[derive(Default)]
struct Told {
    troubles: Mutex<Findings>,
    unjudged: Mutex<Findings>,
}

fn one(index: u64, demo: &Files, workshop: &Workshop, told: &Told) {
    let case = Chance::case(demo, SEED, index);
    let checked = Checked::of(&demo.with(&case).texts()).unwrap_or_else(|faults| {
        panic!("case {index} is not sound: {case}\n{faults:?}");
    });
    let Outcome { troubles, unjudged } = workshop.run(&checked);
    let keep = |findings: &Mutex<Findings>,
                found: Vec<Disagreement>,
                of: fn(Outcome) -> Vec<Disagreement>| {
        for disagreement in found {
            let kind = disagreement.kind();
            if !findings.lock().expect("no case panics").wants(&kind) {
                continue;
            }
            let run = |checked: &Checked| of(workshop.run(checked));
            let (case, example) = reduced(&case, &kind, demo, run);
            let mut findings = findings.lock().expect("no case panics");
            findings.take(kind, index, case, example);
        }
    };
    keep(&told.troubles, troubles, |outcome| outcome.troubles);
    keep(&told.unjudged, unjudged, |outcome| outcome.unjudged);
}

fn cases() -> u64 {
    let asked = std::env::var("BUFFERSTOP_AGREEMENT_CASES").ok();
    asked.and_then(|cases| cases.parse().ok()).unwrap_or(CASES)
}

/// Whatever `check` calls sound, the interlock permits, and no run on the model
/// of that bench ends with a trouble whose blame is the plan's or the files':
/// the planted board is good and the instruments are models, so a trouble is
/// either the board's, which does not fit every plan, or should have been a
/// fault of `check`.
#[test]
fn what_check_calls_sound_runs() {
    let (demo, workshop) = (Files::of_the_demo(), Workshop::new());
    let told = Told::default();
    let (next, cases) = (AtomicU64::new(0), cases());
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= cases {
                        return;
                    }
                    one(index, &demo, &workshop, &told);
                }
            });
        }
    });
    let unjudged = told.unjudged.into_inner().expect("no case panics");
    println!(
        "{} limits that nothing could be found for:\n{}",
        unjudged.0.len(),
        unjudged.told()
    );
    let findings = told.troubles.into_inner().expect("no case panics");
    assert!(
        findings.0.is_empty(),
        "{} disagreements in {cases} cases:\n{}",
        findings.0.len(),
        findings.told()
    );
}

/// Found by hand: the gap's let-through without a trip, which the interlock
/// weighs as what both sources drive and `check` as what the supply feeds.
#[test]
fn a_gap_that_lets_too_much_through_is_a_fault_of_check() {
    let (demo, workshop) = (Files::of_the_demo(), Workshop::new());
    let case = Case {
        kept: vec!["reversal".to_owned()],
        edits: vec![
            Edit {
                file: File::Bench,
                path: "envelope.let_through".to_owned(),
                change: Change::Set("\"25 A2s\"".to_owned()),
            },
            Edit {
                file: File::Profile(Role::Supply),
                path: "range.current".to_owned(),
                change: Change::Set("\"10 A\"".to_owned()),
            },
        ],
    };
    let Ok(checked) = Checked::of(&demo.with(&case).texts()) else {
        return;
    };
    let found = workshop.run(&checked).troubles;
    assert!(found.is_empty(), "{found:?}");
}

/// The unchanged files agree, every scenario alone: or what is found above
/// would be the harness's own.
#[test]
fn the_demo_is_sound_and_runs() {
    let (demo, workshop) = (Files::of_the_demo(), Workshop::new());
    let mut found = Vec::new();
    for kind in KINDS {
        let case = Case {
            kept: vec![kind.to_owned()],
            edits: Vec::new(),
        };
        match Checked::of(&demo.with(&case).texts()) {
            Ok(checked) => {
                let Outcome { troubles, unjudged } = workshop.run(&checked);
                found.extend(troubles.iter().chain(&unjudged).map(Disagreement::kind));
            }
            Err(faults) => found.extend(faults.into_iter().map(|fault| fault.message)),
        }
    }
    assert!(found.is_empty(), "{found:#?}");
}

/// What `check` shows of a plan is what a run of it does, step for step, and in
/// no less time than it says, nor a quarter and a second more.
#[test]
fn the_steps_that_check_shows_are_those_of_the_run() {
    let (demo, workshop) = (Files::of_the_demo(), Workshop::new());
    let case = Case {
        kept: KINDS.map(str::to_owned).to_vec(),
        edits: Vec::new(),
    };
    let checked = Checked::of(&demo.with(&case).texts()).expect("sound");
    let mut times = Vec::new();
    for [shown, run] in workshop.steps(&checked) {
        assert_eq!(shown.steps, run.steps, "{}", run.scenario);
        times.push((run.scenario, shown.takes, run.takes));
    }
    let near = |shown: f64, took: f64| shown >= took && shown < 1.25 * took + 1.0;
    assert!(
        times.iter().all(|&(_, shown, took)| near(shown, took)),
        "{times:#?}"
    );
}

/// Chance repeats itself, and does not draw the same twice or nothing at all.
#[test]
fn cases_differ_and_repeat() {
    let demo = Files::of_the_demo();
    let drawn: Vec<String> = (0..12)
        .map(|index| Chance::case(&demo, SEED, index).to_string())
        .collect();
    let again = Chance::case(&demo, SEED, 7).to_string();
    assert_eq!(drawn[7], again);
    let distinct: std::collections::BTreeSet<&String> = drawn.iter().collect();
    assert_eq!(distinct.len(), drawn.len());
    let changed = drawn.iter().filter(|case| case.contains(';')).count();
    assert!(changed > 8, "{drawn:?}");
}
