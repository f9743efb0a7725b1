//! What stock and timing may do to a signature: allowed directions and tangents.

use bolster_core::shape::field::hat;
use bolster_core::shape::model::{ALLOWED, TANGENTS};
use nalgebra::{DMatrix, DVector, RowDVector};

use super::factors::Factors;
use super::gather::Gathered;
use crate::card::press::PressCard;

/// How far the crank turns where the slide's contact moves by a height: dθ/dh of each bin, scaled; none without angles.
#[derive(Debug, Clone)]
pub(super) struct HeightSlope(Option<Vec<f64>>);

/// Below this share of its greatest the slide's rate is not divided by: near the bottom a height is any angle.
const LEAST_RATE: f64 = 0.05;

impl HeightSlope {
    /// Without angles.
    #[cfg(test)]
    pub(super) const fn none() -> Self {
        Self(None)
    }

    pub(super) fn new(card: &PressCard, gathered: &Gathered) -> Self {
        let crank = card.spec.check().ok().filter(|_| gathered.by_angle);
        Self(crank.map(|crank| {
            let radius = card.spec.stroke_mm / 2.0;
            let turn = |middle: f64| {
                let rate = (crank.rate_mm(middle.to_radians()) / radius).max(LEAST_RATE);
                if middle < 180.0 { 1.0 / rate } else { -1.0 / rate }
            };
            middles(&gathered.edges).into_iter().map(turn).collect()
        }))
    }
}

/// Middles of bins.
pub(super) fn middles(edges: &[f64]) -> Vec<f64> {
    edges.windows(2).map(|pair| pair.iter().sum::<f64>() / 2.0).collect()
}

/// Slope of a signature over the bins' axis, second-order over uneven bins, one-sided at the ends.
pub(super) fn slope(signature: &RowDVector<f64>, columns: usize, middles: &[f64]) -> RowDVector<f64> {
    let bins = middles.len();
    let mut slopes = RowDVector::zeros(signature.len());
    let middle = |bin: usize| middles.get(bin).copied().unwrap_or(0.0);
    for (n, slope) in slopes.iter_mut().enumerate() {
        let (bin, column) = (n / columns, n % columns);
        let value = |bin: usize| signature.get(bin * columns + column).copied().unwrap_or(0.0);
        let (before, after) = (bin.saturating_sub(1), (bin + 1).min(bins - 1));
        let (back, forth) = (middle(bin) - middle(before), middle(after) - middle(bin));
        *slope = if bins < 2 {
            0.0
        } else if before == bin {
            (value(after) - value(bin)) / forth
        } else if after == bin {
            (value(bin) - value(before)) / back
        } else {
            let whole = back + forth;
            -value(before) * forth / (back * whole)
                + value(bin) * (forth - back) / (back * forth)
                + value(after) * back / (forth * whole)
        };
    }
    slopes
}

/// Orthonormal rows: the slope under each hat, in σ units, without its factor part. Rows lost in noise are left out.
pub(super) fn tangents(
    baseline: &RowDVector<f64>,
    columns: usize,
    middles: &[f64],
    factors: &Factors,
) -> DMatrix<f64> {
    let slopes = slope(baseline, columns, middles).component_div(&factors.sigma);
    let mut rows: Vec<RowDVector<f64>> = Vec::new();
    for window in 0..TANGENTS {
        let mut row = slopes.clone();
        for (n, value) in row.iter_mut().enumerate() {
            *value *= f64::from(hat(window, TANGENTS, n / columns, middles.len()));
        }
        let length = row.norm();
        let (_, mut row) = factors.split(&row);
        for earlier in &rows {
            let along = earlier.dot(&row);
            row -= along * earlier;
        }
        let left = row.norm();
        if left > 0.02 * length && left > 1.0 {
            rows.push(row / left);
        }
    }
    stack(&rows, baseline.len())
}

/// Takes rows out of a residual.
pub(super) fn without(rows: &DMatrix<f64>, residual: RowDVector<f64>) -> RowDVector<f64> {
    let along = rows * residual.transpose();
    residual - along.transpose() * rows
}

/// Stacked coordinates of a residual in σ units: scores over their spread, then what the factors leave.
pub(super) fn stacked(factors: &Factors, scores: &DVector<f64>, left: &RowDVector<f64>) -> RowDVector<f64> {
    let scaled = scores.iter().zip(factors.lambda.iter()).map(|(score, lambda)| score / lambda.sqrt());
    RowDVector::from_iterator(scores.len() + left.len(), scaled.chain(left.iter().copied()))
}

/// Directions in which stock may move a signature, orthonormal in stacked coordinates: up to three learnt coil
/// steps, load scale, and contact height.
pub(super) fn allowed(
    reference: &RowDVector<f64>,
    steps: &[RowDVector<f64>],
    height: &HeightSlope,
    columns: usize,
    middles: &[f64],
    factors: &Factors,
) -> DMatrix<f64> {
    let mut candidates: Vec<RowDVector<f64>> = steps.iter().take(ALLOWED - 2).cloned().collect();
    candidates.push(reference.clone());
    if let HeightSlope(Some(turns)) = height {
        let mut by_height = slope(reference, columns, middles);
        for (n, value) in by_height.iter_mut().enumerate() {
            *value *= turns.get(n / columns).copied().unwrap_or(0.0);
        }
        candidates.push(by_height);
    }
    let mut rows: Vec<RowDVector<f64>> = Vec::new();
    for candidate in candidates {
        let (scores, left) = factors.split(&candidate.component_div(&factors.sigma));
        let mut row = stacked(factors, &scores, &left);
        let length = row.norm();
        for earlier in &rows {
            let along = earlier.dot(&row);
            row -= along * earlier;
        }
        let own = row.norm();
        if own > 0.05 * length && own > 3.0 {
            rows.push(row / own);
        }
    }
    stack(&rows, factors.lambda.len() + reference.len())
}

fn stack(rows: &[RowDVector<f64>], width: usize) -> DMatrix<f64> {
    if rows.is_empty() { DMatrix::zeros(0, width) } else { DMatrix::from_rows(rows) }
}
