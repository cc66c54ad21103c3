//! The certificate laid out on pages of A4, as many as it takes. It decides
//! places and sizes; words come from `content`.

use super::content::{self, Fact, LEGEND, MODEL, Rules};
use super::plots::{self, First, plots};
use super::qr;
use super::rows::{self, Part};
use super::table;
use super::{Sources, content::Findings};
use crate::drawing::sheets::{LEFT, RIGHT, Sheets};
use crate::drawing::typeface::{fitted, shrunk, wrapped};
use crate::drawing::{Anchor, BLACK, Drawing, GREY, Item, PALE, Role, WHITE};
use crate::judgement::Verdict;
use crate::record::Record;

/// More than any plan fills; what stands on none is counted on the last.
const MOST_PAGES: usize = 100;
/// Pages that a run of a whole plan takes: plots begin no further one.
const PAGES: usize = 3;
/// Height of findings with a sentence each; more are told in short.
const MOST_FOUND: f64 = 240.0;
/// Width of each of the two columns of facts.
const SIDE: f64 = 248.0;
/// Room for the label of a fact.
const LABEL: f64 = 62.0;
/// Size and distance of the lines of a fact.
const FACT: f64 = 6.8;
const FACT_LINE: f64 = 8.8;
/// Plots beside each other.
const ABREAST: usize = 3;
/// Lines of a fact that stay together.
const TOGETHER: usize = 12;

pub(super) fn pages(sources: &Sources<'_>) -> Vec<Drawing> {
    let record = sources.record;
    let mut sheets = Sheets::new(MOST_PAGES);
    head(&mut sheets, record);
    not_passed(&mut sheets, record);
    let mut left_out = facts(&mut sheets, record);
    if let Some((text, runs)) = content::board(sources) {
        sheets.room(60.0);
        sheets.heading("Every run of this board");
        sheets.lines(&text, 6.8, 8.4);
        let titles = ["STARTED", "VERDICT", "RUN"];
        let edges = [LEFT, 160.0, 290.0, RIGHT + 6.0];
        let name = "Every run of this board";
        left_out += table::plain(&mut sheets, name, (titles, edges), &runs);
    }
    let mut rules = Rules::default();
    let scenarios = record.scenarios.iter();
    let parts: Vec<Part> = scenarios.map(|s| Part::of(s, &mut rules)).collect();
    left_out += rows::scenarios(&mut sheets, &parts);
    legend(&mut sheets, &rules);
    closing(&mut sheets, sources);
    let plots = seen(&mut sheets, sources);
    let mut elsewhere = Vec::new();
    if left_out > 0 {
        elsewhere.push(format!(
            "{left_out} further items are on the HTML page and in the record."
        ));
    }
    if plots > 0 {
        elsewhere.push(format!("{plots} further plots are on the HTML page."));
    }
    if !elsewhere.is_empty() {
        let text = elsewhere.join(" ");
        let at = (LEFT, 806.0);
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
    page.as_role(Role::Heading(1), |page| {
        let title = "CERTIFICATE OF ACCEPTANCE TEST";
        page.write((LEFT, 50.0), 8.5, false, Anchor::Start, GREY, title);
        let headline = record.headline();
        let size = shrunk(&headline, 30.0, true, RIGHT - LEFT - 100.0);
        page.write(
            (LEFT, 80.0),
            size,
            true,
            Anchor::Start,
            BLACK,
            record.headline(),
        );
        let board = format!("Board {}", record.started.serial);
        let size = shrunk(&board, 13.0, false, RIGHT - LEFT - 100.0);
        let board = fitted(&board, size, false, RIGHT - LEFT - 100.0);
        page.text((LEFT, 99.0), size, board);
    });
    let words = format!("QR code: {}", qr::text(record));
    page.as_role(Role::Figure(words), |page| {
        page.place(&qr::qr(record, 74.0), (RIGHT - 69.0, 34.0));
    });
    page.line(&[(LEFT, 110.0), (RIGHT, 110.0)], BLACK, 2.0);
    sheets.y = 116.0;
    if record.started.model {
        page.block((LEFT, 116.0), (RIGHT - LEFT, 16.0), BLACK);
        let at = ((LEFT + RIGHT) / 2.0, 127.5);
        page.as_role(Role::Paragraph, |page| {
            page.write(at, 9.0, true, Anchor::Middle, WHITE, MODEL);
        });
        sheets.y = 138.0;
    }
}

/// What did not pass, each with a sentence where that leaves room for the rest.
fn not_passed(sheets: &mut Sheets, record: &Record) {
    let found = content::findings(record);
    let height = found.iter().map(|(verdict, label, sentence)| {
        let (first, rest) = finding_lines(*verdict, label, sentence);
        9.6 * first.len() as f64 + 8.4 * rest.len() as f64 + 1.2
    });
    if height.sum::<f64>() <= MOST_FOUND {
        findings(sheets, &found);
        return;
    }
    findings(sheets, &content::findings_in_short(record));
    sheets.lines(content::IN_SHORT, 6.8, 8.4);
}

/// The lines that name a finding, and those of its sentence.
fn finding_lines(verdict: Verdict, label: &str, sentence: &str) -> (Vec<String>, Vec<String>) {
    let room = RIGHT - LEFT - 24.0;
    let first = wrapped(&format!("{verdict}  {label}"), 7.4, true, room);
    (first, wrapped(sentence, 6.8, false, room))
}

/// What did not pass, framed; a frame that a page's end divides goes on with a
/// second one.
fn findings(sheets: &mut Sheets, found: &Findings) {
    if found.is_empty() {
        return;
    }
    let mut top = sheets.y;
    sheets.y += 5.0;
    for (verdict, label, sentence) in found {
        let (first, rest) = finding_lines(*verdict, label, sentence);
        let first = first.into_iter().map(|line| (line, 7.4, true));
        let rest = rest.into_iter().map(|line| (line, 6.8, false));
        let lines: Vec<(String, f64, bool)> = first.chain(rest).collect();
        let kept = lines.len().min(TOGETHER) as f64;
        if !sheets.fits(12.0 * kept + 11.0) {
            frame(sheets, top);
            sheets.room(12.0 * kept + 11.0);
            top = sheets.y;
            sheets.y += 5.0;
        }
        sheets.page.items.push(Item::Begin(Role::Paragraph));
        for (line, size, bold) in lines {
            if !sheets.fits(24.0) {
                sheets.page.items.push(Item::End);
                frame(sheets, top);
                sheets.room(24.0);
                top = sheets.y;
                sheets.page.items.push(Item::Begin(Role::Paragraph));
            }
            sheets.y += if bold { 9.6 } else { 8.4 };
            let at = (LEFT + 12.0, sheets.y);
            sheets
                .page
                .write(at, size, bold, Anchor::Start, BLACK, line);
        }
        sheets.page.items.push(Item::End);
        sheets.y += 1.2;
    }
    frame(sheets, top);
}

fn frame(sheets: &mut Sheets, top: f64) {
    sheets.y += 4.0;
    let size = (RIGHT - LEFT, sheets.y - top);
    sheets.page.frame((LEFT, top), size, BLACK, 1.6);
    sheets.y += 4.0;
}

/// Identity beside conditions and instruments where a page has the room, else
/// one after the other; returns how many instruments found no room.
fn facts(sheets: &mut Sheets, record: &Record) -> usize {
    let (identity, conditions) = (content::identity(record), content::conditions(record));
    let instruments = content::instruments(record);
    let height = |facts: &[Fact]| {
        let lines = facts
            .iter()
            .map(|fact| wrapped(&fact.1, FACT, false, SIDE - LABEL).len());
        18.0 + FACT_LINE * lines.sum::<usize>() as f64
    };
    let from = RIGHT - SIDE;
    let edges = [from, from + 52.0, from + 204.0, RIGHT + 6.0];
    let right = height(&conditions) + 18.0 + table::plain_height(edges, &instruments);
    let tallest = height(&identity).max(right);
    let titles = ["ROLE", "IDENTITY", "CALIBRATED"];
    if sheets.fits(tallest) {
        let top = sheets.y;
        column(sheets, "Identity", &identity, (LEFT, LEFT + SIDE));
        sheets.y = top;
        column(sheets, "Conditions", &conditions, (from, RIGHT));
        column(sheets, "Instruments", &[], (from, RIGHT));
        if instruments.is_empty() {
            let none = ("", "None had answered.".to_owned());
            said(sheets, &none, (from, RIGHT));
        }
        let left_out = table::plain(sheets, "Instruments", (titles, edges), &instruments);
        sheets.y = top + tallest;
        return left_out;
    }
    column(sheets, "Identity", &identity, (LEFT, RIGHT));
    column(sheets, "Conditions", &conditions, (LEFT, RIGHT));
    column(sheets, "Instruments", &[], (LEFT, RIGHT));
    let edges = [LEFT, 110.0, 452.0, RIGHT + 6.0];
    table::plain(sheets, "Instruments", (titles, edges), &instruments)
}

fn column(sheets: &mut Sheets, title: &str, facts: &[Fact], (from, to): (f64, f64)) {
    sheets.room(40.0);
    sheets.y += 14.0;
    let y = sheets.y;
    sheets.page.as_role(Role::Heading(2), |page| {
        page.write((from, y), 10.5, true, Anchor::Start, BLACK, title);
    });
    let under = [(from, y + 4.0), (to, y + 4.0)];
    sheets.page.line(&under, PALE, 0.6);
    sheets.y += 4.0;
    for fact in facts {
        said(sheets, fact, (from, to));
    }
}

/// A fact beside its label.
fn said(sheets: &mut Sheets, (label, text): &Fact, (from, to): (f64, f64)) {
    let lines = wrapped(text, FACT, false, to - from - LABEL);
    for (index, part) in lines.chunks(TOGETHER).enumerate() {
        let height = FACT_LINE * part.len() as f64;
        sheets.room(height);
        let top = sheets.y + FACT_LINE;
        sheets.page.as_role(Role::Paragraph, |page| {
            if index == 0 {
                page.write((from, top), FACT, false, Anchor::Start, GREY, *label);
            }
            for (line, text) in part.iter().enumerate() {
                page.text((from + LABEL, top + FACT_LINE * line as f64), FACT, text);
            }
        });
        sheets.y += height;
    }
}

/// The plots in threes, none beyond the third page; returns how many found no
/// room. Where not all do, those of scenarios that did not pass come first.
fn seen(sheets: &mut Sheets, sources: &Sources<'_>) -> usize {
    let mut plots = plots(sources, First::AsRun);
    sheets.end_after(PAGES);
    let rows = plots.len().div_ceil(ABREAST) as f64;
    if !sheets.fits_in_all(20.0 + rows * (plots::SIZE.1 + 5.0)) {
        plots = plots::plots(sources, First::NotPassed);
    }
    let step = (RIGHT - LEFT - plots::SIZE.0) / (ABREAST - 1) as f64;
    for (index, abreast) in plots.chunks(ABREAST).enumerate() {
        let height = plots::SIZE.1 + 5.0;
        if !sheets.room(height + if index == 0 { 20.0 } else { 0.0 }) {
            return plots.len() - ABREAST * index;
        }
        if index == 0 {
            sheets.heading("What was seen");
            sheets.y += 3.0;
        }
        let (mut x, y) = (LEFT, sheets.y);
        for plot in abreast {
            let words = plot.words.clone();
            sheets.page.as_role(Role::Figure(words), |page| {
                page.place(&plot.drawing, (x, y));
            });
            x += step;
        }
        sheets.y += height;
    }
    0
}

/// What the tables mean, on one page where it has the room.
fn legend(sheets: &mut Sheets, rules: &Rules) {
    const SIZE: f64 = 5.8;
    const STEP: f64 = 7.0;
    let rules: Vec<String> = rules.lines().collect();
    let rules = rules.join("  ");
    let lines = |text| wrapped(text, SIZE, false, RIGHT - LEFT).len();
    let height = STEP * (lines(LEGEND) + lines(&rules)) as f64;
    if height < 200.0 {
        sheets.room(height + 3.0);
    }
    sheets.y += 3.0;
    sheets.lines(LEGEND, SIZE, STEP);
    if !rules.is_empty() {
        sheets.lines(&rules, SIZE, STEP);
    }
}

fn closing(sheets: &mut Sheets, sources: &Sources<'_>) {
    sheets.room(46.0);
    sheets.heading("Left safe, notes and seals");
    sheets.lines(&content::safety(sources.record), 6.8, 8.6);
    for note in content::notes(sources) {
        sheets.lines(&note, 6.8, 8.6);
    }
    for (label, text) in content::digests(sources) {
        sheets.lines(&format!("{label}: {text}"), 6.8, 8.6);
    }
}
