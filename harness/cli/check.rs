//! `bufferstop check`: every fault of every file at once, then what a plan
//! will do, what it needs and how long that takes. It opens no port.

use super::arguments::Check;
use super::exit::Exit;
use super::file_kind::Kind;
use super::files::{BenchFiles, Files};
use super::output::{Output, complained};
use crate::console::BENCH_CAUTION;
use crate::document::{Fault, Faults, Reader, Table, Tree};
use crate::ident::harmless;
use crate::measurement::in_words;
use crate::plan::Plan;
use crate::preflight::Preflight;
use crate::units::{Quantity, Seconds};
use serde_json::json;
use std::fmt::Write as _;
use std::path::Path;

pub(super) fn check(arguments: &Check, output: Output) -> Exit {
    let mut files = Files::default();
    let mut plans: Vec<Plan> = Vec::new();
    let mut benches: Vec<BenchFiles> = Vec::new();
    for path in &arguments.files {
        match kind_of(path, &mut files) {
            Some(Kind::Plan) => plans.extend(files.plan(path)),
            Some(Kind::Bench) => benches.extend(files.bench(Some(path), None)),
            Some(Kind::Profile) => {
                files.profile(path);
            }
            Some(Kind::Board) => {
                files.board(path);
            }
            Some(Kind::Lot) => {
                files.lot(path);
            }
            // Its fault is already among the others.
            None => {}
        }
    }
    let mut told: Vec<(&Plan, Preflight)> = Vec::new();
    for plan in &plans {
        let mut found = None;
        for BenchFiles {
            bench, profiles, ..
        } in &benches
        {
            let preflight = Preflight::of(plan, bench, profiles);
            files.add(preflight.faults.clone());
            found.get_or_insert(preflight);
        }
        told.push((plan, found.unwrap_or_else(|| on_the_demo_bench(plan))));
    }
    let exit = if files.any_error() {
        Exit::File
    } else {
        Exit::Pass
    };
    if output.json {
        let plans: Vec<_> = told
            .iter()
            .map(|(plan, found)| {
                json!({"plan": plan.name, "steps": found.steps, "not_tested": found.omitted})
            })
            .collect();
        output.document(
            &json!({"sound": exit == Exit::Pass, "faults": files.faults(), "plans": plans}),
        );
        return exit;
    }
    complained(files.faults(), &files.rendered(true));
    if exit == Exit::Pass {
        for (plan, found) in &told {
            say!("{}", described(plan, found, benches.is_empty()));
        }
        if !told.is_empty() {
            say_line!("{BENCH_CAUTION}");
        }
        let warnings = files.faults().len();
        let sound = match warnings {
            0 => "sound".to_owned(),
            1 => "sound, with one warning".to_owned(),
            count => format!("sound, with {count} warnings"),
        };
        say_line!(
            "{} {sound}",
            arguments
                .files
                .iter()
                .map(|f| f.display().to_string())
                .collect::<Vec<_>>()
                .join(", ")
        );
    }
    exit
}

/// The steps of a plan that no bench is named for, as on the bench that comes
/// with the program.
fn on_the_demo_bench(plan: &Plan) -> Preflight {
    let demo = Files::default().bench(None, None);
    let demo = demo.expect("the demo's bench is sound");
    Preflight::of(plan, &demo.bench, &demo.profiles)
}

/// Which kind of file this is; a file that does not say has a fault.
fn kind_of(path: &Path, files: &mut Files) -> Option<Kind> {
    let source = files.read(path)?;
    let mut faults = Faults::new();
    let Some(tree) = Tree::read(&source, &mut faults) else {
        files.add(faults.into_list());
        return None;
    };
    let found = Kind::of(&source);
    if found.is_none() {
        let reader = Reader::new(Faults::new());
        let fault = Fault::error(
            Table::of(&tree, &reader).place(),
            "the file says neither what it is nor what it is for",
        )
        .expected("a table [plan], [bench], [profile], [board] or [lot]");
        files.add(vec![fault]);
    }
    found
}

/// The steps of a plan, what it needs of a bench, and the time it takes.
fn described(plan: &Plan, found: &Preflight, without_bench: bool) -> String {
    let steps = &found.steps;
    let mut text = String::new();
    let bold = anstyle::Style::new().bold();
    let _ = writeln!(text, "{bold}{}{bold:#}", harmless(&plan.name));
    let _ = writeln!(
        text,
        "{} revision {}",
        harmless(&plan.family),
        harmless(&plan.revision)
    );
    for scenario in &plan.scenarios {
        let entry = scenario.kind.entry();
        let roles: Vec<&str> = entry.roles.iter().map(|role| role.word()).collect();
        let _ = writeln!(
            text,
            "\n{bold}{}{bold:#}  {}",
            harmless(&scenario.name),
            entry.purpose
        );
        let _ = writeln!(text, "  needs {}", roles.join(", "));
        if let Some(omitted) = found.omitted.iter().find(|o| o.scenario == scenario.name) {
            let reason = harmless(&omitted.reason);
            let _ = writeln!(text, "  not tested on this bench: {reason}");
            continue;
        }
        for step in steps.iter().filter(|step| step.scenario == scenario.name) {
            let mark = if step.energises { "*" } else { " " };
            let _ = writeln!(
                text,
                "  {mark} {:>9}  {}",
                step.bench_time.to_string(),
                step.text
            );
        }
        for limit in &scenario.limits {
            let dimension = scenario
                .kind
                .metric(limit.metric)
                .map(|metric| metric.dimension);
            let bounds = dimension
                .map(|dimension| limit.limit.show(dimension))
                .unwrap_or_default();
            let key = in_words(limit.metric);
            let _ = writeln!(
                text,
                "    {key:<18} {bounds:<26} {}; {}",
                limit.limit.rule,
                harmless(&limit.limit.source)
            );
        }
    }
    let total: f64 = steps.iter().map(|step| step.bench_time.si()).sum();
    let _ = writeln!(
        text,
        "\nexpected bench time {}; * puts energy into the board",
        Seconds::new(total)
    );
    if without_bench {
        text.push_str("name a bench file too to see whether it can carry this out\n");
    }
    text.push('\n');
    text
}
