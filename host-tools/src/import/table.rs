//! A foreign file as rows of the mapped columns.

use std::collections::BTreeMap;
use std::ops::Range;
use std::path::{Path, PathBuf};

use super::error::ImportError;
use super::mapping::Column;
use super::plan::ImportPlan;
use super::text::{Cell, Decoder, Delimiter, cell, text};
use crate::recording::{Defect, LineFault, Lines, Place, RecordingError, Source};
use crate::spelling;

/// What the next row of a file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Next {
    /// All mapped columns have a number.
    Row,
    /// A mapped column has none.
    Missing,
    /// No row is left.
    End,
}

/// An open foreign file.
pub(super) struct Table<'p> {
    path: PathBuf,
    plan: &'p ImportPlan,
    lines: Lines<Decoder<Source>>,
    delimiter: Delimiter,
    fields: Vec<Range<usize>>,
    /// Field of each mapping.
    places: Vec<usize>,
    /// Names of the header row; empty without one.
    names: Vec<String>,
    /// The first line, where it turned out to be a row.
    first: Option<Vec<u8>>,
    line: u64,
    widths: BTreeMap<usize, u64>,
}

/// Different row widths told apart; a file with more has its rest counted as one.
const MAX_WIDTHS: usize = 64;

impl<'p> Table<'p> {
    /// Opens a file, plain or gzip-compressed, in any of the encodings, and finds the mapped columns.
    pub(super) fn open(path: &Path, plan: &'p ImportPlan) -> Result<Self, ImportError> {
        let source = Source::open(path, false).map_err(|defect| RecordingError::of_file(path, defect))?;
        let mut table = Self {
            path: path.to_owned(),
            plan,
            lines: Lines::new(Decoder::new(source)),
            delimiter: plan.delimiter,
            fields: Vec::new(),
            places: Vec::new(),
            names: Vec::new(),
            first: None,
            line: 0,
            widths: BTreeMap::new(),
        };
        table.lines.skip(plan.skip_lines).map_err(|fault| table.fault(fault))?;
        let first = match table.lines.next() {
            Ok(Some(line)) => line.text().to_vec(),
            Ok(None) => return Err(ImportError::of_file(path, "has no rows; nothing can be imported")),
            Err(fault) => return Err(table.fault(fault)),
        };
        table.line = table.lines.number();
        table.delimiter = plan.delimiter.settle(&first, plan.decimal_comma);
        table.delimiter.split(&first, &mut table.fields);
        let by_name = plan.map.iter().any(|mapping| matches!(mapping.column, Column::Name(_)));
        let words = || {
            plan.map.iter().any(|mapping| match mapping.column {
                Column::Number(number) => {
                    let field = table.fields.get(number - 1).and_then(|range| first.get(range.clone()));
                    field.is_some_and(|field| cell(field, plan.decimal_comma) == Cell::Words)
                }
                Column::Name(_) => false,
            })
        };
        if plan.header.unwrap_or_else(|| by_name || words()) {
            let fields = table.fields.iter().filter_map(|range| first.get(range.clone()));
            table.names = fields.map(text).collect();
            table.lines.skip(plan.skip_after_header).map_err(|fault| table.fault(fault))?;
        } else {
            table.first = Some(first);
        }
        table.places =
            plan.map.iter().map(|mapping| table.place_of(&mapping.column)).collect::<Result<Vec<_>, _>>()?;
        Ok(table)
    }

    fn place_of(&self, column: &Column) -> Result<usize, ImportError> {
        let wrong = |why: String| {
            let place = Place { path: self.path.clone(), line: Some(self.line), ..Place::default() };
            Err(ImportError::Row { place, why })
        };
        match column {
            Column::Number(number) if *number <= self.fields.len() => Ok(number - 1),
            Column::Number(number) => {
                wrong(format!("column {number} is mapped, but the line has {} fields", self.fields.len()))
            }
            Column::Name(_) if self.names.is_empty() => {
                wrong("a column is mapped by name, but there is no header row; map it by number".into())
            }
            Column::Name(name) => {
                let mut found = self.names.iter().enumerate().filter(|(_, known)| *known == name);
                match (found.next(), found.next()) {
                    (Some((place, _)), None) => Ok(place),
                    (Some(_), Some(_)) => wrong(format!("two columns are named `{name}`; map it by number")),
                    _ => {
                        let known: Vec<&str> = self.names.iter().map(String::as_str).collect();
                        let hint = match spelling::nearest(name, &known) {
                            Some(near) => format!("did you mean `{near}`?"),
                            None => format!("its columns are {}", excerpt(&known.join(", "), 300)),
                        };
                        wrong(format!("there is no column `{name}`; {hint}"))
                    }
                }
            }
        }
    }

    /// Reads the next row; `values` gets one number a mapping.
    pub(super) fn next(&mut self, values: &mut Vec<f64>) -> Result<Next, ImportError> {
        let first = self.first.take();
        let line = match &first {
            Some(line) => line.as_slice(),
            None => match self.lines.next() {
                Ok(Some(line)) => line.text(),
                Ok(None) => return Ok(Next::End),
                Err(fault) => return Err(self.fault(fault)),
            },
        };
        self.delimiter.split(line, &mut self.fields);
        let last_is_empty = self.fields.last().is_some_and(Range::is_empty);
        // A delimiter at the end of each line makes no column.
        let surplus = last_is_empty && (self.names.is_empty() || self.fields.len() > self.names.len());
        let width = self.fields.len() - usize::from(surplus);
        if self.widths.len() < MAX_WIDTHS || self.widths.contains_key(&width) {
            *self.widths.entry(width).or_default() += 1;
        } else {
            *self.widths.entry(usize::MAX).or_default() += 1;
        }
        values.clear();
        let mut words = None;
        for (index, place) in self.places.iter().enumerate() {
            let field = self.fields.get(*place).and_then(|range| line.get(range.clone())).unwrap_or_default();
            match cell(field, self.plan.decimal_comma) {
                Cell::Number(value)
                    if self.plan.map.get(index).is_none_or(|mapping| mapping.holds(value)) =>
                {
                    values.push(value);
                }
                Cell::Number(_) | Cell::Missing => {}
                Cell::Words if self.plan.skip_bad => {}
                Cell::Words => {
                    words = Some((index, excerpt(&text(field), 40)));
                    break;
                }
            }
        }
        if first.is_none() {
            self.line = self.lines.number();
        }
        if let Some((index, found)) = words {
            let why = format!(
                "`{found}` stands where a number belongs; skip such rows with --skip-bad, or lines before and after \
                 the header row with --skip-lines and --skip-after-header"
            );
            return Err(ImportError::Row { place: self.place(index), why });
        }
        Ok(if values.len() == self.places.len() { Next::Row } else { Next::Missing })
    }

    /// File, line of the row last read, and the column of a mapping.
    pub(super) fn place(&self, mapping: usize) -> Place {
        let place = self.places.get(mapping).copied().unwrap_or(0);
        let column = self.names.get(place).cloned().unwrap_or_else(|| (place + 1).to_string());
        Place { path: self.path.clone(), line: Some(self.line), column: Some(column), stroke: None }
    }

    /// Line of the row last read.
    pub(super) fn line(&self) -> u64 {
        self.line
    }

    /// Rows whose number of fields is not the most frequent one.
    pub(super) fn ragged(&self) -> u64 {
        let rows: u64 = self.widths.values().sum();
        rows - self.widths.values().max().copied().unwrap_or(0)
    }

    /// Bytes read and size of the file.
    pub(super) fn progress(&self) -> Option<(u64, u64)> {
        self.lines.source.inner.progress()
    }

    fn fault(&self, fault: LineFault) -> ImportError {
        let (defect, line) = match fault {
            LineFault::TooLong => (Defect::LineTooLong, Some(self.lines.number() + 1)),
            LineFault::Read(why) => (self.lines.source.inner.defect(why), None),
        };
        RecordingError::new(Place { path: self.path.clone(), line, ..Place::default() }, defect).into()
    }
}

/// The start of a text, made fit for one line.
fn excerpt(text: &str, letters: usize) -> String {
    let mut short: String = text.chars().take(letters).flat_map(char::escape_debug).collect();
    if text.chars().count() > letters {
        short.push('…');
    }
    short
}
