//! Rows of text as columns that line up on a terminal, however wide their
//! characters are. The words come from the caller, harmless already or not.

use super::fold::folded;
use super::row::padded;
use super::signs::in_signs;
use crate::ident::harmless;
use unicode_width::UnicodeWidthStr;

/// Blanks between two columns.
pub(super) const GAP: usize = 2;
/// With less room the first column stands on lines of its own.
const LEAST: usize = 24;

/// A table: a heading a column, and rows of as many cells. A heading that
/// starts with `>` puts its column to the right, as numbers want it.
///
/// Trailing blanks are left out; every line ends in a line feed.
pub fn table(headings: &[&str], rows: &[Vec<String>]) -> String {
    table_within(headings, rows, usize::MAX)
}

/// The same, in lines of at most `room` columns where the numbers leave room
/// for names: those of the first column take as many lines as they need, above
/// their numbers where too little is left beside them. A row of one cell heads
/// or explains others and runs across the table.
pub fn table_within(headings: &[&str], rows: &[Vec<String>], room: usize) -> String {
    let right: Vec<bool> = headings.iter().map(|text| text.starts_with('>')).collect();
    let head = headings.iter().map(|text| text.trim_start_matches('>'));
    let head: Vec<String> = head.map(str::to_owned).collect();
    let clean = |row: &Vec<String>| {
        let cells = row.iter().map(|cell| in_signs(&harmless(cell)));
        cells.collect()
    };
    let rows: Vec<Vec<String>> = std::iter::once(head)
        .chain(rows.iter().map(clean))
        .collect();
    let across = |row: &&Vec<String>| row.len() > 1 || headings.len() == 1;
    let width = |column: usize| {
        let cells = rows.iter().filter(across);
        let cells = cells.filter_map(|row| row.get(column));
        cells.map(|cell| cell.width()).max().unwrap_or(0)
    };
    let mut widths: Vec<usize> = (0..headings.len()).map(width).collect();
    let rest: usize = widths.iter().skip(1).map(|width| GAP + width).sum();
    let left = room.saturating_sub(rest);
    let above = widths[0] > left && left < LEAST;
    if widths[0] > left {
        widths[0] = if above { left.max(4) } else { left };
    }
    let mut out = String::new();
    for row in &rows {
        let name = row.first().map_or("", String::as_str);
        if row.len() == 1 {
            push(&mut out, folded(name, room, 2));
            continue;
        }
        let mut names = folded(name, if above { room } else { widths[0] }, 2).into_iter();
        let beside = if above {
            push(&mut out, names.by_ref());
            String::new()
        } else {
            names.next().unwrap_or_default()
        };
        let mut line = padded(&beside, widths[0]);
        for ((cell, width), right) in row.iter().zip(&widths).zip(&right).skip(1) {
            line.push_str(&" ".repeat(GAP));
            if *right {
                line.push_str(&" ".repeat(width.saturating_sub(cell.width())));
                line.push_str(cell);
            } else {
                line.push_str(&padded(cell, *width));
            }
        }
        push(&mut out, std::iter::once(line).chain(names));
    }
    out
}

fn push(out: &mut String, lines: impl IntoIterator<Item = String>) {
    for line in lines {
        out.push_str(line.trim_end());
        out.push('\n');
    }
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

    #[test]
    fn a_table_keeps_to_its_room_and_loses_no_word() {
        let label = "amplitude asymmetry (rated current, worst)";
        let row = |name: &str| {
            let numbers = ["30.75 mV", "3.293 mV", "-13.8 to 20.4 mV", "167.3 mV"];
            let cells = std::iter::once(name).chain(numbers).map(str::to_owned);
            cells.collect::<Vec<String>>()
        };
        let rows = [
            vec!["signal".to_owned()],
            row(&format!("  {label}")),
            row("  delay"),
            vec![format!("    ({})", "24 bounds left out ".repeat(8).trim())],
        ];
        let headings = [
            "  metric",
            ">baseline",
            ">shift",
            "90 % interval",
            ">margin",
        ];
        let whole = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        for room in [100, 80, 60] {
            let shown = table_within(&headings, &rows, room);
            for line in shown.lines() {
                assert!(line.width() <= room, "{room}:\n{shown}");
            }
            assert_eq!(shown.matches("167.3 mV").count(), 2, "{shown}");
            assert_eq!(shown.matches("24 bounds").count(), 8, "{shown}");
        }
        // Names wrap beside the numbers, or stand whole above them.
        assert!(table_within(&headings, &rows, 100).contains(&format!("  {label}  ")));
        let narrow = table_within(&headings, &rows, 60);
        assert!(narrow.contains(&format!("  {label}\n")), "{narrow}");
        assert!(whole(&table_within(&headings, &rows, 80)).contains("signal amplitude"));
    }
}
