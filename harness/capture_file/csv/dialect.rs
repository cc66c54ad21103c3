//! How a table is written, found from its first lines: what parts its fields
//! and what stands before decimal places. What two readings fit is not guessed.

use super::fault::{CsvAsk, CsvFault};
use super::measured::digits;
use super::number::{Notation, exponent};
use super::records::{Class, Record, Run, best_run, class, records};
use crate::capture_file::shown;

/// How numbers and fields are written, as far as it is known beforehand; what
/// is not is found out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CsvDialect {
    /// Between fields.
    pub separator: Option<u8>,
    /// Before the decimal places.
    pub decimal: Option<u8>,
    /// Between groups of three digits.
    pub thousands: Option<u8>,
}

impl CsvDialect {
    /// All of it is found out.
    pub const FOUND: Self = Self {
        separator: None,
        decimal: None,
        thousands: None,
    };
    /// Comma between fields, decimal point.
    pub const POINT: Self = Self {
        separator: Some(b','),
        decimal: Some(b'.'),
        thousands: None,
    };
    /// Semicolon between fields, decimal comma.
    pub const COMMA: Self = Self {
        separator: Some(b';'),
        decimal: Some(b','),
        thousands: None,
    };
}

/// The lines of a beginning, and how they are written.
#[derive(Debug)]
pub(super) struct Found {
    pub(super) separator: u8,
    pub(super) notation: Notation,
    pub(super) records: Vec<Record>,
    pub(super) run: Run,
    /// Numbers have their units in their fields.
    pub(super) units: bool,
}

impl Found {
    /// Whether a column of text is one of numbers with their units.
    fn measures(&self) -> bool {
        let data = &self.records[self.run.first..self.run.end];
        let measured = |index: usize| {
            let mut classes = data.iter().map(|record| class(record.field(index), true));
            classes.all(|class| matches!(class, Class::Number | Class::Empty | Class::Word))
        };
        let columns = self.run.columns.iter().enumerate();
        let mut text = columns.filter(|(_, class)| **class == Class::Text);
        text.any(|(index, _)| measured(index))
    }
}

/// Reads the beginning in each way that may be meant. Units are looked for in
/// fields where the table is none without them.
pub(super) fn found(head: &[u8], whole: bool, known: CsvDialect) -> Result<Found, CsvFault> {
    let plain = found_with(head, whole, known, false);
    let without = match &plain {
        Ok(found) => found.measures(),
        Err(fault) => matches!(fault, CsvFault::NoNumbers { .. } | CsvFault::Empty { .. }),
    };
    if !without {
        return plain;
    }
    match found_with(head, whole, known, true) {
        Err(CsvFault::NoNumbers { .. } | CsvFault::Empty { .. }) => plain,
        Ok(found) if plain.is_err() => {
            let like = like_number(&found.records[found.run.first..found.run.end]);
            like.map_or(Ok(found), Err)
        }
        measured => measured,
    }
}

fn found_with(head: &[u8], whole: bool, known: CsvDialect, units: bool) -> Result<Found, CsvFault> {
    let candidates: &[u8] = match known.separator {
        Some(b'\t') => b"\t",
        Some(b';') => b";",
        Some(b' ') => b" ",
        Some(_) => b",",
        // Blanks part fields where nothing else does; they stand in texts too.
        None => b"\t;, ",
    };
    let mut ways = Vec::new();
    let mut last_line = 1;
    let (mut quote, mut like) = (None, None);
    for &separator in candidates {
        if separator == b' ' && known.separator.is_none() && !ways.is_empty() {
            break;
        }
        match records(head, whole, separator, units) {
            Ok(records) => {
                last_line = last_line.max(records.last().map_or(1, |record| record.line));
                match best_run(&records) {
                    Some(run) => ways.push((separator, records, run)),
                    None => like = like.or_else(|| like_number(&records)),
                }
            }
            Err(line) => quote = Some(line),
        }
    }
    if let (Some(line), true) = (quote, ways.is_empty()) {
        return Err(CsvFault::Quote { line });
    }
    // A separator that parts nothing is none.
    // Nor is a decimal comma, unless nothing else makes numbers of the lines.
    let decimal = known.decimal == Some(b',') && ways.iter().any(|way| way.0 != b',');
    let parting = ways.iter().filter(|(_, _, run)| run.columns.len() > 1);
    let parting = parting.filter(|way| !(decimal && way.0 == b','));
    let parting: Vec<u8> = parting.map(|way| way.0).collect();
    if parting.contains(&b'\t') && parting.contains(&b';') {
        return Err(CsvFault::Unclear {
            line: ways[0].1[ways[0].2.first].line,
            what: "tabs and semicolons may both stand between its fields".to_owned(),
            ask: CsvAsk::Separator,
        });
    }
    // A comma beside tabs or semicolons is a decimal comma or stands in a text.
    let chosen = ways.iter().position(|way| parting.first() == Some(&way.0));
    // Of a single column the lines above say what parts theirs.
    let above = |way: &(u8, Vec<Record>, Run)| {
        let lines = way.1[..way.2.first].iter();
        lines.filter(|record| record.width() > 1).count()
    };
    let most = ways.iter().map(above).max().unwrap_or(0);
    let chosen = chosen.or_else(|| ways.iter().position(|way| above(way) == most));
    let chosen = chosen.unwrap_or(0);
    if ways.is_empty() {
        return Err(like.unwrap_or(CsvFault::Empty { line: last_line }));
    }
    let (separator, records, run) = ways.swap_remove(chosen);
    let notation = notation(&records, &run, separator, known)?;
    if known.separator.is_none() && separator == b',' {
        commas_part(&records, &run, known)?;
    }
    Ok(Found {
        separator,
        notation,
        records,
        run,
        units,
    })
}

/// Where no line is of numbers, the first field of two that begin like one.
fn like_number(records: &[Record]) -> Option<CsvFault> {
    let begins = |field: &[u8]| {
        let digits = field.strip_prefix(b"-").or(field.strip_prefix(b"+"));
        digits
            .unwrap_or(field)
            .first()
            .is_some_and(u8::is_ascii_digit)
    };
    let whole =
        |record: &&Record| record.fields.len() > 1 && record.fields.iter().all(|f| begins(f));
    let record = records.iter().find(whole)?;
    let at = record.classes.iter().position(|c| *c == Class::Text)?;
    Some(CsvFault::NoNumbers {
        line: record.line,
        text: shown(record.field(at)),
    })
}

/// The numbers of a run.
fn numbers<'a>(records: &'a [Record], run: &'a Run) -> impl Iterator<Item = (u64, &'a [u8])> {
    records[run.first..run.end].iter().flat_map(move |record| {
        let fields = record.fields.iter().zip(&record.classes);
        let numbers = fields.filter(|(_, class)| **class == Class::Number);
        numbers.map(move |(field, _)| (record.line, digits(field)))
    })
}

/// Where commas part fields and every number is whole, they might stand before
/// decimal places just as well if the names are half as many.
fn commas_part(records: &[Record], run: &Run, known: CsvDialect) -> Result<(), CsvFault> {
    let whole = |field: &[u8]| {
        let mut bytes = field.iter();
        !bytes.any(|byte| matches!(byte, b'.' | b',') || exponent(byte))
    };
    let digits = |field: &[u8]| field.iter().all(u8::is_ascii_digit);
    let width = run.columns.len();
    if width % 2 == 1 || !numbers(records, run).all(|(_, field)| whole(field)) {
        return Ok(());
    }
    let places = records[run.first..run.end].iter().all(|record| {
        (1..width)
            .step_by(2)
            .all(|index| digits(record.field(index)))
    });
    let above = run.first.checked_sub(1).map(|above| records[above].width());
    let (halved, matching) = (above == Some(width / 2), above == Some(width));
    if known.decimal == Some(b',') || halved || (!matching && places && above.is_none()) {
        return Err(CsvFault::Unclear {
            line: records[run.first].line,
            what: format!(
                "'{}' may be {width} whole numbers or {} with a decimal comma",
                shown(&records[run.first].fields.join(&b","[..])),
                width / 2
            ),
            ask: CsvAsk::Separator,
        });
    }
    Ok(())
}

fn notation(
    records: &[Record],
    run: &Run,
    separator: u8,
    known: CsvDialect,
) -> Result<Notation, CsvFault> {
    let thousands = known.thousands;
    let of = |decimal| Notation { decimal, thousands };
    match (known.decimal, thousands) {
        (Some(decimal), _) => return Ok(of(decimal)),
        (None, Some(b',')) => return Ok(of(b'.')),
        (None, Some(_)) => return Ok(of(b',')),
        (None, None) => {}
    }
    let (mut points, mut commas) = (None, None);
    let (mut surely_points, mut surely_commas) = (false, false);
    for (line, field) in numbers(records, run) {
        let count = |mark: u8| field.iter().filter(|&&b| b == mark).count();
        let unclear = |what: String, ask| Err(CsvFault::Unclear { line, what, ask });
        match (count(b'.'), count(b',')) {
            (0, 0) => {}
            (1, 0) => {
                points = points.or(Some((line, field)));
                surely_points |= !grouped(field, b'.');
            }
            (0, 1) => {
                commas = commas.or(Some((line, field)));
                surely_commas |= !grouped(field, b',');
            }
            _ => {
                let what = format!("'{}' groups digits by points or commas", shown(field));
                return unclear(what, CsvAsk::Thousands);
            }
        }
    }
    let unclear = |(line, field): (u64, &[u8]), ask| {
        let what = format!(
            "'{}' may have decimal places or groups of three digits",
            shown(field)
        );
        Err(CsvFault::Unclear { line, what, ask })
    };
    match (points, commas) {
        (None, None) => Ok(of(b'.')),
        (Some(_), None) if surely_points || separator == b',' => Ok(of(b'.')),
        (None, Some(_)) if surely_commas => Ok(of(b',')),
        (Some(one), None) | (None, Some(one)) => unclear(one, CsvAsk::Decimal),
        (Some(_), Some(one)) => unclear(one, CsvAsk::Thousands),
    }
}

/// Whether a number could as well be digits in one group of three behind this
/// mark.
fn grouped(field: &[u8], mark: u8) -> bool {
    let digits = field.strip_prefix(b"-").or(field.strip_prefix(b"+"));
    let digits = digits.unwrap_or(field);
    let Some(at) = digits.iter().position(|&b| b == mark) else {
        return false;
    };
    let (before, after) = (&digits[..at], &digits[at + 1..]);
    (1..=3).contains(&before.len())
        && before[0] != b'0'
        && after.len() == 3
        && after.iter().chain(before).all(u8::is_ascii_digit)
}
