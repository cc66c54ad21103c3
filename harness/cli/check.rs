//! `bufferstop check`: every fault of every file at once, then what a plan
//! will do, what it needs and how long that takes. It opens no port.

use super::arguments::Check;
use super::exit::Exit;
use super::output::{Output, complained};
use crate::console::{BENCH_CAUTION, columns, folded};
use crate::document::{Fault, Faults, Reader, Table, Tree};
use crate::ident::harmless;
use crate::measurement::in_words;
use crate::plan::Plan;
use crate::preflight::Preflight;
use crate::sitting::{BenchFiles, FileKind as Kind, Files, other_family};
use crate::units::{Quantity, Seconds};
use serde_json::json;
use std::fmt::Write as _;
use std::path::Path;

pub(super) fn check(arguments: &Check, output: Output) -> Exit {
    let mut files = Files::default();
    let mut plans: Vec<Plan> = Vec::new();
    let mut benches: Vec<BenchFiles> = Vec::new();
    // Of what is used with a plan.
    let mut families: Vec<(&str, String)> = Vec::new();
    for path in &arguments.files {
        match kind_of(path, &mut files) {
            Some(Kind::Plan) => plans.extend(files.plan(path)),
            Some(Kind::Bench) => benches.extend(files.bench(Some(path), None)),
            Some(Kind::Profile) => {
                files.profile(path);
            }
            Some(Kind::Board) => {
                let board = files.board(path);
                let family = board.and_then(|board| board.family);
                families.extend(family.map(|family| ("model board", family)));
            }
            Some(Kind::Lot) => {
                let lot = files.lot(path);
                families.extend(lot.map(|lot| ("lot", lot.family)));
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
        let of_benches = benches.iter().filter_map(|bench| bench.board.as_ref());
        let of_benches =
            of_benches.filter_map(|board| Some(("model board", board.family.as_deref()?)));
        let of_files = families
            .iter()
            .map(|(what, family)| (*what, family.as_str()));
        let others = of_files.chain(of_benches);
        let others = others.filter_map(|(what, family)| other_family(plan, what, family));
        files.add(others.collect());
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
        let room = output.screen().width;
        for (plan, found) in &told {
            say!("{}", described(plan, found, benches.is_empty(), room));
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

/// The steps of a plan, what it needs of a bench, and the time it takes, in lines
/// of at most `room` columns.
fn described(plan: &Plan, found: &Preflight, without_bench: bool, room: usize) -> String {
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
    let limits = limits(plan);
    for scenario in &plan.scenarios {
        let entry = scenario.kind.entry();
        let roles: Vec<&str> = entry.roles.iter().map(|role| role.word()).collect();
        let name = harmless(&scenario.name);
        text.push('\n');
        let purpose = format!("{bold}{name}{bold:#}  {}", entry.purpose);
        lines(&mut text, &purpose, room, 4);
        lines(&mut text, &format!("  needs {}", roles.join(", ")), room, 2);
        if let Some(omitted) = found.omitted.iter().find(|o| o.scenario == scenario.name) {
            let reason = harmless(&omitted.reason);
            lines(&mut text, &format!("  not tested: {reason}"), room, 2);
            continue;
        }
        for step in steps.iter().filter(|step| step.scenario == scenario.name) {
            let mark = if step.energises { "*" } else { " " };
            let time = step.bench_time.to_string();
            let line = format!("  {mark} {time:>9}  {}", step.text);
            lines(&mut text, &line, room, 13);
        }
        for limit in limits
            .iter()
            .filter(|limit| limit.scenario == scenario.name)
        {
            limit.write(&mut text, &limits, room);
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

fn lines(text: &mut String, line: &str, room: usize, further: usize) {
    for part in folded(line, room, further) {
        text.push_str(&part);
        text.push('\n');
    }
}

/// A limit of a plan in words.
struct LimitLine<'a> {
    scenario: &'a str,
    key: String,
    bounds: String,
    /// Its rule and where it comes from.
    origin: String,
}

fn limits(plan: &Plan) -> Vec<LimitLine<'_>> {
    let scenarios = plan.scenarios.iter();
    let all = scenarios.flat_map(|scenario| scenario.limits.iter().map(move |l| (scenario, l)));
    let lines = all.map(|(scenario, limit)| {
        let metric = scenario.kind.metric(limit.metric);
        let bounds = metric.map(|metric| limit.limit.show(metric.dimension));
        LimitLine {
            scenario: &scenario.name,
            key: in_words(limit.metric),
            bounds: bounds.unwrap_or_default(),
            origin: format!("{}; {}", limit.limit.rule, harmless(&limit.limit.source)),
        }
    });
    lines.collect()
}

impl LimitLine<'_> {
    /// Key, bounds and origin in columns as wide as `all` need them; the origin
    /// below where a screen has too little room for most of them.
    fn write(&self, text: &mut String, all: &[Self], room: usize) {
        let widest = |cell: fn(&Self) -> &str| all.iter().map(|l| columns(cell(l))).max();
        let key = widest(|limit| &limit.key).unwrap_or(0);
        let bounds = widest(|limit| &limit.bounds).unwrap_or(0);
        let head = format!("    {:<key$}  {:<bounds$}", self.key, self.bounds);
        let beside = 4 + key + 2 + bounds + 2;
        if beside + ORIGIN <= room {
            let line = format!("{head}  {}", self.origin);
            lines(text, &line, room, beside - 4);
        } else {
            let _ = writeln!(text, "{}", head.trim_end());
            lines(text, &format!("      {}", self.origin), room, 2);
        }
    }
}

/// Columns that a rule and a source need at least to stand beside a limit.
const ORIGIN: usize = 36;
