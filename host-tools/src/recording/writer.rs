//! Writes recordings row by row, in the form the reader takes.

use std::io::{self, Write};

use super::header::{Header, Unit};
use super::{KN_PER_TONF, Row};

/// How many digits are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Precision {
    /// As many as bring every double back bit for bit.
    Exact,
    /// At most this many decimals; trailing zeros are left out.
    Decimals {
        /// Of `angle_deg` (and `speed_spm`).
        angle: u8,
        /// Of `time_s`.
        time: u8,
        /// Of the gauges.
        load: u8,
    },
}

impl Default for Precision {
    /// 0.001°, 1 µs and 0.001 kN: an order below what encoders, sample clocks and gauges resolve.
    fn default() -> Self {
        Self::Decimals { angle: 3, time: 6, load: 3 }
    }
}

/// Why a row was not written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriterError {
    /// The writer below failed; its message names the file where it knows it.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// A value the header promises is not finite.
    #[error("stroke {stroke}: {column} is {value}, and a recording holds finite numbers only")]
    NotFinite {
        /// Stroke number of the row.
        stroke: u64,
        /// Column name without unit.
        column: &'static str,
        /// The value.
        value: f64,
    },
    /// The angle is outside the circle.
    #[error("stroke {stroke}: angle {angle_deg} is outside 0 to under 360 degrees")]
    AngleRange {
        /// Stroke number of the row.
        stroke: u64,
        /// The angle, degrees.
        angle_deg: f64,
    },
}

/// Writes rows under a header. It buffers one row; give it a buffered or in-memory writer.
pub struct Writer<W: Write> {
    out: W,
    header: Header,
    precision: Precision,
    line: Vec<u8>,
}

impl<W: Write> Writer<W> {
    /// Writes the header row.
    ///
    /// # Errors
    /// [`WriterError::Io`] if the writer below fails.
    pub fn new(mut out: W, header: Header, precision: Precision) -> Result<Self, WriterError> {
        out.write_all(header.names().join(",").as_bytes())?;
        out.write_all(b"\n")?;
        Ok(Self { out, header, precision, line: Vec::with_capacity(256) })
    }

    /// The header.
    #[must_use]
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// Writes one row. Loads are given in kN (counts where the header says so) whatever the file's unit.
    ///
    /// # Errors
    /// [`WriterError`] if a value does not belong in a recording or the writer below fails.
    /// The order of rows is not checked; the reader does that.
    pub fn write(&mut self, row: &Row) -> Result<(), WriterError> {
        let stroke = row.stroke;
        let finite = |value: f64, column: &'static str| {
            if value.is_finite() { Ok(value) } else { Err(WriterError::NotFinite { stroke, column, value }) }
        };
        let (angle, time, load) = match self.precision {
            Precision::Exact => (None, None, None),
            Precision::Decimals { angle, time, load } => (Some(angle), Some(time), Some(load)),
        };
        let line = &mut self.line;
        line.clear();
        write!(line, "{stroke}")?;
        if self.header.has_angle {
            let angle_deg = finite(row.angle_deg, "angle_deg")?;
            if !(0.0..360.0).contains(&angle_deg) {
                return Err(WriterError::AngleRange { stroke, angle_deg });
            }
            line.push(b',');
            // Rounding must not carry an angle over the top of the stroke.
            let highest = angle.map_or(360.0, |decimals| 360.0 - power(decimals).recip());
            number(line, if angle.is_some() { angle_deg.min(highest) } else { angle_deg }, angle)?;
        }
        if self.header.has_time {
            line.push(b',');
            number(line, finite(row.time_s, "time_s")?, time)?;
        }
        for value in row.loads.iter().take(self.header.columns.count()) {
            let value = finite(*value, "load")?;
            line.push(b',');
            number(
                line,
                if self.header.unit == Unit::TonsForce { value / KN_PER_TONF } else { value },
                load,
            )?;
        }
        if self.header.has_speed {
            line.push(b',');
            number(line, finite(row.speed_spm, "speed_spm")?, angle)?;
        }
        if self.header.has_coil {
            write!(line, ",{}", row.coil)?;
        }
        for bit in (0..8).filter(|bit| self.header.sensors & (1 << bit) != 0) {
            line.extend_from_slice(if row.sensors & (1 << bit) == 0 { b",0" } else { b",1" });
        }
        line.push(b'\n');
        self.out.write_all(line)?;
        Ok(())
    }

    /// Flushes and gives the writer below back.
    ///
    /// # Errors
    /// [`WriterError::Io`] if flushing fails.
    pub fn finish(mut self) -> Result<W, WriterError> {
        self.out.flush()?;
        Ok(self.out)
    }
}

fn power(decimals: u8) -> f64 {
    10_f64.powi(i32::from(decimals))
}

/// Appends a number, rounded to `decimals` where given.
fn number(line: &mut Vec<u8>, value: f64, decimals: Option<u8>) -> io::Result<()> {
    // Beyond nine decimals or fifteen digits the scaled value is no longer whole-number exact.
    let scaled = decimals.filter(|decimals| *decimals <= 9).map(|decimals| (value * power(decimals)).round());
    let (Some(scaled), Some(decimals)) = (scaled.filter(|scaled| scaled.abs() < 1e15), decimals) else {
        return write!(line, "{value}");
    };
    if scaled < 0.0 {
        line.push(b'-');
    }
    let unit = 10_u64.pow(u32::from(decimals));
    let size = scaled.abs() as u64;
    digits(line, size / unit, 1);
    let mut part = size % unit;
    if part != 0 {
        line.push(b'.');
        let mut width = usize::from(decimals);
        while part.is_multiple_of(10) {
            part /= 10;
            width -= 1;
        }
        digits(line, part, width);
    }
    Ok(())
}

/// Appends a whole number, padded with zeros to `width`.
fn digits(line: &mut Vec<u8>, mut value: u64, width: usize) {
    let from = line.len();
    while value > 0 || line.len() - from < width {
        line.push(b'0' + (value % 10) as u8);
        value /= 10;
    }
    if let Some(backwards) = line.get_mut(from..) {
        backwards.reverse();
    }
}
