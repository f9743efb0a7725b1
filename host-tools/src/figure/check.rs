//! Checks of a figure's data before anything is drawn.

use super::FigureError;

/// Every value of `values` is a finite number.
pub(super) fn finite(what: &str, values: &[f64]) -> Result<(), FigureError> {
    match values.iter().position(|v| !v.is_finite()) {
        Some(index) => Err(FigureError::NotFinite { what: what.to_owned(), index }),
        None => Ok(()),
    }
}

/// `values` has `expected` finite numbers, one for each `of`.
pub(super) fn row(what: &str, values: &[f64], expected: usize, of: &'static str) -> Result<(), FigureError> {
    length(what, values.len(), expected, of)?;
    finite(what, values)
}

/// `found` is `expected`.
pub(super) fn length(what: &str, found: usize, expected: usize, of: &'static str) -> Result<(), FigureError> {
    if found == expected {
        return Ok(());
    }
    Err(FigureError::Length { what: what.to_owned(), found, expected, of })
}

/// There are at least `least` values.
pub(super) fn some(what: &str, found: usize, least: usize) -> Result<(), FigureError> {
    if found >= least {
        return Ok(());
    }
    Err(FigureError::Empty { what: what.to_owned(), least })
}

/// Every pair is a pair of finite numbers.
pub(super) fn pairs(what: &str, pairs: &[(f64, f64)]) -> Result<(), FigureError> {
    match pairs.iter().position(|p| !p.0.is_finite() || !p.1.is_finite()) {
        Some(index) => Err(FigureError::NotFinite { what: what.to_owned(), index }),
        None => Ok(()),
    }
}

/// Values are so large that differences overflow; nothing a press measures comes near.
pub(super) fn sane(what: &str, values: impl IntoIterator<Item = f64>) -> Result<(), FigureError> {
    for (index, v) in values.into_iter().enumerate() {
        if !v.is_finite() {
            return Err(FigureError::NotFinite { what: what.to_owned(), index });
        }
        if v.abs() > 1e15 {
            return Err(FigureError::Value {
                what: what.to_owned(),
                why: "a value over 1e15 cannot be drawn",
            });
        }
    }
    Ok(())
}
