//! The beginning of a table as lines and fields, and which of its lines are the
//! data: the run of lines whose fields are alike. It understands no name and no
//! unit.

use super::measured::Measured;
use super::number::{Field, Notation};
use crate::capture_file::LONGEST_PIECE;

/// A line with its fields.
#[derive(Clone, Debug)]
pub(super) struct Record {
    pub(super) line: u64,
    /// Where it begins.
    pub(super) from: usize,
    /// Trimmed, without quotation marks.
    pub(super) fields: Vec<Vec<u8>>,
    pub(super) classes: Vec<Class>,
}

/// What sort of field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Class {
    Empty,
    /// A word for no reading or one beyond the range.
    Word,
    Number,
    Clock,
    /// A word for the level of a logic line.
    Level,
    Text,
}

impl Class {
    pub(super) const fn counts(self) -> bool {
        matches!(self, Self::Number | Self::Clock | Self::Level)
    }

    /// Whether one column may hold both.
    fn joins(self, other: Self) -> bool {
        let open = |class| matches!(class, Self::Empty | Self::Word);
        self == other || open(self) || open(other)
    }
}

impl Record {
    /// Fields up to the last that holds something.
    pub(super) fn width(&self) -> usize {
        let last = self.classes.iter().rposition(|c| *c != Class::Empty);
        last.map_or(0, |last| last + 1)
    }

    pub(super) fn class(&self, index: usize) -> Class {
        self.classes.get(index).copied().unwrap_or(Class::Empty)
    }

    pub(super) fn field(&self, index: usize) -> &[u8] {
        self.fields.get(index).map_or(&[][..], Vec::as_slice)
    }

    /// Whether every field is text or nothing, and some is text.
    pub(super) fn words_only(&self) -> bool {
        let counts = |class: &Class| matches!(class, Class::Number | Class::Clock);
        !self.classes.iter().any(counts) && self.holds_words()
    }

    /// Whether some field is text. `high` and `low` may be names.
    pub(super) fn holds_words(&self) -> bool {
        let mut classes = self.classes.iter();
        classes.any(|class| matches!(class, Class::Text | Class::Level))
    }

    /// Whether it is nothing but a rule that is drawn below names.
    pub(super) fn is_rule(&self) -> bool {
        let drawn = |field: &Vec<u8>| field.iter().all(|byte| b"-=*_+|".contains(byte));
        self.fields.iter().all(drawn) && self.fields.iter().any(|field| field.len() > 1)
    }
}

/// Where the record that begins at `from` ends: at its line end. `None` where
/// that has not been read yet. A line end inside quotation marks ends nothing.
pub(super) fn record_end(bytes: &[u8], from: usize, quoted: &mut bool) -> Option<usize> {
    for (index, &byte) in bytes[from..].iter().enumerate() {
        match byte {
            b'"' => *quoted = !*quoted,
            b'\n' | b'\r' if !*quoted => return Some(from + index),
            _ => {}
        }
    }
    None
}

/// The fields of a line as stretches of it, trimmed and without their outer
/// quotation marks. `None` where a quotation mark is out of place.
pub(super) fn split(line: &[u8], separator: u8, fields: &mut Vec<(usize, usize)>) -> Option<()> {
    fields.clear();
    if separator == b' ' {
        return split_at_blanks(line, fields);
    }
    let mut from = 0;
    loop {
        let mut start = from;
        while start < line.len() && line[start] != separator && blank(line[start]) {
            start += 1;
        }
        if line.get(start) == Some(&b'"') {
            let mut end = start + 1;
            loop {
                match (line.get(end)?, line.get(end + 1)) {
                    (b'"', Some(b'"')) => end += 2,
                    (b'"', _) => break,
                    _ => end += 1,
                }
            }
            fields.push((start + 1, end));
            let mut next = end + 1;
            while next < line.len() && line[next] != separator {
                if !blank(line[next]) {
                    return None;
                }
                next += 1;
            }
            if next == line.len() {
                return Some(());
            }
            from = next + 1;
        } else {
            let rest = &line[start..];
            let length = rest.iter().position(|&b| b == separator || b == b'"');
            let end = length.map_or(line.len(), |length| start + length);
            if line.get(end) == Some(&b'"') {
                return None;
            }
            let trimmed = line[start..end].trim_ascii_end().len();
            fields.push((start, start + trimmed));
            if end == line.len() {
                return Some(());
            }
            from = end + 1;
        }
    }
}

/// The same where blanks part fields, however many. A unit in brackets belongs
/// to the name before it.
fn split_at_blanks(line: &[u8], fields: &mut Vec<(usize, usize)>) -> Option<()> {
    let mut from = 0;
    while let Some(start) = line[from..].iter().position(|&byte| !blank(byte)) {
        let start = from + start;
        if line[start] == b'"' {
            let end = line[start + 1..].iter().position(|&byte| byte == b'"')?;
            fields.push((start + 1, start + 1 + end));
            from = start + end + 2;
            continue;
        }
        let length = line[start..].iter().position(|&byte| blank(byte));
        let end = length.map_or(line.len(), |length| start + length);
        match fields.last_mut() {
            Some(name) if matches!(line[start], b'(' | b'[') => name.1 = end,
            _ => fields.push((start, end)),
        }
        from = end;
    }
    if fields.is_empty() {
        fields.push((0, 0));
    }
    Some(())
}

const fn blank(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t')
}

/// The lines of the beginning of a file; one that is not whole is left out
/// unless the file ends with it. With `units` a number may have one in its field.
/// The fault is the line of a lone quotation mark.
pub(super) fn records(
    head: &[u8],
    whole: bool,
    separator: u8,
    units: bool,
) -> Result<Vec<Record>, u64> {
    let mut list = Vec::new();
    let mut spans = Vec::new();
    let (mut from, mut line) = (0, 1);
    while from < head.len() {
        let mut quoted = false;
        let end = match record_end(head, from, &mut quoted) {
            Some(end) => end,
            None if whole && quoted => return Err(line),
            None if whole => head.len(),
            None => break,
        };
        let text = &head[from..end];
        if !says_nothing(text, separator) {
            if split(text, separator, &mut spans).is_none() {
                // Titles and remarks may hold any mark.
                spans.clear();
                spans.push((0, text.len()));
            }
            let field = |&(a, b): &(usize, usize)| unquoted(&text[a..b]);
            let fields: Vec<Vec<u8>> = spans.iter().map(field).collect();
            let classes = fields.iter().map(|field| class(field, units)).collect();
            list.push(Record {
                line,
                from,
                fields,
                classes,
            });
        }
        line += lines_in(text);
        (from, line) = after_line_end(head, end, line);
    }
    Ok(list)
}

/// Whether a line is empty or of separators alone, which spreadsheets leave.
pub(super) fn says_nothing(line: &[u8], separator: u8) -> bool {
    let mut marks = line.iter();
    marks.all(|&byte| byte == separator || byte == b'"' || byte.is_ascii_whitespace())
}

/// Whether a line among the data is a remark.
pub(super) fn is_remark(line: &[u8]) -> bool {
    let line = line.trim_ascii_start();
    REMARKS.iter().any(|mark| line.starts_with(mark.as_bytes()))
}

/// What remarks begin with.
pub(super) const REMARKS: [&str; 3] = ["#", "%", "//"];

/// Lines that end inside a record.
pub(super) fn lines_in(text: &[u8]) -> u64 {
    text.iter().filter(|&&byte| byte == b'\n').count() as u64
}

/// Behind the line end at `end`, and the number of the line there. A lone
/// carriage return ends a line, but counts only with what follows it.
pub(super) fn after_line_end(bytes: &[u8], end: usize, line: u64) -> (usize, u64) {
    match (bytes.get(end), bytes.get(end + 1)) {
        (Some(b'\r'), Some(b'\n')) => (end + 2, line + 1),
        (Some(_), _) => (end + 1, line + 1),
        (None, _) => (end, line),
    }
}

fn unquoted(field: &[u8]) -> Vec<u8> {
    let field = field.trim_ascii();
    let mut text = Vec::with_capacity(field.len());
    let mut bytes = field.iter().peekable();
    while let Some(&byte) = bytes.next() {
        if byte == b'"' && bytes.peek() == Some(&&b'"') {
            bytes.next();
        }
        text.push(byte);
    }
    text
}

/// The ways of writing a number that a file may have.
const NOTATIONS: [Notation; 4] = [
    Notation {
        decimal: b'.',
        thousands: None,
    },
    Notation {
        decimal: b',',
        thousands: None,
    },
    Notation {
        decimal: b'.',
        thousands: Some(b','),
    },
    Notation {
        decimal: b',',
        thousands: Some(b'.'),
    },
];

/// What a field is before it is known how numbers are written.
pub(super) fn class(field: &[u8], units: bool) -> Class {
    if field.len() > LONGEST_PIECE.min(256) {
        return Class::Text;
    }
    let mut class = Class::Text;
    for notation in NOTATIONS {
        class = match notation.field(field) {
            Field::Number(_) => return Class::Number,
            Field::Clock(_) => return Class::Clock,
            Field::Level(_) => return Class::Level,
            Field::Missing if field.is_empty() => return Class::Empty,
            Field::Missing | Field::Infinite => return Class::Word,
            Field::Text => class,
        };
        let measured = Measured::of(field).filter(|_| units);
        if measured.is_some_and(|measured| measured.value(notation).is_some()) {
            return Class::Number;
        }
    }
    class
}

/// Lines of data that follow each other.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) first: usize,
    pub(super) end: usize,
    /// What its columns hold.
    pub(super) columns: Vec<Class>,
    /// How clearly it is a table of data.
    pub(super) score: usize,
}

impl Run {
    pub(super) fn counts(&self, index: usize) -> bool {
        self.columns.get(index).is_some_and(|c| c.counts())
    }

    /// How many columns hold numbers.
    pub(super) fn numbers(&self) -> usize {
        self.columns.iter().filter(|c| c.counts()).count()
    }
}

/// The lines that are most likely the data.
pub(super) fn best_run(records: &[Record]) -> Option<Run> {
    let mut best: Option<Run> = None;
    let mut first = 0;
    while first < records.len() {
        let above = first.checked_sub(1).map(|above| &records[above]);
        let above = above.filter(|above| above.words_only());
        // No line has more numbers than there are names.
        let most = above.map_or(usize::MAX, |names| {
            names.width().max(records[first].width())
        });
        let mut columns: Vec<Class> = Vec::new();
        let mut end = first;
        while end < records.len()
            && records[end].width() <= most
            && joined(&mut columns, &records[end])
        {
            end += 1;
        }
        let run = scored(records, first, end, columns);
        if run.numbers() > 0 && best.as_ref().is_none_or(|best| run.score > best.score) {
            best = Some(run);
        }
        first = end;
    }
    best.map(|run| reaching_up(records, run))
}

/// Whether the columns can hold the record too; then they do.
fn joined(columns: &mut Vec<Class>, record: &Record) -> bool {
    let class = |columns: &[Class], index: usize| columns.get(index).copied();
    let fits = |(index, other): (usize, &Class)| {
        class(columns, index).is_none_or(|class| class.joins(*other))
    };
    if !record.classes.iter().enumerate().all(fits) {
        return false;
    }
    for (index, &other) in record.classes.iter().enumerate() {
        match columns.get_mut(index) {
            None => columns.push(other),
            Some(class) if matches!(class, Class::Empty | Class::Word) => {
                if other != Class::Empty {
                    *class = other;
                }
            }
            Some(_) => {}
        }
    }
    true
}

fn scored(records: &[Record], first: usize, end: usize, columns: Vec<Class>) -> Run {
    let above = first.checked_sub(1).and_then(|above| records.get(above));
    let numbers = columns.iter().filter(|c| c.counts()).count();
    let named = above.is_some_and(|above| above.words_only() && above.width() >= numbers);
    let text = columns.contains(&Class::Text);
    let score = (end - first) * if named { 4 } else { 1 } * if text { 1 } else { 4 };
    Run {
        first,
        end,
        columns,
        score,
    }
}

/// The run with the lines before it that have its numbers too: beside them may
/// stand what differs from line to line. A single faulty line between lines of
/// data belongs to them: it must be told, not passed over.
fn reaching_up(records: &[Record], mut run: Run) -> Run {
    let data = |record: &Record| {
        let counting = (0..run.columns.len()).filter(|&index| run.counts(index));
        let mut found = 0;
        for index in counting {
            match record.class(index) {
                Class::Text => return false,
                class => found += usize::from(class.counts()),
            }
        }
        found >= run.numbers().min(2)
    };
    let like = |record: &Record| {
        let mut counting = (0..run.columns.len()).filter(|&index| run.counts(index));
        counting.all(|index| record.class(index).counts()) && !record.classes.contains(&Class::Text)
    };
    let mut first = run.first;
    while first > 0 && data(&records[first - 1]) {
        first -= 1;
    }
    if let Some(above) = records[..first].iter().position(like) {
        first = above;
    }
    run.first = first;
    run
}
