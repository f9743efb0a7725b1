//! Recordings of simulated strokes.

use std::io::Write;

use bolster_core::press::Columns;
use bolster_sim::simulator::{SimSample, SimStroke};

use super::{Header, Precision, Row, Unit, Writer, WriterError};

impl Row {
    /// A simulated reading; loads are the converter's counts where the unit says so, else kN.
    #[must_use]
    pub fn simulated(stroke: &SimStroke, sample: &SimSample, unit: Unit) -> Self {
        let loads = if unit == Unit::Counts { sample.counts.map(f64::from) } else { sample.kn };
        Self {
            line: 0,
            stroke: u64::from(stroke.number),
            angle_deg: sample.angle_deg,
            time_s: sample.time_s,
            speed_spm: stroke.speed_spm,
            coil: u64::from(stroke.coil),
            loads,
            sensors: sample.sensors,
        }
    }
}

/// Writes simulated strokes: angles to 0.01° (an encoder's step is twice that), seconds to six decimals, kN to three.
pub struct SimulatedWriter<W: Write>(Writer<W>);

impl SimulatedWriter<std::io::Empty> {
    /// The usual header: strokes over angle in kN, with coils.
    #[must_use]
    pub const fn header(columns: Columns) -> Header {
        Header { has_coil: true, ..Header::over_angle(columns) }
    }

    /// The header's sensors for the inputs up to this one.
    #[must_use]
    pub const fn sensors(inputs: u8) -> u8 {
        if inputs >= 8 { u8::MAX } else { (1 << inputs) - 1 }
    }
}

impl<W: Write> SimulatedWriter<W> {
    /// Starts a recording: writes the header row.
    ///
    /// # Errors
    /// As [`Writer::new`].
    pub fn new(out: W, header: Header) -> Result<Self, WriterError> {
        Writer::new(out, header, Precision::Decimals { angle: 2, time: 6, load: 3 }).map(Self)
    }

    /// Adds a stroke.
    ///
    /// # Errors
    /// As [`Writer::write`].
    pub fn write(&mut self, stroke: &SimStroke) -> Result<(), WriterError> {
        let unit = self.0.header().unit;
        stroke.samples.iter().try_for_each(|sample| self.0.write(&Row::simulated(stroke, sample, unit)))
    }

    /// Flushes and gives the writer below back.
    ///
    /// # Errors
    /// As [`Writer::finish`].
    pub fn finish(self) -> Result<W, WriterError> {
        self.0.finish()
    }
}
