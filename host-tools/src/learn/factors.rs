//! Stroke-to-stroke scatter as a few factors and white noise of each bin.
//!
//! Differences of neighbouring strokes, over √2, scatter as strokes do about their slow course, whatever the
//! coil. Their covariance is modelled as K factors plus a variance of each bin; K is the number of eigenvalues above
//! what pure noise would reach (Marchenko–Pastur edge (1 + √(p/n))², with half as much again for safety).

use bolster_core::shape::model::FACTORS;
use nalgebra::{DMatrix, DVector, RowDVector, SymmetricEigen};

use super::median;

/// Scatter of strokes.
#[derive(Debug, Clone)]
pub(super) struct Factors {
    /// Standard deviation of each value left by the factors, kN.
    pub sigma: RowDVector<f64>,
    /// One row a factor, orthonormal, in σ units.
    pub rows: DMatrix<f64>,
    /// Variance of each factor's score.
    pub lambda: DVector<f64>,
}

/// Rounds of fitting σ and factors in turn.
const ROUNDS: usize = 4;
/// Factor on the noise edge.
const EDGE: f64 = 1.5;

impl Factors {
    /// Of differences (already over √2), one row each; `floor` bounds σ from below, kN.
    pub(super) fn of(differences: &DMatrix<f64>, columns: usize, floor: f64, most: usize) -> Self {
        let (n, p) = (differences.nrows(), differences.ncols());
        let most = most.min(FACTORS).min((n / 8).max(1));
        let spread: Vec<f64> = differences.column_iter().map(|column| column.variance().sqrt()).collect();
        let mut sigma = RowDVector::from_element(p, median(&mut spread.clone()).max(floor));
        let mut count = 3.min(most);
        let edge = EDGE * (1.0 + (p as f64 / n as f64).sqrt()).powi(2);
        for round in 0..ROUNDS {
            let scaled = scaled(differences, &sigma);
            let (rows, lambda) = leading(&scaled, most);
            if round > 0 {
                count = lambda.iter().filter(|value| **value > edge).count();
            }
            count = count.clamp(1, most.min(rows.nrows()).max(1));
            let rows = rows.rows(0, count);
            let left = &scaled - (&scaled * rows.transpose()) * rows;
            let free = (n.saturating_sub(count)).max(1) as f64;
            let mut own = sigma.clone();
            for (own, column) in own.iter_mut().zip(left.column_iter()) {
                *own *= (column.norm_squared() / free).sqrt();
            }
            sigma = bounded(&own, columns, floor);
        }
        let (rows, lambda) = leading(&scaled(differences, &sigma), most);
        let count = count.min(rows.nrows());
        Self { sigma, rows: rows.rows(0, count).into_owned(), lambda: lambda.rows(0, count).into_owned() }
    }

    /// Scores of a residual given in σ units, and what the factors leave of it.
    pub(super) fn split(&self, residual: &RowDVector<f64>) -> (DVector<f64>, RowDVector<f64>) {
        let scores = &self.rows * residual.transpose();
        let left = residual - scores.transpose() * &self.rows;
        (scores, left)
    }
}

/// Each σ at least half its column's median, and the floor: a bin that happened to be quiet is not that quiet.
fn bounded(sigma: &RowDVector<f64>, columns: usize, floor: f64) -> RowDVector<f64> {
    let least: Vec<f64> = (0..columns)
        .map(|column| {
            0.5 * median(&mut sigma.iter().skip(column).step_by(columns).copied().collect::<Vec<_>>())
        })
        .collect();
    let bound =
        |(n, sigma): (usize, &f64)| sigma.max(least.get(n % columns).copied().unwrap_or(0.0)).max(floor);
    RowDVector::from_iterator(sigma.len(), sigma.iter().enumerate().map(bound))
}

fn scaled(differences: &DMatrix<f64>, sigma: &RowDVector<f64>) -> DMatrix<f64> {
    let mut scaled = differences.clone();
    for (mut column, sigma) in scaled.column_iter_mut().zip(sigma.iter()) {
        column /= *sigma;
    }
    scaled
}

/// Leading right singular vectors, as rows, and squared singular values over n, by the smaller Gram matrix.
fn leading(matrix: &DMatrix<f64>, most: usize) -> (DMatrix<f64>, DVector<f64>) {
    let (n, p) = (matrix.nrows(), matrix.ncols());
    let wide = n < p;
    let gram = if wide { matrix * matrix.transpose() } else { matrix.tr_mul(matrix) };
    let eigen = SymmetricEigen::new(gram);
    let mut order: Vec<usize> = (0..eigen.eigenvalues.len()).collect();
    let value = |n: &usize| eigen.eigenvalues.get(*n).copied().unwrap_or(0.0);
    order.sort_by(|a, b| value(b).total_cmp(&value(a)));
    // A vanishing eigenvalue has no direction of its own.
    let greatest = order.first().map_or(0.0, value);
    order.retain(|n| value(n) > 1e-12 * greatest && value(n) > 0.0);
    order.truncate(most);
    let mut rows = DMatrix::zeros(order.len(), p);
    for (mut row, n) in rows.row_iter_mut().zip(&order) {
        let vector = eigen.eigenvectors.column(*n);
        if wide {
            row.copy_from(&(matrix.tr_mul(&vector) / value(n).sqrt()).transpose());
        } else {
            row.copy_from(&vector.transpose());
        }
    }
    let lambda = DVector::from_iterator(order.len(), order.iter().map(|k| value(k) / n as f64));
    (rows, lambda)
}
