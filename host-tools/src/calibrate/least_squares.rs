//! Linear least squares by QR, columns scaled to unit length.
//!
//! Normal equations square the condition number and lose half the digits; QR keeps them.

use nalgebra::{DMatrix, DVector};

/// A fitted linear model y = Σ cᵢ·xᵢ.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// The coefficients, one a column of the design.
    pub coefficients: Vec<f64>,
    /// Standard deviation of each, by the residuals.
    pub deviations: Vec<f64>,
    /// y less its fit, row by row.
    pub residuals: Vec<f64>,
    /// √(Σ residual² / (rows − columns)).
    pub residual_deviation: f64,
}

/// Why nothing can be fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// Fewer rows than coefficients and one more.
    #[error("there are too few readings to fit")]
    TooFew,
    /// Columns that say the same.
    #[error("the readings do not tell the unknowns apart (loads or positions do not differ enough)")]
    Singular,
}

/// Fits `y` to the rows of `design`, all of one length.
///
/// # Errors
/// [`FitError`] where the rows do not determine the coefficients.
pub fn fit(design: &[Vec<f64>], y: &[f64]) -> Result<Fit, FitError> {
    let rows = design.len().min(y.len());
    let columns = design.first().map_or(0, Vec::len);
    if columns == 0 || rows <= columns {
        return Err(FitError::TooFew);
    }
    let mut matrix =
        DMatrix::from_fn(rows, columns, |i, j| design.get(i).and_then(|r| r.get(j)).copied().unwrap_or(0.0));
    let scale: Vec<f64> = matrix.column_iter().map(|c| c.norm()).collect();
    if scale.iter().any(|s| *s == 0.0 || !s.is_finite()) {
        return Err(FitError::Singular);
    }
    for (mut column, s) in matrix.column_iter_mut().zip(&scale) {
        column /= *s;
    }
    let wanted = DVector::from_iterator(rows, y.iter().copied().take(rows));
    let qr = matrix.clone().qr();
    let r = qr.r();
    // Unit columns: a diagonal this small means linear dependence within rounding.
    if r.diagonal().iter().any(|d| d.abs() < 1e-10) {
        return Err(FitError::Singular);
    }
    let mut rotated = wanted.clone();
    qr.q_tr_mul(&mut rotated);
    let solved = r.solve_upper_triangular(&rotated.rows(0, columns)).ok_or(FitError::Singular)?;
    let residuals = wanted - &matrix * &solved;
    let variance = residuals.norm_squared() / (rows - columns) as f64;
    let inverse = r.solve_upper_triangular(&DMatrix::identity(columns, columns)).ok_or(FitError::Singular)?;
    // (RᵀR)⁻¹ = R⁻¹R⁻ᵀ: its diagonal is the squared length of each row of R⁻¹.
    let deviations =
        inverse.row_iter().zip(&scale).map(|(row, s)| variance.sqrt() * row.norm() / s).collect();
    Ok(Fit {
        coefficients: solved.iter().zip(&scale).map(|(c, s)| c / s).collect(),
        deviations,
        residuals: residuals.iter().copied().collect(),
        residual_deviation: variance.sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::{FitError, fit};

    /// NIST StRD Norris: y, then x.
    const NORRIS: [(f64, f64); 36] = [
        (0.1, 0.2),
        (338.8, 337.4),
        (118.1, 118.2),
        (888.0, 884.6),
        (9.2, 10.1),
        (228.1, 226.5),
        (668.5, 666.3),
        (998.5, 996.3),
        (449.1, 448.6),
        (778.9, 777.0),
        (559.2, 558.2),
        (0.3, 0.4),
        (0.1, 0.6),
        (778.1, 775.5),
        (668.8, 666.9),
        (339.3, 338.0),
        (448.9, 447.5),
        (10.8, 11.6),
        (557.7, 556.0),
        (228.3, 228.1),
        (998.0, 995.8),
        (888.8, 887.6),
        (119.6, 120.2),
        (0.3, 0.3),
        (0.6, 0.3),
        (557.6, 556.8),
        (339.3, 339.1),
        (888.0, 887.2),
        (998.5, 999.0),
        (778.9, 779.0),
        (10.2, 11.1),
        (117.6, 118.3),
        (228.9, 229.2),
        (668.4, 669.1),
        (449.2, 448.9),
        (0.2, 0.5),
    ];

    #[test]
    fn norris_is_met_to_nine_digits() {
        // source: NIST StRD Norris, certified values (read).
        let design: Vec<Vec<f64>> = NORRIS.iter().map(|(_, x)| vec![1.0, *x]).collect();
        let y: Vec<f64> = NORRIS.iter().map(|(y, _)| *y).collect();
        let line = fit(&design, &y).unwrap();
        let close = |found: f64, certified: f64| {
            assert!((found / certified - 1.0).abs() < 1e-9, "{found} against {certified}");
        };
        close(line.coefficients[0], -0.262_323_073_774_029);
        close(line.coefficients[1], 1.002_116_818_020_45);
        close(line.deviations[0], 0.232_818_234_301_152);
        close(line.deviations[1], 0.429_796_848_199_937e-3);
        close(line.residual_deviation, 0.884_796_396_144_373);
        close(line.residuals.iter().map(|r| r * r).sum(), 26.617_398_529_422_4);
    }

    #[test]
    fn what_cannot_be_told_apart_is_refused() {
        let same = vec![vec![1.0, 5.0]; 8];
        assert_eq!(fit(&same, &[1.0; 8]).unwrap_err(), FitError::Singular);
        assert_eq!(fit(&same[..2], &[1.0; 2]).unwrap_err(), FitError::TooFew);
        assert_eq!(fit(&[], &[]).unwrap_err(), FitError::TooFew);
        let nothing = vec![vec![1.0, 0.0]; 8];
        assert_eq!(fit(&nothing, &[1.0; 8]).unwrap_err(), FitError::Singular);
    }
}
