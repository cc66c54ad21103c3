//! The lines of names and units above a table's data, the columns they
//! describe, and what the first lines of data show of a column. It chooses
//! nothing.

use super::encoding::lettered;
use super::fault::{CsvAsk, CsvFault};
use super::measured::Measured;
use super::number::{Notation, last_digit};
use super::records::{Class, REMARKS, Record, Run};
use super::said::{Told, told};
use super::wish::CsvWish;
use super::words::{CsvColumn, bare, names_index, names_time, parted, said, unit_of};
use crate::capture_file::shown;
use crate::units::Dimension;

/// The header as it was found.
pub(super) struct Header<'a> {
    records: &'a [Record],
    pub(super) run: &'a Run,
    /// A name a column, and its line.
    pub(super) names: Vec<String>,
    line: u64,
    /// Units from a line of their own.
    pub(super) units: Vec<Option<String>>,
    pub(super) told: Told,
    /// Numbers have their units in their fields.
    measured: bool,
}

/// A column, and what is wrong with its unit, if anything.
pub(super) struct Described {
    pub(super) column: CsvColumn,
    pub(super) full: String,
    pub(super) unit: Option<(f64, Dimension)>,
    pub(super) wrong: Option<String>,
}

/// The lines of names and units above the data.
pub(super) fn header<'a>(
    records: &'a [Record],
    run: &'a Run,
    wish: &CsvWish,
    units: bool,
) -> Result<Header<'a>, CsvFault> {
    let mut above = &records[..run.first];
    while let Some((_, rest)) = above.split_last().filter(|(last, _)| last.is_rule()) {
        above = rest;
    }
    let width = run.columns.len();
    let mut header = Header {
        records,
        run,
        names: Vec::new(),
        line: records[run.first].line,
        units: vec![None; width],
        told: Told::default(),
        measured: units,
    };
    let mut block = above.len();
    if !wish.unnamed {
        let last = above.last();
        let before = above.len().checked_sub(2).map(|index| &above[index]);
        let units_alone = |record: &Record| units_of(record, &[]);
        match (before, last) {
            (Some(names), Some(units))
                if fits(names, run)
                    && !says(names)
                    && !units_alone(names)
                    && units_of(units, &names_in(names)) =>
            {
                header.names = names_in(names);
                header.line = names.line;
                header.take_units(units);
                block -= 2;
            }
            (_, Some(units)) if fits(units, run) && units_alone(units) => {
                header.take_units(units);
                block -= 1;
            }
            (_, Some(names)) if fits(names, run) && !says(names) => {
                header.names = names_in(names);
                header.line = names.line;
                block -= 1;
            }
            _ => {}
        }
    }
    // A mark of a remark alone, where blanks part fields, names no column.
    let mark = |name: &String| REMARKS.contains(&name.as_str());
    if header.names.len() > width && header.names.first().is_some_and(mark) {
        header.names.remove(0);
        let surplus = header.units.len() > width;
        header.units.rotate_left(usize::from(surplus));
    }
    header.told = told(&above[..block], header.beside())?;
    header.told.cells(&records[block..run.end]);
    let unnamed = header.names.is_empty();
    if unnamed && !wish.unnamed && block == above.len() && !header.told.describes() {
        return Err(CsvFault::NoHeader { line: header.line });
    }
    header.told.columns(&header.names, records, run)?;
    let all = header.names.len().max(width);
    for index in header.names.len()..all {
        header.names.push((index + 1).to_string());
    }
    for (index, name) in header.names.iter_mut().enumerate() {
        if name.is_empty() {
            *name = (index + 1).to_string();
        }
    }
    header.units.resize(all, None);
    Ok(header)
}

/// Whether a line is a key that speaks of the rows, and its value.
fn says(record: &Record) -> bool {
    let value = lettered(record.field(1));
    said(&lettered(record.field(0))).is_some() && value.starts_with(|c: char| c.is_ascii_digit())
}

/// Whether a line above the data may name its columns: as many fields, or more
/// where the rest has nothing below it.
fn fits(record: &Record, run: &Run) -> bool {
    let numbers = run.columns.iter().rposition(|c| c.counts());
    let needed = numbers.map_or(1, |last| last + 1);
    record.width() >= needed && record.holds_words()
}

fn names_in(record: &Record) -> Vec<String> {
    let mut names: Vec<String> = record.fields.iter().map(|f| lettered(f)).collect();
    names.truncate(record.width());
    if let Some(first) = names.first_mut() {
        // A mark of a remark before the first name.
        let name = first.trim_start_matches(['#', '%', '/']).trim_start();
        if !name.is_empty() {
            *first = name.to_owned();
        }
    }
    names
}

/// Whether every field of a line is a unit, or a number below a name that
/// speaks of the rows.
fn units_of(record: &Record, names: &[String]) -> bool {
    let mut units = 0;
    for (index, field) in record.fields.iter().enumerate() {
        match record.class(index) {
            Class::Empty | Class::Word => {}
            Class::Number if names.get(index).is_some_and(|name| said(name).is_some()) => {}
            Class::Text => {
                let text = lettered(field);
                let text = text.trim_start_matches(['#', '%']).trim();
                let known = unit_of(text).is_some() || names_index(text) || clock_pattern(text);
                // Brackets alone make a unit of any word.
                let within = bare(text) != text;
                if !known && !within {
                    return false;
                }
                units += 1;
            }
            _ => return false,
        }
    }
    units > 0
}

/// `hh:mm:ss.ms` and the like.
fn clock_pattern(text: &str) -> bool {
    let text = bare(text).to_ascii_lowercase();
    text.starts_with("hh:mm:ss")
}

impl Header<'_> {
    pub(super) fn take_units(&mut self, record: &Record) {
        let unit = |(index, field): (usize, &Vec<u8>)| {
            let text = lettered(field);
            let text = bare(text.trim_start_matches(['#', '%']).trim()).to_owned();
            (record.class(index) == Class::Text && !text.is_empty()).then_some(text)
        };
        self.units = record.fields.iter().enumerate().map(unit).collect();
    }

    /// Lines of data that have words in front: what files say beside the data.
    pub(super) fn beside(&self) -> impl Iterator<Item = &Record> {
        let run = &self.records[self.run.first..self.run.end];
        let counts = self.run.counts(0);
        run.iter()
            .filter(move |r| !counts && r.class(0) == Class::Text)
    }

    pub(super) fn columns(&self) -> Vec<Described> {
        let described = |(index, full): (usize, &String)| {
            let below = self.units.get(index).and_then(Option::as_deref);
            let (name, within) = parted(full);
            let (name, unit) = match below {
                Some(unit) => (full.trim(), Some(unit)),
                None => (name, within),
            };
            let within = self.within(index).map(|dimension| (1.0, dimension));
            let known = within.or(unit.and_then(unit_of));
            let (factor, dimension) = known.map_or((1.0, None), |(f, d)| (f, Some(d)));
            let strange = |unit: &str| {
                known.is_none() && !names_index(unit) && !clock_pattern(unit) && !unit.is_empty()
            };
            let wrong = unit.filter(|&unit| strange(unit));
            Described {
                column: CsvColumn {
                    name: name.to_owned(),
                    dimension,
                    factor,
                },
                full: full.clone(),
                unit: known,
                wrong: wrong.map(|unit| shown(unit.as_bytes())),
            }
        };
        self.names.iter().enumerate().map(described).collect()
    }

    /// What the units in the fields of a column measure, where they stand there.
    pub(super) fn within(&self, index: usize) -> Option<Dimension> {
        let mut fields = self.data().iter().map(|record| record.field(index));
        let first = fields.find_map(|field| Measured::of(field).filter(|_| self.measured));
        first.map(|first| first.dimension)
    }

    /// The column that is meant: by its name, its name with the unit, its name
    /// in other letters, or by its number.
    pub(super) fn named(
        &self,
        columns: &[Described],
        wanted: &str,
    ) -> Result<Option<usize>, CsvFault> {
        let plain = |column: &Described| column.column.name == wanted;
        let full = |column: &Described| column.full.trim() == wanted.trim();
        let lower = wanted.trim().to_lowercase();
        let cased = |column: &Described| column.column.name.to_lowercase() == lower;
        let ways: [&dyn Fn(&Described) -> bool; 3] = [&plain, &full, &cased];
        for way in ways {
            let places: Vec<usize> = (0..columns.len()).filter(|&i| way(&columns[i])).collect();
            match places[..] {
                [] => {}
                [place] => return Ok(Some(place)),
                [first, second, ..] => {
                    return Err(CsvFault::Header {
                        line: self.line,
                        column: second + 1,
                        wrong: format!(
                            "'{}' names column {} too; give the column's number",
                            shown(wanted.as_bytes()),
                            first + 1
                        ),
                    });
                }
            }
        }
        let number = wanted.trim().parse::<usize>().ok();
        Ok(number
            .and_then(|number| number.checked_sub(1))
            .filter(|&index| index < columns.len()))
    }

    pub(super) fn time_like(&self, index: usize, column: &Described) -> bool {
        let of_time = column.unit.is_some_and(|(_, d)| d == Dimension::Time);
        let class = self.run.columns.get(index);
        class == Some(&Class::Clock)
            || (self.run.counts(index)
                && said(&column.full).is_none()
                && (of_time || names_time(&column.column.name)))
    }

    pub(super) fn data(&self) -> &[Record] {
        &self.records[self.run.first..self.run.end]
    }

    /// Whether a column of the first lines counts them, one by one.
    pub(super) fn counts_up(&self, index: usize) -> bool {
        let value = |record: &Record| {
            let text = std::str::from_utf8(record.field(index)).ok()?;
            text.trim_start_matches('+').parse::<i64>().ok()
        };
        let all: Option<Vec<i64>> = self.data().iter().map(value).collect();
        all.is_some_and(|all| all.len() > 1 && all.windows(2).all(|w| w[1].wrapping_sub(w[0]) == 1))
    }

    pub(super) fn rises(&self, index: usize, notation: Notation) -> bool {
        let values = self.data().iter().map(|r| notation.number(r.field(index)));
        let values: Vec<f64> = values.flatten().collect();
        values.windows(2).all(|pair| pair[1] >= pair[0]) && values.first() != values.last()
    }

    /// Whether a column of the first lines has no decimal places: then its unit
    /// may be any.
    pub(super) fn whole_numbers(&self, index: usize, notation: Notation) -> bool {
        let whole = |record: &Record| {
            let field = record.field(index);
            last_digit(field, notation.decimal) >= 1.0 && !field.contains(&notation.decimal)
        };
        self.data().iter().all(whole)
    }

    pub(super) fn header_fault(&self, index: usize, wrong: &str) -> CsvFault {
        CsvFault::Header {
            line: self.line,
            column: index + 1,
            wrong: wrong.to_owned(),
        }
    }

    pub(super) fn unclear(&self, what: String, ask: CsvAsk) -> CsvFault {
        CsvFault::Unclear {
            line: self.line,
            what,
            ask,
        }
    }

    pub(super) fn no_column(
        &self,
        columns: &[Described],
        wanted: &str,
        except: Option<usize>,
    ) -> CsvFault {
        let known = columns.iter().enumerate();
        let known: Vec<String> = known
            .filter(|&(index, _)| Some(index) != except)
            .take(8)
            .map(|(_, column)| shown(column.column.name.as_bytes()))
            .collect();
        CsvFault::NoSuchColumn {
            wanted: shown(wanted.as_bytes()),
            known: known.join(", "),
        }
    }
}
