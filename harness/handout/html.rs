//! A document as one page of HTML without any other file. It prints; it runs no
//! script.

use super::block::{
    Block, Fact, Framed, Handout, Head, Letterhead, Logo, MODEL, Reading, Readings, Table, bound,
    columns,
};
use super::figures::gauge::gauge;
use super::figures::qr::qr;
use super::paper::{SEEN, fills_a_sheet};
use crate::drawing::Picture;
use crate::drawing::svg::{escape, svg};
use base64::prelude::{BASE64_STANDARD, Engine as _};

const STYLE: &str = "\
@page{size:A4;margin:14mm}*{box-sizing:border-box}\
body{font:14px/1.45 system-ui,sans-serif;color:#111;background:#fff;margin:0 auto;padding:28px}\
header{display:flex;justify-content:space-between;gap:24px;border-bottom:3px solid #111;padding-bottom:14px}\
h1{margin:0;font-weight:400}h1 span,h1 strong{display:block}h1 span:first-child{font-size:15px;letter-spacing:.08em;text-transform:uppercase;color:#555}\
.outcome{font-size:44px;font-weight:800;line-height:1.15;margin:4px 0 0}.about{font-size:20px}\
.model{background:#111;color:#fff;font-weight:700;letter-spacing:.05em;padding:7px 12px;margin:14px 0;text-align:center;-webkit-print-color-adjust:exact;print-color-adjust:exact}\
.framed{border:2.5px solid #111;padding:8px 16px;margin:20px 0}.framed p{margin:3px 0}.framed p.lead{font-size:16px;font-weight:600}.framed p.told{margin:8px 0;max-width:none}\
h2{font-size:17px;margin:28px 0 8px;border-bottom:1px solid #bbb;padding-bottom:4px;break-after:avoid}\
.beside{display:grid;grid-template-columns:1fr 1fr;gap:0 36px}section{min-width:0}\
dl{display:grid;grid-template-columns:max-content 1fr;gap:3px 16px;margin:6px 0}dt{color:#555}dd{margin:0;overflow-wrap:anywhere}\
.scroll{overflow-x:auto}table{border-collapse:collapse;width:100%;font-size:12.5px;margin:10px 0}\
th{text-align:left;font-weight:600;color:#555;border-bottom:1px solid #111}th,td{padding:3px 10px 3px 0;vertical-align:top}\
td{border-bottom:1px solid #ddd}th.n,td.n{text-align:right}td.n{font-variant-numeric:tabular-nums}.n+:not(.n){padding-left:14px}.wide td:first-child{min-width:13em}tr{break-inside:avoid}thead{display:table-header-group}tr.g{break-after:avoid}tr.g th{color:#111;font-size:13.5px;padding-top:10px;border-bottom:1px solid #ddd}\
.found td,.found th{padding-right:8px;vertical-align:middle}.found td.n,.l,.w{white-space:nowrap}.w{font-weight:700}.s{color:#555;font-size:11px}p.s{max-width:none}p.r{margin:2px 0}\
.p1,.p2{display:grid;gap:22px;margin:12px 0}.p2{grid-template-columns:1fr 1fr}figure{margin:0;break-inside:avoid}figure svg{width:100%;height:auto;overflow:visible}figcaption{font-size:11px;color:#555}\
svg text{font-family:inherit}p{max-width:95ch;margin:6px 0}\
.issuer{display:flex;justify-content:space-between;gap:24px;border-bottom:1px solid #bbb;padding-bottom:10px;margin-bottom:14px}.issuer strong{font-size:19px}.issuer img{display:block;max-height:56px;max-width:220px;margin-bottom:6px}.issuer span{display:block;text-align:right;color:#555;font-size:12.5px}\
.sign{display:grid;grid-template-columns:260px 130px;gap:36px;margin:44px 0 10px}.sign p{border-top:1px solid #111;padding-top:4px;font-size:12.5px;color:#555;margin:0}\
@media screen and (max-width:700px){body{padding:14px}.p2,.beside{grid-template-columns:1fr}.outcome{font-size:30px}header{flex-wrap:wrap}.issuer{flex-wrap:wrap}.issuer span{text-align:left}\
thead{display:none}table,tbody,tr,tr.g th{display:block}tr:not(.g){border-bottom:1px solid #bbb;padding:8px 0}td,td.n,.l,.w{display:flow-root;border:0;padding:1px 0;white-space:normal;text-align:right;overflow-wrap:anywhere}.n+:not(.n){padding-left:0}td:empty{display:none}td:before{content:attr(data-t);float:left;margin-right:16px;color:#555;font-weight:400}td:first-child,.wide td:first-child{min-width:0;font-weight:700;text-align:left}td:first-child:before{content:none}td svg{margin-left:auto;display:block}.found .s{font-weight:400}dl{grid-template-columns:1fr}dd{margin-bottom:4px}.sign{grid-template-columns:1fr;gap:40px}}\
@media print{body:not(.short) .sheet{break-before:page}.scroll{overflow:visible}body{padding:0;font-size:11px}h2{margin:13px 0 5px}header{padding-bottom:8px}.issuer{padding-bottom:6px;margin-bottom:8px}.outcome{font-size:36px}.model{margin:8px 0;padding:4px}.framed{margin:10px 0}dl{gap:1px 16px;margin:3px 0}table{margin:5px 0}.p1,.p2{margin:6px 0;gap:12px}.sign{margin:34px 0 0;break-inside:avoid}.beside .p1 svg{max-height:58mm}table{font-size:10.7px}tr.g th{font-size:11px;padding-top:5px}th,td{padding:2px 5px 2px 0}}";

pub(super) fn page(handout: &Handout) -> String {
    let (head, screen) = (&handout.head, handout.layout.screen);
    let title = escape(&head.titles[0]);
    // Where little stands on page one, the next follows on it.
    let short = match fills_a_sheet(handout) {
        true => "",
        false => " class=\"short\"",
    };
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\"><title>{title}</title><style>{STYLE}</style></head><body{short} style=\"max-width:{screen}px\">\n<main>"
    );
    beginning(&mut out, head);
    blocks(&mut out, &handout.blocks);
    out.push_str("</main></body></html>\n");
    out
}

/// Who issues it: an image stands in a frame of its own, where no script of it
/// runs.
fn letterhead(out: &mut String, letterhead: &Letterhead) {
    let issuer = &letterhead.issuer;
    out.push_str("<div class=\"issuer\"><div>");
    let logo = letterhead.logo.as_ref().map(|logo| match logo {
        Logo::Svg(vector) => ("svg+xml", BASE64_STANDARD.encode(vector.text())),
        Logo::Png(raster) => ("png", BASE64_STANDARD.encode(raster.png())),
    });
    if let Some((kind, data)) = logo {
        out.push_str(&format!(
            "<img alt=\"\" src=\"data:image/{kind};base64,{data}\">"
        ));
    }
    out.push_str(&format!(
        "<strong>{}</strong></div><div>",
        escape(&issuer.name)
    ));
    for line in &issuer.address {
        out.push_str(&format!("<span>{}</span>", escape(line)));
    }
    out.push_str("</div></div>\n");
}

fn beginning(out: &mut String, head: &Head) {
    if let Some(issuer) = &head.issuer {
        letterhead(out, issuer);
    }
    let (headline, about) = (escape(&head.headline), escape(&head.about));
    let kind = head.kind;
    out.push_str(&format!(
        "<header><div><h1><span>{kind}</span> <strong class=\"outcome\">{headline}</strong> <span class=\"about\">{about}</span></h1></div>"
    ));
    if let Some(text) = &head.code {
        let code = qr(text, 120.0);
        out.push_str(&svg(&code.drawing, &code.words));
    }
    out.push_str("</header>\n");
    if head.model {
        out.push_str(&format!("<div class=\"model\">{MODEL}</div>\n"));
    }
}

fn blocks(out: &mut String, blocks: &[Block]) {
    for block in blocks {
        match block {
            Block::Heading(text) => out.push_str(&format!("<h2>{}</h2>\n", escape(text))),
            Block::Text(text) => out.push_str(&format!("<p>{}</p>\n", escape(text))),
            Block::Legend(text, lines) => {
                out.push_str(&format!("<p class=\"s\">{}</p>\n", escape(text)));
                for line in lines {
                    out.push_str(&format!("<p class=\"s r\">{}</p>\n", escape(line)));
                }
            }
            Block::Framed(found) => framed(out, found),
            Block::Facts(all) => facts(out, all),
            Block::Beside(halves) => {
                out.push_str("<div class=\"beside\">");
                for half in halves {
                    out.push_str("<section>");
                    self::blocks(out, half);
                    out.push_str("</section>");
                }
                out.push_str("</div>\n");
            }
            Block::Table(found) => table(out, found),
            Block::Readings(found) => readings(out, found),
            Block::Deciding(found) => deciding(out, found),
            Block::IfRoom(block, _) => self::blocks(out, std::slice::from_ref(block)),
            Block::Signature(text) => out.push_str(&format!(
                "<div class=\"sign\"><p>{}</p><p>Date</p></div>\n",
                escape(text)
            )),
            Block::NewSheet => out.push_str("<div class=\"sheet\"></div>\n"),
            Block::Pictures(abreast, all) => figures(out, *abreast, all, false),
            Block::Gallery(all) if all.is_empty() => {}
            Block::Gallery(all) => {
                out.push_str(&format!("<h2>{SEEN}</h2>"));
                figures(out, 2, all.iter().map(|seen| &seen.0), true);
            }
        }
    }
}

fn framed(out: &mut String, framed: &Framed) {
    let label = match framed.label {
        "" => String::new(),
        label => format!(" aria-label=\"{label}\""),
    };
    out.push_str(&format!("<section class=\"framed\"{label}>"));
    for line in &framed.lines {
        let (lead, rest) = (escape(&line.lead), escape(&line.rest));
        out.push_str(&match rest.as_str() {
            "" => format!("<p class=\"lead\">{lead}</p>"),
            rest => format!("<p class=\"told\"><b>{lead}.</b> {rest}</p>"),
        });
    }
    out.push_str("</section>\n");
}

fn facts(out: &mut String, facts: &[Fact]) {
    out.push_str("<dl>");
    for (label, text) in facts {
        out.push_str(&format!("<dt>{label}</dt><dd>{}</dd>", escape(text)));
    }
    out.push_str("</dl>\n");
}

fn figures<'a>(
    out: &mut String,
    abreast: usize,
    pictures: impl IntoIterator<Item = &'a Picture>,
    told: bool,
) {
    out.push_str(&format!("<div class=\"p{abreast}\">"));
    for picture in pictures {
        let drawn = svg(&picture.drawing, &picture.words);
        let words = match told {
            true => format!("<figcaption>{}</figcaption>", escape(&picture.words)),
            false => String::new(),
        };
        out.push_str(&format!("<figure>{drawn}{words}</figure>"));
    }
    out.push_str("</div>\n");
}

/// A table's beginning: what it is and each column's heading and class.
fn begin<'a>(out: &mut String, class: &str, columns: impl Iterator<Item = (&'a str, bool)>) {
    out.push_str(&format!(
        "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Table\"><table class=\"{class}\"><thead><tr>"
    ));
    for (heading, right) in columns {
        let (class, heading) = (numeric(right), escape(heading));
        out.push_str(&format!("<th scope=\"col\"{class}>{heading}</th>"));
    }
    out.push_str("</tr></thead><tbody>\n");
}

fn numeric(right: bool) -> &'static str {
    if right { " class=\"n\"" } else { "" }
}

fn table(out: &mut String, table: &Table) {
    let class = if table.headings.len() > 5 {
        "wide"
    } else {
        "few"
    };
    begin(out, class, table.headings.iter().copied());
    for row in &table.rows {
        if table.across(row) {
            let (columns, name) = (table.headings.len(), escape(&row[0]));
            out.push_str(&format!(
                "<tr class=\"g\"><th colspan=\"{columns}\" scope=\"colgroup\">{name}</th></tr>\n"
            ));
            continue;
        }
        out.push_str("<tr>");
        for (cell, &(heading, right)) in row.iter().zip(&table.headings) {
            let (class, cell) = (numeric(right), escape(&bound(cell, right)));
            let heading = escape(heading);
            out.push_str(&format!("<td{class} data-t=\"{heading}\">{cell}</td>"));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div>\n");
}

/// Columns of readings.
const READING: &str = "Metric | >Value | >U | Limit | On its limit | >Margin | Verdict | >Rule";
/// Columns of what decided each scenario.
const DECIDING: &str = "Scenario | Decided by | >Value and U | Limit | On its limit | Verdict";

fn readings(out: &mut String, readings: &Readings) {
    out.push_str(&format!("<h2>{}</h2>", escape(&readings.name)));
    begin(out, "found", columns(READING));
    for row in &readings.rows {
        let remarks = row.remarks.iter();
        let remarks: String = remarks
            .map(|remark| format!("<div class=\"s\">{}</div>", escape(remark)))
            .collect();
        let label = format!("{}{remarks}", escape(&row.label));
        let cells = [
            label,
            escape(&row.value),
            escape(&row.uncertainty),
            escape(&row.limit),
            on_limit(row),
            escape(&row.margin),
            row.verdict.to_owned(),
            row.rule.clone(),
        ];
        cards(out, READING, cells);
    }
    out.push_str("</tbody></table></div>\n");
}

fn deciding(out: &mut String, rows: &[Reading]) {
    begin(out, "found", columns(DECIDING));
    for row in rows {
        let cells = [
            escape(&row.scenario),
            escape(&row.label),
            escape(&row.result),
            escape(&row.limit),
            on_limit(row),
            row.verdict.to_owned(),
        ];
        cards(out, DECIDING, cells);
    }
    out.push_str("</tbody></table></div>\n");
}

fn on_limit(row: &Reading) -> String {
    let drawn = row.gauge.as_ref().and_then(|(finding, limit)| {
        let drawn = gauge(finding, limit, (110.0, 12.0))?;
        Some(svg(&drawn, &row.against()))
    });
    drawn.unwrap_or_default()
}

/// A row that becomes a card on a narrow screen, where each cell says what it
/// is; the first is the card's name.
fn cards<const N: usize>(out: &mut String, headings: &'static str, cells: [String; N]) {
    out.push_str("<tr>");
    for (cell, (heading, right)) in cells.into_iter().zip(columns(headings)) {
        let class = match (heading, right) {
            ("Limit", _) => " class=\"l\"",
            ("Verdict", _) => " class=\"w\"",
            (_, true) => " class=\"n\"",
            _ => "",
        };
        out.push_str(&format!("<td{class} data-t=\"{heading}\">{cell}</td>"));
    }
    out.push_str("</tr>\n");
}
