//! Running text in lines that fit a terminal, counted in columns: colours take
//! none. It colours nothing and makes nothing harmless.

use anstream::adapter::strip_str;
use unicode_width::UnicodeWidthStr;

/// `text` in lines of at most `room` columns, broken at blanks. Its indentation
/// stays, and what follows the first line stands `further` columns further in. A
/// word is never broken.
pub(super) fn folded(text: &str, room: usize, further: usize) -> Vec<String> {
    let indent = text.len() - text.trim_start().len();
    let mut lines = vec![" ".repeat(indent)];
    let mut fresh = true;
    for word in text.trim().split(' ') {
        let last = lines.last_mut().expect("there is always a line");
        if !fresh && columns(last) + 1 + columns(word) > room {
            lines.push(format!("{}{word}", " ".repeat(indent + further)));
            continue;
        }
        if !fresh {
            last.push(' ');
        }
        last.push_str(word);
        fresh = false;
    }
    lines
}

/// The columns that a text takes on a screen.
pub(super) fn columns(text: &str) -> usize {
    let shown = strip_str(text);
    shown.map(UnicodeWidthStr::width).sum()
}

/// Columns of running text.
const WIDTH: usize = 92;

/// Adds `text`, wrapped and indented.
pub(super) fn paragraph(out: &mut String, indent: usize, text: &str) {
    let words: Vec<&str> = text.split_whitespace().collect();
    let text = format!("{}{}", " ".repeat(indent), words.join(" "));
    for line in folded(&text, WIDTH, 0) {
        out.push_str(&line);
        out.push('\n');
    }
}
