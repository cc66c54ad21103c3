//! Running text in lines that fit a terminal, counted in columns: colours take
//! none. It colours nothing and makes nothing harmless.

use anstream::adapter::strip_str;
use unicode_width::UnicodeWidthStr;

/// `text` in lines of at most `room` columns, broken at blanks. Its indentation
/// stays, and what follows the first line stands `further` columns further in. A
/// word is never broken.
pub(crate) fn folded(text: &str, room: usize, further: usize) -> Vec<String> {
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

/// Each line of `text` in lines of at most `room` columns. What goes on stands below
/// what the line says of its first word where blanks set that off, else two columns
/// further in.
pub(crate) fn fitted(text: &str, room: usize) -> String {
    let mut out = String::new();
    for line in text.split_inclusive('\n') {
        let (line, end) = match line.strip_suffix('\n') {
            Some(line) => (line, "\n"),
            None => (line, ""),
        };
        if columns(line) <= room {
            out.push_str(line);
        } else {
            out.push_str(&folded(line, room, hanging(line, room)).join("\n"));
        }
        out.push_str(end);
    }
    out
}

/// How far behind its own indentation a line's second column stands.
fn hanging(line: &str, room: usize) -> usize {
    let line = line.trim_start();
    let words = line.find("  ").map(|gap| &line[gap..]);
    let second = words.map(|rest| line.len() - rest.trim_start().len());
    let head = second.map(|second| columns(&line[..second]));
    head.filter(|&head| 2 * head < room).unwrap_or(2)
}

/// The columns that a text takes on a screen.
pub(crate) fn columns(text: &str) -> usize {
    let shown = strip_str(text);
    shown.map(UnicodeWidthStr::width).sum()
}

/// Columns of running text at most: longer lines are hard to read.
const WIDTH: usize = 92;

/// Adds `text`, indented and in lines of at most `room` columns.
pub(super) fn paragraph(out: &mut String, indent: usize, text: &str, room: usize) {
    hung(out, indent, 0, text, room);
}

/// The same, what follows the first line `further` columns further in.
pub(super) fn hung(out: &mut String, indent: usize, further: usize, text: &str, room: usize) {
    let words: Vec<&str> = text.split_whitespace().collect();
    let text = format!("{}{}", " ".repeat(indent), words.join(" "));
    for line in folded(&text, room.min(WIDTH), further) {
        out.push_str(&line);
        out.push('\n');
    }
}

/// The first sentence of `text`, or what stands before its first semicolon outside
/// brackets and code. A full stop inside a number or a name, as in `0.8` or `V.42`,
/// ends none.
pub(super) fn first_sentence(text: &str) -> &str {
    let (mut depth, mut code) = (0_usize, false);
    for (at, sign) in text.char_indices() {
        match sign {
            '`' => code = !code,
            '(' => depth += 1,
            ')' => depth = depth.saturating_sub(1),
            '.' | ';' if depth == 0 && !code => {
                let rest = &text[at + 1..];
                if rest.is_empty() || rest.starts_with(char::is_whitespace) {
                    return &text[..at];
                }
            }
            _ => {}
        }
    }
    text
}
