//! Writing what was simulated: the recording, the truth beside it, the press card.
//!
//! Writers take any [`Write`] and one stroke at a time. Numbers have a fixed number of decimals (kN three, degrees
//! two, seconds six), so that the same run gives the same bytes everywhere.

use crate::simulator::SimStroke;
use bolster_core::press::Columns;
use std::io::{self, Write};

/// Which optional columns a recording carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RecordingForm {
    /// `time_s`.
    pub time: bool,
    /// `speed_spm`.
    pub speed: bool,
    /// Converter counts instead of kN.
    pub counts: bool,
    /// How many sensor columns, `s1` up to `s8`.
    pub sensors: u8,
}

/// Writes a recording (CSV), stroke by stroke.
#[derive(Debug)]
pub struct RecordingWriter<W: Write> {
    out: W,
    columns: usize,
    form: RecordingForm,
    line: Vec<u8>,
}

impl<W: Write> RecordingWriter<W> {
    /// Starts a recording: writes the header.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn new(mut out: W, columns: Columns, form: RecordingForm) -> io::Result<Self> {
        let mut header = String::from("stroke,angle_deg");
        for name in columns.names() {
            header.push(',');
            header.push_str(name);
            header.push_str(if form.counts { "_counts" } else { "_kn" });
        }
        header.push_str(",coil");
        if form.time {
            header.push_str(",time_s");
        }
        if form.speed {
            header.push_str(",speed_spm");
        }
        for i in 1..=form.sensors.min(8) {
            header.push_str(&format!(",s{i}"));
        }
        header.push('\n');
        out.write_all(header.as_bytes())?;
        Ok(Self { out, columns: columns.count(), form, line: Vec::with_capacity(128) })
    }

    /// Adds a stroke.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn write(&mut self, stroke: &SimStroke) -> io::Result<()> {
        for sample in &stroke.samples {
            self.line.clear();
            integer(&mut self.line, i64::from(stroke.number));
            self.line.push(b',');
            fixed::<2>(&mut self.line, sample.angle_deg);
            for (kn, counts) in sample.kn.iter().zip(sample.counts).take(self.columns) {
                self.line.push(b',');
                if self.form.counts {
                    integer(&mut self.line, i64::from(counts));
                } else {
                    fixed::<3>(&mut self.line, *kn);
                }
            }
            self.line.push(b',');
            integer(&mut self.line, i64::from(stroke.coil));
            if self.form.time {
                self.line.push(b',');
                fixed::<6>(&mut self.line, sample.time_s);
            }
            if self.form.speed {
                self.line.push(b',');
                fixed::<2>(&mut self.line, stroke.speed_spm);
            }
            for i in 0..self.form.sensors.min(8) {
                self.line.push(b',');
                self.line.push(b'0' + (sample.sensors >> i & 1));
            }
            self.line.push(b'\n');
            self.out.write_all(&self.line)?;
        }
        Ok(())
    }

    /// Flushes and gives the writer back.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn finish(mut self) -> io::Result<W> {
        self.out.flush()?;
        Ok(self.out)
    }
}

/// Writes the truth (CSV), stroke by stroke.
#[derive(Debug)]
pub struct TruthWriter<W: Write> {
    out: W,
}

impl<W: Write> TruthWriter<W> {
    /// Starts: writes the header.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn new(mut out: W) -> io::Result<Self> {
        out.write_all(b"stroke,kind,severity,coil,station,column,peak_kn,reverse_kn,work_kj\n")?;
        Ok(Self { out })
    }

    /// Adds a stroke.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn write(&mut self, stroke: &SimStroke) -> io::Result<()> {
        let truth = &stroke.truth;
        let station = truth.station.map(|s| s.to_string()).unwrap_or_default();
        writeln!(
            self.out,
            "{},{},{:.3},{},{},{},{:.3},{:.3},{:.5}",
            stroke.number,
            truth.kind.name(),
            truth.severity,
            stroke.coil,
            station,
            truth.column.unwrap_or_default(),
            truth.peak_kn,
            truth.reverse_kn,
            truth.work_kj
        )
    }

    /// Flushes and gives the writer back.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn finish(mut self) -> io::Result<W> {
        self.out.flush()?;
        Ok(self.out)
    }
}

fn integer(line: &mut Vec<u8>, value: i64) {
    digits::<0>(line, value < 0, value.unsigned_abs());
}

/// `value` with `DECIMALS` decimals, halves away from zero; several times faster than formatting.
fn fixed<const DECIMALS: u32>(line: &mut Vec<u8>, value: f64) {
    let scaled = f64::round(value * const { 10_u32.pow(DECIMALS) as f64 }) as i64;
    digits::<DECIMALS>(line, scaled < 0, scaled.unsigned_abs());
}

/// `rest` with its last `DECIMALS` digits after the point.
#[inline]
fn digits<const DECIMALS: u32>(line: &mut Vec<u8>, negative: bool, mut rest: u64) {
    // Twenty digits, a sign and a point at most, filled from the right.
    let mut text = [b'0'; 24];
    let mut start = text.len();
    let mut written = 0;
    for place in text.iter_mut().rev() {
        start -= 1;
        if DECIMALS > 0 && written == DECIMALS {
            *place = b'.';
            written += 1;
            continue;
        }
        *place = b'0' + (rest % 10) as u8;
        rest /= 10;
        written += 1;
        let whole = DECIMALS == 0 || written > DECIMALS + 1;
        if rest == 0 && whole {
            break;
        }
    }
    if negative {
        line.push(b'-');
    }
    line.extend_from_slice(text.get(start..).unwrap_or_default());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_written_as_formatting_would() {
        let mut seen = 0;
        for i in -20_000..20_000 {
            // Sevenths never fall on a half of the last decimal.
            let value = f64::from(i) / 7.0 * 1.37;
            let mut check = |line: Vec<u8>, decimals: usize| {
                let expected = format!("{value:.decimals$}");
                let zero = expected.trim_matches(['-', '0', '.']).is_empty();
                let expected = if zero { expected.trim_start_matches('-') } else { &expected };
                assert_eq!(String::from_utf8(line).unwrap(), expected);
                seen += 1;
            };
            let mut line = Vec::new();
            fixed::<2>(&mut line, value);
            check(line, 2);
            let mut line = Vec::new();
            fixed::<3>(&mut line, value);
            check(line, 3);
            let mut line = Vec::new();
            fixed::<6>(&mut line, value);
            check(line, 6);
        }
        assert_eq!(seen, 120_000);
    }
}
