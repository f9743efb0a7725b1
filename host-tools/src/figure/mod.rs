//! Pictures of strokes, limits and trends: plain data in, an SVG string out, a PNG on request.
//!
//! Every figure is a struct of numbers with a [`Figure::draw`] that paints them and a
//! [`Figure::table`] that hands the same numbers out as CSV, so that a reader can check a
//! picture or redraw it elsewhere. Nothing here computes a verdict: the caller has done that.
//!
//! Data are in kN, mm, degrees and strokes; [`LoadUnit`] chooses what is printed. No system font
//! or graphics library is used: the font is carried by the program and named in the SVG, with
//! `sans-serif` to fall back on where a viewer lacks it.
//!
//! ```
//! use bolster::figure::{Capacity, Figure, LoadUnit, Size, png};
//! let figure = Capacity {
//!     title: "Stroke 12".into(),
//!     subtitle: "invented data".into(),
//!     unit: LoadUnit::Kn,
//!     height_mm: vec![10.0, 5.0, 0.0],
//!     load_kn: vec![0.0, 400.0, 100.0],
//!     curve: "this stroke".into(),
//!     allowed: vec![(0.0, 2000.0), (6.0, 2000.0), (20.0, 1200.0)],
//! };
//! let svg = figure.draw(Size::NORMAL)?;
//! assert!(svg.starts_with("<svg"));
//! assert!(png(&svg)?.starts_with(b"\x89PNG"));
//! # Ok::<(), bolster::figure::FigureError>(())
//! ```

mod calibration;
mod canvas;
mod capacity;
mod centre;
mod check;
mod clip;
mod column;
mod decimate;
mod error;
mod gallery;
mod header;
mod labels;
mod page;
mod panel;
mod plan;
mod plate;
mod raster;
mod review;
mod series;
mod shares;
mod signature;
mod size;
mod spectrum;
mod strokes;
mod table;
mod text;
pub mod theme;
mod ticks;
mod trend;
mod unit;
mod verdict;
mod whatif;

pub use calibration::{Calibration, CalibrationPoint};
pub use capacity::{Capacity, Closest};
pub use centre::{CentrePoint, LoadCentre};
pub use column::Column;
pub use decimate::{Bin, bins, thin};
pub use error::FigureError;
pub use gallery::{Beside, ColumnBeside, Curve, Gallery};
pub use page::for_page;
pub use plan::{Plan, PlanStation};
pub use raster::png;
pub use review::{Review, ReviewLimit};
pub use shares::Shares;
pub use signature::{AxisKind, Envelope, OffendingSpan, Signature, Trace};
pub use size::Size;
pub use spectrum::{Decay, Moved, Spectrum, SpectrumColumn, SpectrumPeak};
pub use strokes::Strokes;
pub use table::{Cell, Table};
pub(crate) use ticks::grouped;
pub use ticks::{Ticks, degree_ticks, ticks};
pub use trend::{StrokesLeft, Trend, TrendPoint};
pub use unit::LoadUnit;
pub use verdict::Verdict;
pub use whatif::WhatIf;

/// What every figure can do.
pub trait Figure {
    /// The picture as SVG text of `size` pixels.
    ///
    /// # Errors
    /// [`FigureError`] for empty data, unequal lengths, numbers that are not finite, or a size
    /// out of range. It never panics on data.
    fn draw(&self, size: Size) -> Result<String, FigureError>;

    /// The numbers behind the picture, in the unit the picture prints.
    fn table(&self) -> Table;
}
