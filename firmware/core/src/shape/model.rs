//! What learning found about a die's good strokes, as the judge needs it.
//!
//! Residuals are taken in units of each bin's own scatter (σ). In that space stroke-to-stroke scatter is a few
//! factors (rows of `factors`, orthonormal, with standard deviations `spread`) and white noise of one; what a change of
//! stock does lies along the allowed directions (orthonormal over the stacked vector of scaled factor scores and
//! the residual left by the factors); and a shift of timing lies along the tangents.

use super::field::Field;
use crate::signature::Layout;

/// Factors of stroke scatter a model may have.
pub const FACTORS: usize = 12;
/// Allowed directions a model may have.
pub const ALLOWED: usize = 5;
/// Tangents: the signature's slope under each of so many overlapping hats along the stroke.
pub const TANGENTS: usize = 4;
/// Windows along the stroke in which columns are compared.
pub const WINDOWS: usize = 6;
/// Statistics a stroke is judged by; see [`Statistic`].
pub const STATISTICS: usize = 7;

/// The statistics, by their place in every array of [`STATISTICS`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(usize)]
pub enum Statistic {
    /// Movement along the allowed directions.
    Allowed = 0,
    /// Residual energy outside factors and tangents (Q).
    Residual = 1,
    /// Greatest single residual.
    Greatest = 2,
    /// Greatest response matched to one station at one column, one column's gain, one station at all columns.
    Matched = 3,
    /// Whitened size of all window responses.
    Windows = 4,
    /// Factor scores without the allowed part.
    Scores = 5,
    /// All factor scores (T²).
    AllScores = 6,
}

impl Statistic {
    /// In the order of their numbers.
    pub const ALL: [Self; STATISTICS] = [
        Self::Allowed,
        Self::Residual,
        Self::Greatest,
        Self::Matched,
        Self::Windows,
        Self::Scores,
        Self::AllScores,
    ];
}

/// One allowed direction.
#[derive(Debug, Clone, PartialEq)]
pub struct Direction<const N: usize, const BINS: usize> {
    /// Its part on the scaled factor scores.
    pub scores: [f32; FACTORS],
    /// Its part on the residual.
    pub field: Field<N, BINS>,
}

/// A learned model. Unused factors, directions and bins are zero.
#[derive(Debug, Clone, PartialEq)]
pub struct ShapeModel<const N: usize, const BINS: usize> {
    /// How bins lie on the stroke.
    pub layout: Layout<BINS>,
    /// Reference signature, kN; it never moves.
    pub reference: Field<N, BINS>,
    /// 1/σ of each bin, 1/kN.
    pub per_sigma: Field<N, BINS>,
    /// Factors of stroke scatter, orthonormal in σ units.
    pub factors: [Field<N, BINS>; FACTORS],
    /// 1 / standard deviation of the scores; 0 for unused factors.
    pub per_spread: [f32; FACTORS],
    /// Allowed directions.
    pub allowed: [Direction<N, BINS>; ALLOWED],
    /// Tangents of the reference, orthonormal, without their factor part.
    pub tangents: [Field<N, BINS>; TANGENTS],
    /// `[column][window]`: 1 / scatter of the window responses.
    pub per_window: [[f32; WINDOWS]; N],
    /// `[column]`: 1 / scatter of a column's summed responses.
    pub per_gain: [f32; N],
    /// `[window]`: 1 / scatter of all columns' summed responses.
    pub per_station: [f32; WINDOWS],
    /// `[column][window][column][window]`: whitens the scaled window responses (lower triangular).
    pub whitener: [[[[f32; WINDOWS]; N]; WINDOWS]; N],
    /// Limits of the statistics where coil changes are marked, and where they are not.
    pub limits: [[f32; STATISTICS]; 2],
    /// Medians of the statistics over the learning strokes.
    pub medians: [f32; STATISTICS],
    /// Limit of the allowed movement before the stock's own range is added.
    pub allowed_limit: f32,
    /// Stock's range along the allowed directions, as a multiple of that limit.
    pub stock_range: f32,
    /// How much wider a new stock may lie outside the allowed directions: 1 where several coils were learnt.
    pub stock_widening: f32,
    /// Size of the reference in σ units.
    pub reference_size: f32,
    /// Frames of one repeated reading beyond which a gauge is stuck.
    pub repeat_limit: u32,
}
