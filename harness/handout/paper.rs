//! A document on sheets of A4. It decides places and sizes; words and pictures
//! come from the blocks.

use super::block::{Block, Fact, Framed, Handout, Head, Layout, Letterhead, Line, Logo, MODEL};
use super::figures::qr::qr;
use super::sheets::{COLUMN, HEADING, LEFT, RIGHT, Sheets, TOP};
use super::{grid, readings};
use crate::drawing::typeface::{face, fitted, shrunk, wrapped};
use crate::drawing::{Anchor, BLACK, Drawing, GREY, Item, PALE, Picture, Role, WHITE};

/// Height of a frame with a sentence each; more are told in short.
const MOST_FRAMED: f64 = 240.0;
/// Least room for the label of a fact.
const LABEL: f64 = 62.0;
/// Room that a browser needs beyond a sheet that is laid out here.
const LARGER: f64 = 90.0;
/// Lines of a paragraph that stay together.
const TOGETHER: usize = 12;
/// Height of a logo at most.
const LOGO: f64 = 42.0;
/// Pictures of a gallery beside each other.
const ABREAST: usize = 3;
/// Size and distance of lines of a legend.
const SMALL: (f64, f64) = (8.0, 9.8);

pub(super) fn pages(handout: &Handout) -> Vec<Drawing> {
    let layout = handout.layout;
    let mut paper = Paper::new(layout, Sheets::new(layout.sheets));
    paper.head(&handout.head);
    paper.blocks(&handout.blocks);
    paper.gallery();
    paper.elsewhere();
    paper.sheets.finish(&handout.head.foot)
}

/// Whether what comes before the first block that begins a sheet of its own fills one, and
/// leaves a browser, whose letters are larger, the room for it.
pub(super) fn fills_a_sheet(handout: &Handout) -> bool {
    let begins = handout
        .blocks
        .iter()
        .position(|block| *block == Block::NewSheet);
    let before = &handout.blocks[..begins.unwrap_or_default()];
    let mut paper = Paper::new(handout.layout, Sheets::new(1));
    paper.head(&handout.head);
    paper.blocks(before);
    !paper.sheets.full && paper.sheets.is_filled() && paper.sheets.fits(LARGER)
}

struct Paper<'a> {
    sheets: Sheets,
    layout: &'static Layout,
    /// Items and pictures that found no room.
    left_out: [usize; 2],
    /// Pictures for the end of the document.
    gallery: Vec<&'a (Picture, bool)>,
}

impl<'a> Paper<'a> {
    fn new(layout: &'static Layout, sheets: Sheets) -> Self {
        Self {
            sheets,
            layout,
            left_out: [0; 2],
            gallery: Vec::new(),
        }
    }

    fn blocks(&mut self, blocks: &'a [Block]) {
        let mut rest = blocks;
        while let Some((block, after)) = rest.split_first() {
            rest = after;
            match block {
                // A heading stays with the beginning of what it heads.
                Block::Heading(text) => {
                    let next = after.first().map_or(20.0, Self::least);
                    if self.sheets.room(HEADING + next) {
                        self.sheets.heading(text);
                    }
                }
                Block::Text(text) => {
                    self.sheets.lines(text, self.layout.text);
                    self.sheets.y += 2.0;
                }
                Block::Legend(text, lines) => self.legend(text, &lines.join("  ")),
                Block::Framed(framed) => self.framed(framed),
                Block::Facts(facts) => self.facts(facts),
                Block::Beside(halves) => self.beside(halves),
                Block::Table(table) => {
                    let rows = grid::rows(table, self.sheets.width(), self.layout.row);
                    self.left_out[0] += self.sheets.rows(&rows);
                }
                Block::Readings(found) => {
                    self.left_out[0] += self.sheets.rows(&readings::rows(found));
                }
                Block::Deciding(found) => {
                    self.left_out[0] += self.sheets.rows(&readings::deciding(found));
                }
                Block::IfRoom(block, more) => self.if_room(block, *more),
                Block::Signature(text) => self.signature(text),
                Block::NewSheet => self.sheets.fresh(),
                Block::Pictures(abreast, pictures) => self.pictures(*abreast, pictures),
                Block::Gallery(pictures) => self.gallery.extend(pictures),
            }
        }
    }

    /// Room without which a block is not begun.
    fn least(block: &Block) -> f64 {
        match block {
            Block::Pictures(_, pictures) => tallest(pictures) + 10.0,
            // Its headings with a few rows.
            Block::Table(_) => 60.0,
            _ => 20.0,
        }
    }

    /// Who issues it, in the first lines: the name, and the address beside it.
    fn letterhead(&mut self, letterhead: &Letterhead) {
        let issuer = &letterhead.issuer;
        let page = &mut self.sheets.page;
        let (mut left, mut right) = (TOP + 8.0, TOP + 6.0);
        let half = (RIGHT - LEFT) / 2.0 - 6.0;
        if let Some(logo) = &letterhead.logo {
            let (at, room) = ((LEFT, TOP), (half, LOGO));
            let (size, item) = match logo.clone() {
                Logo::Png(raster) => {
                    let size = raster.fitted(room);
                    (size, Item::Image { at, size, raster })
                }
                Logo::Svg(vector) => {
                    let size = vector.fitted(room);
                    (size, Item::Vector { at, size, vector })
                }
            };
            page.items.push(item);
            left += size.1 + 8.0;
        }
        page.as_role(Role::Paragraph, |page| {
            for line in wrapped(&issuer.name, 13.0, true, half) {
                page.write((LEFT, left), 13.0, true, Anchor::Start, BLACK, line);
                left += 15.0;
            }
            for line in &issuer.address {
                for line in wrapped(line, 8.5, false, half) {
                    page.write((RIGHT, right), 8.5, false, Anchor::End, GREY, line);
                    right += 10.6;
                }
            }
        });
        let end = left.max(right) - 4.0;
        page.line(&[(LEFT, end), (RIGHT, end)], PALE, 0.6);
        self.sheets.y = end + 8.0;
    }

    fn head(&mut self, head: &Head) {
        if let Some(letterhead) = &head.issuer {
            self.letterhead(letterhead);
        }
        // Where the head would begin without a letterhead above it.
        let down = self.sheets.y - TOP;
        let code = head.code.as_ref().map(|text| qr(text, 74.0));
        let room = RIGHT - LEFT - if code.is_some() { 100.0 } else { 0.0 };
        let page = &mut self.sheets.page;
        let lines = [
            (50.0 + down, 8.5, false, GREY, head.kind.to_uppercase()),
            (80.0 + down, 30.0, true, BLACK, head.headline.clone()),
            (99.0 + down, 13.0, false, BLACK, head.about.clone()),
        ];
        page.as_role(Role::Heading(1), |page| {
            for (y, most, bold, ink, text) in lines {
                let size = shrunk(&text, most, bold, room);
                let text = fitted(&text, size, bold, room);
                page.write((LEFT, y), size, bold, Anchor::Start, ink, text);
            }
        });
        if let Some(code) = &code {
            figure(page, code, (RIGHT - 69.0, 34.0 + down));
        }
        page.line(&[(LEFT, 110.0 + down), (RIGHT, 110.0 + down)], BLACK, 2.0);
        self.sheets.y = 116.0 + down;
        if head.model {
            page.block((LEFT, 116.0 + down), (RIGHT - LEFT, 16.0), BLACK);
            let at = ((LEFT + RIGHT) / 2.0, 127.5 + down);
            page.as_role(Role::Paragraph, |page| {
                page.write(at, 9.0, true, Anchor::Middle, WHITE, MODEL);
            });
            self.sheets.y = 138.0 + down;
        }
    }

    /// What the tables mean, on one sheet where it has the room.
    fn legend(&mut self, text: &str, lines: &str) {
        let count = |text| wrapped(text, SMALL.0, false, RIGHT - LEFT).len();
        let height = SMALL.1 * (count(text) + count(lines)) as f64;
        if height < 200.0 {
            self.sheets.room(height + 3.0);
        }
        self.sheets.y += 3.0;
        for text in [text, lines].into_iter().filter(|text| !text.is_empty()) {
            self.sheets.lines(text, SMALL);
        }
    }

    /// Lines in a frame, in short where a sentence each would fill half a sheet;
    /// a frame that a sheet's end divides goes on with a second one.
    fn framed(&mut self, framed: &Framed) {
        let height = framed.lines.iter().flat_map(set).map(|line| line.1.1);
        let (lines, below) = match &framed.short {
            Some((short, below)) if height.sum::<f64>() > MOST_FRAMED => (short, *below),
            _ => (&framed.lines, ""),
        };
        let mut top = None;
        for line in lines {
            let set = set(line);
            let kept = set.iter().take(TOGETHER).map(|line| line.1.1);
            let kept = kept.sum::<f64>() + 14.0;
            self.frame_on(&mut top, kept);
            self.sheets.page.items.push(Item::Begin(Role::Paragraph));
            for (text, (size, step), bold) in set {
                if !self.sheets.fits(24.0) {
                    self.sheets.page.items.push(Item::End);
                    self.frame_on(&mut top, 24.0);
                    self.sheets.page.items.push(Item::Begin(Role::Paragraph));
                }
                self.sheets.y += step;
                let at = (LEFT + 12.0, self.sheets.y);
                let page = &mut self.sheets.page;
                page.write(at, size, bold, Anchor::Start, BLACK, text);
            }
            self.sheets.page.items.push(Item::End);
            self.sheets.y += 1.2;
        }
        self.frame(&mut top);
        if !below.is_empty() {
            self.sheets.lines(below, self.layout.text);
        }
    }

    /// Begins a frame, or goes on in a new one where `height` has no room.
    fn frame_on(&mut self, top: &mut Option<f64>, height: f64) {
        if top.is_some() && self.sheets.fits(height) {
            return;
        }
        self.frame(top);
        self.sheets.room(height);
        *top = Some(self.sheets.y);
        self.sheets.y += 2.5;
    }

    fn frame(&mut self, top: &mut Option<f64>) {
        if let Some(top) = top.take() {
            self.sheets.y += 6.5;
            let size = (RIGHT - LEFT, self.sheets.y - top);
            self.sheets.page.frame((LEFT, top), size, BLACK, 1.6);
            self.sheets.y += 6.0;
        }
    }

    /// Facts beside their labels.
    fn facts(&mut self, facts: &[Fact]) {
        self.facts_in_lines(facts);
        self.sheets.y += 6.0;
    }

    fn facts_in_lines(&mut self, facts: &[Fact]) {
        let (size, step) = self.layout.text;
        let widest = facts.iter().map(|fact| face(false).width(fact.0) * size);
        let inset = widest.fold(LABEL, |most, width| most.max(width + 6.0));
        for (label, text) in facts {
            let lines = wrapped(text, size, false, self.sheets.width() - inset);
            for (index, part) in lines.chunks(TOGETHER).enumerate() {
                let height = step * part.len() as f64;
                self.sheets.room(height);
                let (from, top) = (self.sheets.edges.0, self.sheets.y + step);
                self.sheets.page.as_role(Role::Paragraph, |page| {
                    if index == 0 {
                        page.write((from, top), size, false, Anchor::Start, GREY, *label);
                    }
                    for (line, text) in part.iter().enumerate() {
                        page.text((from + inset, top + step * line as f64), size, text);
                    }
                });
                self.sheets.y += height;
            }
        }
    }

    /// Two columns where this sheet has the room, else one after the other.
    fn beside(&mut self, halves: &'a [Vec<Block>; 2]) {
        let edges = [(LEFT, LEFT + COLUMN), (RIGHT - COLUMN, RIGHT)];
        let mut tried = halves.iter().zip(edges).map(|(blocks, edges)| {
            let mut half = Paper::new(self.layout, Sheets::new(1));
            (half.sheets.y, half.sheets.edges) = (self.sheets.y, edges);
            half.blocks(blocks);
            (!half.sheets.full).then_some(half.sheets)
        });
        if let (Some(Some(left)), Some(Some(right))) = (tried.next(), tried.next()) {
            self.sheets.y = left.y.max(right.y);
            for half in [left, right] {
                self.sheets.page.items.extend(half.page.items);
            }
            return;
        }
        for half in halves {
            self.blocks(half);
        }
    }

    /// A block that is left out where it and what must follow have no room: an
    /// attempt on the sheet alone shows how much it needs.
    fn if_room(&mut self, block: &'a Block, more: f64) {
        let mut tried = Paper::new(self.layout, Sheets::new(1));
        tried.sheets.y = self.sheets.y;
        tried.blocks(std::slice::from_ref(block));
        if !tried.sheets.full && tried.left_out == [0; 2] && tried.sheets.fits(more) {
            self.blocks(std::slice::from_ref(block));
        }
    }

    /// A line to sign on, and one for the day.
    fn signature(&mut self, text: &str) {
        if !self.sheets.room(46.0) {
            self.left_out[0] += 1;
            return;
        }
        let y = self.sheets.y + 30.0;
        let page = &mut self.sheets.page;
        for (from, to, words) in [
            (LEFT, LEFT + 220.0, text),
            (LEFT + 250.0, LEFT + 350.0, "Date"),
        ] {
            page.line(&[(from, y), (to, y)], BLACK, 0.8);
            page.as_role(Role::Paragraph, |page| {
                let words = fitted(words, 8.0, false, to - from);
                page.write((from, y + 10.0), 8.0, false, Anchor::Start, GREY, words);
            });
        }
        self.sheets.y = y + 16.0;
    }

    /// Pictures beside each other, the last at the right edge.
    fn pictures<'p>(
        &mut self,
        abreast: usize,
        pictures: impl IntoIterator<Item = &'p Picture> + Clone,
    ) {
        let all = || pictures.clone().into_iter();
        let height = tallest(all()) + 8.0;
        if !self.sheets.room(height) {
            self.left_out[1] += all().count();
            return;
        }
        let (mut x, width) = (self.sheets.edges.0, self.sheets.width());
        for picture in all() {
            figure(&mut self.sheets.page, picture, (x, self.sheets.y + 4.0));
            x += (width - picture.drawing.width) / abreast.saturating_sub(1).max(1) as f64;
        }
        self.sheets.y += height;
    }

    /// The gallery, as far as there is room; where not all have it, what can be
    /// spared comes last.
    fn gallery(&mut self) {
        let mut gallery = std::mem::take(&mut self.gallery);
        self.sheets.end_after(self.layout.gallery);
        let row = tallest(gallery.iter().map(|seen| &seen.0)) + 8.0;
        if !self
            .sheets
            .fits_in_all(HEADING + row * gallery.len().div_ceil(ABREAST) as f64)
        {
            gallery.sort_by_key(|(_, spared)| *spared);
        }
        for (index, abreast) in gallery.chunks(ABREAST).enumerate() {
            if index == 0 && self.sheets.room(HEADING + row) {
                self.sheets.heading(SEEN);
            }
            self.pictures(ABREAST, abreast.iter().map(|seen| &seen.0));
        }
    }

    /// Says what found no room.
    fn elsewhere(&mut self) {
        let what = [
            "items are on the HTML page and in the record.",
            "plots are on the HTML page.",
        ];
        let left = self
            .left_out
            .into_iter()
            .zip(what)
            .filter(|left| left.0 > 0);
        let told: Vec<String> = left
            .map(|(count, what)| format!("{count} further {what}"))
            .collect();
        let (page, at) = (&mut self.sheets.page, (LEFT, 806.0));
        page.write(at, 8.0, true, Anchor::Start, BLACK, told.join(" "));
    }
}

/// What a gallery shows.
pub(super) const SEEN: &str = "What was seen";

/// The lines of a framed line with size, step and weight: heavy, and larger
/// where no sentence follows.
fn set(line: &Line) -> Vec<(String, (f64, f64), bool)> {
    let room = RIGHT - LEFT - 24.0;
    let lead = if line.rest.is_empty() {
        (9.5, 13.0)
    } else {
        (8.4, 10.8)
    };
    let parts = [(&line.lead, lead, true), (&line.rest, (8.0, 10.0), false)];
    let parts = parts.into_iter().filter(|part| !part.0.is_empty());
    parts
        .flat_map(|(text, set, bold)| {
            let lines = wrapped(text, set.0, bold, room);
            lines.into_iter().map(move |line| (line, set, bold))
        })
        .collect()
}

fn tallest<'p>(pictures: impl IntoIterator<Item = &'p Picture>) -> f64 {
    let heights = pictures.into_iter().map(|picture| picture.drawing.height);
    heights.fold(0.0, f64::max)
}

fn figure(page: &mut Drawing, picture: &Picture, at: (f64, f64)) {
    let role = Role::Figure(picture.words.clone());
    page.as_role(role, |page| page.place(&picture.drawing, at));
}
