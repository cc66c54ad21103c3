//! A report about lots on pages of A4. It decides places and sizes; words and
//! pictures come from `content`.

use super::content::{Block, Content, MODEL, Picture, Table};
use crate::drawing::sheets::{LEFT, RIGHT, Sheets};
use crate::drawing::typeface::{face, fitted, wrapped};
use crate::drawing::{Anchor, BLACK, Drawing, GREY, Item, PALE, Role, WHITE};

/// Pages of one report; a lot of many metrics fills a dozen.
const MOST_PAGES: usize = 60;
const SIZE: f64 = 6.6;
const LINE: f64 = 8.2;
const GAP: f64 = 6.0;

pub(super) fn pages(content: &Content) -> Vec<Drawing> {
    let mut sheets = Sheets::new(MOST_PAGES);
    head(&mut sheets, content);
    let mut blocks = content.blocks.iter().peekable();
    while let Some(block) = blocks.next() {
        match block {
            Block::Heading(text) => {
                // A heading stays with the beginning of what it heads.
                let next = blocks.peek().map_or(20.0, |block| least_height(block));
                if sheets.room(26.0 + next) {
                    sheets.heading(text);
                    sheets.y += 3.0;
                }
            }
            Block::Text(text) => {
                sheets.lines(text, 7.5, 10.0);
                sheets.y += 3.0;
            }
            Block::Framed(lines) => framed(&mut sheets, lines),
            Block::Table(table) => rows(&mut sheets, table),
            Block::Pair(pictures) => {
                let height = pictures
                    .iter()
                    .map(|p| p.drawing.height)
                    .fold(0.0, f64::max);
                if sheets.room(height + 10.0) {
                    let y = sheets.y + 5.0;
                    for (picture, from) in pictures.iter().zip([LEFT, RIGHT - 250.0]) {
                        figure(&mut sheets, picture, (from, y));
                    }
                    sheets.y += height + 10.0;
                }
            }
            Block::Wide(picture) => {
                let height = picture.drawing.height + 8.0;
                if sheets.room(height) {
                    let y = sheets.y + 4.0;
                    figure(&mut sheets, picture, (LEFT, y));
                    sheets.y += height;
                }
            }
        }
    }
    sheets.finish(&format!(
        "{}  |  {}  |  {}",
        content.headline, content.about, content.kind
    ))
}

fn figure(sheets: &mut Sheets, picture: &Picture, at: (f64, f64)) {
    let role = Role::Figure(picture.words.clone());
    sheets
        .page
        .as_role(role, |page| page.place(&picture.drawing, at));
}

fn least_height(block: &Block) -> f64 {
    match block {
        Block::Pair(pictures) => {
            pictures
                .iter()
                .map(|p| p.drawing.height)
                .fold(0.0, f64::max)
                + 10.0
        }
        Block::Wide(picture) => picture.drawing.height + 8.0,
        Block::Table(_) => 40.0,
        _ => 20.0,
    }
}

fn head(sheets: &mut Sheets, content: &Content) {
    let page = &mut sheets.page;
    let kind = content.kind.to_uppercase();
    page.as_role(Role::Heading(1), |page| {
        page.write((LEFT, 54.0), 9.0, false, Anchor::Start, GREY, kind);
        let headline = fitted(&content.headline, 30.0, true, RIGHT - LEFT);
        page.write((LEFT, 88.0), 30.0, true, Anchor::Start, BLACK, headline);
        let about = fitted(&content.about, 14.0, false, RIGHT - LEFT);
        page.text((LEFT, 110.0), 14.0, about);
    });
    page.line(&[(LEFT, 122.0), (RIGHT, 122.0)], BLACK, 2.0);
    sheets.y = 130.0;
    if content.model {
        page.block((LEFT, 130.0), (RIGHT - LEFT, 20.0), BLACK);
        let at = ((LEFT + RIGHT) / 2.0, 143.5);
        page.as_role(Role::Paragraph, |page| {
            page.write(at, 10.0, true, Anchor::Middle, WHITE, MODEL);
        });
        sheets.y = 160.0;
    }
}

fn framed(sheets: &mut Sheets, lines: &[String]) {
    let room = RIGHT - LEFT - 24.0;
    let lines: Vec<String> = lines
        .iter()
        .flat_map(|line| wrapped(line, 9.5, true, room))
        .collect();
    let height = 14.0 + 13.0 * lines.len() as f64;
    if !sheets.room(height + 6.0) {
        return;
    }
    let top = sheets.y;
    sheets
        .page
        .frame((LEFT, top), (RIGHT - LEFT, height), BLACK, 1.6);
    sheets.page.as_role(Role::Paragraph, |page| {
        for (index, line) in lines.into_iter().enumerate() {
            let at = (LEFT + 12.0, top + 16.0 + 13.0 * index as f64);
            page.write(at, 9.5, true, Anchor::Start, BLACK, line);
        }
    });
    sheets.y = top + height + 8.0;
}

fn rows(sheets: &mut Sheets, table: &Table) {
    let widths = widths(table);
    let right: Vec<bool> = table.headings.iter().map(|h| h.starts_with('>')).collect();
    let headings: Vec<String> = table
        .headings
        .iter()
        .map(|h| h.trim_start_matches('>').to_owned())
        .collect();
    if !sheets.room(34.0) {
        return;
    }
    sheets.page.items.push(Item::Begin(Role::Table));
    line(sheets, &headings, &widths, &right, true);
    for row in &table.rows {
        let height = lines_of(row, &widths) as f64 * LINE + 4.0;
        if !sheets.fits(height) {
            // No table goes on over a page's end: the next page has its own.
            sheets.page.items.push(Item::End);
            if !sheets.room(height) {
                return;
            }
            sheets.page.items.push(Item::Begin(Role::Table));
            line(sheets, &headings, &widths, &right, true);
        }
        line(sheets, row, &widths, &right, false);
    }
    sheets.page.items.push(Item::End);
    sheets.y += 6.0;
}

/// Numbers keep the width that they want; what is left goes to the columns of
/// words, as they want it while there is enough.
fn widths(table: &Table) -> Vec<f64> {
    let face = face(false);
    let columns = table.headings.len();
    let wanted: Vec<f64> = (0..columns)
        .map(|at| {
            let cells = table.rows.iter().filter_map(|row| row.get(at));
            let heading = table.headings[at].trim_start_matches('>');
            let words = heading.split(' ').map(|word| face.width(word));
            // A heading may break, but not into a tower.
            let least = words.fold(0.0, f64::max).max(face.width(heading).min(8.0));
            let widest = cells.map(|cell| face.width(cell)).fold(least, f64::max);
            widest * SIZE + 1.0
        })
        .collect();
    let room = RIGHT - LEFT - GAP * (columns.max(1) - 1) as f64;
    let sum: f64 = wanted.iter().sum();
    if sum <= room {
        return wanted;
    }
    let numeric = |at: &usize| table.headings[*at].starts_with('>');
    let numbers: f64 = (0..columns).filter(numeric).map(|at| wanted[at]).sum();
    let words = sum - numbers;
    // Where numbers leave too little, all give alike.
    let (numbers_share, words_share) = if room - numbers > 0.2 * room && words > 0.0 {
        (1.0, (room - numbers) / words)
    } else {
        (room / sum, room / sum)
    };
    (0..columns)
        .map(|at| {
            wanted[at]
                * if numeric(&at) {
                    numbers_share
                } else {
                    words_share
                }
        })
        .collect()
}

fn lines_of(row: &[String], widths: &[f64]) -> usize {
    let lines = row
        .iter()
        .zip(widths)
        .map(|(cell, width)| wrapped(cell, SIZE, false, *width).len());
    lines.max().unwrap_or(1)
}

fn line(sheets: &mut Sheets, row: &[String], widths: &[f64], right: &[bool], heading: bool) {
    let top = sheets.y;
    let mut x = LEFT;
    let ink = if heading { GREY } else { BLACK };
    let role = if heading { Role::Header } else { Role::Cell };
    sheets.page.items.push(Item::Begin(Role::Row));
    for ((cell, width), right) in row.iter().zip(widths).zip(right) {
        let (anchor, at) = if *right {
            (Anchor::End, x + width)
        } else {
            (Anchor::Start, x)
        };
        sheets.page.as_role(role.clone(), |page| {
            for (index, text) in wrapped(cell, SIZE, false, *width).into_iter().enumerate() {
                let y = top + LINE * (index + 1) as f64;
                page.write((at, y), SIZE, false, anchor, ink, text);
            }
        });
        x += width + GAP;
    }
    sheets.page.items.push(Item::End);
    sheets.y += lines_of(row, widths) as f64 * LINE + 4.0;
    let y = sheets.y - 1.0;
    let (ink, width) = if heading { (BLACK, 0.8) } else { (PALE, 0.4) };
    sheets.page.line(&[(LEFT, y), (RIGHT, y)], ink, width);
}
