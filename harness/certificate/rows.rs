//! Tables of a certificate: the metrics of each scenario, those with one limit
//! as a group, in two columns. It holds no words of its own but the titles.

use super::content::{self, Rules};
use super::gauge::gauge;
use crate::drawing::sheets::{FOOT, LEFT, RIGHT, Sheets};
use crate::drawing::typeface::{face, shrunk, wrapped};
use crate::drawing::{Anchor, BLACK, Drawing, GREY, Item, PALE, Role, TINT};
use crate::judgement::Verdict;
use crate::record::{JudgedMetric, ScenarioRecord};
use std::collections::BTreeMap;

/// Width of each of the two columns.
const WIDTH: f64 = 248.0;
/// Edge, anchor, width and title of each cell of a row.
const CELLS: [(f64, Anchor, f64, &str); 6] = [
    (4.0, Anchor::Start, 68.0, ""),
    (116.0, Anchor::End, 43.0, "VALUE"),
    (156.0, Anchor::End, 38.0, "U"),
    (160.0, Anchor::Start, 26.0, "ON LIMIT"),
    (219.0, Anchor::End, 32.0, "MARGIN"),
    (WIDTH, Anchor::End, 27.0, "VERDICT"),
];
/// Which of them is drawn.
const GAUGE: usize = 3;
const SIZE: f64 = 6.2;
const LINE: f64 = 7.0;
const SMALL: f64 = 5.4;
const SMALL_LINE: f64 = 6.0;
/// A remark made of more metrics of a scenario is told once, with a letter.
const TOLD_EACH: usize = 1;
/// Least room at a column's foot for a heading and what follows.
const START: f64 = 44.0;

/// A scenario's metrics, ready to be placed.
pub(super) struct Part {
    name: String,
    /// Groups and rows with the number of metrics in each.
    pieces: Vec<(Drawing, usize)>,
}

impl Part {
    pub(super) fn of(scenario: &ScenarioRecord, rules: &mut Rules) -> Self {
        let verdict = scenario.verdict.map_or("UNFINISHED", Verdict::word);
        let letters = Letters::of(scenario);
        let mut groups: Vec<Group<'_>> = Vec::new();
        for judged in &scenario.metrics {
            let row = content::row(judged);
            let rule = rules.number(&row);
            let key = &judged.metric.key;
            let same = |g: &&mut Group<'_>| {
                g.rows[0].0.metric.key == *key && g.limit == row.limit && g.rule == rule
            };
            match groups.iter_mut().find(same) {
                Some(group) => group.rows.push((judged, row)),
                None => groups.push(Group {
                    limit: row.limit.clone(),
                    rule,
                    rows: vec![(judged, row)],
                }),
            }
        }
        let mut pieces: Vec<(Drawing, usize)> = groups
            .iter()
            .flat_map(|group| group.pieces(&letters))
            .collect();
        match (letters.told(), pieces.last_mut()) {
            // A few lines stay with the last row.
            (Some((told, _)), Some((last, _))) if told.height < 3.0 * SMALL_LINE => {
                last.place(&told, (0.0, last.height));
                last.height += told.height;
            }
            (told, _) => pieces.extend(told),
        }
        Self {
            name: format!("{}: {verdict}", scenario.name),
            pieces,
        }
    }

    fn height(&self) -> f64 {
        let pieces: f64 = self.pieces.iter().map(|piece| piece.0.height).sum();
        pieces + 26.0
    }
}

/// Remarks that many metrics of a scenario share.
struct Letters(Vec<String>);

impl Letters {
    fn of(scenario: &ScenarioRecord) -> Self {
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        let notes = || scenario.metrics.iter().flat_map(|j| &j.metric.notes);
        for note in notes() {
            *counts.entry(note).or_default() += 1;
        }
        let mut shared: Vec<String> = Vec::new();
        for note in notes() {
            if counts[note.as_str()] > TOLD_EACH && !shared.contains(note) && shared.len() < 26 {
                shared.push(note.clone());
            }
        }
        Self(shared)
    }

    fn letter(index: usize) -> char {
        char::from(b'a' + u8::try_from(index).unwrap_or(25).min(25))
    }

    /// A metric's own remarks, and the letters of those it shares.
    fn remarks(&self, judged: &JudgedMetric) -> String {
        let note = |note: &String| match self.0.iter().position(|shared| shared == note) {
            Some(index) => format!("({})", Self::letter(index)),
            None => note.clone(),
        };
        let notes: Vec<String> = judged.metric.notes.iter().map(note).collect();
        notes.join("; ")
    }

    /// What each letter stands for.
    fn told(&self) -> Option<(Drawing, usize)> {
        if self.0.is_empty() {
            return None;
        }
        let lines: Vec<String> = self
            .0
            .iter()
            .enumerate()
            .flat_map(|(index, note)| {
                let text = format!("({}) {note}", Self::letter(index));
                wrapped(&text, SMALL, false, WIDTH)
            })
            .collect();
        let mut drawing = Drawing::new(WIDTH, SMALL_LINE * lines.len() as f64 + 2.0);
        drawing.as_role(Role::Row, |page| {
            page.as_role(Role::Cell, |page| small(page, 0.0, 0.0, &lines));
        });
        Some((drawing, 0))
    }
}

/// Metrics of one name against one limit.
struct Group<'a> {
    limit: String,
    rule: String,
    rows: Vec<(&'a JudgedMetric, content::Row)>,
}

impl Group<'_> {
    /// The group's line with its first row, then each other row.
    fn pieces(&self, letters: &Letters) -> Vec<(Drawing, usize)> {
        let last = self.rows.len() - 1;
        let rows = self.rows.iter().enumerate();
        rows.map(|(index, (judged, row))| {
            let mut drawing = Drawing::new(WIDTH, 0.0);
            let remarks = letters.remarks(judged);
            // A group of one has room for its remark beside its name.
            let beside = index == 0
                && last == 0
                && face(false).width(&remarks) * SMALL > CELLS[0].2
                && self.name(&mut drawing, &remarks);
            if index == 0 && !beside {
                self.name(&mut drawing, "");
            }
            let place = if last == 0 { "" } else { &judged.metric.at };
            let below = if beside { "" } else { &remarks };
            metric(&mut drawing, judged, row, place, below);
            if index == last {
                let y = drawing.height + 0.8;
                drawing.line(&[(0.0, y), (WIDTH, y)], PALE, 0.4);
                drawing.height += 1.6;
            }
            (drawing, 1)
        })
        .collect()
    }

    /// What was measured, and the limit that it has; false, and nothing drawn,
    /// where the remark has no room between them.
    fn name(&self, drawing: &mut Drawing, remark: &str) -> bool {
        let (judged, row) = &self.rows[0];
        let name = if self.rows.len() == 1 {
            row.label.clone()
        } else {
            judged.metric.key.replace('_', " ")
        };
        let limit = match self.rule.as_str() {
            "" => self.limit.clone(),
            rule => format!("{}   rule {rule}", self.limit),
        };
        let width = face(false).width(&limit) * SIZE;
        let beside = width < WIDTH / 2.0;
        let room = if beside { WIDTH - width - 6.0 } else { WIDTH };
        let end = face(true).width(&name) * SIZE + 5.0;
        if !remark.is_empty() && (!beside || end + face(false).width(remark) * SMALL > room) {
            return false;
        }
        let names = wrapped(&name, SIZE, true, room);
        let limits = wrapped(&limit, SIZE, false, WIDTH);
        drawing.as_role(Role::Row, |page| {
            page.as_role(Role::Cell, |page| {
                for (line, text) in names.iter().enumerate() {
                    let at = (0.0, LINE * (line as f64 + 0.9));
                    page.write(at, SIZE, true, Anchor::Start, BLACK, text);
                }
                if !remark.is_empty() {
                    small(page, end, 1.2, &[remark.to_owned()]);
                }
            });
            let first = if beside { 0 } else { names.len() };
            page.as_role(Role::Cell, |page| {
                for (line, text) in limits.iter().enumerate() {
                    let at = (WIDTH, LINE * ((first + line) as f64 + 0.9));
                    page.write(at, SIZE, false, Anchor::End, BLACK, text);
                }
            });
        });
        let below = if beside { 0 } else { limits.len() };
        drawing.height += LINE * (names.len() + below) as f64;
        true
    }
}

/// One metric's cells below what the drawing has, and its remarks under them.
fn metric(
    drawing: &mut Drawing,
    judged: &JudgedMetric,
    row: &content::Row,
    place: &str,
    remarks: &str,
) {
    let stands_out = row.verdict == "FAIL" || row.verdict == "INCONCLUSIVE";
    let top = drawing.height;
    // A short remark has room beside the place.
    let after = match place {
        "" => 0.0,
        place => face(stands_out).width(place) * SIZE + 3.0,
    };
    let room = CELLS[0].2 - after;
    let inside = face(false).width(remarks) * SMALL <= room;
    let cell = |index: usize, text: &str| {
        let (_, _, width, title) = CELLS[index];
        let bold = title == "VERDICT" || (stands_out && index == 0);
        let size = match title {
            // One word, whole.
            "VERDICT" => SIZE.min(width / face(true).width(text).max(0.1)),
            _ => shrunk(text, SIZE, bold, width),
        };
        (wrapped(text, size, bold, width + 0.1), size, bold)
    };
    let texts = [
        place,
        &row.value,
        &row.uncertainty,
        "",
        &row.margin,
        row.verdict,
    ];
    let mut index = 0;
    let cells = texts.map(|text| {
        index += 1;
        cell(index - 1, text)
    });
    let lines = cells.iter().map(|cell| cell.0.len()).max().unwrap_or(1);
    let remarks = wrapped(
        remarks,
        SMALL,
        false,
        if inside { room } else { WIDTH - 8.0 },
    );
    let below = if inside || remarks[0].is_empty() {
        0.0
    } else {
        SMALL_LINE * remarks.len() as f64
    };
    let height = LINE * lines as f64 + below;
    if stands_out {
        drawing.block((-2.0, top + 0.6), (WIDTH + 4.0, height), TINT);
    }
    let y = top + LINE * 0.85;
    drawing.as_role(Role::Row, |page| {
        for (index, ((lines, size, bold), (x, anchor, width, _))) in
            cells.iter().zip(CELLS).enumerate()
        {
            page.items.push(Item::Begin(Role::Cell));
            for (line, text) in lines.iter().enumerate() {
                let at = (x, y + LINE * line as f64);
                page.write(at, *size, *bold, anchor, BLACK, text);
            }
            if index == 0 && inside {
                small(page, x + after, top + 1.0, &remarks);
            } else if index == 0 && below > 0.0 {
                small(page, 8.0, top + height - below, &remarks);
            }
            if index == GAUGE
                && let Some(limit) = &judged.limit
                && let Some(line) = gauge(&judged.metric.finding, limit, width, 7.6)
            {
                let words = format!("{} against {}", row.value, row.limit);
                page.as_role(Role::Figure(words), |page| {
                    page.place(&line, (x, y - 5.9));
                });
            }
            page.items.push(Item::End);
        }
    });
    drawing.height = top + height;
}

/// Small grey lines from `top` on.
fn small(page: &mut Drawing, x: f64, top: f64, lines: &[String]) {
    for (line, text) in lines.iter().enumerate() {
        let at = (x, top + SMALL_LINE * (line as f64 + 0.82));
        page.write(at, SMALL, false, Anchor::Start, GREY, text);
    }
}

/// Two columns being filled; on the last page they end alike.
struct Columns<'a> {
    sheets: &'a mut Sheets,
    top: f64,
    second: bool,
    /// Where the first column of this page ends.
    end: f64,
    /// Height of all that is still to be placed.
    rest: f64,
}

impl Columns<'_> {
    /// Says where the columns of this page begin and end.
    fn begin(&mut self) {
        self.top = self.sheets.y;
        self.second = false;
        let half = self.rest / 2.0 + START / 2.0;
        self.end = FOOT.min(self.top + half);
    }

    fn x(&self) -> f64 {
        if self.second { RIGHT - WIDTH } else { LEFT }
    }

    fn fits(&self, height: f64) -> bool {
        self.sheets.y + height <= if self.second { FOOT } else { self.end }
    }

    /// Goes on at the next column; false where no page is left.
    fn next(&mut self) -> bool {
        if !self.second {
            self.end = self.sheets.y;
            self.sheets.y = self.top;
            self.second = true;
            return true;
        }
        self.sheets.y = FOOT;
        if !self.sheets.room(START) {
            return false;
        }
        self.begin();
        true
    }

    fn place(&mut self, piece: &Drawing) {
        let at = (self.x(), self.sheets.y);
        self.sheets.page.place(piece, at);
        self.sheets.y += piece.height;
        self.rest -= piece.height;
    }

    /// A scenario's name with the titles of its cells beside or below it.
    fn titles(&mut self, name: &str, role: Role) {
        let size = if role == Role::Paragraph { 7.5 } else { 9.0 };
        let mut head = Drawing::new(WIDTH, 4.0);
        let names = wrapped(name, size, true, WIDTH);
        head.as_role(role, |page| {
            for line in &names {
                page.height += 10.0;
                let at = (0.0, page.height - 1.0);
                page.write(at, size, true, Anchor::Start, BLACK, line);
            }
        });
        if names.len() > 1 || face(true).width(name) * size > CELLS[1].0 - 24.0 {
            head.height += 7.0;
        }
        self.place(&head);
        let mut titles = Drawing::new(WIDTH, 3.0);
        titles.as_role(Role::Row, |page| {
            for (x, anchor, _, title) in CELLS {
                page.as_role(Role::Header, |page| {
                    page.write((x, -1.0), 5.0, false, anchor, GREY, title);
                });
            }
        });
        titles.line(&[(0.0, 1.2), (WIDTH, 1.2)], BLACK, 0.8);
        self.sheets.page.items.push(Item::Begin(Role::Table));
        self.place(&titles);
    }
}

/// All scenarios in two columns; returns how many metrics found no room.
pub(super) fn scenarios(sheets: &mut Sheets, parts: &[Part]) -> usize {
    let rest = parts.iter().map(Part::height).sum();
    let (mut left, y) = (0, sheets.y);
    sheets.room(START);
    let mut columns = Columns {
        top: y,
        second: false,
        end: FOOT,
        rest,
        sheets,
    };
    columns.begin();
    for part in parts {
        let first = part.pieces.first().map_or(8.0, |piece| piece.0.height);
        let mut open = columns.fits(first.max(14.0) + 24.0) || columns.next();
        if open {
            columns.titles(&part.name, Role::Heading(2));
            if part.pieces.is_empty() {
                let mut none = Drawing::new(WIDTH, SMALL_LINE + 2.0);
                none.as_role(Role::Row, |page| {
                    page.as_role(Role::Cell, |page| {
                        small(page, 0.0, 0.0, &["No metric was found.".to_owned()]);
                    });
                });
                columns.place(&none);
            }
        }
        for (piece, count) in &part.pieces {
            if open && !columns.fits(piece.height) {
                columns.sheets.page.items.push(Item::End);
                open = columns.next();
                if open {
                    let name = format!("{}, continued", part.name);
                    columns.titles(&name, Role::Paragraph);
                }
            }
            if !open {
                left += count;
                continue;
            }
            columns.place(piece);
        }
        if open {
            columns.sheets.page.items.push(Item::End);
            columns.sheets.y += 3.0;
            columns.rest -= 3.0;
        }
    }
    if columns.second {
        columns.sheets.y = columns.sheets.y.max(columns.end);
    }
    left
}
