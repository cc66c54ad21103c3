//! What the beginning of a table says of all of it: which lines name columns
//! and units, where the time comes from, which columns are read. It reads no
//! data but the first lines, and asks where two readings are possible.

use super::dialect::found;
use super::fault::{CsvAsk, CsvFault};
use super::header::{Described, Header, header};
use super::number::Notation;
use super::records::Class;
use super::wish::CsvWish;
use super::words::{CsvColumn, names_index, parted, said};
use crate::capture_file::shown;
use crate::units::Dimension;

/// Where the time of a row comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum TimeFrom {
    /// A column of numbers, with seconds of one.
    Column { index: usize, factor: f64 },
    /// A column of times of day.
    Clock { index: usize },
    /// The rows' numbers: those of a column, or counted.
    Rows {
        index: Option<usize>,
        start: f64,
        increment: f64,
    },
}

impl TimeFrom {
    pub(super) const fn index(self) -> Option<usize> {
        match self {
            Self::Column { index, .. } | Self::Clock { index } => Some(index),
            Self::Rows { index, .. } => index,
        }
    }
}

/// How a table is to be read.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    pub(super) separator: u8,
    pub(super) notation: Notation,
    pub(super) columns: Vec<CsvColumn>,
    pub(super) chosen: Vec<usize>,
    /// What the units in the fields of each column measure, where they stand there.
    pub(super) measured: Vec<Option<Dimension>>,
    /// Which columns hold the words for high and low.
    pub(super) levels: Vec<bool>,
    pub(super) time: TimeFrom,
    /// Fields of a line.
    pub(super) width: usize,
    /// Where the data begin, and on which line.
    pub(super) from: usize,
    pub(super) line: u64,
    /// What was concluded and should be said.
    pub(super) notes: Vec<String>,
}

/// Reads the beginning of a table; `whole` says that there is no more.
pub(super) fn layout(head: &[u8], whole: bool, wish: &CsvWish) -> Result<Layout, CsvFault> {
    let found = found(head, whole, wish.dialect)?;
    let header = header(&found.records, &found.run, wish, found.units)?;
    let columns = header.columns();
    let mut notes = Vec::new();
    let (time, wrong) = header.time(&columns, found.notation, wish, &mut notes)?;
    if let Some(wrong) = wrong {
        return Err(wrong);
    }
    let chosen = header.chosen(&columns, time, wish)?;
    let mut plain: Vec<CsvColumn> = columns.into_iter().map(|column| column.column).collect();
    for &index in &chosen {
        if !header.is_logic(index) {
            header.check_scale(&mut plain[index], wish, &mut notes);
        }
    }
    let all = || 0..plain.len();
    let measured: Vec<_> = all().map(|index| header.within(index)).collect();
    if chosen.iter().any(|&index| measured[index].is_some()) {
        notes.push("numbers have their units in their fields".to_owned());
    }
    let levels = all().map(|index| header.is_logic(index)).collect();
    let first = &found.records[found.run.first];
    Ok(Layout {
        separator: found.separator,
        notation: found.notation,
        width: header.names.len(),
        columns: plain,
        chosen,
        measured,
        levels,
        time,
        from: first.from,
        line: first.line,
        notes,
    })
}

impl Header<'_> {
    /// Where time comes from, or what is wrong with it.
    fn time(
        &self,
        columns: &[Described],
        notation: Notation,
        wish: &CsvWish,
        notes: &mut Vec<String>,
    ) -> Result<(TimeFrom, Option<CsvFault>), CsvFault> {
        if let Some(wanted) = &wish.time {
            let index = self.named(columns, wanted)?;
            let index = index.ok_or_else(|| self.no_column(columns, wanted, None))?;
            return self.of_column(index, columns, notation, wish, notes);
        }
        if columns.len() < 2 && self.time_like(0, &columns[0]) {
            return Err(self.header_fault(0, "there must be a column of time and one of values"));
        }
        let first = (0..columns.len()).find(|&index| self.run.counts(index));
        let first = first.unwrap_or(0);
        let named_index = |index: usize| {
            let below = self.units.get(index).and_then(Option::as_deref);
            names_index(&columns[index].column.name) || below.is_some_and(names_index)
        };
        // Rows may be left out, as where a row is written at a change only.
        let indexed = named_index(first) && self.whole_numbers(first, notation);
        let start = match wish.start {
            Some(start) => Some(start),
            None => self.told.start()?,
        };
        if let Some(increment) = wish.increment {
            let index = indexed.then_some(first);
            return Ok((rows(index, start, increment), None));
        }
        let like: Vec<usize> = (0..columns.len())
            .filter(|&index| self.time_like(index, &columns[index]))
            .collect();
        match like[..] {
            [index] => return self.of_column(index, columns, notation, wish, notes),
            [one, other, ..] => {
                return Err(self.unclear(
                    format!("columns {} and {} may both be the time", one + 1, other + 1),
                    CsvAsk::TimeColumn,
                ));
            }
            [] => {}
        }
        let increment = self.told.increment()?;
        let bare_index = indexed && columns[first].unit.is_none();
        if bare_index || (self.counts_up(first) && increment.is_some()) {
            let increment = increment.ok_or_else(|| {
                let what = format!(
                    "column {} counts the rows, and nothing says how far apart they are",
                    first + 1
                );
                self.unclear(what, CsvAsk::Rate)
            })?;
            notes.push(format!(
                "time comes from the rows' numbers, {increment:e} s apart as the header says"
            ));
            return Ok((rows(Some(first), start, increment), None));
        }
        if let (Some(increment), false) = (increment, self.rises(first, notation)) {
            notes.push(format!(
                "the rows are {increment:e} s apart, as the header says"
            ));
            return Ok((rows(None, start, increment), None));
        }
        if columns[first].unit.is_none() && self.rises(first, notation) && first + 1 < columns.len()
        {
            return self.of_column(first, columns, notation, wish, notes);
        }
        Err(self.unclear(
            "no column is the time, and nothing says how far apart the rows are".to_owned(),
            CsvAsk::Rate,
        ))
    }

    fn of_column(
        &self,
        index: usize,
        columns: &[Described],
        notation: Notation,
        wish: &CsvWish,
        notes: &mut Vec<String>,
    ) -> Result<(TimeFrom, Option<CsvFault>), CsvFault> {
        let column = &columns[index];
        if self.run.columns.get(index) == Some(&Class::Clock) {
            notes.push("time is counted from the first row's time of day".to_owned());
            return Ok((TimeFrom::Clock { index }, None));
        }
        let told = self.told.time_unit()?;
        let factor = match (wish.time_unit, column.unit, &column.wrong, told) {
            (Some(factor), ..) => factor,
            (_, Some((factor, Dimension::Time)), ..) => factor,
            (_, Some(_), ..) | (_, None, Some(_), _) => {
                let unit = parted(&column.full).1.unwrap_or_default();
                let unit = self
                    .units
                    .get(index)
                    .and_then(Option::as_deref)
                    .unwrap_or(unit);
                let wrong = format!("'{}' is no unit of time", shown(unit.as_bytes()));
                let fault = self.header_fault(index, &wrong);
                return Ok((TimeFrom::Column { index, factor: 1.0 }, Some(fault)));
            }
            (_, None, None, Some(factor)) => factor,
            (None, None, None, None) => {
                if self.whole_numbers(index, notation) {
                    let what = format!(
                        "column {}, '{}', may be the time, but names no unit",
                        index + 1,
                        shown(column.column.name.as_bytes())
                    );
                    return Err(self.unclear(what, CsvAsk::TimeUnit));
                }
                notes.push(format!(
                    "column '{}' names no unit: taken as seconds (--time-unit says otherwise)",
                    shown(column.column.name.as_bytes())
                ));
                1.0
            }
        };
        Ok((TimeFrom::Column { index, factor }, None))
    }

    /// The columns to be read.
    fn chosen(
        &self,
        columns: &[Described],
        time: TimeFrom,
        wish: &CsvWish,
    ) -> Result<Vec<usize>, CsvFault> {
        let wrong = |index: usize| {
            let column = &columns[index];
            let unit = column.wrong.clone().or_else(|| {
                let of_time = column.unit.is_some_and(|(_, d)| d == Dimension::Time);
                of_time.then(|| shown(parted(&column.full).1.unwrap_or_default().as_bytes()))
            });
            // What the caller says of the scale goes before a strange unit.
            unit.filter(|_| wish.scale.is_none()).map(|unit| {
                let wrong = format!("'{unit}' is no unit of volts or amperes");
                self.header_fault(index, &wrong)
            })
        };
        let mut chosen = Vec::new();
        for wanted in &wish.columns {
            let place = self.named(columns, wanted)?;
            let place = place.filter(|&place| Some(place) != time.index());
            let place = place.ok_or_else(|| self.no_column(columns, wanted, time.index()))?;
            if let Some(wrong) = wrong(place) {
                return Err(wrong);
            }
            chosen.push(place);
        }
        if !wish.columns.is_empty() {
            return Ok(chosen);
        }
        let value = |&index: &usize| {
            let class = self.run.columns.get(index).copied().unwrap_or(Class::Empty);
            let name = &columns[index].column.name;
            let unnamed = *name == (index + 1).to_string();
            let numbers_rows = || (unnamed || names_index(name)) && self.counts_up(index);
            Some(index) != time.index()
                && matches!(class, Class::Number | Class::Word | Class::Level)
                && said(&columns[index].full).is_none()
                && !self.time_like(index, &columns[index])
                && !numbers_rows()
        };
        let all: Vec<usize> = (0..columns.len()).filter(value).collect();
        chosen.extend(all.iter().filter(|&&index| wrong(index).is_none()));
        match (chosen.is_empty(), all.first()) {
            (false, _) => Ok(chosen),
            (true, Some(&first)) => {
                Err(wrong(first).unwrap_or_else(|| self.header_fault(first, "it holds no numbers")))
            }
            (true, None) => {
                Err(self.header_fault(0, "there must be a column of time and one of values"))
            }
        }
    }

    /// Whether a column holds the words for high and low.
    fn is_logic(&self, index: usize) -> bool {
        self.run.columns.get(index) == Some(&Class::Level)
    }

    /// The scale of a chosen column: the caller's, its own, the header's.
    fn check_scale(&self, column: &mut CsvColumn, wish: &CsvWish, notes: &mut Vec<String>) {
        if let Some((gain, _)) = wish.scale {
            column.factor = gain;
        } else if column.dimension.is_none() {
            if let Some((factor, dimension)) = self.told.value_unit() {
                column.factor = factor;
                column.dimension = Some(dimension);
            } else {
                notes.push(format!(
                    "column '{}' names no unit: taken as volts or amperes (--scale says otherwise)",
                    shown(column.name.as_bytes())
                ));
            }
        }
    }
}

fn rows(index: Option<usize>, start: Option<f64>, increment: f64) -> TimeFrom {
    TimeFrom::Rows {
        index,
        start: start.unwrap_or(0.0),
        increment,
    }
}
