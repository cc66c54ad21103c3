//! The rows of a table whose layout is known: fields to values, times to
//! instants, and what of them is no reading. It splits no text into lines.

use super::CsvSummary;
use super::closing::says_end;
use super::fault::CsvFault;
use super::layout::{Layout, TimeFrom};
use super::measured::Measured;
use super::number::{Field, LastDigit, last_place};
use super::records::{is_remark, says_nothing, split};
use super::timeline::Timeline;
use crate::capture_file::shown;

/// Columns a file may have.
const MOST_COLUMNS: usize = 256;
/// Later instants do not fit into picoseconds of 64 bits.
const LATEST: f64 = 9e6;

/// A table whose layout is known.
#[derive(Clone, Debug)]
pub(super) struct Table {
    layout: Layout,
    /// What is added to every value.
    offset: f64,
    fields: Vec<(usize, usize)>,
    values: Vec<f64>,
    /// 0 seen, 1 seen, anything else seen.
    logic: Vec<[bool; 3]>,
    time: Timeline,
    digit: LastDigit,
    rows: u64,
    remarks: u64,
    /// The line that said that the table ends.
    end: Option<u64>,
    /// The column and line of a value that the last row alone lacks.
    cut: Option<(usize, u64)>,
    lacking: Vec<bool>,
}

impl Table {
    pub(super) fn new(layout: Layout, offset: f64) -> Self {
        let columns = layout.chosen.len();
        Self {
            offset,
            fields: Vec::new(),
            values: vec![f64::NAN; columns],
            logic: vec![[false; 3]; columns],
            time: Timeline::new(),
            digit: LastDigit::default(),
            rows: 0,
            remarks: 0,
            end: None,
            cut: None,
            lacking: vec![true; columns],
            layout,
        }
    }

    pub(super) fn record(
        &mut self,
        record: &[u8],
        line: u64,
        sink: &mut impl FnMut(f64, &[f64]),
    ) -> Result<(), CsvFault> {
        // Empty lines are passed over, remarks are counted.
        if says_nothing(record, self.layout.separator) {
            return Ok(());
        }
        if is_remark(record) {
            self.remarks += 1;
            return Ok(());
        }
        if let Some(end) = self.end {
            return Err(CsvFault::AfterEnd { line, end });
        }
        if says_end(record) {
            self.end = Some(line);
            return Ok(());
        }
        split(record, self.layout.separator, &mut self.fields).ok_or(CsvFault::Quote { line })?;
        self.check_fields(record, line)?;
        let time = self.instant(record, line)?;
        for place in 0..self.values.len() {
            let column = self.layout.chosen[place];
            let value = self.value(record, line, column)?;
            self.values[place] = value;
            let sort = match value {
                0.0 => 0,
                1.0 => 1,
                _ if value.is_nan() => continue,
                _ => 2,
            };
            self.logic[place][sort] = true;
        }
        self.note_cut(record, line);
        self.rows += 1;
        sink(time, &self.values);
        Ok(())
    }

    fn field<'a>(&self, record: &'a [u8], index: usize) -> &'a [u8] {
        let field = self.fields.get(index);
        field.map_or(&[][..], |&(a, b)| record[a..b].trim_ascii())
    }

    fn check_fields(&self, record: &[u8], line: u64) -> Result<(), CsvFault> {
        let (found, expected) = (self.fields.len(), self.layout.width);
        let surplus = (expected..found).any(|index| !self.field(record, index).is_empty());
        let needed = self
            .layout
            .chosen
            .iter()
            .copied()
            .chain(self.layout.time.index());
        let lacking = needed.max().is_some_and(|needed| needed >= found);
        if surplus || lacking || found > MOST_COLUMNS {
            return Err(CsvFault::Fields {
                line,
                found,
                expected,
            });
        }
        Ok(())
    }

    /// A value in SI units; not a number where there is no reading.
    fn value(&self, record: &[u8], line: u64, column: usize) -> Result<f64, CsvFault> {
        let field = self.field(record, column);
        let (layout, place) = (&self.layout, column + 1);
        let text = || shown(field);
        let number = match (layout.notation.field(field), layout.measured[column]) {
            (Field::Missing, _) => return Ok(f64::NAN),
            (Field::Infinite, _) if field.contains(&b'-') => return Ok(f64::NEG_INFINITY),
            (Field::Infinite, _) => return Ok(f64::INFINITY),
            (Field::Level(high), _) if layout.levels[column] => f64::from(u8::from(high)),
            (Field::Number(number), None) if !layout.levels[column] => number,
            (_, Some(_)) => self
                .measured(record, column)
                .ok_or_else(|| CsvFault::Unit {
                    line,
                    column: place,
                    text: text(),
                })?,
            _ => f64::NAN,
        };
        let number = number * layout.columns[column].factor + self.offset;
        if number.is_finite() {
            return Ok(number);
        }
        Err(CsvFault::Number {
            line,
            column: place,
            text: text(),
        })
    }

    /// A number with its unit in its field, in SI units.
    fn measured(&self, record: &[u8], column: usize) -> Option<f64> {
        let measured = Measured::of(self.field(record, column))?;
        let like = self.layout.measured[column] == Some(measured.dimension);
        measured.value(self.layout.notation).filter(|_| like)
    }

    /// A row at the end that lacks a value which the row before had was
    /// probably cut off.
    fn note_cut(&mut self, record: &[u8], line: u64) {
        self.cut = None;
        for (place, &column) in self.layout.chosen.iter().enumerate() {
            let empty = self.field(record, column).is_empty();
            let before = std::mem::replace(&mut self.lacking[place], empty);
            if empty && !before {
                self.cut = Some((column, line));
            }
        }
    }

    /// The instant of a row, s.
    fn instant(&mut self, record: &[u8], line: u64) -> Result<f64, CsvFault> {
        let notation = self.layout.notation;
        let (index, stamp, digit) = match self.layout.time {
            TimeFrom::Column { index, .. } if self.layout.measured[index].is_some() => {
                let digit = Measured::of(self.field(record, index));
                let digit = digit.map_or(0.0, |measured| measured.last_digit(notation));
                (index, self.measured(record, index), digit)
            }
            TimeFrom::Column { index, factor } => {
                let field = self.field(record, index);
                let place = last_place(field, notation.decimal);
                let digit = self.digit.value(place) * factor;
                let number = notation.number(field);
                let near = |number| {
                    self.time
                        .near(number, factor, |origin| notation.since(field, origin))
                };
                (index, number.map(near), digit)
            }
            TimeFrom::Clock { index } => {
                let field = self.field(record, index);
                let places = field
                    .iter()
                    .rposition(|&b| b == b'.' || b == notation.decimal);
                let places = places.map_or(0, |at| field.len() - at - 1);
                let clock = match notation.field(field) {
                    Field::Clock(clock) => Some(self.time.since_first(clock)),
                    _ => None,
                };
                (index, clock, self.digit.value(-(places as i32)))
            }
            TimeFrom::Rows {
                index: None,
                start,
                increment,
            } => (0, Some(start + self.rows as f64 * increment), 0.0),
            TimeFrom::Rows {
                index: Some(index),
                start,
                increment,
            } => {
                let number = notation.number(self.field(record, index));
                let count = number.map(|number| self.time.counted(number));
                (index, count.map(|count| start + count * increment), 0.0)
            }
        };
        let stamp = stamp.ok_or_else(|| CsvFault::Number {
            line,
            column: index + 1,
            text: shown(self.field(record, index)),
        })?;
        if !(stamp.is_finite() && stamp.abs() <= LATEST) {
            return Err(CsvFault::Header {
                line,
                column: index + 1,
                wrong: "so late a time cannot be held; the latest is 9e6 s".to_owned(),
            });
        }
        self.time
            .take(stamp, digit, line)
            .ok_or(CsvFault::TimeStands { line })
    }

    pub(super) fn summary(self, line: u64) -> Result<CsvSummary, CsvFault> {
        if self.rows == 0 {
            return Err(CsvFault::Empty { line });
        }
        if let Some((column, line)) = self.cut {
            return Err(CsvFault::Cut {
                line,
                column: column + 1,
            });
        }
        if let Some(line) = self.time.too_coarse(self.rows) {
            return Err(CsvFault::TimeStands { line });
        }
        let mut notes = self.layout.notes;
        if let Some(origin) = self.time.origin() {
            notes.push(format!("time is counted from {origin} of the time column"));
        }
        if self.remarks > 0 {
            let lines = match self.remarks {
                1 => "a line of remarks".to_owned(),
                many => format!("{many} lines of remarks"),
            };
            notes.push(format!("{lines} among the rows: passed over"));
        }
        if let Some(end) = self.end {
            notes.push(format!("line {end} says that the table ends there"));
        }
        let repeated = self.time.repeated();
        if repeated > 0 {
            notes.push(format!(
                "{repeated} rows have the time of the row before: taken as steps"
            ));
        }
        let columns = self.layout.chosen.iter();
        Ok(CsvSummary {
            columns: columns.map(|&c| self.layout.columns[c].clone()).collect(),
            rows: self.rows,
            time: self.time.ends(),
            step: self.time.step(),
            period: self.time.period(),
            digit: self.time.digit(),
            repeated,
            logic: self
                .logic
                .iter()
                .zip(&self.layout.chosen)
                .map(|(seen, &c)| self.layout.levels[c] || (seen[0] && seen[1] && !seen[2]))
                .collect(),
            notes,
        })
    }
}
