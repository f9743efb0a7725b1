//! What an import did, for people and programs.

use std::path::PathBuf;

use serde::Serialize;

use crate::recording::{Header, Row};

/// What was found in one file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FileReport {
    /// The file.
    pub path: PathBuf,
    /// Rows read, header row and skipped lines not counted.
    pub rows_read: u64,
    /// Rows left out because a mapped column had no number.
    pub rows_missing: u64,
    /// Rows with another number of fields than most.
    pub rows_ragged: u64,
    /// What was taken off each gauge as its zero, in the recording's unit; empty if nothing was.
    pub zero: Vec<f64>,
}

/// One stroke's loads, in the recording's unit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StrokeReport {
    /// Stroke number.
    pub stroke: u64,
    /// Rows in it.
    pub rows: u64,
    /// Highest total load.
    pub peak: f64,
    /// Lowest total load.
    pub lowest: f64,
    /// Highest load of each gauge.
    pub columns_peak: Vec<f64>,
}

/// Spread of the strokes' peak total loads.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Peaks {
    /// Lowest of them.
    pub lowest: f64,
    /// Their mean.
    pub mean: f64,
    /// Highest of them.
    pub highest: f64,
}

/// What an import did.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ImportReport {
    /// The recording.
    pub out: PathBuf,
    /// Unit of the loads: `kn` or `counts`.
    pub unit: &'static str,
    /// Gauge names in channel order.
    pub columns: Vec<&'static str>,
    /// Per file.
    pub files: Vec<FileReport>,
    /// Rows read from all files.
    pub rows_read: u64,
    /// Rows written to the recording.
    pub rows_written: u64,
    /// Rows left out because a mapped column had no number.
    pub rows_missing: u64,
    /// Rows with another number of fields than most of their file.
    pub rows_ragged: u64,
    /// Rows left out because no stroke had started yet.
    pub rows_before_first_stroke: u64,
    /// Strokes written.
    pub strokes: u64,
    /// Spread of the strokes' peaks.
    pub peaks: Peaks,
    /// The first strokes, at most [`LISTED_STROKES`].
    pub first_strokes: Vec<StrokeReport>,
}

/// Strokes an [`ImportReport`] lists singly.
pub const LISTED_STROKES: usize = 1000;

impl ImportReport {
    pub(super) fn new(out: PathBuf, header: &Header) -> Self {
        Self {
            out,
            unit: header.unit.suffix(),
            columns: header.columns.names().to_vec(),
            files: Vec::new(),
            rows_read: 0,
            rows_written: 0,
            rows_missing: 0,
            rows_ragged: 0,
            rows_before_first_stroke: 0,
            strokes: 0,
            peaks: Peaks { lowest: f64::INFINITY, mean: 0.0, highest: f64::NEG_INFINITY },
            first_strokes: Vec::new(),
        }
    }

    /// Takes a finished stroke in.
    pub(super) fn close(&mut self, stroke: StrokeReport) {
        self.strokes += 1;
        self.peaks.lowest = self.peaks.lowest.min(stroke.peak);
        self.peaks.highest = self.peaks.highest.max(stroke.peak);
        self.peaks.mean += (stroke.peak - self.peaks.mean) / self.strokes as f64;
        if self.first_strokes.len() < LISTED_STROKES {
            self.first_strokes.push(stroke);
        }
    }
}

impl StrokeReport {
    pub(super) fn open(stroke: u64, channels: usize) -> Self {
        Self {
            stroke,
            rows: 0,
            peak: f64::NEG_INFINITY,
            lowest: f64::INFINITY,
            columns_peak: vec![f64::NEG_INFINITY; channels],
        }
    }

    pub(super) fn add(&mut self, row: &Row) {
        let total: f64 = row.loads.iter().take(self.columns_peak.len()).sum();
        self.rows += 1;
        self.peak = self.peak.max(total);
        self.lowest = self.lowest.min(total);
        for (peak, load) in self.columns_peak.iter_mut().zip(row.loads) {
            *peak = peak.max(load);
        }
    }
}
