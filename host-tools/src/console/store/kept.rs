//! A stroke's readings, packed for keeping and given back bit for bit.

use std::io::{Read as _, Write as _};

use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;
use rusqlite::{OptionalExtension as _, params};
use serde::{Deserialize, Serialize};

use super::{Store, StoreError};
use crate::recording::Row;

/// Newest passing strokes of a press whose readings are kept; those of noted and stopped strokes and the two on
/// either side stay until room is needed.
pub const KEPT_PASSES: i64 = 100;

/// Form number written before the packed bytes.
const FORM: u8 = 1;
/// Greatest unpacked size that is read back, bytes: a million readings of four columns.
const MOST: u64 = 64 << 20;

/// A stroke's readings and the baseline it was judged by.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct KeptReadings {
    /// Gauge columns.
    pub columns: u8,
    /// Crank angle, degrees; NaN where there is none.
    pub angle_deg: Vec<f64>,
    /// Time, s; NaN where there is none.
    pub time_s: Vec<f64>,
    /// `[reading][column]` in one row, kN.
    pub loads_kn: Vec<f64>,
    /// Sensor inputs, bit 0 is `s1`.
    pub sensors: Vec<u8>,
    /// Edges of the signature's bins; empty where no die judged.
    pub edges: Vec<f64>,
    /// Baseline of the die's good strokes, bin after bin, columns side by side, kN.
    pub baseline_kn: Vec<f32>,
}

impl KeptReadings {
    /// Of a stroke's rows, loads in kN.
    #[must_use]
    pub fn of(rows: &[Row], columns: usize, band: Option<(Vec<f32>, Vec<f64>)>) -> Self {
        let (baseline_kn, edges) = band.unwrap_or_default();
        Self {
            columns: columns as u8,
            angle_deg: rows.iter().map(|row| row.angle_deg).collect(),
            time_s: rows.iter().map(|row| row.time_s).collect(),
            loads_kn: rows.iter().flat_map(|row| row.loads.iter().take(columns).copied()).collect(),
            sensors: rows.iter().map(|row| row.sensors).collect(),
            edges,
            baseline_kn,
        }
    }

    /// The rows again; line numbers are not kept.
    #[must_use]
    pub fn rows(&self, stroke: u64, coil: u64) -> Vec<Row> {
        let columns = usize::from(self.columns).max(1);
        let readings =
            self.loads_kn.chunks(columns).zip(&self.angle_deg).zip(&self.time_s).zip(&self.sensors);
        let row = |(((loads, angle), time), sensors): (((&[f64], &f64), &f64), &u8)| {
            let mut row =
                Row { stroke, coil, angle_deg: *angle, time_s: *time, sensors: *sensors, ..Row::default() };
            for (to, load) in row.loads.iter_mut().zip(loads) {
                *to = *load;
            }
            row
        };
        readings.map(row).collect()
    }

    /// Packed.
    ///
    /// # Errors
    /// [`StoreError::Damaged`]; none of the values causes one.
    pub fn pack(&self) -> Result<Vec<u8>, StoreError> {
        let damaged = || StoreError::Damaged("stroke");
        let plain = postcard::to_allocvec(self).map_err(|_| damaged())?;
        let mut encoder = ZlibEncoder::new(vec![FORM], Compression::fast());
        encoder.write_all(&plain).map_err(|_| damaged())?;
        encoder.finish().map_err(|_| damaged())
    }

    /// Unpacked.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] for bytes that [`Self::pack`] did not make.
    pub fn unpack(bytes: &[u8]) -> Result<Self, StoreError> {
        let damaged = || StoreError::Damaged("stroke");
        let (form, packed) = bytes.split_first().ok_or_else(damaged)?;
        if *form != FORM {
            return Err(damaged());
        }
        let mut plain = Vec::new();
        ZlibDecoder::new(packed).take(MOST).read_to_end(&mut plain).map_err(|_| damaged())?;
        let kept: Self = postcard::from_bytes(&plain).map_err(|_| damaged())?;
        let readings = kept.angle_deg.len();
        let fits = matches!(kept.columns, 1 | 2 | 4)
            && kept.time_s.len() == readings
            && kept.sensors.len() == readings
            && kept.loads_kn.len() == readings * usize::from(kept.columns);
        if fits { Ok(kept) } else { Err(damaged()) }
    }
}

impl Store {
    /// The readings of a stroke; none where they were not kept.
    ///
    /// # Errors
    /// [`StoreError`] from the database, or for damaged bytes.
    pub fn readings(&self, stroke_id: i64) -> Result<Option<KeptReadings>, StoreError> {
        let bytes: Option<Vec<u8>> = self.read(|t| {
            let mut found = t.prepare_cached("SELECT readings FROM kept WHERE stroke_id = ?1")?;
            Ok(found.query_row(params![stroke_id], |row| row.get(0)).optional()?)
        })?;
        bytes.map(|bytes| KeptReadings::unpack(&bytes)).transpose()
    }
}
