//! The run view as a page: what is chosen once, and around it the regions that change
//! while a board runs. It opens nothing.

use super::address::{Nothing, beside};
use super::desk_view;
use super::guard;
use super::markup::Markup;
use super::pages::At;
use super::run_view;
use super::shelf::{MODEL_BENCH, Shelf};
use super::shell::{View, page};
use super::stage::{Phase, Region};
use axum::body::Body;
use axum::extract::State;
use axum::http::Response;

/// The run view.
pub(super) async fn run_page(State(pages): At) -> Response<Body> {
    beside(pages, View::Run, |pages| {
        let settings = pages.settings();
        let shelf = Shelf::of(&settings.files);
        let operator = settings.operator.as_deref().unwrap_or_default();
        let lot = settings.lot.as_deref().unwrap_or_default();
        let (body, title) = pages.desk().look(|stage| {
            let region = |region| run_view::region(stage, region);
            let mut out = Markup::default();
            out.raw("<h1 class=\"unseen\">Run boards</h1><div id=\"lot\" class=\"panel lot\">")
                .add(&region(Region::Lot))
                .raw("</div>")
                .raw("<div id=\"hindered\">")
                .add(&region(Region::Hindered))
                .raw("</div>")
                .add(&form(&shelf, operator, lot, stage.phase == Phase::Closed))
                .raw("<div class=\"bench\"><section class=\"left\"><div id=\"verdict\" class=\"panel\">")
                .add(&region(Region::Verdict))
                .raw("</div><div id=\"desk\" class=\"panel\">")
                .add(&region(Region::Desk))
                .raw("</div><div id=\"now\" class=\"panel\" aria-live=\"off\">")
                .add(&region(Region::Now))
                .raw("</div><div id=\"remarks\">")
                .add(&region(Region::Remarks))
                .raw("</div><div class=\"panel\"><h2>Scenarios</h2><div id=\"scenarios\">")
                .add(&region(Region::Scenarios))
                .raw("</div></div><div class=\"panel\"><h2>Boards</h2><div id=\"boards\">")
                .add(&region(Region::Boards))
                .raw("</div></div></section><section class=\"right\"><div class=\"panel\">")
                .raw(METERS)
                .raw("</div><div id=\"capture\" class=\"panel\" tabindex=\"0\" role=\"group\" aria-label=\"Capture\">")
                .add(&region(Region::Capture))
                .raw("</div><div class=\"panel\"><h2>Metrics</h2>\
                      <div id=\"metrics\" class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Metrics\">")
                .add(&region(Region::Metrics))
                .raw("</div></div></section></div>");
            out.raw(CLOSE);
            let title = match &stage.sitting {
                Some(sitting) => sitting.plan.clone(),
                None => "Run boards".to_owned(),
            };
            (out, title)
        });
        Ok::<_, Nothing>(page(pages, View::Run, &title, &body))
    })
    .await
}

/// The meters while the bench is watched.
const METERS: &str = "<h2>Meters</h2><dl class=\"meters\">\
    <div class=\"m-v\"><dt>Supply voltage</dt><dd id=\"meter-v\">\u{2013}</dd></div>\
    <div class=\"m-a\"><dt>Supply current</dt><dd id=\"meter-a\">\u{2013}</dd></div>\
    <div class=\"m-l\"><dt>Load current</dt><dd id=\"meter-l\">\u{2013}</dd></div></dl>\
    <canvas id=\"trace\" height=\"180\" role=\"img\" aria-label=\"Voltage and currents of the run so far, as the \
    meters read them about once a second\"></canvas>";

/// Ends the sitting.
const CLOSE: &str = "<section class=\"panel closing\" id=\"closing\" hidden><button type=\"button\" \
    data-post=\"/close\">Close this bench</button> <span>Then plan, bench and lot can be chosen again. The \
    records stay.</span></section>";

/// What is chosen once.
fn form(shelf: &Shelf, operator: &str, lot: &str, shown: bool) -> Markup {
    let mut out = Markup::default();
    out.raw("<section class=\"panel choosing\" id=\"choosing\"")
        .raw(if shown { "" } else { " hidden" })
        .raw("><h2>Open a bench</h2>");
    if shelf.plans.is_empty() {
        out.raw(
            "<p class=\"told\">There is no plan in the folder of this server. Write one with \
             <code>bufferstop new plan plan.toml</code>, then load this page again.</p>",
        );
    }
    out.raw("<form data-send=\"/sitting\" autocomplete=\"off\"><div class=\"fields\"><label>Plan<select name=\"plan\" required>");
    for plan in &shelf.plans {
        out.put("<option>{}</option>", &[plan]);
    }
    out.raw("</select></label><label>Bench<select name=\"bench\">");
    for bench in &shelf.benches {
        out.put("<option>{}</option>", &[bench]);
    }
    out.put(
        "<option value=\"{}\">embedded model bench (no instrument)</option></select></label>\
         <label>Lot<input name=\"lot\" list=\"lot-files\" value=\"{}\" maxlength=\"200\" \
         placeholder=\"a lot file, or a name\"></label><datalist id=\"lot-files\">",
        &[&MODEL_BENCH, &lot],
    );
    for lot in &shelf.lots {
        out.put("<option value=\"{}\">", &[lot]);
    }
    out.put(
        "</datalist><label>Operator<input name=\"operator\" value=\"{}\" maxlength=\"100\"></label>\
         <label>Ambient temperature<input name=\"ambient\" maxlength=\"20\" placeholder=\"23 degC\"></label></div>",
        &[&operator],
    );
    out.raw("<fieldset><legend>Before a bench with instruments is opened</legend>")
        .add(&desk_view::cautions())
        .raw(
            "<label class=\"tick\"><input type=\"checkbox\" name=\"confirmed\" value=\"yes\"> All of this is so, \
             and I stay at the bench.</label></fieldset><p class=\"row\"><button class=\"go\">Open the bench</button> \
             <span>Nothing is energised before a board is started.</span></p></form></section>",
        );
    out
}

/// Where too many pages watch.
pub(super) fn too_many() -> Response<Body> {
    guard::plain(
        axum::http::StatusCode::SERVICE_UNAVAILABLE,
        "Too many pages watch this bench.\n",
    )
}
