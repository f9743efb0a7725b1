//! Carries rows from foreign files through units, zero and cut into a recording.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::cut::{Cutter, Reading};
use super::error::ImportError;
use super::mapping::Target;
use super::plan::{Checked, Cut, ImportPlan};
use super::report::{FileReport, ImportReport, StrokeReport};
use super::table::{Next, Table};
use crate::recording::{Defect, Order, Place, Precision, RecordingError, Row, Writer};

/// Rows between two calls of the progress function.
const PROGRESS_ROWS: u64 = 65_536;

/// The largest whole number a double holds without a gap below it.
const MAX_WHOLE: f64 = 9_007_199_254_740_992.0;

/// An import under way.
pub(super) struct Importer<'p, W: Write> {
    plan: &'p ImportPlan,
    checked: Checked,
    writer: Writer<W>,
    cutter: Cutter,
    order: Order,
    open: Option<StrokeReport>,
    /// Samples before this file, for a recording that goes on from file to file.
    samples: u64,
    report: ImportReport,
}

impl<'p, W: Write> Importer<'p, W> {
    pub(super) fn new(
        plan: &'p ImportPlan,
        checked: Checked,
        out: W,
        path: PathBuf,
    ) -> Result<Self, ImportError> {
        Ok(Self {
            plan,
            writer: Writer::new(out, checked.header, Precision::Exact)?,
            cutter: Cutter::new(plan, &checked),
            order: Order::default(),
            open: None,
            samples: 0,
            report: ImportReport::new(path, &checked.header),
            checked,
        })
    }

    /// Takes one file in; `progress` gets the bytes read and the file's size now and then.
    pub(super) fn file(
        &mut self,
        path: &Path,
        progress: &mut dyn FnMut(u64, u64),
    ) -> Result<(), ImportError> {
        let mut table = Table::open(path, self.plan)?;
        let mut facts = FileReport {
            path: path.to_owned(),
            rows_read: 0,
            rows_missing: 0,
            rows_ragged: 0,
            zero: Vec::new(),
        };
        if self.checked.cut == Cut::File {
            self.samples = 0;
        }
        self.cutter.start_file();
        let mut zero = [0.0; 4];
        let mut quiet: Vec<Reading> = Vec::new();
        let mut zeroing = self.plan.zero_rows > 0;
        let mut values = Vec::with_capacity(self.plan.map.len());
        loop {
            match table.next(&mut values)? {
                Next::End => break,
                Next::Missing => facts.rows_missing += 1,
                Next::Row => {
                    let mut reading = self.reading(&values, &table)?;
                    if zeroing {
                        quiet.push(reading);
                        if quiet.len() as u64 == self.plan.zero_rows {
                            zeroing = false;
                            zero = mean(&quiet);
                            for mut held in quiet.drain(..) {
                                subtract(&mut held, &zero);
                                self.take(held, path)?;
                            }
                        }
                    } else {
                        subtract(&mut reading, &zero);
                        self.take(reading, path)?;
                    }
                }
            }
            facts.rows_read += 1;
            self.samples += 1;
            if facts.rows_read.is_multiple_of(PROGRESS_ROWS)
                && let Some((done, total)) = table.progress()
            {
                progress(done, total);
            }
        }
        if zeroing {
            let why = format!(
                "has {} rows with readings, fewer than the {} for the zero",
                quiet.len(),
                self.plan.zero_rows
            );
            return Err(ImportError::of_file(path, why));
        }
        while let Some(row) = self.cutter.drain() {
            self.write(&row, path)?;
        }
        if self.plan.zero_rows > 0 {
            facts.zero = zero.iter().take(self.checked.header.columns.count()).copied().collect();
        }
        facts.rows_ragged = table.ragged();
        self.report.rows_read += facts.rows_read;
        self.report.rows_missing += facts.rows_missing;
        self.report.rows_ragged += facts.rows_ragged;
        self.report.files.push(facts);
        if let Some((done, total)) = table.progress() {
            progress(done, total);
        }
        Ok(())
    }

    /// The mapped numbers in the recording's units.
    fn reading(&self, values: &[f64], table: &Table<'_>) -> Result<Reading, ImportError> {
        let mut row = Row { line: table.line(), ..Row::default() };
        let mut pulse = 0.0;
        for (index, (mapping, value)) in self.plan.map.iter().zip(values).enumerate() {
            let value = mapping.apply(*value);
            let whole = || {
                if (0.0..=MAX_WHOLE).contains(&value) && value.fract() == 0.0 {
                    return Ok(value as u64);
                }
                let why = format!("`{value}` is not a whole number from 0 up, as `{}` needs", mapping.target);
                Err(ImportError::Row { place: table.place(index), why })
            };
            match mapping.target {
                Target::Stroke => row.stroke = whole()?,
                Target::Coil => row.coil = whole()?,
                Target::Angle => {
                    let angle_deg = value.rem_euclid(360.0);
                    // The remainder of a tiny negative angle rounds up to the whole turn.
                    row.angle_deg = if angle_deg < 360.0 { angle_deg } else { 0.0 };
                }
                Target::Time => row.time_s = value,
                Target::Speed => row.speed_spm = value,
                Target::Index => pulse = value,
                Target::Sensor(bit) => row.sensors |= u8::from(value > 0.5) << bit,
                Target::Load(_, channel) => {
                    if let Some(load) = row.loads.get_mut(channel) {
                        *load = value;
                    }
                }
            }
        }
        if let Some(rate_hz) = self.plan.rate_hz {
            row.time_s = self.samples as f64 / rate_hz;
        }
        Ok(Reading { row, pulse })
    }

    fn take(&mut self, reading: Reading, path: &Path) -> Result<(), ImportError> {
        match self.cutter.push(reading) {
            Some(row) => self.write(&row, path),
            None => Ok(()),
        }
    }

    /// Writes a row, if it is in a stroke and in order.
    fn write(&mut self, row: &Row, path: &Path) -> Result<(), ImportError> {
        if row.stroke == 0 && self.checked.cut != Cut::Column {
            self.report.rows_before_first_stroke += 1;
            return Ok(());
        }
        self.in_order(row).map_err(|(defect, column)| {
            let place = Place {
                path: path.to_owned(),
                line: Some(row.line),
                column: Some(column.to_owned()),
                stroke: Some(row.stroke),
            };
            RecordingError::new(place, defect)
        })?;
        let channels = self.checked.header.columns.count();
        if self.open.as_ref().is_none_or(|open| open.stroke != row.stroke)
            && let Some(done) = self.open.replace(StrokeReport::open(row.stroke, channels))
        {
            self.report.close(done);
        }
        if let Some(open) = &mut self.open {
            open.add(row);
        }
        self.writer.write(row)?;
        self.report.rows_written += 1;
        Ok(())
    }

    /// What the reader would refuse is refused here, where the foreign line is still known.
    fn in_order(&mut self, row: &Row) -> Result<(), (Defect, &'static str)> {
        self.order.stroke(row.stroke).map_err(|defect| (defect, "stroke"))?;
        if self.checked.header.has_angle {
            self.order.angle(row.angle_deg).map_err(|defect| (defect, "angle"))?;
        }
        if self.checked.header.has_time {
            self.order.time(row.time_s).map_err(|defect| (defect, "time"))?;
        }
        Ok(())
    }

    /// Ends the import; the writer below is given back.
    pub(super) fn finish(mut self) -> Result<(W, ImportReport), ImportError> {
        if let Some(last) = self.open.take() {
            self.report.close(last);
        }
        if self.report.rows_written == 0 {
            let why = match self.checked.cut {
                Cut::Level => "no stroke found: the load never rises over the level; give a lower --level",
                Cut::Index => {
                    "no stroke found: the index pulse never rises over its level; give another --index-level"
                }
                _ => "no row with all mapped readings was found; check the mapped columns",
            };
            return Err(ImportError::Plan(why.to_owned()));
        }
        Ok((self.writer.finish()?, self.report))
    }
}

/// Mean load of each channel.
fn mean(readings: &[Reading]) -> [f64; 4] {
    let mut sum = [0.0; 4];
    for reading in readings {
        for (sum, load) in sum.iter_mut().zip(reading.row.loads) {
            *sum += load;
        }
    }
    sum.map(|sum| sum / readings.len() as f64)
}

fn subtract(reading: &mut Reading, zero: &[f64; 4]) {
    for (load, zero) in reading.row.loads.iter_mut().zip(zero) {
        *load -= zero;
    }
}
