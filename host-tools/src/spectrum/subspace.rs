//! The oscillations that records of free vibration share, without a first guess: shift invariance of the signal subspace.
//!
//! Pieces of the records, one after the other, are the columns of a Hankel matrix H. For a sum of p damped
//! exponentials H has rank p, noise adds the same to all directions, and the p strongest eigenvectors U of H·Hᵀ
//! satisfy U₋·Ψ = U₊ (U without its last and without its first row): the eigenvalues of Ψ are the poles e^((−σ+iω)Δt)
//! (matrix pencil / ESPRIT; Hua and Sarkar 1990, Roy and Kailath 1989, from memory). Records add up in H·Hᵀ, so that
//! many strokes with amplitudes and phases of their own give one answer. A drifting level gives poles near 1.

use nalgebra::{DMatrix, DVector, Schur, SymmetricEigen};

/// Longest piece, samples: eigenvectors of a matrix of this size take some ten milliseconds.
const LONGEST_PIECE: usize = 96;

/// A pole as rates a sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pole {
    /// Radians a sample, 0 to π.
    pub(super) turn: f64,
    /// Rate of decay a sample; negative where it grows.
    pub(super) decay: f64,
}

/// Oscillating poles that `records` share, fastest turning last, from a subspace of `rank` directions.
///
/// Empty where the records are too short for that, hold nothing, or an eigenvalue does not converge.
pub(super) fn poles(records: &[&[f64]], rank: usize) -> Vec<Pole> {
    let shortest = records.iter().map(|record| record.len()).min().unwrap_or(0);
    let piece = (shortest / 3).min(LONGEST_PIECE);
    if piece < rank + 2 {
        return Vec::new();
    }
    let mut square = DMatrix::<f64>::zeros(piece, piece);
    for record in records {
        gather(&mut square, record);
    }
    let all = square.trace();
    if !(all.is_finite() && all > 0.0) {
        return Vec::new();
    }
    square /= all;
    let Some(eigen) = SymmetricEigen::try_new(square, f64::EPSILON, 1000) else { return Vec::new() };
    let mut order: Vec<usize> = (0..piece).collect();
    order.sort_by(|a, b| eigen.eigenvalues[*b].total_cmp(&eigen.eigenvalues[*a]));
    order.truncate(rank);
    let subspace = eigen.eigenvectors.select_columns(&order);
    let (upper, lower) = (subspace.rows(0, piece - 1), subspace.rows(1, piece - 1));
    // U₋ᵀU₋ = I − u·uᵀ with u the row left out: well conditioned unless that row holds a direction alone.
    let Some(shift) = (upper.transpose() * upper).lu().solve(&(upper.transpose() * lower)) else {
        return Vec::new();
    };
    let Some(schur) = Schur::try_new(shift, f64::EPSILON, 1000) else { return Vec::new() };
    let mut found: Vec<Pole> = schur
        .complex_eigenvalues()
        .iter()
        .map(|z| Pole { turn: z.arg(), decay: -z.norm().ln() })
        // One of each conjugate pair; what lies on the real axis does not turn.
        .filter(|pole| pole.turn > 1e-9 && pole.turn < std::f64::consts::PI - 1e-9 && pole.decay.is_finite())
        .collect();
    found.sort_by(|a, b| a.turn.total_cmp(&b.turn));
    found
}

/// Adds H·Hᵀ of one record, column after column along the diagonals: each entry is the one above left of it, plus
/// the product that enters and less the one that leaves.
fn gather(square: &mut DMatrix<f64>, record: &[f64]) {
    let piece = square.nrows();
    let pieces = record.len() + 1 - piece;
    let y = DVector::from_column_slice(record);
    for lag in 0..piece {
        let mut sum = y.rows(0, pieces).dot(&y.rows(lag, pieces));
        for row in 0..piece - lag {
            square[(row, row + lag)] += sum;
            if lag > 0 {
                square[(row + lag, row)] += sum;
            }
            if row + lag + 1 < piece {
                sum += y[row + pieces] * y[row + lag + pieces] - y[row] * y[row + lag];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_decays_on_a_drifting_level_are_told_exactly_without_noise() {
        let wanted = [Pole { turn: 0.31, decay: 0.012 }, Pole { turn: 0.52, decay: 0.05 }];
        let record = |phase: f64| -> Vec<f64> {
            (0..300)
                .map(|n| {
                    let t = f64::from(n);
                    let ring = |pole: &Pole, size: f64, phase: f64| {
                        size * (-pole.decay * t).exp() * (pole.turn * t + phase).cos()
                    };
                    ring(&wanted[0], 3.0, phase) + ring(&wanted[1], 1.0, 2.0 * phase) + 2.0 - 0.003 * t
                })
                .collect()
        };
        let records = [record(0.0), record(1.1), record(2.9)];
        let records: Vec<&[f64]> = records.iter().map(Vec::as_slice).collect();
        // Two pairs, and two poles for the level and its drift.
        let found = poles(&records, 6);
        let found: Vec<&Pole> = found.iter().filter(|pole| pole.turn > 0.1).collect();
        assert_eq!(found.len(), 2, "{found:?}");
        for (found, wanted) in found.iter().zip(&wanted) {
            // Squares of the data lose half of the sixteen digits.
            assert!((found.turn - wanted.turn).abs() < 1e-6, "{found:?}");
            assert!((found.decay - wanted.decay).abs() < 1e-6, "{found:?}");
        }
    }

    #[test]
    fn records_that_hold_nothing_or_too_little_give_no_poles() {
        assert!(poles(&[], 4).is_empty());
        assert!(poles(&[&[0.0; 200]], 4).is_empty());
        assert!(poles(&[&[1.0, -1.0, 1.0, -1.0, 1.0]], 4).is_empty());
        assert!(poles(&[&[f64::NAN; 200]], 4).is_empty());
    }
}
