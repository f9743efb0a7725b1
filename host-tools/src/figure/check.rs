//! Checks of a figure's data before anything is drawn.

use super::FigureError;

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

/// `values` has `expected` sane numbers, one for each `of`.
pub(super) fn row(what: &str, values: &[f64], expected: usize, of: &'static str) -> Result<(), FigureError> {
    length(what, values.len(), expected, of)?;
    sane(what, values.iter().copied())
}

/// Stroke numbers rise, so that the level axis is one of time.
pub(super) fn strokes(strokes: &[u64]) -> Result<(), FigureError> {
    some("stroke", strokes.len(), 1)?;
    if strokes.is_sorted() {
        return Ok(());
    }
    Err(FigureError::Value { what: "stroke".to_owned(), why: "stroke numbers must not fall" })
}

/// Values are finite, and not so large that differences overflow; nothing a press measures comes
/// near.
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
