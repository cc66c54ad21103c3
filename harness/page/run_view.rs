//! The bench as a run sees it: the serial number, the verdict in large letters, what
//! goes on, what was measured. Each region is drawn from the stage alone, so that a
//! page opened in mid-run shows the same as one that was open all along.

use super::desk_view::desk;
use super::markup::{Markup, in_address};
use super::metric_view::{badge, metrics, sign};
use super::stage::{Ended, Phase, Region, Run, ScenarioRow, Sitting, Stage};
use crate::console::{caution_of, minutes};
use crate::judgement::Verdict;
use crate::scenario::ScenarioKind;
use crate::units::Quantity as _;
use serde_json::json;

/// One region.
pub(super) fn region(stage: &Stage, region: Region) -> Markup {
    match region {
        Region::Lot => lot(stage),
        Region::Desk => desk(stage),
        Region::Verdict => verdict(stage),
        Region::Now => now(stage),
        Region::Scenarios => scenarios(stage),
        Region::Metrics => metrics(&stage.run),
        Region::Remarks => remarks(&stage.run),
        Region::Capture => {
            Markup::of("<p class=\"quiet\">What a scenario saw last is drawn here.</p>")
        }
        Region::Boards => boards(stage),
        Region::Hindered => hindered(stage),
    }
}

/// What a page's script goes by, and what a plain client is told.
pub(super) fn state(stage: &Stage) -> serde_json::Value {
    let (phase, serial, nonce) = match &stage.phase {
        Phase::Closed => ("closed", None, None),
        Phase::Opening => ("opening", None, None),
        Phase::Ready => ("ready", None, None),
        Phase::Refused { serial, .. } => ("refused", Some(serial), None),
        Phase::Confirming { serial, nonce, .. } => ("confirming", Some(serial), Some(nonce)),
        Phase::Running => ("running", None, None),
        Phase::Stopping => ("stopping", None, None),
    };
    let run = &stage.run;
    let facts = run.facts.as_ref();
    json!({
        "phase": phase,
        "waiting": serial,
        "start": nonce,
        "serial": facts.map(|facts| &facts.serial),
        "run": run.id(),
        "step": run.step,
        "began": run.began.map(jiff::Timestamp::as_millisecond),
        "expected": stage.sitting.as_ref().filter(|s| s.real).map(|s| s.expected.si()),
        "energised": run.energised,
        "question": stage.question.as_ref().map(|question| question.number),
        "verdict": run.ended.as_ref().filter(|ended| !ended.headline.is_empty())
            .map(|ended| ended.verdict.word()),
        "safe": run.ended.as_ref().map(|ended| ended.safe),
        "hindered": stage.hindered,
        "said": stage.said,
        "done": stage.done.iter().map(|done| json!({
            "serial": done.serial, "run": done.run, "verdict": done.verdict.word(),
        })).collect::<Vec<_>>(),
    })
}

fn lot(stage: &Stage) -> Markup {
    let mut out = Markup::default();
    let Some(sitting) = &stage.sitting else {
        return Markup::of(
            "<dl class=\"strip\"><div><dt>Bench</dt><dd>none is open</dd></div></dl>",
        );
    };
    let [passed, failed, open] = stage.tally();
    let dash = "\u{2013}".to_owned();
    let lot = sitting
        .lot
        .as_ref()
        .map_or(dash.clone(), ToString::to_string);
    let operator = sitting.operator.clone().unwrap_or(dash);
    out.raw("<dl class=\"strip\">");
    for (label, text) in [
        ("Plan", &sitting.plan),
        ("Bench", &sitting.bench),
        ("Lot", &lot),
        ("Operator", &operator),
    ] {
        out.put(
            "<div><dt>{}</dt><dd title=\"{}\">{}</dd></div>",
            &[&label, text, text],
        );
    }
    let board = match sitting.real {
        true => minutes(sitting.expected),
        false => "model time".to_owned(),
    };
    out.put("<div><dt>A board takes</dt><dd>{}</dd></div>", &[&board]);
    out.put(
        "<div class=\"tally\"><dt>This sitting</dt><dd><span class=\"pass\">{} passed</span> \
         <span class=\"fail\">{} failed</span> <span class=\"open\">{} not judged</span></dd></div></dl>",
        &[&passed, &failed, &open],
    );
    out
}

/// Why no bench is open, where one was asked for.
fn hindered(stage: &Stage) -> Markup {
    let mut out = Markup::default();
    if let Some(why) = &stage.hindered {
        out.raw("<pre class=\"told\" role=\"alert\">")
            .lines(why)
            .raw("</pre>");
    }
    out
}

fn verdict(stage: &Stage) -> Markup {
    let mut out = Markup::default();
    let serial = stage.run.facts.as_ref().map(|facts| &facts.serial);
    let ended = stage.run.ended.as_ref();
    let ended = ended.filter(|ended| !ended.headline.is_empty());
    match (serial, ended) {
        (Some(serial), Some(ended)) => {
            let (sign, class) = sign(ended.verdict);
            out.put(
                "<div class=\"big {}\" role=\"status\"><span class=\"sign\" aria-hidden=\"true\">{}</span>\
                 <strong>{}</strong><span class=\"of\">{}</span>",
                &[&class, &sign, &ended.headline, serial],
            );
            last_lines(&mut out, &stage.run, ended);
            out.raw("</div>");
        }
        (Some(serial), None) if stage.is_running() => {
            out.put(
                "<div class=\"big runs\" role=\"status\"><span class=\"sign\" aria-hidden=\"true\">\u{22EF}</span>\
                 <strong>RUNNING</strong><span class=\"of\">{}</span></div>",
                &[serial],
            );
        }
        _ => {
            out.raw(
                "<div class=\"big idle\"><span class=\"sign\" aria-hidden=\"true\">\u{2013}</span>\
                 <strong>READY</strong><span class=\"of\">no board has run</span></div>",
            );
            if stage.sitting.is_none() {
                out = Markup::of(
                    "<div class=\"big idle\"><span class=\"sign\" aria-hidden=\"true\">\u{2013}</span>\
                     <strong>CLOSED</strong><span class=\"of\">no bench is open</span></div>",
                );
            }
        }
    }
    out
}

/// Where to read on, and what must not be missed.
fn last_lines(out: &mut Markup, run: &Run, ended: &Ended) {
    if !ended.safe {
        out.raw(
            "<span class=\"unsafe\" role=\"alert\">THE BENCH IS NOT PROVEN SAFE: switch its mains \
             off and look at it</span>",
        );
    }
    let not_passed = |row: &&ScenarioRow| row.verdict.is_some_and(|v| v != Verdict::Pass);
    let names = run.scenarios.iter().filter(not_passed);
    let names: Vec<&str> = names.map(|row| row.name.as_str()).collect();
    if !names.is_empty() {
        out.put("<span class=\"by\">by {}</span>", &[&names.join(", ")]);
    }
    if let Some(id) = run.id() {
        out.put(
            "<a href=\"/run/{}\">what was found</a>",
            &[&in_address(id.as_str())],
        );
    }
}

fn now(stage: &Stage) -> Markup {
    let run = &stage.run;
    let mut out = Markup::default();
    if !stage.is_running() {
        return Markup::of(
            "<p class=\"step quiet\">Nothing runs.</p><p class=\"clocks\">&nbsp;</p>",
        );
    }
    let step = match stage.phase {
        Phase::Stopping => "stopping: the bench is being made safe",
        _ => &run.step,
    };
    let energy = match run.energised {
        true => "<span class=\"energy\"><b aria-hidden=\"true\">\u{26A1}</b> energised</span> ",
        false => "",
    };
    out.raw("<p class=\"step\">")
        .raw(energy)
        .put("{}</p>", &[&step]);
    let at = |moment: Option<jiff::Timestamp>| {
        moment.map_or(String::new(), |moment| moment.as_millisecond().to_string())
    };
    out.put(
        "<p class=\"clocks\">this step <span class=\"clock\" data-since=\"{}\">&nbsp;</span> \
         this board <span class=\"clock\" data-since=\"{}\">&nbsp;</span>",
        &[&at(run.step_began), &at(run.began)],
    );
    let real = |sitting: &&Sitting| sitting.real;
    if let (Some(sitting), Some(began)) = (stage.sitting.as_ref().filter(real), run.began) {
        let ends = began.as_millisecond() as f64 + sitting.expected.si() * 1e3;
        out.put(
            " left <span class=\"clock\" data-until=\"{}\">&nbsp;</span>",
            &[&ends.round()],
        );
    }
    out.raw("</p>");
    let runs = run.scenarios.iter().rfind(|row| row.kind.is_some());
    let runs = runs.filter(|row| row.verdict.is_none());
    let kind = runs.and_then(|row| ScenarioKind::from_word(row.kind.as_deref()?));
    if let Some(caution) = kind.and_then(caution_of) {
        out.put("<p class=\"caution\">{}</p>", &[&caution]);
    }
    out
}

fn scenarios(stage: &Stage) -> Markup {
    let mut out = Markup::default();
    out.raw("<ol class=\"scenarios\">");
    let planned = stage.sitting.iter().flat_map(|sitting| &sitting.scenarios);
    if stage.run.scenarios.is_empty() {
        for name in planned {
            scenario(&mut out, name, ("waits", "\u{00B7}", "to come"));
        }
    }
    for row in &stage.run.scenarios {
        let so = match (row.verdict, &row.kind) {
            (Some(verdict), _) => {
                let (sign, class) = sign(verdict);
                (class, sign, verdict.word())
            }
            (None, Some(_)) => ("runs", "\u{2026}", "runs"),
            (None, None) => ("waits", "\u{00B7}", "to come"),
        };
        scenario(&mut out, &row.name, so);
    }
    out.raw("</ol>");
    out
}

fn scenario(out: &mut Markup, name: &str, (class, sign, words): (&str, &str, &str)) {
    out.put(
        "<li class=\"{}\"><b aria-hidden=\"true\">{}</b> {} <span>{}</span></li>",
        &[&class, &sign, &name, &words],
    );
}

fn remarks(run: &Run) -> Markup {
    let mut out = Markup::default();
    if run.remarks.is_empty() {
        return out;
    }
    out.raw("<h2>To look at</h2><div role=\"alert\"><ul class=\"remarks\">");
    for remark in &run.remarks {
        out.put("<li>{}</li>", &[remark]);
    }
    out.raw("</ul></div>");
    out
}

fn boards(stage: &Stage) -> Markup {
    let mut out = Markup::default();
    if stage.done.is_empty() {
        return Markup::of("<p class=\"quiet\">The boards of this sitting stand here.</p>");
    }
    out.raw("<ul class=\"boards\">");
    for done in stage.done.iter().rev() {
        out.put(
            "<li><a href=\"/run/{}\">{}</a> ",
            &[&in_address(done.run.as_str()), &done.serial],
        );
        out.add(&badge(Some(done.verdict))).raw("</li>");
    }
    out.raw("</ul>");
    out
}
