//! A report about lots as one page of HTML without any other file. It prints;
//! it runs no script.

use super::content::{Block, Content, MODEL, Picture, Table, across};
use super::words::bound;
use crate::drawing::svg::{escape, svg};

const STYLE: &str = "\
@page{size:A4;margin:14mm}*{box-sizing:border-box}\
body{font:14px/1.45 'DejaVu Sans Condensed','Segoe UI',Helvetica,Arial,sans-serif;color:#111;background:#fff;max-width:1240px;margin:0 auto;padding:28px}\
header{border-bottom:3px solid #111;padding-bottom:14px}\
h1{font-size:15px;letter-spacing:.08em;text-transform:uppercase;margin:0;color:#555}\
.outcome{font-size:44px;font-weight:800;line-height:1.15;margin:4px 0 0}.about{font-size:20px}\
.model{background:#111;color:#fff;font-weight:700;letter-spacing:.05em;padding:7px 12px;margin:14px 0;text-align:center;-webkit-print-color-adjust:exact;print-color-adjust:exact}\
.framed{border:2.5px solid #111;padding:8px 16px;margin:20px 0;font-size:16px;font-weight:600}.framed p{margin:3px 0}\
h2{font-size:17px;margin:28px 0 8px;border-bottom:1px solid #bbb;padding-bottom:4px;break-after:avoid}\
.scroll{overflow-x:auto}table{border-collapse:collapse;width:100%;font-size:12.5px;margin:10px 0}\
th{text-align:left;font-weight:600;color:#555;border-bottom:1px solid #111}th,td{padding:3px 10px 3px 0;vertical-align:top}\
td{border-bottom:1px solid #ddd}th.n,td.n{text-align:right}td.n{font-variant-numeric:tabular-nums}td:first-child{min-width:13em}tr{break-inside:avoid}thead{display:table-header-group}tr.g{break-after:avoid}tr.g th{color:#111;font-size:13.5px;padding-top:10px;border-bottom:1px solid #ddd}\
.pair{display:grid;grid-template-columns:1fr 1fr;gap:22px;margin:12px 0}figure{margin:0;break-inside:avoid}figure svg{width:100%;height:auto}\
.wide{margin:12px 0}svg text{font-family:inherit}p{max-width:95ch;margin:6px 0}\
@media(max-width:700px){.pair{grid-template-columns:1fr}}@media print{body{padding:0;font-size:11px}table{font-size:9px}tr.g th{font-size:10px;padding-top:5px}th,td{padding:2px 5px 2px 0}}";

pub(super) fn page(content: &Content) -> String {
    let (headline, about) = (escape(&content.headline), escape(&content.about));
    let kind = content.kind;
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\"><title>{headline}: {about}</title><style>{STYLE}</style></head><body>\n<header><h1>{kind}</h1><div class=\"outcome\">{headline}</div><div class=\"about\">{about}</div></header>\n"
    );
    if content.model {
        out.push_str(&format!("<div class=\"model\">{MODEL}</div>\n"));
    }
    for block in &content.blocks {
        match block {
            Block::Heading(text) => out.push_str(&format!("<h2>{}</h2>\n", escape(text))),
            Block::Text(text) => out.push_str(&format!("<p>{}</p>\n", escape(text))),
            Block::Framed(lines) => {
                let lines: String = lines
                    .iter()
                    .map(|l| format!("<p>{}</p>", escape(l)))
                    .collect();
                out.push_str(&format!("<section class=\"framed\">{lines}</section>\n"));
            }
            Block::Table(table) => out.push_str(&rows(table)),
            Block::Pair(pictures) => {
                let figures: String = pictures.iter().map(figure).collect();
                out.push_str(&format!("<div class=\"pair\">{figures}</div>\n"));
            }
            Block::Wide(picture) => {
                out.push_str(&format!("<div class=\"wide\">{}</div>\n", figure(picture)));
            }
        }
    }
    out.push_str("</body></html>\n");
    out
}

fn figure(picture: &Picture) -> String {
    format!("<figure>{}</figure>", svg(&picture.drawing, &picture.words))
}

fn rows(table: &Table) -> String {
    let right: Vec<bool> = table.headings.iter().map(|h| h.starts_with('>')).collect();
    let class = |at: usize| {
        if right.get(at) == Some(&true) {
            " class=\"n\""
        } else {
            ""
        }
    };
    let mut out = String::from("<div class=\"scroll\"><table><thead><tr>");
    for (at, heading) in table.headings.iter().enumerate() {
        let text = escape(heading.trim_start_matches('>'));
        out.push_str(&format!("<th scope=\"col\"{}>{text}</th>", class(at)));
    }
    out.push_str("</tr></thead><tbody>\n");
    for row in &table.rows {
        if across(table, row) {
            let (columns, name) = (table.headings.len(), escape(&row[0]));
            out.push_str(&format!(
                "<tr class=\"g\"><th colspan=\"{columns}\" scope=\"colgroup\">{name}</th></tr>\n"
            ));
            continue;
        }
        out.push_str("<tr>");
        for (at, cell) in row.iter().enumerate() {
            let cell = escape(&bound(cell, right.get(at) == Some(&true)));
            out.push_str(&format!("<td{}>{cell}</td>", class(at)));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div>\n");
    out
}
