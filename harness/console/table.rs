//! Rows of text as columns that line up on a terminal, however wide their
//! characters are. The words come from the caller, harmless already or not.

use super::row::padded;
use crate::ident::harmless;
use unicode_width::UnicodeWidthStr;

/// A table: a heading a column, and rows of as many cells. A heading that
/// starts with `>` puts its column to the right, as numbers want it.
///
/// Trailing blanks are left out; every line ends in a line feed.
pub fn table(headings: &[&str], rows: &[Vec<String>]) -> String {
    let right: Vec<bool> = headings.iter().map(|text| text.starts_with('>')).collect();
    let head = headings.iter().map(|text| text.trim_start_matches('>'));
    let head: Vec<String> = head.map(str::to_owned).collect();
    let clean = |row: &Vec<String>| row.iter().map(|cell| harmless(cell)).collect();
    let rows: Vec<Vec<String>> = std::iter::once(head)
        .chain(rows.iter().map(clean))
        .collect();
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|row| row.get(column));
        cells.map(|cell| cell.width()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..headings.len()).map(width).collect();
    let mut out = String::new();
    for row in &rows {
        let mut line = String::new();
        for ((cell, width), right) in row.iter().zip(&widths).zip(&right) {
            if *right {
                line.push_str(&" ".repeat(width.saturating_sub(cell.width())));
                line.push_str(cell);
            } else {
                line.push_str(&padded(cell, *width));
            }
            line.push_str("  ");
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_and_nothing_steers_the_terminal() {
        let rows = [
            vec!["trip time".to_owned(), "8.4 ms".to_owned()],
            vec!["\u{7535}\u{6d41}\u{1b}".to_owned(), "12 ms".to_owned()],
        ];
        let shown = table(&["metric", ">value"], &rows);
        let columns: Vec<usize> = shown.lines().map(UnicodeWidthStr::width).collect();
        assert!(columns.iter().all(|width| *width == columns[0]), "{shown}");
        assert!(
            shown.contains("\\u{1b}") && !shown.contains('\u{1b}'),
            "{shown}"
        );
    }
}
