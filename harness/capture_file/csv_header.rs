//! What the header of a table says of its columns, and what may be wrong with a
//! table. It reads no record.

use super::{LONGEST_PIECE, shown};
use crate::units::{Dimension, parse_si};

/// A column as its header describes it.
#[derive(Clone, Debug, PartialEq)]
pub struct CsvColumn {
    /// Its name without the unit.
    pub name: String,
    /// What it measures, where a unit was given.
    pub dimension: Option<Dimension>,
    /// SI units per unit of the column.
    pub factor: f64,
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
    /// The first line holds numbers.
    #[error("line {line}: the first line must name the columns, such as 'time (s),track (V)'")]
    NoHeader {
        /// Where.
        line: u64,
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
    /// A field that is no finite number.
    #[error("line {line}, column {column}: '{text}' is no number")]
    Number {
        /// Where.
        line: u64,
        /// Which column.
        column: usize,
        /// The field.
        text: String,
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

/// The column's name and unit: `time (us)`, `time [us]` or a unit from the
/// line below.
pub(super) fn described(
    header: &str,
    below: Option<&str>,
    is_time: bool,
) -> Result<CsvColumn, String> {
    let open = header.rfind(['(', '[']);
    let within = open.and_then(|open| {
        let unit = header[open + 1..].trim_end().strip_suffix([')', ']'])?;
        Some((header[..open].trim(), unit.trim()))
    });
    let (name, unit) = match (within, below) {
        (Some((name, unit)), None) => (name, Some(unit)),
        (_, below) => (header.trim(), below),
    };
    let plain = |factor, dimension| CsvColumn {
        name: name.to_owned(),
        dimension,
        factor,
    };
    let Some(unit) = unit else {
        return Ok(plain(1.0, None));
    };
    let one = format!("1 {unit}");
    let known: &[Dimension] = if is_time {
        &[Dimension::Time]
    } else {
        &[Dimension::Voltage, Dimension::Current, Dimension::Ratio]
    };
    known
        .iter()
        .find_map(|&dimension| {
            let factor = parse_si(&one, dimension).ok()?;
            Some(plain(factor, Some(dimension)))
        })
        .ok_or_else(|| {
            let what = if is_time { "time" } else { "volts or amperes" };
            format!("'{}' is no unit of {what}", shown(unit.as_bytes()))
        })
}

/// A column's name without its unit.
pub(super) fn plain(header: &str) -> &str {
    header.split(['(', '[']).next().unwrap_or(header).trim()
}
