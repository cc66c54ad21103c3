//! A plan as steps with limits, sources and times, and its text to be changed: checked
//! as `check` does, each fault at its line, and saved whole or not at all. It runs
//! nothing: a run reads what is saved.

use super::address::{Nothing, beside};
use super::guard::plain;
use super::markup::Markup;
use super::pages::At;
use super::pages::Pages;
use super::shelf::{MODEL_BENCH, Shelf};
use super::shell::{View, html, page};
use crate::console::minutes;
use crate::digest::Digest;
use crate::document::{Fault, LARGEST_FILE, Severity};
use crate::measurement::in_words;
use crate::plan::{Plan, Scenario};
use crate::preflight::{Preflight, Step};
use crate::sitting::{Files, other_family, plain_file};
use crate::units::{Quantity as _, Seconds, typeset};
use axum::Form;
use axum::body::Body;
use axum::extract::{Query, State};
use axum::http::{Response, StatusCode};
use serde::Deserialize;
use std::io::Write as _;
use std::path::{Path, PathBuf};

#[derive(Clone, Default, Deserialize)]
pub(super) struct Chosen {
    #[serde(default)]
    file: String,
    #[serde(default)]
    bench: String,
}

/// A plan that is shown, checked or saved.
#[derive(Clone, Deserialize)]
pub(super) struct Text {
    file: String,
    #[serde(default)]
    bench: String,
    text: String,
    /// The digest of what the file held when it was read.
    #[serde(default)]
    was: String,
}

/// A plan, and its text.
pub(super) async fn plan(State(pages): At, Query(chosen): Query<Chosen>) -> Response<Body> {
    beside(pages, View::Plan, move |pages| {
        let folder = &pages.settings().files;
        let shelf = Shelf::of(folder);
        let mut body = Markup::default();
        body.raw("<section class=\"panel\"><h1>Plan</h1>");
        let Some(first) = shelf.plans.first() else {
            body.raw(
                "<p class=\"told\">There is no plan in the folder of this server. Write one with \
                 <code>bufferstop new plan plan.toml</code>.</p></section>",
            );
            return Ok(page(pages, View::Plan, "Plan", &body));
        };
        let file = match chosen.file.as_str() {
            "" => first.clone(),
            file => file.to_owned(),
        };
        let path = shelf.plan(folder, &file);
        let path =
            path.ok_or_else(|| Nothing::Absent("There is no such plan in the folder.".to_owned()))?;
        let text = text_of(&path)?;
        choose(&mut body, &shelf, &file, &chosen.bench);
        body.raw("</section>");
        editor(&mut body, &file, &chosen.bench, &text);
        body.raw("<div id=\"checked\">")
            .add(&checked(&shelf, folder, &path, &text, &chosen.bench))
            .raw("</div>");
        Ok(page(pages, View::Plan, &file, &body))
    })
    .await
}

fn text_of(path: &Path) -> Result<String, Nothing> {
    let read = plain_file::read(path, LARGEST_FILE);
    let bytes = read.map_err(|fault| Nothing::Hindered(fault.to_string()))?;
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(Nothing::Hindered(
            "this file is too long for a plan".to_owned(),
        ));
    }
    String::from_utf8(bytes).map_err(|_| Nothing::Hindered("this file is no text".to_owned()))
}

fn choose(out: &mut Markup, shelf: &Shelf, file: &str, bench: &str) {
    out.raw(
        "<form class=\"filters\" method=\"get\" action=\"/plan\"><label>Plan<select name=\"file\">",
    );
    for known in &shelf.plans {
        let selected = if known == file { " selected" } else { "" };
        out.raw("<option")
            .raw(selected)
            .put(">{}</option>", &[known]);
    }
    out.raw("</select></label><label>On the bench<select name=\"bench\">");
    out.put(
        "<option value=\"{}\">embedded model bench</option>",
        &[&MODEL_BENCH],
    );
    for known in &shelf.benches {
        let selected = if known == bench { " selected" } else { "" };
        out.raw("<option")
            .raw(selected)
            .put(">{}</option>", &[known]);
    }
    out.raw("</select></label><button>Show</button></form>");
}

fn editor(out: &mut Markup, file: &str, bench: &str, text: &str) {
    let digest = Digest::of(text.as_bytes()).to_string();
    out.put(
        "<section class=\"panel\"><form id=\"plan-form\"><input type=\"hidden\" name=\"file\" value=\"{}\">\
         <input type=\"hidden\" name=\"bench\" value=\"{}\"><input type=\"hidden\" name=\"was\" value=\"{}\">\
         <label for=\"plan-text\">Text of {}</label><div class=\"editor\"><div class=\"numbers\" aria-hidden=\"true\"></div>\
         <textarea id=\"plan-text\" name=\"text\" spellcheck=\"false\" wrap=\"off\" autocapitalize=\"off\">\n",
        &[&file, &bench, &digest, &file],
    );
    out.lines(text).raw(
        "</textarea></div><p class=\"row\"><button type=\"button\" data-plan=\"check\">Check</button>\
         <button type=\"button\" class=\"go\" data-plan=\"save\">Save</button> <span id=\"plan-said\" role=\"status\">\
         A run reads what is saved, and only where it is sound.</span></p></form></section>",
    );
}

/// The path of a plan that a page names.
fn path_of(pages: &Pages, file: &str) -> Result<(Shelf, PathBuf), Nothing> {
    let folder = &pages.settings().files;
    let shelf = Shelf::of(folder);
    let path = shelf.plan(folder, file);
    let path =
        path.ok_or_else(|| Nothing::Absent("There is no such plan in the folder.".to_owned()))?;
    Ok((shelf, path))
}

/// What a page sends has the line ends of forms (HTML Living Standard, 4.10.21.8).
fn as_file(text: &str) -> String {
    text.replace("\r\n", "\n")
}

/// Checks a text that is not saved.
pub(super) async fn check(State(pages): At, Form(sent): Form<Text>) -> Response<Body> {
    beside(pages, View::Plan, move |pages| {
        let (shelf, path) = path_of(pages, &sent.file)?;
        let folder = &pages.settings().files;
        let text = as_file(&sent.text);
        let found = checked(&shelf, folder, &path, &text, &sent.bench);
        Ok(html(StatusCode::OK, found))
    })
    .await
}

/// Saves a text: whole or not at all, and never over what somebody else saved since.
pub(super) async fn save(State(pages): At, Form(sent): Form<Text>) -> Response<Body> {
    beside(pages, View::Plan, move |pages| {
        let (_, path) = path_of(pages, &sent.file)?;
        let now = Digest::of(text_of(&path)?.as_bytes()).to_string();
        if now != sent.was {
            return Ok(plain(
                StatusCode::CONFLICT,
                "The file was changed since this page read it: nothing was saved. Copy your text, \
                 and load the page again.",
            ));
        }
        let text = as_file(&sent.text);
        let saved = saved(&path, &text);
        saved.map_err(|fault| Nothing::Hindered(format!("nothing was saved: {fault}")))?;
        Ok(plain(
            StatusCode::OK,
            Digest::of(text.as_bytes()).to_string(),
        ))
    })
    .await
}

fn saved(path: &Path, text: &str) -> std::io::Result<()> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let mut file = tempfile::NamedTempFile::new_in(folder)?;
    file.write_all(text.as_bytes())?;
    // Whoever could read the plan can read it afterwards.
    let permissions = std::fs::metadata(path)?.permissions();
    file.as_file().set_permissions(permissions)?;
    file.as_file().sync_all()?;
    file.persist(path).map_err(|fault| fault.error)?;
    Ok(())
}

/// What `check` finds of a text, and what the plan would do.
fn checked(shelf: &Shelf, folder: &Path, path: &Path, text: &str, bench: &str) -> Markup {
    let mut files = Files::default();
    let plan = files.plan_with(path, text);
    let own = shelf.bench(folder, bench);
    let bench = files.bench(own.as_deref(), None);
    let mut steps = None;
    if let (Some(plan), Some(bench)) = (&plan, &bench) {
        let found = Preflight::of(plan, &bench.bench, &bench.profiles);
        files.add(found.faults.clone());
        let board = bench.board.as_ref();
        let family = board.and_then(|board| board.family.as_deref());
        files.add(Vec::from_iter(
            family.and_then(|family| other_family(plan, "model board", family)),
        ));
        steps = Some(found);
    }
    let mut out = Markup::default();
    faults(&mut out, files.faults(), &path.display().to_string());
    if let (Some(plan), Some(found)) = (&plan, &steps) {
        described(&mut out, plan, found);
    }
    out
}

fn faults(out: &mut Markup, faults: &[Fault], own: &str) {
    let errors = faults
        .iter()
        .filter(|f| f.severity == Severity::Error)
        .count();
    if faults.is_empty() {
        out.raw(
            "<section class=\"panel\"><p class=\"sound\"><b aria-hidden=\"true\">\u{2713}</b> Sound: it can be run on \
             this bench.</p></section>",
        );
        return;
    }
    let verdict = match errors {
        0 => "Sound, with something to look at",
        _ => "Not sound: nothing runs with it",
    };
    out.put(
        "<section class=\"panel\"><h2>{}</h2><ul class=\"faults\">",
        &[&verdict],
    );
    for fault in faults {
        let class = match fault.severity {
            Severity::Error => "fail",
            _ => "open",
        };
        let mine = if fault.file == own {
            fault.line.to_string()
        } else {
            String::new()
        };
        out.put(
            "<li class=\"{}\"><button type=\"button\" data-line=\"{}\">{}:{}:{}</button> <b>{}</b>",
            &[
                &class,
                &mine,
                &fault.file,
                &fault.line,
                &fault.column,
                &fault.message,
            ],
        );
        if let Some(expected) = &fault.expected {
            out.put(" <span>expected: {}</span>", &[expected]);
        }
        if let Some(hint) = &fault.hint {
            out.put(" <span>{}</span>", &[hint]);
        }
        out.raw("</li>");
    }
    out.raw("</ul></section>");
}

fn described(out: &mut Markup, plan: &Plan, found: &Preflight) {
    let total: f64 = found.steps.iter().map(|step| step.bench_time.si()).sum();
    out.put(
        "<section class=\"panel\"><h2>{} <small>{}, revision {}; a good board takes {}</small></h2></section>",
        &[&plan.name, &plan.family, &plan.revision, &minutes(Seconds::new(total))],
    );
    for scenario in &plan.scenarios {
        let steps = found
            .steps
            .iter()
            .filter(|step| step.scenario == scenario.name);
        let steps: Vec<&Step> = steps.collect();
        let omitted = found.omitted.iter().find(|o| o.scenario == scenario.name);
        let reason = omitted.map(|omitted| omitted.reason.as_str());
        scenario_of(out, scenario, &steps, reason);
    }
}

fn scenario_of(out: &mut Markup, scenario: &Scenario, steps: &[&Step], reason: Option<&str>) {
    let time: f64 = steps.iter().map(|step| step.bench_time.si()).sum();
    out.put(
        "<section class=\"panel scenario\"><h2>{} <small>{}</small></h2><p>{}</p>",
        &[
            &scenario.name,
            &minutes(Seconds::new(time)),
            &scenario.kind.entry().purpose,
        ],
    );
    if let Some(reason) = reason {
        out.put("<p class=\"told\">Not tested: {}</p>", &[&reason]);
    }
    if !scenario.limits.is_empty() {
        out.raw(
            "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Limits\"><table><thead><tr>\
             <th scope=\"col\">Metric</th><th scope=\"col\">Limit</th><th scope=\"col\">Decision rule</th>\
             <th scope=\"col\">Source</th></tr></thead><tbody>",
        );
        for limit in &scenario.limits {
            let metric = scenario.kind.metric(limit.metric);
            let bounds = metric.map(|metric| limit.limit.show(metric.dimension));
            let about = metric.map_or("", |metric| metric.definition);
            out.put(
                "<tr><td title=\"{}\">{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
                &[
                    &about,
                    &in_words(limit.metric),
                    &typeset(&bounds.unwrap_or_default()),
                    &limit.limit.rule,
                    &limit.limit.source,
                ],
            );
        }
        out.raw("</tbody></table></div>");
    }
    if !steps.is_empty() {
        out.put(
            "<details><summary>{} steps</summary><ol class=\"steps\">",
            &[&steps.len()],
        );
        for step in steps {
            out.raw(if step.energises {
                "<li class=\"energises\">"
            } else {
                "<li>"
            });
            out.put(
                "<span class=\"at\">{}</span> {}</li>",
                &[&step.bench_time, &step.text],
            );
        }
        out.raw("</ol></details>");
    }
    out.raw("</section>");
}
