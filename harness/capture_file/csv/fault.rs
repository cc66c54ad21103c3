//! What may be wrong with a table, and what of it is not clear. It reads
//! nothing.

use crate::capture_file::LONGEST_PIECE;

/// What a reader must be told, since the file does not say it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CsvAsk {
    /// Whether a comma or a point stands before the decimal places.
    Decimal,
    /// What stands between groups of three digits.
    Thousands,
    /// What stands between fields.
    Separator,
    /// That no line names the columns.
    NoHeader,
    /// Which column is the time.
    TimeColumn,
    /// The unit of the time.
    TimeUnit,
    /// How far apart the rows are.
    Rate,
    /// What a column measures.
    Scale,
}

/// What is wrong with a file, and where. Lines and columns count from one.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CsvFault {
    /// No line, or nothing but a header.
    #[error("line {line}: the file ends before the first sample")]
    Empty {
        /// Where.
        line: u64,
    },
    /// Lines, but none of numbers alone.
    #[error(
        "line {line}: '{text}' is not a number, and no line is of numbers; save values without \
         their units"
    )]
    NoNumbers {
        /// Of the first field that is like a number.
        line: u64,
        /// That field.
        text: String,
    },
    /// Nowhere a line that names the columns.
    #[error("line {line}: the first line must name the columns, such as 'time (s),track (V)'")]
    NoHeader {
        /// Where.
        line: u64,
    },
    /// The file can be read in more than one way.
    #[error("line {line}: {what}")]
    Unclear {
        /// Where.
        line: u64,
        /// What is not clear.
        what: String,
        /// What would make it clear.
        ask: CsvAsk,
    },
    /// A header that names nothing that can be used.
    #[error("line {line}, column {column}: {wrong}")]
    Header {
        /// Where.
        line: u64,
        /// Which column.
        column: usize,
        /// What is wrong.
        wrong: String,
    },
    /// A named column is not there.
    #[error("there is no column '{wanted}'; the file has: {known}")]
    NoSuchColumn {
        /// As asked for.
        wanted: String,
        /// What there is.
        known: String,
    },
    /// A line with more or fewer fields than the header.
    #[error("line {line}: {found} fields where the header has {expected}")]
    Fields {
        /// Where.
        line: u64,
        /// How many there are.
        found: usize,
        /// How many there should be.
        expected: usize,
    },
    /// A field that is not a finite number.
    #[error("line {line}, column {column}: '{text}' is not a number")]
    Number {
        /// Where.
        line: u64,
        /// Which column.
        column: usize,
        /// The field.
        text: String,
    },
    /// A number without its unit, or with that of something else, where the fields
    /// above it have one.
    #[error(
        "line {line}, column {column}: '{text}' is not in the unit that the fields above it name"
    )]
    Unit {
        /// Where.
        line: u64,
        /// Which column.
        column: usize,
        /// The field.
        text: String,
    },
    /// Rows behind the line that closes the table.
    #[error("line {line}: it stands behind line {end}, which says that the table ends there")]
    AfterEnd {
        /// Where.
        line: u64,
        /// The line that closes the table.
        end: u64,
    },
    /// Zero bytes within a row, and with them the file ends.
    #[error(
        "line {line}: zero bytes follow within the row, and with them the file ends: it was cut"
    )]
    Unwritten {
        /// Where.
        line: u64,
    },
    /// A last line without a value, where the file may have been cut.
    #[error(
        "line {line}, column {column}: '' is not a number, and with it the file ends: it was cut"
    )]
    Cut {
        /// Where.
        line: u64,
        /// Which column.
        column: usize,
    },
    /// A time not after the one before.
    #[error("line {line}: time does not go on")]
    TimeStands {
        /// Where.
        line: u64,
    },
    /// A quote where none may be, or one that never ends.
    #[error("line {line}: a quotation mark is out of place")]
    Quote {
        /// Where.
        line: u64,
    },
    /// A line too long to be one.
    #[error("line {line}: it is longer than {LONGEST_PIECE} bytes")]
    TooLong {
        /// Where.
        line: u64,
    },
}
