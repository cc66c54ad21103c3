//! One run as its record keeps it: facts, metrics on their limit lines, captures that can
//! be looked into, papers and files. It evaluates nothing and changes nothing.

use super::address::{Nothing, beside};
use super::guard;
use super::markup::{Markup, in_address};
use super::metric_view::{badge, metric_row, sign};
use super::pages::At;
use super::pages::Pages;
use super::plot::{self, Window};
use super::shell::{View, page, typed};
use super::stage::MetricRow;
use crate::handout::Form;
use crate::ident::RunId;
use crate::judgement::Verdict;
use crate::record::{Record, ScenarioRecord};
use crate::report;
use crate::scenario::Observation;
use crate::sitting::{document, is_wound_up, paper_name};
use crate::store::{Kind, Reader};
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY};
use axum::http::{HeaderValue, Response, StatusCode};
use serde::Deserialize;

/// The run of that identifier, in whichever store it is.
fn found(pages: &Pages, run: &str) -> Result<(Reader, RunId, Record), Nothing> {
    let absent = || Nothing::Absent("No run of this identifier is known.".to_owned());
    let run: RunId = run.parse().map_err(|_| absent())?;
    for kind in [Kind::Records, Kind::Model] {
        if let Some(reader) = pages.reader(kind)?
            && let Some(record) = reader.record(&run)?
        {
            return Ok((reader, run, record));
        }
    }
    Err(absent())
}

/// A run.
pub(super) async fn run(State(pages): At, Path(run): Path<String>) -> Response<Body> {
    beside(pages, View::Boards, move |pages| {
        let (reader, run, record) = found(pages, &run)?;
        let mut body = Markup::default();
        head(&mut body, &record);
        facts(&mut body, &record);
        handed_out(&mut body, &run, &record);
        troubles(&mut body, &record);
        for note in reader.notes(&run)? {
            let by = note.author.clone().unwrap_or_default();
            body.put(
                "<section class=\"panel note\"><h2>Note of {}</h2><p>{}</p><p class=\"quiet\">{}</p></section>",
                &[&note.at.strftime("%Y-%m-%d %H:%M UTC"), &note.text, &by],
            );
        }
        for scenario in &record.scenarios {
            scenario_of(&mut body, &reader, &run, scenario)?;
        }
        for name in record.not_run() {
            body.put(
                "<section class=\"panel\"><h2>{} <small>never began</small></h2></section>",
                &[&name],
            );
        }
        instruments(&mut body, &record);
        let title = format!("{}: {}", record.started.serial, record.headline());
        Ok(page(pages, View::Boards, &title, &body))
    })
    .await
}

fn head(out: &mut Markup, record: &Record) {
    let verdict = record.verdict();
    let (sign, class) = sign(verdict);
    let started = &record.started;
    let model = if started.model { "?model=yes" } else { "" };
    out.put(
        "<section class=\"panel outcome {}\"><span class=\"sign\" aria-hidden=\"true\">{}</span>\
         <h1>{} <small><a href=\"/board/{}{}\">{}</a> on {}</small></h1></section>",
        &[
            &class,
            &sign,
            &record.headline(),
            &in_address(started.serial.as_str()),
            &model,
            &started.serial,
            &started.plan,
        ],
    );
}

fn facts(out: &mut Markup, record: &Record) {
    let started = &record.started;
    out.raw("<section class=\"panel\"><dl class=\"facts\">");
    let took = record.ended.as_ref().map(|ended| {
        let took = ended.at.duration_since(record.started_at);
        format!("{:.0} s", took.as_secs_f64())
    });
    let rows = [
        (
            "Began",
            Some(
                record
                    .started_at
                    .strftime("%Y-%m-%d %H:%M:%S UTC")
                    .to_string(),
            ),
        ),
        ("Took", took),
        (
            "Board",
            Some(format!("{}, revision {}", started.family, started.revision)),
        ),
        ("Operator", started.operator.clone()),
        ("Ambient", started.ambient_words()),
        ("Tested again", started.retest.clone()),
        ("Diagnosis", started.only.clone()),
        ("Calibration", started.overdue_calibration.clone()),
        (
            "Planted",
            (!started.planted.is_empty()).then(|| started.planted.join(", ")),
        ),
        (
            "Safety",
            (!started.missing_safety.is_empty()).then(|| started.missing_safety.join("; ")),
        ),
        (
            "Bench",
            record.made_safe().map(|safe| match safe {
                true => "proven off at the end".to_owned(),
                false => "NOT proven off at the end".to_owned(),
            }),
        ),
        ("Run", Some(started.run.to_string())),
        ("Program", Some(started.version.clone())),
    ];
    for (label, text) in rows {
        if let Some(text) = text {
            out.put("<div><dt>{}</dt><dd>{}</dd></div>", &[&label, &text]);
        }
    }
    if let Some(lot) = &started.lot {
        let model = if started.model { "?model=yes" } else { "" };
        out.put(
            "<div><dt>Lot</dt><dd><a href=\"/lot/{}{}\">{}</a></dd></div>",
            &[&in_address(lot.as_str()), &model, lot],
        );
    }
    for omitted in &started.without {
        out.put(
            "<div><dt>Not tested</dt><dd>{}: {}</dd></div>",
            &[&omitted.scenario, &omitted.reason],
        );
    }
    out.raw("</dl></section>");
}

fn handed_out(out: &mut Markup, run: &RunId, record: &Record) {
    let paper = match record.verdict() {
        Verdict::Pass if record.started.only.is_none() => "Certificate",
        _ => "Test report",
    };
    let run = in_address(run.as_str());
    out.raw("<section class=\"panel\"><p class=\"row\">");
    for (form, word) in [(Form::Pdf, "PDF"), (Form::Html, "page")] {
        out.put(
            "<a class=\"button\" href=\"/run/{}/paper/{}\">{} ({})</a> ",
            &[&run, &paper_name(form), &paper, &word],
        );
    }
    for (name, _) in report::files() {
        out.put(
            "<a class=\"button\" href=\"/run/{}/file/{}\">{}</a> ",
            &[&run, &name, &name],
        );
    }
    out.raw("</p></section>");
}

fn troubles(out: &mut Markup, record: &Record) {
    let own = record
        .troubles
        .iter()
        .map(|trouble| (None, &trouble.trouble));
    let of_scenarios = record.scenarios.iter().flat_map(|scenario| {
        let troubles = scenario.troubles.iter();
        troubles.map(move |trouble| (Some(&scenario.name), trouble))
    });
    let all: Vec<_> = own.chain(of_scenarios).collect();
    if all.is_empty() {
        return;
    }
    out.raw("<section class=\"panel\"><h2>To look at</h2><ul class=\"remarks\">");
    for (scenario, trouble) in all {
        out.raw("<li>");
        if let Some(scenario) = scenario {
            out.put("<b>{}</b> ", &[scenario]);
        }
        out.put("{} (see the {})</li>", &[&trouble.what, &trouble.blame]);
    }
    out.raw("</ul></section>");
}

fn scenario_of(
    out: &mut Markup,
    reader: &Reader,
    run: &RunId,
    scenario: &ScenarioRecord,
) -> Result<(), Nothing> {
    out.put("<section class=\"panel\"><h2>{} ", &[&scenario.name]);
    out.add(&badge(scenario.verdict));
    if let Some(took) = scenario.took {
        out.put(" <small>{} of bench time</small>", &[&took]);
    }
    out.raw("</h2>");
    if !scenario.metrics.is_empty() {
        out.raw(
            "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Metrics\"><table class=\"metrics\"><thead><tr>\
             <th scope=\"col\">Metric</th><th scope=\"col\" class=\"n\">Value</th><th scope=\"col\">Limit</th>\
             <th scope=\"col\">On its limit</th><th scope=\"col\">Verdict</th></tr></thead><tbody>",
        );
        // The heading above names the scenario.
        let mut before = None;
        for judged in &scenario.metrics {
            let row = MetricRow {
                metric: judged.metric.clone(),
                limit: judged.limit.clone(),
                decision: judged.decision.clone(),
            };
            let above = before.as_ref().unwrap_or(&row);
            out.add(&metric_row(Some(above), &row));
            before = Some(row);
        }
        out.raw("</tbody></table></div>");
    }
    let captures = captures(reader, scenario)?;
    if !captures.is_empty() {
        let address = format!(
            "/run/{}/capture/{}",
            in_address(run.as_str()),
            in_address(&scenario.name)
        );
        out.put(
            "<div class=\"zoom\" data-captures=\"{}\"><div class=\"zoom-bar\"><label>Capture<select>",
            &[&address],
        );
        for (index, label) in captures.iter().enumerate() {
            out.put("<option value=\"{}\">{}</option>", &[&(index + 1), label]);
        }
        out.raw(
            "</select></label><button type=\"button\" data-zoom=\"in\" aria-label=\"Zoom in\">+</button>\
             <button type=\"button\" data-zoom=\"out\" aria-label=\"Zoom out\">\u{2212}</button>\
             <button type=\"button\" data-zoom=\"left\" aria-label=\"Earlier\">\u{2190}</button>\
             <button type=\"button\" data-zoom=\"right\" aria-label=\"Later\">\u{2192}</button>\
             <button type=\"button\" data-zoom=\"whole\">Whole</button>\
             <span class=\"quiet\">Drag across the picture to look closer; arrows, + and \u{2212} do the same.</span></div>\
             <div class=\"zoom-picture\" tabindex=\"0\" role=\"group\" aria-label=\"Capture\"></div></div>",
        );
    }
    let steps = scenario.steps.len();
    out.put(
        "<details><summary>{} steps</summary><ol class=\"steps\">",
        &[&steps],
    );
    for step in &scenario.steps {
        let at = (step.bench - scenario.started_bench).seconds();
        out.raw(if step.energises {
            "<li class=\"energises\">"
        } else {
            "<li>"
        });
        out.put("<span class=\"at\">{}</span> {}</li>", &[&at, &step.text]);
    }
    out.raw("</ol></details></section>");
    Ok(())
}

fn captures(reader: &Reader, scenario: &ScenarioRecord) -> Result<Vec<String>, Nothing> {
    let mut labels = Vec::new();
    for seen in observations(reader, scenario)? {
        labels.extend(seen.takes().iter().map(|take| take.capture.label.clone()));
    }
    Ok(labels)
}

fn observations(reader: &Reader, scenario: &ScenarioRecord) -> Result<Vec<Observation>, Nothing> {
    let mut seen = Vec::new();
    for digest in &scenario.observations {
        seen.extend(reader.observation(digest)?);
    }
    Ok(seen)
}

fn instruments(out: &mut Markup, record: &Record) {
    out.raw(
        "<section class=\"panel\"><h2>Instruments</h2><div class=\"scroll\" tabindex=\"0\" role=\"group\" \
         aria-label=\"Instruments\"><table><thead><tr><th scope=\"col\">Role</th><th scope=\"col\">Identity</th>\
         <th scope=\"col\">Port</th><th scope=\"col\">Calibrated</th><th scope=\"col\">Due</th></tr></thead><tbody>",
    );
    for facts in &record.instruments {
        let calibrated = facts.calibrated.clone().unwrap_or_default();
        let due = facts.due.map_or(String::new(), |due| due.to_string());
        out.put(
            "<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            &[&facts.role, &facts.identity, &facts.port, &calibrated, &due],
        );
    }
    out.raw("</tbody></table></div></section>");
}

#[derive(Deserialize)]
pub(super) struct Part {
    from: Option<f64>,
    to: Option<f64>,
}

/// A capture of a run as a picture, whole or a part of it.
pub(super) async fn capture(
    State(pages): At,
    Path((run, scenario, number)): Path<(String, String, usize)>,
    Query(part): Query<Part>,
) -> Response<Body> {
    beside(pages, View::Boards, move |pages| {
        let (reader, _, record) = found(pages, &run)?;
        let absent = || Nothing::Absent("The run keeps no such capture.".to_owned());
        let mut scenarios = record.scenarios.iter();
        let scenario = scenarios.find(|known| known.name == scenario);
        let seen = observations(&reader, scenario.ok_or_else(absent)?)?;
        let takes = seen.iter().flat_map(|seen| seen.takes());
        let take = number.checked_sub(1).and_then(|index| { takes }.nth(index));
        let capture = &take.ok_or_else(absent)?.capture;
        let window = match (part.from, part.to) {
            (Some(from), Some(to)) => Window::within(capture, from, to),
            _ => Window::whole(capture),
        };
        let drawn = plot::drawn(capture, window);
        Ok(typed(
            StatusCode::OK,
            "text/html; charset=utf-8",
            drawn.into_string(),
        ))
    })
    .await
}

/// A document that is handed out: it has a style of its own and runs no script.
pub(super) fn handout(form: Form, name: &str, bytes: Vec<u8>) -> Response<Body> {
    let kind = match form {
        Form::Html => "text/html; charset=utf-8",
        Form::Pdf => "application/pdf",
    };
    let mut answer = typed(StatusCode::OK, kind, bytes);
    let headers = answer.headers_mut();
    if form == Form::Html {
        let policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; \
                      form-action 'none'; frame-ancestors 'none'";
        headers.insert(CONTENT_SECURITY_POLICY, HeaderValue::from_static(policy));
    }
    let named = HeaderValue::from_str(&format!("inline; filename=\"{name}\""));
    if let Ok(named) = named {
        headers.insert(CONTENT_DISPOSITION, named);
    }
    answer
}

/// The certificate or test report of a run.
pub(super) async fn paper(
    State(pages): At,
    Path((run, name)): Path<(String, String)>,
) -> Response<Body> {
    beside(pages, View::Boards, move |pages| {
        let form = Form::ALL.into_iter().find(|form| paper_name(*form) == name);
        let form = form.ok_or_else(|| Nothing::Absent("There is no such paper.".to_owned()))?;
        let (reader, _, record) = found(pages, &run)?;
        // What is handed out reads nothing that is hidden by an index.
        reader.check_indexes()?;
        is_wound_up(&reader, &record)?;
        let letterhead = pages.settings().letterhead.as_ref();
        let document = document(&reader, &record, letterhead)?;
        let bytes = document.bytes(form);
        let bytes = bytes.map_err(|fault| Nothing::Hindered(fault.to_string()))?;
        let name = format!("{}-{name}", record.started.serial);
        Ok(handout(form, &name, bytes))
    })
    .await
}

/// A file of the run's folder, made from the record.
pub(super) async fn file(
    State(pages): At,
    Path((run, name)): Path<(String, String)>,
) -> Response<Body> {
    beside(pages, View::Boards, move |pages| {
        let known = report::files().find(|(known, _)| *known == name);
        let (name, write) =
            known.ok_or_else(|| Nothing::Absent("There is no such file.".to_owned()))?;
        let (_, _, record) = found(pages, &run)?;
        let mut answer = guard::plain(StatusCode::OK, write(&record));
        let named = format!("attachment; filename=\"{}-{name}\"", record.started.serial);
        if let Ok(named) = HeaderValue::from_str(&named) {
            answer.headers_mut().insert(CONTENT_DISPOSITION, named);
        }
        Ok(answer)
    })
    .await
}
