//! What a caller may say of a table, so that it need not be found out. It reads
//! nothing.

use super::dialect::CsvDialect;

/// What the caller says of a table, beyond how it is written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CsvWish {
    /// How numbers and fields are written.
    pub dialect: CsvDialect,
    /// Columns by name or, where none has that name, by number from 1; all but
    /// time when empty.
    pub columns: Vec<String>,
    /// The time column, likewise.
    pub time: Option<String>,
    /// The table has no line that names its columns: they are numbered.
    pub unnamed: bool,
    /// Seconds of one unit of the time column.
    pub time_unit: Option<f64>,
    /// Seconds from row to row: time comes from the rows' numbers.
    pub increment: Option<f64>,
    /// The instant of the first row, s, where time comes from the rows' numbers.
    pub start: Option<f64>,
    /// SI units of one unit of the chosen columns, and what is added.
    pub scale: Option<(f64, f64)>,
}

impl CsvWish {
    /// The same of this column alone.
    #[must_use]
    pub fn of(mut self, column: &str) -> Self {
        self.columns = vec![column.to_owned()];
        self
    }
}
