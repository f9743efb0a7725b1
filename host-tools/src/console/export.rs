//! Tables to be taken away: the same columns as CSV for people and as Parquet for programs.

use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::respond::Refusal;
use super::store::{EventRow, StrokeRow};
use crate::markup::moment;

/// Rows of one file; a longer span is fetched in parts.
pub const MOST_ROWS: usize = 100_000;

/// One column's values, one a row.
#[derive(Debug, Clone, PartialEq)]
pub enum Values {
    /// Whole numbers.
    Whole(Vec<Option<i64>>),
    /// Times, ms since 1970, UTC.
    Moment(Vec<i64>),
    /// Numbers.
    Number(Vec<Option<f64>>),
    /// Texts.
    Text(Vec<Option<String>>),
}

/// Named columns of one length.
#[derive(Debug, Clone, PartialEq)]
pub struct Export {
    name: &'static str,
    columns: Vec<(&'static str, Values)>,
}

/// Forms a table can be taken away in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// RFC 4180, loads in kN, times to the millisecond as RFC 3339 has them, in UTC.
    Csv,
    /// Apache Parquet, gzip-compressed, times as UTC timestamps of ms.
    #[cfg(feature = "parquet")]
    Parquet,
}

fn all<T, V>(rows: &[T], of: impl Fn(&T) -> V) -> Vec<V> {
    rows.iter().map(of).collect()
}

impl Export {
    /// Strokes.
    #[must_use]
    pub fn strokes(rows: &[StrokeRow]) -> Self {
        let columns = vec![
            ("id", Values::Whole(all(rows, |row| Some(row.id)))),
            ("time_utc", Values::Moment(all(rows, |row| row.at_ms))),
            ("press", Values::Text(all(rows, |row| Some(row.press.clone())))),
            ("run", Values::Whole(all(rows, |row| Some(row.run)))),
            ("stroke", Values::Whole(all(rows, |row| Some(row.stroke)))),
            ("die", Values::Text(all(rows, |row| row.die.clone()))),
            ("coil", Values::Whole(all(rows, |row| Some(row.coil)))),
            ("verdict", Values::Text(all(rows, |row| Some(row.verdict.to_owned())))),
            ("reasons", Values::Text(all(rows, |row| Some(row.reasons.join(" "))))),
            ("peak_kn", Values::Number(all(rows, |row| Some(row.peak_kn)))),
            ("reverse_kn", Values::Number(all(rows, |row| Some(row.reverse_kn)))),
            ("work_kj", Values::Number(all(rows, |row| row.work_kj))),
        ];
        Self { name: "strokes", columns }
    }

    /// Events of the journal.
    #[must_use]
    pub fn events(rows: &[EventRow]) -> Self {
        let columns = vec![
            ("id", Values::Whole(all(rows, |row| Some(row.id)))),
            ("time_utc", Values::Moment(all(rows, |row| row.at_ms))),
            ("kind", Values::Text(all(rows, |row| Some(row.kind.clone())))),
            ("press", Values::Text(all(rows, |row| row.press.clone()))),
            ("die", Values::Text(all(rows, |row| row.die.clone()))),
            ("stroke_id", Values::Whole(all(rows, |row| row.stroke_id))),
            ("who", Values::Text(all(rows, |row| row.who.clone()))),
            ("says", Values::Text(all(rows, |row| Some(row.says.clone())))),
            ("old", Values::Text(all(rows, |row| row.old.clone()))),
            ("new", Values::Text(all(rows, |row| row.new.clone()))),
            ("reason", Values::Text(all(rows, |row| row.reason.clone()))),
        ];
        Self { name: "journal", columns }
    }

    /// As a file to be kept.
    ///
    /// # Errors
    /// [`Refusal`] if it cannot be written, which none of the values causes.
    pub fn answer(&self, form: Form) -> Result<Response, Refusal> {
        let (kind, ending, bytes) = match form {
            Form::Csv => ("text/csv; charset=utf-8", "csv", self.csv()),
            #[cfg(feature = "parquet")]
            Form::Parquet => {
                let failed = |why| Refusal::bad(format!("This cannot be written as Parquet: {why}."));
                ("application/vnd.apache.parquet", "parquet", self.parquet().map_err(failed)?)
            }
        };
        let headers = [
            (header::CONTENT_TYPE, kind.to_owned()),
            (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{}.{ending}\"", self.name)),
        ];
        Ok((headers, bytes).into_response())
    }

    fn rows(&self) -> usize {
        self.columns.first().map_or(0, |(_, values)| values.len())
    }

    /// As CSV.
    #[must_use]
    pub fn csv(&self) -> Vec<u8> {
        let mut writer = csv::Writer::from_writer(Vec::new());
        // A Vec takes every byte it is given.
        let _ = writer.write_record(self.columns.iter().map(|(name, _)| name));
        for row in 0..self.rows() {
            let _ = writer.write_record(self.columns.iter().map(|(_, values)| values.cell(row)));
        }
        writer.into_inner().unwrap_or_default()
    }
}

impl Values {
    fn len(&self) -> usize {
        match self {
            Self::Whole(values) => values.len(),
            Self::Moment(values) => values.len(),
            Self::Number(values) => values.len(),
            Self::Text(values) => values.len(),
        }
    }

    /// A value as a cell of a CSV file.
    fn cell(&self, row: usize) -> String {
        match self {
            Self::Whole(values) => values.get(row).copied().flatten().map(|value| value.to_string()),
            Self::Moment(values) => values.get(row).copied().map(moment),
            Self::Number(values) => values.get(row).copied().flatten().map(|value| value.to_string()),
            Self::Text(values) => values.get(row).and_then(Option::as_deref).map(harmless),
        }
        .unwrap_or_default()
    }
}

/// What a spreadsheet may take for the beginning of a formula; some take full-width signs as well, and look behind a first line
/// that is empty. Source: OWASP, "CSV Injection" (from memory).
const FORMULA: [char; 11] = ['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];

/// A text as a spreadsheet may take it: what it would take for a formula is led by an apostrophe.
fn harmless(text: &str) -> String {
    if text.starts_with(FORMULA) { format!("'{text}") } else { text.to_owned() }
}

#[cfg(feature = "parquet")]
mod parquet_form {
    use std::sync::Arc;

    use parquet::basic::{Compression, GzipLevel};
    use parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
    use parquet::errors::Result;
    use parquet::file::properties::WriterProperties;
    use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
    use parquet::schema::parser::parse_message_type;

    use super::{Export, Values};

    impl Export {
        /// As Parquet.
        ///
        /// # Errors
        /// The writer's own; none of the values causes one.
        pub fn parquet(&self) -> Result<Vec<u8>> {
            let properties = WriterProperties::builder()
                .set_compression(Compression::GZIP(GzipLevel::default()))
                .set_created_by(concat!("bolster ", env!("CARGO_PKG_VERSION")).to_owned())
                .build();
            let schema = Arc::new(parse_message_type(&self.schema())?);
            let mut writer = SerializedFileWriter::new(Vec::new(), schema, Arc::new(properties))?;
            let mut group = writer.next_row_group()?;
            for (_, values) in &self.columns {
                if let Some(mut column) = group.next_column()? {
                    values.write(&mut column)?;
                    column.close()?;
                }
            }
            group.close()?;
            writer.into_inner()
        }

        fn schema(&self) -> String {
            let field = |(name, values): &(&str, Values)| match values {
                Values::Whole(_) => format!("  OPTIONAL INT64 {name};\n"),
                Values::Moment(_) => format!("  REQUIRED INT64 {name} (TIMESTAMP(MILLIS,true));\n"),
                Values::Number(_) => format!("  OPTIONAL DOUBLE {name};\n"),
                Values::Text(_) => format!("  OPTIONAL BYTE_ARRAY {name} (STRING);\n"),
            };
            format!("message {} {{\n{}}}\n", self.name, self.columns.iter().map(field).collect::<String>())
        }
    }

    impl Values {
        fn write(&self, to: &mut SerializedColumnWriter<'_>) -> Result<()> {
            match self {
                Self::Whole(values) => optional::<Int64Type>(to, values.iter().copied()),
                Self::Number(values) => optional::<DoubleType>(to, values.iter().copied()),
                Self::Text(values) => {
                    let bytes = |text: &Option<String>| text.as_deref().map(ByteArray::from);
                    optional::<ByteArrayType>(to, values.iter().map(bytes))
                }
                Self::Moment(values) => to.typed::<Int64Type>().write_batch(values, None, None).map(|_| ()),
            }
        }
    }

    /// Writes values, missing ones as nulls: a definition level of 0.
    fn optional<T: DataType>(
        to: &mut SerializedColumnWriter<'_>,
        values: impl Iterator<Item = Option<T::T>>,
    ) -> Result<()> {
        let mut levels = Vec::new();
        let mut there = Vec::new();
        for value in values {
            levels.push(i16::from(value.is_some()));
            there.extend(value);
        }
        to.typed::<T>().write_batch(&there, Some(&levels), None).map(|_| ())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows() -> Vec<StrokeRow> {
        let row = |id: i64, die: Option<&str>, work_kj| StrokeRow {
            id,
            press: "P\"3\", left".into(),
            run: 1,
            stroke: id + 100,
            at_ms: 1_767_000_000_000 + id,
            die: die.map(str::to_owned),
            card: None,
            coil: 0,
            verdict: "pass",
            reasons: Vec::new(),
            peak_kn: 0.1 + 0.2,
            reverse_kn: -0.0,
            work_kj,
        };
        vec![row(1, Some("=cmd()"), None), row(2, None, Some(1.5)), row(3, Some("bracket"), None)]
    }

    #[test]
    fn csv_holds_every_row_and_no_formula() {
        let text = String::from_utf8(Export::strokes(&rows()).csv()).unwrap();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let back: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(back.len(), 3);
        assert_eq!((&back[0][2], &back[0][5]), ("P\"3\", left", "'=cmd()"));
        assert_eq!(back[0][9].parse::<f64>(), Ok(0.1 + 0.2));
        assert_eq!((&back[0][11], &back[1][11]), ("", "1.5"));
        assert_eq!(&back[0][1], "2025-12-29T09:20:00.001Z");
    }

    #[cfg(feature = "parquet")]
    #[test]
    fn parquet_holds_the_same_values_bit_for_bit_and_nulls_where_nothing_is() {
        use parquet::file::reader::{FileReader as _, SerializedFileReader};
        use parquet::record::{Field, RowAccessor as _};
        let bytes = Export::strokes(&rows()).parquet().unwrap();
        let reader = SerializedFileReader::new(axum::body::Bytes::from(bytes)).unwrap();
        let back: Vec<parquet::record::Row> =
            reader.get_row_iter(None).unwrap().map(Result::unwrap).collect();
        assert_eq!(back.len(), 3);
        assert_eq!(back[0].get_string(2).unwrap(), "P\"3\", left");
        assert_eq!(back[0].get_string(5).unwrap(), "=cmd()", "what a program reads is no formula");
        assert_eq!(back[1].get_double(9).unwrap().to_bits(), (0.1_f64 + 0.2).to_bits());
        assert_eq!(back[1].get_double(11).unwrap(), 1.5);
        let fields: Vec<&Field> = back[0].get_column_iter().map(|(_, field)| field).collect();
        assert_eq!(fields[11], &Field::Null);
        assert_eq!(fields[1], &Field::TimestampMillis(1_767_000_000_001));
        let empty = Export::strokes(&[]).parquet().unwrap();
        assert_eq!(
            SerializedFileReader::new(axum::body::Bytes::from(empty))
                .unwrap()
                .get_row_iter(None)
                .unwrap()
                .count(),
            0
        );
    }
}
