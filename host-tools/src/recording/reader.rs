//! Reads a recording row by row in constant memory.

use std::path::{Path, PathBuf};

use bolster_core::press::Columns;

use super::decimal;
use super::error::{Defect, Place, RecordingError};
use super::header::{Header, Layout, Unit, slot};
use super::lines::{Line, LineFault, Lines};
use super::order::Order;
use super::source::Source;
use super::{KN_PER_TONF, Row};

/// Whole numbers above this are no longer exact in a double.
const MAX_WHOLE: f64 = 9_007_199_254_740_992.0;

/// An open recording.
///
/// ```no_run
/// use bolster::recording::{Reader, Row};
/// let mut reader = Reader::open("press-3.csv.gz".as_ref())?;
/// let (mut row, mut peak) = (Row::default(), f64::MIN);
/// while reader.next(&mut row)? {
///     peak = peak.max(row.loads.iter().sum());
/// }
/// # Ok::<(), bolster::recording::RecordingError>(())
/// ```
pub struct Reader {
    path: PathBuf,
    lines: Lines<Source>,
    layout: Layout,
    order: Order,
    scale: f64,
    values: [f64; slot::COUNT],
}

impl Reader {
    /// Opens a recording, plain or gzip-compressed, and reads its header row.
    ///
    /// # Errors
    /// [`RecordingError`] if the file cannot be read, its header is not understood, or no row follows.
    pub fn open(path: &Path) -> Result<Self, RecordingError> {
        Self::start(path, false)
    }

    /// Like [`Reader::open`], and hashes the file on the way; see [`Reader::sha256`].
    ///
    /// # Errors
    /// As [`Reader::open`].
    pub fn open_hashed(path: &Path) -> Result<Self, RecordingError> {
        Self::start(path, true)
    }

    fn start(path: &Path, hash: bool) -> Result<Self, RecordingError> {
        let source = Source::open(path, hash).map_err(|defect| RecordingError::of_file(path, defect))?;
        let mut lines = Lines::new(source);
        let first = match lines.next() {
            Ok(Some(line)) => header_fields(line.text()),
            Ok(None) => Err((Defect::Empty, None)),
            Err(fault) => return Err(of_line(path, &lines, fault)),
        };
        let layout = first.and_then(|fields| Layout::parse(&fields)).map_err(|(defect, column)| {
            let line = (lines.number() > 0).then_some(lines.number());
            RecordingError::new(Place { path: path.to_owned(), line, column, stroke: None }, defect)
        })?;
        match lines.is_exhausted() {
            Ok(false) => {}
            Ok(true) => return Err(RecordingError::of_file(path, Defect::HeaderOnly)),
            Err(fault) => return Err(of_line(path, &lines, fault)),
        }
        let mut values = [f64::NAN; slot::COUNT];
        if let Some(absent) = values.get_mut(slot::COIL..) {
            absent.fill(0.0);
        }
        let scale = if layout.header.unit == Unit::TonsForce { KN_PER_TONF } else { 1.0 };
        Ok(Self { path: path.to_owned(), lines, layout, order: Order::default(), scale, values })
    }

    /// What the columns are.
    #[must_use]
    pub fn header(&self) -> &Header {
        &self.layout.header
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Bytes of the file read so far and its size; none for what has no size, such as a pipe.
    #[must_use]
    pub fn progress(&self) -> Option<(u64, u64)> {
        self.lines.source.progress()
    }

    /// SHA-256 of the file's bytes (as stored, compressed or not): only after [`Reader::open_hashed`]
    /// and once [`Reader::next`] has returned false.
    #[must_use]
    pub fn sha256(&self) -> Option<[u8; 32]> {
        self.lines.source.sha256()
    }

    /// Refuses a recording from a press with other gauges.
    ///
    /// # Errors
    /// [`Defect::OtherPress`] if the recording has not exactly the press's gauge columns.
    pub fn expect_columns(&self, press: Columns) -> Result<(), RecordingError> {
        let recording = self.layout.header.columns;
        if recording == press {
            return Ok(());
        }
        let defect = Defect::OtherPress { recording: recording.count(), press: press.count() };
        Err(RecordingError::of_file(&self.path, defect))
    }

    /// Reads the next row; false at the end of the recording, `row` is then as it was.
    ///
    /// # Errors
    /// [`RecordingError`] with line, column and stroke for anything that is not a row of a recording.
    /// After an error the reader's place is not defined; give the recording up.
    #[inline]
    pub fn next(&mut self, row: &mut Row) -> Result<bool, RecordingError> {
        let line = match self.lines.next() {
            Ok(Some(line)) => line,
            Ok(None) => return Ok(false),
            Err(fault) => return Err(of_line(&self.path, &self.lines, fault)),
        };
        let read = split(line, &self.layout.slots, &mut self.values);
        if let Err((defect, column)) =
            read.and_then(|()| check(&self.values, &self.layout.header, &mut self.order))
        {
            return Err(self.at_row(defect, column));
        }
        let values = &self.values;
        row.line = self.lines.number();
        // Checked whole and not negative; by way of i64 as that is one instruction.
        row.stroke = values[slot::STROKE] as i64 as u64;
        row.angle_deg = values[slot::ANGLE];
        row.time_s = values[slot::TIME];
        row.speed_spm = values[slot::SPEED];
        row.coil = values[slot::COIL] as i64 as u64;
        row.loads = [
            values[slot::LOAD] * self.scale,
            values[slot::LOAD + 1] * self.scale,
            values[slot::LOAD + 2] * self.scale,
            values[slot::LOAD + 3] * self.scale,
        ];
        row.sensors = 0;
        if self.layout.header.sensors != 0 {
            for bit in 0..8 {
                row.sensors |= u8::from(values[slot::SENSOR + bit] != 0.0) << bit;
            }
        }
        Ok(true)
    }

    /// The error's place: column by slot, stroke where the row gave a sane one.
    #[cold]
    fn at_row(&self, defect: Defect, column: Option<u8>) -> RecordingError {
        let name = column.and_then(|slot| {
            let field = self.layout.slots.iter().position(|of_field| *of_field == slot)?;
            self.layout.names.get(field).cloned()
        });
        let number = self.values[slot::STROKE];
        let stroke = ((0.0..=MAX_WHOLE).contains(&number) && column != Some(slot::STROKE as u8))
            .then_some(number as u64);
        let place = Place { path: self.path.clone(), line: Some(self.lines.number()), column: name, stroke };
        RecordingError::new(place, defect)
    }
}

/// A defect of a row and the slot of the column to blame.
type RowFault = (Defect, Option<u8>);

/// Reads every field into the slot of its meaning.
#[inline]
fn split(line: Line<'_>, slots: &[u8], values: &mut [f64; slot::COUNT]) -> Result<(), RowFault> {
    let mut at = 0;
    for (index, slot) in slots.iter().enumerate() {
        let (value, len) = match decimal::short(line, at) {
            Some(read) => read,
            None => slowly(line, at, index, slots, *slot)?,
        };
        values[*slot as usize % slot::COUNT] = value;
        at += len + 1;
    }
    // Past the last field stands the line's end, where a comma would have stood.
    if at == line.len + 1 { Ok(()) } else { Err(field_count(line, slots.len())) }
}

/// A field that is no short decimal: quoted, with an exponent, padded, missing or wrong.
#[cold]
fn slowly(line: Line<'_>, at: usize, index: usize, slots: &[u8], slot: u8) -> Result<(f64, usize), RowFault> {
    if at > line.len || (line.len == at && index > 0 && line.text().get(at - 1) != Some(&b',')) {
        return Err(field_count(line, slots.len()));
    }
    let (text, len) = decimal::field(line.text(), at);
    match decimal::any(&text) {
        Some(value) if value.is_finite() => Ok((value, len)),
        // A row of another length is the plainer fault: its fields may all be off by one.
        _ if count_fields(line) != slots.len() => Err(field_count(line, slots.len())),
        Some(_) => Err((Defect::NotFinite(excerpt(&text)), Some(slot))),
        None => Err((Defect::NotANumber(excerpt(&text)), Some(slot))),
    }
}

#[cold]
fn field_count(line: Line<'_>, expected: usize) -> RowFault {
    (Defect::FieldCount { expected, found: count_fields(line) }, None)
}

fn count_fields(line: Line<'_>) -> usize {
    let (mut at, mut found) = (0, 0);
    while at <= line.len {
        at += decimal::field(line.text(), at).1 + 1;
        found += 1;
    }
    found
}

/// Checks what single values and their order must fulfil.
#[inline]
fn check(values: &[f64; slot::COUNT], header: &Header, order: &mut Order) -> Result<(), RowFault> {
    let at = |slot: usize| move |defect| (defect, Some(slot as u8));
    for slot in [slot::STROKE, slot::COIL] {
        let number = values[slot];
        if !(0.0..=MAX_WHOLE).contains(&number) || number as i64 as f64 != number {
            return Err((Defect::NotAnInteger(number.to_string()), Some(slot as u8)));
        }
    }
    order.stroke(values[slot::STROKE] as i64 as u64).map_err(at(slot::STROKE))?;
    if header.has_angle {
        let angle = values[slot::ANGLE];
        if !(0.0..360.0).contains(&angle) {
            return Err((Defect::AngleRange(angle), Some(slot::ANGLE as u8)));
        }
        order.angle(angle).map_err(at(slot::ANGLE))?;
    }
    if header.has_time {
        order.time(values[slot::TIME]).map_err(at(slot::TIME))?;
    }
    if header.sensors != 0 {
        for bit in 0..8 {
            let state = values[slot::SENSOR + bit];
            if state != 0.0 && state != 1.0 {
                return Err((Defect::NotASwitch(state.to_string()), Some((slot::SENSOR + bit) as u8)));
            }
        }
    }
    Ok(())
}

/// The header row's fields as text, byte-order mark taken off.
fn header_fields(line: &[u8]) -> Result<Vec<String>, (Defect, Option<String>)> {
    let line = line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line);
    if line.contains(&0) || std::str::from_utf8(line).is_err() {
        return Err((Defect::NotText, None));
    }
    let (mut at, mut fields) = (0, Vec::new());
    while at <= line.len() {
        let (text, len) = decimal::field(line, at);
        fields.push(String::from_utf8_lossy(&text).into_owned());
        at += len + 1;
    }
    Ok(fields)
}

/// Enough of a field to recognise it by.
fn excerpt(text: &[u8]) -> String {
    let text = String::from_utf8_lossy(text);
    let mut short: String = text.trim().chars().take(40).flat_map(char::escape_debug).collect();
    if text.chars().count() > 40 {
        short.push('…');
    }
    short
}

#[cold]
fn of_line(path: &Path, lines: &Lines<Source>, fault: LineFault) -> RecordingError {
    let (defect, line) = match fault {
        LineFault::TooLong => (Defect::LineTooLong, Some(lines.number() + 1)),
        LineFault::Read(why) => (lines.source.defect(why), (lines.number() > 0).then(|| lines.number() + 1)),
    };
    RecordingError::new(Place { path: path.to_owned(), line, column: None, stroke: None }, defect)
}
