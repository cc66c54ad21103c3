//! Tables of samples by RFC 4180, with a header that names columns and units,
//! a decimal comma where the dialect has one, and time steps of any length. It
//! decides nothing about the samples.

use super::csv_header::{CsvColumn, CsvFault, described, plain};
use super::{LONGEST_PIECE, shown};

/// Columns a file may have.
const MOST_COLUMNS: usize = 256;

/// How numbers and fields are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CsvDialect {
    /// Between fields.
    pub separator: u8,
    /// Before the decimal places.
    pub decimal: u8,
}

impl CsvDialect {
    /// Comma between fields, decimal point.
    pub const POINT: Self = Self {
        separator: b',',
        decimal: b'.',
    };
    /// Semicolon between fields, decimal comma.
    pub const COMMA: Self = Self {
        separator: b';',
        decimal: b',',
    };
}

/// What was in a file.
#[derive(Clone, Debug, PartialEq)]
pub struct CsvSummary {
    /// The chosen columns.
    pub columns: Vec<CsvColumn>,
    /// Samples.
    pub rows: u64,
    /// First and last time, s.
    pub time: (f64, f64),
    /// Shortest and longest time step, s.
    pub step: (f64, f64),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Quoting {
    /// At the start of a field.
    Start,
    Plain,
    Quoted,
    /// Behind a quotation mark inside quotes: the end, or half of a pair.
    Closing,
}

/// Reads a table pushed in pieces of any length. The first column is time
/// unless another is named.
#[derive(Clone, Debug)]
pub struct CsvReader {
    dialect: CsvDialect,
    wanted: Vec<String>,
    /// Name of the time column, where it is not the first.
    time_name: Option<String>,
    time: usize,
    quoting: Quoting,
    /// Bytes of the present record, and where its fields end.
    record: Vec<u8>,
    ends: Vec<usize>,
    line: u64,
    /// Line on which the present record began.
    record_line: u64,
    last_was_return: bool,
    names: Vec<String>,
    /// Every column, once the header is understood.
    columns: Vec<CsvColumn>,
    chosen: Vec<usize>,
    values: Vec<f64>,
    ready: bool,
    rows: u64,
    first: f64,
    last: f64,
    step: (f64, f64),
}

impl CsvReader {
    /// A reader of the columns so named, in that order; with no name, of all
    /// but time.
    pub fn new(dialect: CsvDialect, columns: &[&str]) -> Self {
        Self {
            dialect,
            wanted: columns.iter().map(|&name| name.to_owned()).collect(),
            time_name: None,
            time: 0,
            quoting: Quoting::Start,
            record: Vec::new(),
            ends: Vec::new(),
            line: 1,
            record_line: 1,
            last_was_return: false,
            names: Vec::new(),
            columns: Vec::new(),
            chosen: Vec::new(),
            values: Vec::new(),
            ready: false,
            rows: 0,
            first: 0.0,
            last: 0.0,
            step: (f64::INFINITY, 0.0),
        }
    }

    /// The reader with its time in the column so named.
    #[must_use]
    pub fn timed_by(mut self, name: &str) -> Self {
        self.time_name = Some(name.to_owned());
        self
    }

    /// Takes the next bytes; hands on time (s) and the chosen columns' values
    /// (SI) of every record they complete.
    ///
    /// # Errors
    /// A [`CsvFault`]; the reader is then of no further use.
    pub fn push(
        &mut self,
        bytes: &[u8],
        sink: &mut impl FnMut(f64, &[f64]),
    ) -> Result<(), CsvFault> {
        for &byte in bytes {
            self.byte(byte, sink)?;
        }
        Ok(())
    }

    /// The end of the file; the last record needs no line end.
    ///
    /// # Errors
    /// A [`CsvFault`] when it ends inside quotes or before the first sample.
    pub fn finish(mut self, sink: &mut impl FnMut(f64, &[f64])) -> Result<CsvSummary, CsvFault> {
        if self.quoting == Quoting::Quoted {
            return Err(CsvFault::Quote { line: self.line });
        }
        if !self.record.is_empty() || !self.ends.is_empty() {
            self.end_record(sink)?;
        }
        if self.rows == 0 {
            return Err(CsvFault::Empty { line: self.line });
        }
        let columns = self.chosen.iter().map(|&c| self.columns[c].clone());
        Ok(CsvSummary {
            columns: columns.collect(),
            rows: self.rows,
            time: (self.first, self.last),
            step: self.step,
        })
    }

    fn byte(&mut self, byte: u8, sink: &mut impl FnMut(f64, &[f64])) -> Result<(), CsvFault> {
        let after_return = std::mem::replace(&mut self.last_was_return, byte == b'\r');
        let line_end = byte == b'\n' || byte == b'\r';
        if self.quoting == Quoting::Quoted {
            self.line += u64::from(byte == b'\n');
            if byte == b'"' {
                self.quoting = Quoting::Closing;
                return Ok(());
            }
            return self.keep(byte);
        }
        if byte == b'\n' && after_return {
            // The second half of CR LF.
            self.line += 1;
            self.record_line = self.line;
            return Ok(());
        }
        if line_end {
            self.end_record(sink)?;
            self.line += u64::from(byte == b'\n');
            self.record_line = self.line;
            return Ok(());
        }
        match (self.quoting, byte) {
            (_, byte) if byte == self.dialect.separator => {
                self.quoting = Quoting::Start;
                self.end_field()
            }
            (Quoting::Start, b'"') => {
                self.quoting = Quoting::Quoted;
                Ok(())
            }
            (Quoting::Closing, b'"') => {
                self.quoting = Quoting::Quoted;
                self.keep(b'"')
            }
            (Quoting::Closing, _) | (Quoting::Plain, b'"') => {
                Err(CsvFault::Quote { line: self.line })
            }
            _ => {
                self.quoting = Quoting::Plain;
                self.keep(byte)
            }
        }
    }

    fn keep(&mut self, byte: u8) -> Result<(), CsvFault> {
        if self.record.len() >= LONGEST_PIECE {
            return Err(CsvFault::TooLong { line: self.line });
        }
        self.record.push(byte);
        Ok(())
    }

    fn end_field(&mut self) -> Result<(), CsvFault> {
        if self.ends.len() >= MOST_COLUMNS {
            return Err(CsvFault::Fields {
                line: self.line,
                found: self.ends.len() + 1,
                expected: self.names.len().max(1),
            });
        }
        self.ends.push(self.record.len());
        Ok(())
    }

    fn field(&self, index: usize) -> &[u8] {
        let from = index.checked_sub(1).map_or(0, |before| self.ends[before]);
        self.record[from..self.ends[index]].trim_ascii()
    }

    fn end_record(&mut self, sink: &mut impl FnMut(f64, &[f64])) -> Result<(), CsvFault> {
        let quoted = self.quoting == Quoting::Closing;
        self.quoting = Quoting::Start;
        // Empty lines are passed over.
        if self.record.is_empty() && self.ends.is_empty() && !quoted {
            return Ok(());
        }
        self.end_field()?;
        let outcome = if self.names.is_empty() {
            self.name_columns()
        } else if self.ends.len() != self.names.len() {
            Err(CsvFault::Fields {
                line: self.record_line,
                found: self.ends.len(),
                expected: self.names.len(),
            })
        } else if self.ready {
            self.sample(sink)
        } else {
            self.after_names(sink)
        };
        self.record.clear();
        self.ends.clear();
        outcome
    }

    fn name_columns(&mut self) -> Result<(), CsvFault> {
        if self.number(0).is_some() {
            return Err(CsvFault::NoHeader {
                line: self.record_line,
            });
        }
        let names = (0..self.ends.len()).map(|index| self.field(index));
        // Spreadsheets put a byte order mark in front.
        let names = names.map(|name| name.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(name));
        self.names = names
            .map(|name| String::from_utf8_lossy(name).into_owned())
            .collect();
        Ok(())
    }

    /// The record behind the names: units, if it holds no number, else the
    /// first sample.
    fn after_names(&mut self, sink: &mut impl FnMut(f64, &[f64])) -> Result<(), CsvFault> {
        let numbers = (0..self.ends.len()).any(|index| self.number(index).is_some());
        let units: Vec<Option<String>> = (0..self.ends.len())
            .map(|index| {
                let unit = String::from_utf8_lossy(self.field(index));
                let unit = unit.trim_matches(['(', ')', '[', ']']).trim().to_owned();
                (!numbers && !unit.is_empty()).then_some(unit)
            })
            .collect();
        if let Some(wanted) = self.time_name.take() {
            let place = self.names.iter().position(|name| plain(name) == wanted);
            self.time = place.ok_or_else(|| self.no_column(&wanted, None))?;
        }
        for (index, unit) in units.iter().enumerate() {
            let (header, is_time) = (&self.names[index], index == self.time);
            let column = described(header, unit.as_deref(), is_time);
            self.columns.push(column.map_err(|wrong| CsvFault::Header {
                line: 1,
                column: index + 1,
                wrong,
            })?);
        }
        self.choose()?;
        self.ready = true;
        if numbers { self.sample(sink) } else { Ok(()) }
    }

    fn choose(&mut self) -> Result<(), CsvFault> {
        if self.columns.len() < 2 {
            return Err(CsvFault::Header {
                line: 1,
                column: 1,
                wrong: "there must be a column of time and one of values".to_owned(),
            });
        }
        if self.wanted.is_empty() {
            let all = 0..self.columns.len();
            self.chosen = all.filter(|&column| column != self.time).collect();
            return Ok(());
        }
        for wanted in &self.wanted {
            let place = self.columns.iter().position(|c| c.name == *wanted);
            let Some(place) = place.filter(|&place| place != self.time) else {
                return Err(self.no_column(wanted, Some(self.time)));
            };
            self.chosen.push(place);
        }
        Ok(())
    }

    fn no_column(&self, wanted: &str, except: Option<usize>) -> CsvFault {
        let known = self.names.iter().enumerate();
        let known: Vec<String> = known
            .filter(|&(index, _)| Some(index) != except)
            .take(8)
            .map(|(_, name)| shown(plain(name).as_bytes()))
            .collect();
        CsvFault::NoSuchColumn {
            wanted: shown(wanted.as_bytes()),
            known: known.join(", "),
        }
    }

    /// The field as a finite number, if it is one.
    fn number(&self, index: usize) -> Option<f64> {
        let field = self.field(index);
        let text = std::str::from_utf8(field).ok()?;
        let value: f64 = if self.dialect.decimal == b'.' {
            text.parse().ok()?
        } else if field.contains(&b'.') {
            // A point in a file with decimal commas groups thousands, or the
            // dialect is wrong; either way the number is not what it seems.
            return None;
        } else {
            text.replacen(char::from(self.dialect.decimal), ".", 1)
                .parse()
                .ok()?
        };
        value.is_finite().then_some(value)
    }

    fn sample(&mut self, sink: &mut impl FnMut(f64, &[f64])) -> Result<(), CsvFault> {
        let value = |column: usize| {
            let factor = self.columns[column].factor;
            let number = self.number(column).map(|number| number * factor);
            number
                .filter(|number| number.is_finite())
                .ok_or_else(|| CsvFault::Number {
                    line: self.record_line,
                    column: column + 1,
                    text: shown(self.field(column)),
                })
        };
        let time = value(self.time)?;
        let values: Result<Vec<f64>, _> = self.chosen.iter().map(|&c| value(c)).collect();
        self.values = values?;
        if self.rows == 0 {
            self.first = time;
        } else {
            let step = time - self.last;
            if step <= 0.0 {
                return Err(CsvFault::TimeStands {
                    line: self.record_line,
                });
            }
            self.step = (self.step.0.min(step), self.step.1.max(step));
        }
        self.last = time;
        self.rows += 1;
        sink(time, &self.values);
        Ok(())
    }
}
