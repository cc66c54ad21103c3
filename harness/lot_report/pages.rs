//! A report about lots on pages of A4. It decides places and sizes; words and
//! pictures come from `content`.

use super::content::{Block, Content, MODEL, Picture};
use super::grid;
use crate::drawing::sheets::{LEFT, RIGHT, Sheets};
use crate::drawing::typeface::{fitted, wrapped};
use crate::drawing::{Anchor, BLACK, Drawing, GREY, Role, WHITE};

/// Pages of one report; a lot of many metrics fills a dozen.
const MOST_PAGES: usize = 60;

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
            Block::Table(table) => grid::rows(&mut sheets, table),
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
        Block::Table(_) => grid::LEAST,
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
