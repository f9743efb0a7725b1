//! Recordings: strokes as comma-separated text (RFC 4180), one row a reading.
//!
//! The header row names the columns, in any order: `stroke` (whole, never falling), `angle_deg`
//! and/or `time_s`, and one column a gauge: `lf_kn,rf_kn,lr_kn,rr_kn`, or `left_kn,right_kn`, or
//! `total_kn`, with `_tonf` (US tons-force) or `_counts` (raw converter counts) in place of `_kn`.
//! Optional: `speed_spm`, `coil` (whole, changes where the stock does) and sensors `s1` to `s8`
//! (0 or 1). Files may be gzip-compressed; they are streamed, so they may be larger than memory.
//!
//! Time may start again with each stroke: it must not fall within one. Lines without a character are skipped.

mod decimal;
mod error;
mod header;
mod lines;
mod order;
mod reader;
mod simulated;
mod source;
mod writer;

#[cfg(test)]
mod malformed;
#[cfg(test)]
mod tests;

pub use error::{Defect, Place, RecordingError};
pub use header::{Header, Unit};
pub(crate) use lines::{LineFault, Lines};
pub(crate) use order::Order;
pub use reader::Reader;
pub use simulated::SimulatedWriter;
pub(crate) use source::Source;
pub use writer::{Precision, Writer, WriterError};

/// How far the crank angle may step back within a stroke, degrees.
///
/// An incremental encoder of 1,000 counts a turn resolves 0.36°, and a belt-driven one chatters by
/// a count or two when the slide is struck by fracture: 1° forgives that. A press that truly turns
/// back passes 1° within a few readings, so nothing real is hidden. Common practice, no source.
pub const ANGLE_JITTER_DEG: f64 = 1.0;

/// Longest line understood, bytes: 17 columns of full-length numbers need under 500.
pub const MAX_LINE: usize = 64 * 1024;

/// US ton-force in kN: 2,000 lbf at 4.4482216152605 N each (exact by definition).
pub const KN_PER_TONF: f64 = 8.896_443_230_521;

/// One reading of all gauges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Line in the file, header row = 1; 0 in rows that came from no file.
    pub line: u64,
    /// Stroke number.
    pub stroke: u64,
    /// Crank angle, degrees from the top of the stroke, 0 to under 360; NaN where the recording has none.
    pub angle_deg: f64,
    /// Time, s; NaN where the recording has none.
    pub time_s: f64,
    /// Strokes a minute; NaN where the recording has none.
    pub speed_spm: f64,
    /// Coil number; 0 where the recording has none.
    pub coil: u64,
    /// Loads in the channel order of [`bolster_core::press::Columns`], kN (tonf is converted), or
    /// counts where the header's unit says so. Channels beyond the press's are 0.
    pub loads: [f64; 4],
    /// Sensor inputs: bit 0 is `s1`, bit 7 is `s8`.
    pub sensors: u8,
}

impl Default for Row {
    fn default() -> Self {
        Self {
            line: 0,
            stroke: 0,
            angle_deg: f64::NAN,
            time_s: f64::NAN,
            speed_spm: f64::NAN,
            coil: 0,
            loads: [0.0; 4],
            sensors: 0,
        }
    }
}
