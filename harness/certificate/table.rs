//! Plain tables of text on the pages of a certificate, column titles again on
//! every page. It holds no words of its own.

use crate::drawing::sheets::Sheets;
use crate::drawing::typeface::wrapped;
use crate::drawing::{Anchor, GREY, Item, Role};

/// Where a plain table stands: from, to, and the edge of its last two columns.
pub(super) type Edges = [f64; 4];

/// How high a plain table of those rows is.
pub(super) fn plain_height(edges: Edges, rows: &[[String; 3]]) -> f64 {
    let rows = rows
        .iter()
        .map(|row| 1.0 + LINE_PLAIN * lines(&cells(row, edges)) as f64);
    11.0 + rows.sum::<f64>()
}

const LINE_PLAIN: f64 = 8.4;

fn cells(row: &[String; 3], edges: Edges) -> [Vec<String>; 3] {
    let mut index = 0;
    row.each_ref().map(|text| {
        index += 1;
        wrapped(text, 6.8, false, edges[index] - edges[index - 1] - 6.0)
    })
}

fn lines(cells: &[Vec<String>; 3]) -> usize {
    cells.iter().map(Vec::len).max().unwrap_or(1)
}

/// A table of three columns of text; returns how many rows found no room.
pub(super) fn plain(
    sheets: &mut Sheets,
    name: &str,
    (titles, edges): ([&str; 3], Edges),
    rows: &[[String; 3]],
) -> usize {
    if rows.is_empty() {
        return 0;
    }
    begin(sheets, titles, edges);
    for (index, row) in rows.iter().enumerate() {
        let cells = cells(row, edges);
        let height = 1.0 + LINE_PLAIN * lines(&cells) as f64;
        if !sheets.fits(height) {
            sheets.page.items.push(Item::End);
            if !sheets.room(40.0 + height) {
                return rows.len() - index;
            }
            sheets.heading(&format!("{name}, continued"));
            begin(sheets, titles, edges);
        }
        let y = sheets.y + LINE_PLAIN;
        sheets.page.as_role(Role::Row, |page| {
            for (cell, x) in cells.iter().zip(edges) {
                page.as_role(Role::Cell, |page| {
                    for (line, text) in cell.iter().enumerate() {
                        page.text((x, y + LINE_PLAIN * line as f64), 6.8, text);
                    }
                });
            }
        });
        sheets.y += height;
    }
    sheets.page.items.push(Item::End);
    0
}

fn begin(sheets: &mut Sheets, titles: [&str; 3], edges: Edges) {
    sheets.y += 9.0;
    let y = sheets.y;
    sheets.page.items.push(Item::Begin(Role::Table));
    sheets.page.as_role(Role::Row, |page| {
        for (title, x) in titles.into_iter().zip(edges) {
            page.as_role(Role::Header, |page| {
                page.write((x, y), 5.6, false, Anchor::Start, GREY, title);
            });
        }
    });
    sheets.y += 2.0;
}
