//! The metrics of many records as one Parquet table (format version 2), a row a
//! metric, in row groups that are handed out as they fill. It opens no file and
//! holds no more than one row group.
//!
//! Texts are kept exactly as they were written: a table is read by programs,
//! and what shows a text makes it harmless.

use super::format::{Format, Made, Rows, RowsFault};
use super::metrics::{Holds, METRIC_COLUMNS, ROW_LENGTH, rows};
use crate::record::Record;
use parquet::basic::{Compression, LogicalType, Repetition, TimeUnit, Type as Physical};
use parquet::column::writer::ColumnWriter;
use parquet::data_type::ByteArray;
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{Type, TypePtr};
use serde_json::Value;
use std::sync::Arc;

/// Rows of a row group.
const GROUP: usize = 20_000;

/// An Apache Parquet table.
pub(super) const FORMAT: Format = Format {
    name: "parquet",
    about: "An Apache Parquet table instead, a row a metric, with typed columns.",
    made: Made::Table(|| Ok(Box::new(MetricTable::begin(env!("CARGO_PKG_VERSION"))?))),
};

impl From<ParquetError> for RowsFault {
    fn from(fault: ParquetError) -> Self {
        Self(fault.to_string())
    }
}

/// One column of the row group being filled: the values that are there, and
/// for each row whether one is.
enum Column {
    Text(Vec<ByteArray>, Vec<i16>),
    Number(Vec<f64>, Vec<i16>),
    Moment(Vec<i64>),
    Flag(Vec<bool>),
}

/// A table that is being written.
struct MetricTable {
    writer: SerializedFileWriter<Vec<u8>>,
    columns: Vec<Column>,
    rows: usize,
}

impl MetricTable {
    /// A table without rows, made by this `version` of the program.
    fn begin(version: &str) -> Result<Self, RowsFault> {
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_created_by(format!("bufferstop version {version}"))
            .build();
        let writer = SerializedFileWriter::new(Vec::new(), schema()?, Arc::new(properties))?;
        Ok(Self {
            writer,
            columns: fresh(),
            rows: 0,
        })
    }

    fn add_row(&mut self, row: [(&'static str, Value); ROW_LENGTH]) -> Result<(), RowsFault> {
        for ((_, value), column) in row.into_iter().zip(&mut self.columns) {
            column.push(value)?;
        }
        self.rows += 1;
        if self.rows == GROUP {
            self.end_group()?;
        }
        Ok(())
    }

    fn end_group(&mut self) -> Result<(), RowsFault> {
        if self.rows == 0 {
            return Ok(());
        }
        let mut group = self.writer.next_row_group()?;
        for column in std::mem::replace(&mut self.columns, fresh()) {
            let Some(mut writer) = group.next_column()? else {
                return Err(RowsFault("a column is missing".to_owned()));
            };
            column.write(writer.untyped())?;
            writer.close()?;
        }
        group.close()?;
        self.rows = 0;
        Ok(())
    }

    /// The writer counts what passed through it, so taking the bytes away
    /// moves no offset.
    fn ready(&mut self) -> Result<Vec<u8>, RowsFault> {
        self.writer
            .flush()
            .map_err(|fault| RowsFault(fault.to_string()))?;
        Ok(std::mem::take(self.writer.inner_mut()))
    }
}

impl Rows for MetricTable {
    fn add(&mut self, record: &Record) -> Result<Vec<u8>, RowsFault> {
        for row in rows(record) {
            self.add_row(row)?;
        }
        self.ready()
    }

    fn finish(mut self: Box<Self>) -> Result<Vec<u8>, RowsFault> {
        self.end_group()?;
        self.writer.finish()?;
        self.ready()
    }
}

fn schema() -> Result<TypePtr, RowsFault> {
    let fields = METRIC_COLUMNS.iter().map(|(name, holds)| {
        let (physical, logical, repetition) = match holds {
            Holds::Text => (
                Physical::BYTE_ARRAY,
                Some(LogicalType::String),
                Repetition::REQUIRED,
            ),
            Holds::MaybeText => (
                Physical::BYTE_ARRAY,
                Some(LogicalType::String),
                Repetition::OPTIONAL,
            ),
            Holds::Number => (Physical::DOUBLE, None, Repetition::OPTIONAL),
            Holds::Moment => (
                Physical::INT64,
                Some(LogicalType::timestamp(true, TimeUnit::MICROS)),
                Repetition::REQUIRED,
            ),
            Holds::Flag => (Physical::BOOLEAN, None, Repetition::REQUIRED),
        };
        let field = Type::primitive_type_builder(name, physical)
            .with_logical_type(logical)
            .with_repetition(repetition)
            .build()?;
        Ok::<_, ParquetError>(Arc::new(field))
    });
    let fields = fields.collect::<Result<Vec<_>, _>>()?;
    let group = Type::group_type_builder("metrics").with_fields(fields);
    Ok(Arc::new(group.build()?))
}

fn fresh() -> Vec<Column> {
    METRIC_COLUMNS
        .iter()
        .map(|(_, holds)| match holds {
            Holds::Text | Holds::MaybeText => Column::Text(Vec::new(), Vec::new()),
            Holds::Number => Column::Number(Vec::new(), Vec::new()),
            Holds::Moment => Column::Moment(Vec::new()),
            Holds::Flag => Column::Flag(Vec::new()),
        })
        .collect()
}

impl Column {
    fn push(&mut self, value: Value) -> Result<(), RowsFault> {
        match (self, value) {
            (Self::Text(texts, there), Value::String(text)) => {
                texts.push(text.into_bytes().into());
                there.push(1);
            }
            (Self::Number(numbers, there), Value::Number(number)) => {
                numbers.extend(number.as_f64());
                there.push(1);
            }
            (Self::Text(_, there) | Self::Number(_, there), Value::Null) => there.push(0),
            (Self::Moment(moments), Value::String(text)) => {
                let moment: jiff::Timestamp = text
                    .parse()
                    .map_err(|_| RowsFault(format!("{text} is no moment")))?;
                moments.push(moment.as_microsecond());
            }
            (Self::Flag(flags), Value::Bool(flag)) => flags.push(flag),
            (_, value) => return Err(RowsFault(format!("{value} is of another kind"))),
        }
        Ok(())
    }

    fn write(&self, writer: &mut ColumnWriter<'_>) -> Result<(), RowsFault> {
        match (self, writer) {
            // A required column takes no levels and leaves them unread.
            (Self::Text(texts, there), ColumnWriter::ByteArrayColumnWriter(writer)) => {
                writer.write_batch(texts, Some(there), None)?;
            }
            (Self::Number(numbers, there), ColumnWriter::DoubleColumnWriter(writer)) => {
                writer.write_batch(numbers, Some(there), None)?;
            }
            (Self::Moment(moments), ColumnWriter::Int64ColumnWriter(writer)) => {
                writer.write_batch(moments, None, None)?;
            }
            (Self::Flag(flags), ColumnWriter::BoolColumnWriter(writer)) => {
                writer.write_batch(flags, None, None)?;
            }
            _ => return Err(RowsFault("a column is of another kind".to_owned())),
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::samples;
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::RowAccessor;

    fn record(run: &str) -> Record {
        let started = samples::started(run, "GR-0042", false);
        let events = samples::events(started, samples::value(0.0084, 5e-6));
        Record::fold(&samples::numbered(events)).expect("a run")
    }

    #[test]
    fn row_groups_go_out_as_they_fill_and_read_back_whole() {
        let runs = GROUP / 3 + 2;
        let record = record("r-1");
        let mut table = MetricTable::begin("0.1.0").expect("a table");
        let mut bytes = Vec::new();
        let mut before_the_end = 0;
        for _ in 0..runs {
            bytes.extend(table.add(&record).expect("a row"));
            before_the_end = bytes.len();
        }
        assert!(before_the_end > 1_000, "nothing left before the end");
        bytes.extend(Box::new(table).finish().expect("an end"));
        let reader = SerializedFileReader::new(bytes::Bytes::from(bytes)).expect("Parquet");
        assert_eq!(reader.metadata().num_row_groups(), 2);
        let rows: Vec<_> = reader.get_row_iter(None).expect("rows").collect();
        assert_eq!(rows.len(), 3 * runs);
        let last = rows[rows.len() - 1].as_ref().expect("a row");
        let place = |name: &str| {
            let mut names = METRIC_COLUMNS.iter();
            names.position(|(known, _)| *known == name).expect(name)
        };
        assert_eq!(last.get_double(place("value")).ok(), Some(0.0084));
        assert_eq!(
            last.get_string(place("serial")).ok(),
            Some(&"GR-0042".to_owned())
        );
        assert_eq!(last.get_bool(place("model")).ok(), Some(false));
        assert_eq!(
            last.get_timestamp_micros(place("started")).ok(),
            Some(record.started_at.as_microsecond())
        );
    }

    #[test]
    fn bytes_repeat() {
        let bytes = || {
            let mut table = MetricTable::begin("0.1.0").expect("a table");
            let mut bytes = table.add(&record("r-1")).expect("rows");
            bytes.extend(Box::new(table).finish().expect("an end"));
            bytes
        };
        assert_eq!(bytes(), bytes());
    }
}
