//! Tables of samples by RFC 4180 and as measuring devices write them: comma,
//! semicolon or tab between fields, decimal point or comma, lines of keys and
//! values before the table, units in the names, below them or in the fields, time
//! as a column, as a time of day or as the rows' numbers. It decides nothing about
//! the samples.

mod closing;
mod dialect;
mod encoding;
mod fault;
mod header;
mod layout;
mod measured;
mod number;
mod records;
mod said;
mod table;
mod timeline;
mod wish;
mod words;

pub use dialect::CsvDialect;
pub use fault::{CsvAsk, CsvFault};
pub use wish::CsvWish;
pub use words::CsvColumn;

use super::LONGEST_PIECE;
use closing::Closing;
use encoding::Transcoder;
use layout::layout;
use records::{after_line_end, lines_in, record_end};
use table::Table;

/// The beginning from which it is found how a table is written.
const HEAD: usize = LONGEST_PIECE;

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
    /// The time between rows, where they are even as far as the digits of their
    /// times tell, s.
    pub period: Option<f64>,
    /// The value of the last digit of the times, s; zero where rows are counted.
    pub digit: f64,
    /// Rows at the instant of the row before.
    pub repeated: u64,
    /// Which of the chosen columns hold nothing but 0 and 1, both of them.
    pub logic: Vec<bool>,
    /// What was concluded of the table and should be said.
    pub notes: Vec<String>,
}

/// Reads a table pushed in pieces of any length. The first column is time
/// unless another is named or says so.
#[derive(Clone, Debug)]
pub struct CsvReader {
    wish: CsvWish,
    text: Transcoder,
    closing: Closing,
    /// The beginning, then the line that the last piece cut.
    carry: Vec<u8>,
    /// Whether that ended inside quotation marks.
    quoted: bool,
    line: u64,
    /// The last piece ended with the first half of CR LF.
    after_return: bool,
    table: Option<Table>,
}

impl CsvReader {
    /// A reader of the columns so named, in that order; with no name, of all
    /// but time.
    pub fn new(dialect: CsvDialect, columns: &[&str]) -> Self {
        Self::wished(CsvWish {
            dialect,
            columns: columns.iter().map(|&name| name.to_owned()).collect(),
            ..CsvWish::default()
        })
    }

    /// A reader that is told what it need not find out.
    pub fn wished(wish: CsvWish) -> Self {
        Self {
            wish,
            text: Transcoder::default(),
            closing: Closing::default(),
            carry: Vec::new(),
            quoted: false,
            line: 1,
            after_return: false,
            table: None,
        }
    }

    /// The reader with its time in the column so named.
    #[must_use]
    pub fn timed_by(mut self, name: &str) -> Self {
        self.wish.time = Some(name.to_owned());
        self
    }

    /// Takes the next bytes; hands on time (s) and the chosen columns' values
    /// (SI) of every record they complete. What is no reading is not a number.
    ///
    /// # Errors
    /// A [`CsvFault`]; the reader is then of no further use.
    pub fn push(
        &mut self,
        bytes: &[u8],
        sink: &mut impl FnMut(f64, &[f64]),
    ) -> Result<(), CsvFault> {
        let mut text = std::mem::take(&mut self.text);
        let open = self.closing.push(text.push(bytes));
        let taken = self.take(&open, sink);
        self.text = text;
        taken
    }

    fn take(&mut self, text: &[u8], sink: &mut impl FnMut(f64, &[f64])) -> Result<(), CsvFault> {
        if self.table.is_some() {
            return self.rows(text, sink);
        }
        self.carry.extend_from_slice(text);
        if self.carry.len() > HEAD {
            self.begin(false, sink)?;
        }
        Ok(())
    }

    /// The end of the file; the last record needs no line end.
    ///
    /// # Errors
    /// A [`CsvFault`] when it ends inside quotes or before the first sample, or
    /// when its times do not tell its rows apart.
    pub fn finish(mut self, sink: &mut impl FnMut(f64, &[f64])) -> Result<CsvSummary, CsvFault> {
        let rest = self.closing.push(self.text.finish().into());
        self.take(&rest, sink)?;
        if self.table.is_none() {
            self.begin(true, sink)?;
        }
        if !self.carry.is_empty() {
            if self.quoted {
                return Err(CsvFault::Quote { line: self.line });
            }
            if self.closing.cuts() {
                return Err(CsvFault::Unwritten { line: self.line });
            }
            let carry = std::mem::take(&mut self.carry);
            self.record(&carry, sink)?;
        }
        let line = self.line;
        match self.table {
            Some(table) => table.summary(line).map(|mut summary| {
                summary.notes.extend(self.closing.note());
                summary
            }),
            None => Err(CsvFault::Empty { line }),
        }
    }

    /// Finds out how the table is laid out, and reads what is there of it.
    fn begin(&mut self, whole: bool, sink: &mut impl FnMut(f64, &[f64])) -> Result<(), CsvFault> {
        let head = std::mem::take(&mut self.carry);
        // The same beginning however the pieces are cut.
        let looked_at = &head[..head.len().min(HEAD)];
        let whole = whole && looked_at.len() == head.len();
        let layout = layout(looked_at, whole, &self.wish).map_err(|fault| match fault {
            // So long a beginning has a line at least.
            CsvFault::Empty { .. } if !whole => CsvFault::TooLong { line: 1 },
            fault => fault,
        })?;
        self.line = layout.line;
        let from = layout.from;
        self.table = Some(Table::new(
            layout,
            self.wish.scale.map_or(0.0, |scale| scale.1),
        ));
        self.rows(&head[from..], sink)
    }

    /// Splits a piece into lines.
    fn rows(&mut self, text: &[u8], sink: &mut impl FnMut(f64, &[f64])) -> Result<(), CsvFault> {
        let mut from = 0;
        if std::mem::take(&mut self.after_return) && text.first() == Some(&b'\n') {
            from = 1;
        }
        loop {
            if self.carry.is_empty() {
                // The usual case: the line lies in the piece as it is.
                let mut quoted = false;
                let Some(end) = record_end(text, from, &mut quoted) else {
                    self.carry.extend_from_slice(&text[from..]);
                    self.quoted = quoted;
                    return self.check_length();
                };
                self.record(&text[from..end], sink)?;
                from = self.line_end(text, end, &text[from..end]);
            } else {
                let end = record_end(text, from, &mut self.quoted);
                self.carry
                    .extend_from_slice(&text[from..end.unwrap_or(text.len())]);
                let Some(end) = end else {
                    return self.check_length();
                };
                let carry = std::mem::take(&mut self.carry);
                self.record(&carry, sink)?;
                from = self.line_end(text, end, &carry);
                self.carry = carry;
                self.carry.clear();
            }
            if from >= text.len() {
                return Ok(());
            }
        }
    }

    fn line_end(&mut self, text: &[u8], end: usize, record: &[u8]) -> usize {
        self.line += lines_in(record);
        let (next, line) = after_line_end(text, end, self.line);
        self.line = line;
        self.after_return = text[end] == b'\r' && next == text.len() && end + 1 == next;
        next
    }

    fn check_length(&self) -> Result<(), CsvFault> {
        if self.carry.len() <= LONGEST_PIECE {
            return Ok(());
        }
        let line = self.line;
        Err(if self.quoted {
            CsvFault::Quote { line }
        } else {
            CsvFault::TooLong { line }
        })
    }

    fn record(
        &mut self,
        record: &[u8],
        sink: &mut impl FnMut(f64, &[f64]),
    ) -> Result<(), CsvFault> {
        if record.len() > LONGEST_PIECE {
            return Err(CsvFault::TooLong { line: self.line });
        }
        let Some(table) = &mut self.table else {
            return Ok(());
        };
        table.record(record, self.line, sink)
    }
}
