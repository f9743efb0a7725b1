//! A named row of values, one a stroke.

/// One column's (or the total's) values over strokes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Column {
    /// The column's name: LF, RF, LR, RR, L, R or total.
    pub name: String,
    /// One value a stroke; the figure that holds it says the unit.
    pub values: Vec<f64>,
}
