//! The certificate laid out on pages of A4, as many as it takes. It decides
//! places and sizes; words come from `content`.

use super::content::{self, Fact, LEGEND, MODEL, Rules};
use super::plots::plots;
use super::qr;
use super::rows;
use super::{Sources, content::Findings};
use crate::drawing::sheets::{LEFT, RIGHT, Sheets};
use crate::drawing::typeface::{fitted, shrunk, wrapped};
use crate::drawing::{Anchor, BLACK, Drawing, GREY, Item, PALE, Role, WHITE, axes};
use crate::record::Record;

/// More than any plan fills; what stands on none is counted on the last.
const MOST_PAGES: usize = 100;
/// Width of each of the two columns of facts.
const SIDE: f64 = 248.0;
/// Room for the label of a fact.
const LABEL: f64 = 62.0;
/// Lines of a fact that stay together.
const TOGETHER: usize = 12;

pub(super) fn pages(sources: &Sources<'_>) -> Vec<Drawing> {
    let record = sources.record;
    let mut sheets = Sheets::new(MOST_PAGES);
    head(&mut sheets, record);
    findings(&mut sheets, &content::findings(record));
    facts(&mut sheets, record);
    let mut left_out = 0;
    sheets.heading("Instruments");
    if record.instruments.is_empty() {
        sheets.lines("None had answered.", 7.5, 10.0);
    }
    let widths = [("ROLE", LEFT), ("IDENTITY", 110.0), ("CALIBRATED", 452.0)];
    left_out += rows::plain(
        &mut sheets,
        "Instruments",
        widths,
        &content::instruments(record),
    );
    if let Some((text, runs)) = content::board(sources) {
        sheets.room(60.0);
        sheets.heading("Every run of this board");
        sheets.lines(&text, 7.5, 10.0);
        let widths = [("STARTED", LEFT), ("VERDICT", 160.0), ("RUN", 290.0)];
        left_out += rows::plain(&mut sheets, "Every run of this board", widths, &runs);
    }
    let mut rules = Rules::default();
    for scenario in &record.scenarios {
        left_out += rows::scenario(&mut sheets, scenario, &mut rules);
    }
    sheets.y += 4.0;
    sheets.lines(LEGEND, 6.5, 8.5);
    for rule in rules.lines() {
        sheets.lines(&rule, 6.5, 8.5);
    }
    closing(&mut sheets, sources);
    left_out += seen(&mut sheets, sources);
    if left_out > 0 {
        let text = format!("{left_out} further items are on the HTML page and in the record.");
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
        page.write((LEFT, 54.0), 9.0, false, Anchor::Start, GREY, title);
        let headline = record.headline();
        let size = shrunk(&headline, 34.0, true, RIGHT - LEFT - 100.0);
        page.write(
            (LEFT, 94.0),
            size,
            true,
            Anchor::Start,
            BLACK,
            record.headline(),
        );
        let board = format!("Board {}", record.started.serial);
        let size = shrunk(&board, 14.0, false, RIGHT - LEFT - 100.0);
        let board = fitted(&board, size, false, RIGHT - LEFT - 100.0);
        page.text((LEFT, 118.0), size, board);
    });
    let words = format!("QR code: {}", qr::text(record));
    page.as_role(Role::Figure(words), |page| {
        page.place(&qr::qr(record, 92.0), (RIGHT - 86.0, 36.0));
    });
    page.line(&[(LEFT, 134.0), (RIGHT, 134.0)], BLACK, 2.0);
    sheets.y = 142.0;
    if record.started.model {
        page.block((LEFT, 142.0), (RIGHT - LEFT, 20.0), BLACK);
        let at = ((LEFT + RIGHT) / 2.0, 155.5);
        page.as_role(Role::Paragraph, |page| {
            page.write(at, 10.0, true, Anchor::Middle, WHITE, MODEL);
        });
        sheets.y = 172.0;
    }
}

/// What did not pass, framed; a frame that a page's end divides goes on with a
/// second one.
fn findings(sheets: &mut Sheets, found: &Findings) {
    if found.is_empty() {
        return;
    }
    let room = RIGHT - LEFT - 24.0;
    let mut top = sheets.y;
    sheets.y += 5.0;
    for (verdict, label, sentence) in found {
        let mut lines: Vec<(String, f64, bool)> =
            wrapped(&format!("{verdict}  {label}"), 8.5, true, room)
                .into_iter()
                .map(|line| (line, 8.5, true))
                .collect();
        let sentence = wrapped(sentence, 8.0, false, room);
        lines.extend(sentence.into_iter().map(|line| (line, 8.0, false)));
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
            sheets.y += if bold { 12.0 } else { 10.5 };
            let at = (LEFT + 12.0, sheets.y);
            sheets
                .page
                .write(at, size, bold, Anchor::Start, BLACK, line);
        }
        sheets.page.items.push(Item::End);
        sheets.y += 3.0;
    }
    frame(sheets, top);
}

fn frame(sheets: &mut Sheets, top: f64) {
    sheets.y += 8.0;
    let size = (RIGHT - LEFT, sheets.y - top);
    sheets.page.frame((LEFT, top), size, BLACK, 1.6);
    sheets.y += 4.0;
}

/// Identity and conditions, beside each other where a page has the room, else
/// one after the other.
fn facts(sheets: &mut Sheets, record: &Record) {
    let (identity, conditions) = (content::identity(record), content::conditions(record));
    let height = |facts: &[Fact]| {
        let lines = facts
            .iter()
            .map(|fact| wrapped(&fact.1, 7.5, false, SIDE - LABEL).len());
        18.0 + 10.0 * lines.sum::<usize>() as f64
    };
    let tallest = height(&identity).max(height(&conditions));
    if sheets.fits(tallest) {
        let top = sheets.y;
        column(sheets, "Identity", &identity, (LEFT, LEFT + SIDE));
        sheets.y = top;
        column(sheets, "Conditions", &conditions, (RIGHT - SIDE, RIGHT));
        sheets.y = top + tallest;
    } else {
        column(sheets, "Identity", &identity, (LEFT, RIGHT));
        column(sheets, "Conditions", &conditions, (LEFT, RIGHT));
    }
    sheets.y += 6.0;
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
    for (label, text) in facts {
        let lines = wrapped(text, 7.5, false, to - from - LABEL);
        for (index, part) in lines.chunks(TOGETHER).enumerate() {
            let height = 10.0 * part.len() as f64;
            sheets.room(height);
            let top = sheets.y + 10.0;
            sheets.page.as_role(Role::Paragraph, |page| {
                if index == 0 {
                    page.write((from, top), 7.5, false, Anchor::Start, GREY, *label);
                }
                for (line, text) in part.iter().enumerate() {
                    page.text((from + LABEL, top + 10.0 * line as f64), 7.5, text);
                }
            });
            sheets.y += height;
        }
    }
}

/// The plots in pairs; returns how many found no room.
fn seen(sheets: &mut Sheets, sources: &Sources<'_>) -> usize {
    let plots = plots(sources);
    for (index, pair) in plots.chunks(2).enumerate() {
        let height = axes::SIZE.1 + 14.0;
        if !sheets.room(height + if index == 0 { 24.0 } else { 0.0 }) {
            return plots.len() - 2 * index;
        }
        if index == 0 {
            sheets.heading("What was seen");
            sheets.y += 8.0;
        }
        let y = sheets.y;
        for (plot, x) in pair.iter().zip([LEFT, RIGHT - axes::SIZE.0]) {
            sheets
                .page
                .as_role(Role::Figure(plot.words.clone()), |page| {
                    page.place(&plot.drawing, (x, y));
                });
        }
        sheets.y += height;
    }
    0
}

fn closing(sheets: &mut Sheets, sources: &Sources<'_>) {
    sheets.room(62.0);
    sheets.heading("Left safe, notes and seals");
    sheets.lines(&content::safety(sources.record), 7.5, 10.0);
    for note in content::notes(sources) {
        sheets.lines(&note, 7.5, 10.0);
    }
    for (label, text) in content::digests(sources) {
        sheets.lines(&format!("{label}: {text}"), 7.5, 10.0);
    }
}
