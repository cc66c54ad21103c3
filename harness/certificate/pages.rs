//! The certificate laid out on one to three pages of A4. It decides places and
//! sizes; words come from `content`.

use super::Sources;
use super::content::{self, Fact, LEGEND, MODEL};
use super::gauge::gauge;
use super::plots::plots;
use super::qr;
use crate::drawing::sheets::{FOOT, LEFT, RIGHT, Sheets};
use crate::drawing::typeface::{fitted, wrapped};
use crate::drawing::{Anchor, BLACK, Drawing, GREY, PALE, TINT, WHITE, axes};
use crate::record::{JudgedMetric, Record};

const MOST_PAGES: usize = 3;
/// Findings told in full; the HTML page tells all.
const MOST_FINDINGS: usize = 8;

pub(super) fn pages(sources: &Sources<'_>) -> Vec<Drawing> {
    let record = sources.record;
    let mut sheets = Sheets::new(MOST_PAGES);
    head(&mut sheets, record);
    findings(&mut sheets, record);
    facts(&mut sheets, record);
    let mut left_out = 0;
    for scenario in &record.scenarios {
        let verdict = scenario
            .verdict
            .map_or("UNFINISHED", |verdict| verdict.word());
        if !sheets.room(52.0) {
            left_out += scenario.metrics.len();
            continue;
        }
        columns(&mut sheets, &format!("{}: {verdict}", scenario.name));
        for judged in &scenario.metrics {
            if sheets.room(13.0) {
                metric(&mut sheets, judged);
            } else {
                left_out += 1;
            }
        }
        sheets.y += 10.0;
    }
    sheets.lines(LEGEND, 6.5, 8.5);
    seen(&mut sheets, sources);
    closing(&mut sheets, sources);
    if left_out > 0 {
        let text = format!("{left_out} further metrics are on the HTML page and in the record.");
        let at = (LEFT, FOOT + 4.0);
        sheets.page.write(at, 7.0, true, Anchor::Start, BLACK, text);
    }
    let started = &record.started;
    sheets.finish(&format!(
        "{}  |  {}  |  run {}",
        record.headline(),
        started.serial,
        started.run
    ))
}

fn head(sheets: &mut Sheets, record: &Record) {
    let page = &mut sheets.page;
    page.write(
        (LEFT, 54.0),
        9.0,
        false,
        Anchor::Start,
        GREY,
        "CERTIFICATE OF ACCEPTANCE TEST",
    );
    page.write(
        (LEFT, 94.0),
        34.0,
        true,
        Anchor::Start,
        BLACK,
        record.headline(),
    );
    let board = format!("Board {}", record.started.serial);
    let board = fitted(&board, 14.0, false, RIGHT - LEFT - 100.0);
    page.text((LEFT, 118.0), 14.0, board);
    page.place(&qr::qr(record, 92.0), (RIGHT - 86.0, 36.0));
    page.line(&[(LEFT, 134.0), (RIGHT, 134.0)], BLACK, 2.0);
    sheets.y = 142.0;
    if record.started.model {
        page.block((LEFT, 142.0), (RIGHT - LEFT, 20.0), BLACK);
        let at = ((LEFT + RIGHT) / 2.0, 155.5);
        page.write(at, 10.0, true, Anchor::Middle, WHITE, MODEL);
        sheets.y = 172.0;
    }
}

fn findings(sheets: &mut Sheets, record: &Record) {
    let found = content::findings(record);
    if found.is_empty() {
        return;
    }
    let top = sheets.y;
    sheets.y += 5.0;
    let room = RIGHT - LEFT - 24.0;
    for (verdict, label, sentence) in found.iter().take(MOST_FINDINGS) {
        sheets.y += 12.0;
        let label = fitted(&format!("{verdict}  {label}"), 8.5, true, room);
        let at = (LEFT + 12.0, sheets.y);
        sheets
            .page
            .write(at, 8.5, true, Anchor::Start, BLACK, label);
        for line in wrapped(sentence, 8.0, false, room).into_iter().take(3) {
            sheets.y += 10.5;
            sheets.page.text((LEFT + 12.0, sheets.y), 8.0, line);
        }
        sheets.y += 3.0;
    }
    if found.len() > MOST_FINDINGS {
        sheets.y += 11.0;
        let text = format!(
            "and {} more in the tables below",
            found.len() - MOST_FINDINGS
        );
        sheets.page.text((LEFT + 12.0, sheets.y), 8.0, text);
    }
    sheets.y += 8.0;
    let size = (RIGHT - LEFT, sheets.y - top);
    sheets.page.frame((LEFT, top), size, BLACK, 1.6);
    sheets.y += 4.0;
}

fn facts(sheets: &mut Sheets, record: &Record) {
    let top = sheets.y;
    let middle = 292.0;
    let left = column(
        sheets,
        "Identity",
        &content::identity(record),
        LEFT,
        middle - 14.0,
    );
    sheets.y = top;
    let right = column(
        sheets,
        "Conditions",
        &content::conditions(record),
        middle,
        RIGHT,
    );
    sheets.y = left.max(right) + 6.0;
}

fn column(sheets: &mut Sheets, title: &str, facts: &[Fact], from: f64, to: f64) -> f64 {
    /// Lines of a column.
    const MOST: usize = 18;
    let mut y = sheets.y + 14.0;
    let page = &mut sheets.page;
    page.write((from, y), 10.5, true, Anchor::Start, BLACK, title);
    y += 4.0;
    page.line(&[(from, y), (to, y)], PALE, 0.6);
    let mut used = 0;
    for (label, text) in facts {
        for (index, line) in wrapped(text, 7.5, false, to - from - 62.0)
            .into_iter()
            .take(3)
            .enumerate()
        {
            if used == MOST {
                return y;
            }
            used += 1;
            y += 10.0;
            if index == 0 {
                page.write((from, y), 7.5, false, Anchor::Start, GREY, *label);
            }
            page.text((from + 62.0, y), 7.5, line);
        }
    }
    y
}

/// Right or left edge and title of each column.
const COLUMNS: [(f64, Anchor, &str); 7] = [
    (LEFT, Anchor::Start, "METRIC"),
    (212.0, Anchor::End, "VALUE"),
    (258.0, Anchor::End, "U"),
    (268.0, Anchor::Start, "LIMIT"),
    (428.0, Anchor::End, "MARGIN"),
    (434.0, Anchor::Start, "VERDICT"),
    (490.0, Anchor::Start, "RULE, SOURCE"),
];
const GAUGE: (f64, f64) = (348.0, 40.0);

fn columns(sheets: &mut Sheets, title: &str) {
    sheets.heading(title);
    sheets.y += 7.0;
    for (x, anchor, title) in COLUMNS {
        sheets
            .page
            .write((x, sheets.y), 6.0, false, anchor, GREY, title);
    }
    sheets.y += 3.0;
    let y = sheets.y;
    sheets.page.line(&[(LEFT, y), (RIGHT, y)], BLACK, 0.8);
}

fn metric(sheets: &mut Sheets, judged: &JudgedMetric) {
    let row = content::row(judged);
    let y = sheets.y + 9.0;
    let page = &mut sheets.page;
    let failing = row.verdict == "FAIL" || row.verdict == "INCONCLUSIVE";
    if failing {
        page.block(
            (LEFT - 3.0, sheets.y + 0.8),
            (RIGHT - LEFT + 6.0, 11.6),
            TINT,
        );
    }
    let rule = if row.source.is_empty() {
        row.rule.clone()
    } else {
        format!("{}; {}", row.rule, row.source)
    };
    let cells = [
        (&row.label, 7.5, 118.0),
        (&row.value, 7.5, 56.0),
        (&row.uncertainty, 7.5, 44.0),
        (&row.limit, 7.0, 78.0),
        (&row.margin, 7.5, 42.0),
        (&row.verdict.to_owned(), 7.0, 54.0),
        (&rule, 5.5, 64.0),
    ];
    for ((text, size, room), (x, anchor, title)) in cells.into_iter().zip(COLUMNS) {
        let bold = title == "VERDICT" || (failing && title == "METRIC");
        let text = fitted(text, size, bold, room);
        page.write((x, y), size, bold, anchor, BLACK, text);
    }
    if let Some(limit) = &judged.limit
        && let Some(line) = gauge(&judged.metric.finding, limit, GAUGE.1, 9.0)
    {
        page.place(&line, (GAUGE.0, y - 7.0));
    }
    sheets.y += 13.0;
    let y = sheets.y;
    page.line(&[(LEFT, y), (RIGHT, y)], PALE, 0.4);
}

fn seen(sheets: &mut Sheets, sources: &Sources<'_>) {
    let plots = plots(sources);
    for (index, pair) in plots.chunks(2).enumerate() {
        let height = axes::SIZE.1 + 14.0;
        if !sheets.room(height + if index == 0 { 24.0 } else { 0.0 }) {
            return;
        }
        if index == 0 {
            sheets.heading("What was seen");
            sheets.y += 8.0;
        }
        for (plot, x) in pair.iter().zip([LEFT, RIGHT - axes::SIZE.0]) {
            sheets.page.place(&plot.drawing, (x, sheets.y));
        }
        sheets.y += height;
    }
}

fn closing(sheets: &mut Sheets, sources: &Sources<'_>) {
    if !sheets.room(62.0) {
        return;
    }
    sheets.heading("Left safe, notes and seals");
    sheets.lines(&content::safety(sources.record), 7.5, 10.0);
    for note in content::notes(sources) {
        sheets.lines(&note, 7.5, 10.0);
    }
    for (label, text) in content::digests(sources) {
        sheets.lines(&format!("{label}: {text}"), 7.5, 10.0);
    }
}
