//! The certificate as one page of HTML without any other file. It prints; it
//! runs no script.

use super::Sources;
use super::content::{self, Fact, LEGEND, MODEL, Rules};
use super::gauge::gauge;
use super::plots::{First, plots};
use super::qr;
use crate::drawing::svg::{escape, svg};
use crate::record::ScenarioRecord;

const STYLE: &str = "\
@page{size:A4;margin:14mm}*{box-sizing:border-box}\
body{font:14px/1.45 'DejaVu Sans Condensed','Segoe UI',Helvetica,Arial,sans-serif;color:#111;background:#fff;max-width:1020px;margin:0 auto;padding:28px}\
header{display:flex;justify-content:space-between;gap:24px;border-bottom:3px solid #111;padding-bottom:14px}\
h1{margin:0;font-weight:400}h1 span,h1 strong{display:block}h1 span:first-child{font-size:15px;letter-spacing:.08em;text-transform:uppercase;color:#555}\
.verdict{font-size:46px;font-weight:800;line-height:1.15;margin:4px 0 0}\
.serial{font-size:20px}\
.model{background:#111;color:#fff;font-weight:700;letter-spacing:.05em;padding:7px 12px;margin:14px 0;text-align:center;-webkit-print-color-adjust:exact;print-color-adjust:exact}\
h2{font-size:17px;margin:28px 0 8px;border-bottom:1px solid #bbb;padding-bottom:4px}\
.two{display:grid;grid-template-columns:1fr 1fr;gap:0 36px}\
dl{display:grid;grid-template-columns:max-content 1fr;gap:3px 16px;margin:0}dt{color:#555}dd{margin:0;overflow-wrap:anywhere}\
.found{border:2.5px solid #111;padding:4px 16px 10px;margin:22px 0}.found p{margin:8px 0}\
table{border-collapse:collapse;width:100%;font-size:12.5px}th{text-align:left;font-weight:600;color:#555;border-bottom:1px solid #111}\
th,td{padding:4px 8px 4px 0;vertical-align:middle}td{border-bottom:1px solid #ddd}.n{text-align:right;white-space:nowrap}\
.l{white-space:nowrap}.r{margin:2px 0}.w{font-weight:700;white-space:nowrap}.s{color:#555;font-size:11px}tr{break-inside:avoid}\
.plots{display:grid;grid-template-columns:1fr 1fr;gap:26px}figure{margin:0;break-inside:avoid}figure svg{width:100%;height:auto}\
figcaption{font-size:11px;color:#555}code{font-size:11px;overflow-wrap:anywhere}svg text{font-family:inherit}";

/// The certificate as HTML.
pub fn html(sources: &Sources<'_>) -> String {
    let record = sources.record;
    let headline = escape(&record.headline());
    let serial = escape(record.started.serial.as_str());
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\"><title>{headline} {serial}: certificate</title><style>{STYLE}</style></head><body>\n<main><header><div><h1><span>Certificate of acceptance test</span> <strong class=\"verdict\">{headline}</strong> <span class=\"serial\">Board {serial}</span></h1></div>"
    );
    let words = format!("QR code: {}", qr::text(record));
    out.push_str(&svg(&qr::qr(record, 120.0), &words));
    out.push_str("</header>\n");
    if record.started.model {
        out.push_str(&format!("<div class=\"model\">{MODEL}</div>\n"));
    }
    out.push_str(&found(sources));
    out.push_str("<div class=\"two\"><section><h2>Identity</h2>");
    out.push_str(&list(&content::identity(record)));
    out.push_str("</section><section><h2>Conditions</h2>");
    out.push_str(&list(&content::conditions(record)));
    out.push_str("</section></div>\n");
    out.push_str("<h2>Instruments</h2>");
    let heads = ["Role", "Identity", "Calibrated"];
    out.push_str(&plain_table(heads, &content::instruments(record)));
    if let Some((text, runs)) = content::board(sources) {
        let text = escape(&text);
        out.push_str(&format!("<h2>Every run of this board</h2><p>{text}</p>"));
        out.push_str(&plain_table(["Started", "Verdict", "Run"], &runs));
    }
    let mut rules = Rules::default();
    for scenario in &record.scenarios {
        out.push_str(&table(scenario, &mut rules));
    }
    out.push_str(&format!("<p class=\"s\">{LEGEND}</p>\n"));
    for rule in rules.lines() {
        out.push_str(&format!("<p class=\"s r\">{}</p>\n", escape(&rule)));
    }
    let plots = plots(sources, First::AsRun);
    if !plots.is_empty() {
        out.push_str("<h2>What was seen</h2><div class=\"plots\">");
        for plot in &plots {
            let words = escape(&plot.words);
            let drawing = svg(&plot.drawing, &plot.words);
            out.push_str(&format!(
                "<figure>{drawing}<figcaption>{words}</figcaption></figure>\n"
            ));
        }
        out.push_str("</div>\n");
    }
    out.push_str(&format!(
        "<h2>Left safe</h2><p>{}</p>\n",
        escape(&content::safety(record))
    ));
    let notes = content::notes(sources);
    if !notes.is_empty() {
        out.push_str("<h2>Notes</h2>");
        for note in notes {
            out.push_str(&format!("<p>{}</p>", escape(&note)));
        }
    }
    out.push_str("<h2>Seals</h2>");
    out.push_str(&list(&content::digests(sources)));
    out.push_str("</main></body></html>\n");
    out
}

fn found(sources: &Sources<'_>) -> String {
    let findings = content::findings(sources.record);
    if findings.is_empty() {
        return String::new();
    }
    let mut out = String::from("<section class=\"found\" aria-label=\"What did not pass\">");
    for (verdict, label, sentence) in findings {
        let (label, sentence) = (escape(&label), escape(&sentence));
        out.push_str(&format!("<p><b>{verdict} {label}.</b> {sentence}</p>"));
    }
    out.push_str("</section>\n");
    out
}

fn list(facts: &[Fact]) -> String {
    let fact = |(label, text): &Fact| format!("<dt>{label}</dt><dd>{}</dd>", escape(text));
    format!("<dl>{}</dl>", facts.iter().map(fact).collect::<String>())
}

fn plain_table(heads: [&str; 3], rows: &[[String; 3]]) -> String {
    let head = |head: &str| format!("<th scope=\"col\">{head}</th>");
    let cell = |cell: &String| format!("<td>{}</td>", escape(cell));
    let row =
        |row: &[String; 3]| format!("<tr>{}</tr>\n", row.iter().map(cell).collect::<String>());
    format!(
        "<table><thead><tr>{}</tr></thead><tbody>{}</tbody></table>\n",
        heads.map(head).concat(),
        rows.iter().map(row).collect::<String>()
    )
}

fn table(scenario: &ScenarioRecord, rules: &mut Rules) -> String {
    let verdict = scenario
        .verdict
        .map_or("UNFINISHED", |verdict| verdict.word());
    let name = escape(&scenario.name);
    let mut out = format!(
        "<h2>{name}: {verdict}</h2><table><thead><tr><th scope=\"col\">Metric</th><th scope=\"col\" class=\"n\">Value</th><th scope=\"col\" class=\"n\">U</th><th scope=\"col\">Limit</th><th scope=\"col\">On its limit</th><th scope=\"col\" class=\"n\">Margin</th><th scope=\"col\">Verdict</th><th scope=\"col\" class=\"n\">Rule</th></tr></thead><tbody>"
    );
    for judged in &scenario.metrics {
        let row = content::row(judged);
        let line = judged
            .limit
            .as_ref()
            .and_then(|limit| gauge(&judged.metric.finding, limit, 110.0, 12.0))
            .map_or(String::new(), |drawing| {
                svg(&drawing, &format!("{} against {}", row.value, row.limit))
            });
        let notes: String = judged
            .metric
            .notes
            .iter()
            .map(|note| format!("<div class=\"s\">{}</div>", escape(note)))
            .collect();
        let rule = rules.number(&row);
        let [label, value, u, limit, margin] = [
            &row.label,
            &row.value,
            &row.uncertainty,
            &row.limit,
            &row.margin,
        ]
        .map(|text| escape(text));
        out.push_str(&format!(
            "<tr><td>{label}{notes}</td><td class=\"n\">{value}</td><td class=\"n\">{u}</td><td class=\"l\">{limit}</td><td>{line}</td><td class=\"n\">{margin}</td><td class=\"w\">{}</td><td class=\"n\">{rule}</td></tr>\n",
            row.verdict
        ));
    }
    out.push_str("</tbody></table>\n");
    out
}
