//! The numbers of a picture as a table, and the table as CSV.

/// One entry of a [`Table`].
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// A number, written so that reading it back gives the same bits.
    Number(f64),
    /// A text.
    Text(String),
    /// Nothing.
    Empty,
}

impl From<f64> for Cell {
    fn from(v: f64) -> Self {
        Cell::Number(v)
    }
}

impl From<&str> for Cell {
    fn from(v: &str) -> Self {
        Cell::Text(v.to_owned())
    }
}

impl From<Option<f64>> for Cell {
    fn from(v: Option<f64>) -> Self {
        v.map_or(Cell::Empty, Cell::Number)
    }
}

/// Rows under a header.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Table {
    /// Column names with their units.
    pub header: Vec<String>,
    /// Rows, each as long as the header.
    pub rows: Vec<Vec<Cell>>,
}

impl Table {
    pub(super) fn new(header: impl IntoIterator<Item = String>) -> Self {
        Self { header: header.into_iter().collect(), rows: Vec::new() }
    }

    /// The table as CSV (RFC 4180) with a header row.
    #[must_use]
    pub fn to_csv(&self) -> String {
        let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
        // A Vec takes every byte it is given: these writes have no way to fail.
        let _ = writer.write_record(&self.header);
        for row in &self.rows {
            let _ = writer.write_record(row.iter().map(|cell| match cell {
                Cell::Number(v) => format!("{v}"),
                Cell::Text(t) => t.clone(),
                Cell::Empty => String::new(),
            }));
        }
        String::from_utf8(writer.into_inner().unwrap_or_default()).unwrap_or_default()
    }
}

/// `name` as part of a CSV column's name: lower case, anything but letters and digits a `_`.
pub(super) fn key(name: &str) -> String {
    name.chars().map(|c| if c.is_alphanumeric() { c.to_ascii_lowercase() } else { '_' }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_survive_the_way_through_csv() {
        let mut t = Table::new(["a_kn".to_owned(), "name".to_owned()]);
        t.rows.push(vec![Cell::Number(0.1 + 0.2), Cell::Text("say \"x\", y".into())]);
        t.rows.push(vec![Cell::Empty, Cell::Text(String::new())]);
        let text = t.to_csv();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let rows: Vec<csv::StringRecord> = reader.records().flatten().collect();
        assert_eq!(rows[0][0].parse::<f64>(), Ok(0.1 + 0.2));
        assert_eq!(&rows[0][1], "say \"x\", y");
        assert_eq!(&rows[1][0], "");
    }
}
