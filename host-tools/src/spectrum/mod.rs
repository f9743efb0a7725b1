//! Frame health from recorded strokes: how the frame rings once the die has let go, zeros, shares and fatigue.

mod decrement;
mod examine;
mod fourier;
mod gather;
mod mode;
mod refine;
mod shift;
mod span;
mod study;
mod subspace;
mod tail;
#[cfg(test)]
mod tests;
mod text;

pub use examine::{FrameHealth, FreePart, Level, PartHealth, RecordingHealth, Ringing, Wanted, examine};
pub use mode::{Mode, damping_of_decrement};
pub use shift::{Quantity, Shift};
pub use study::{Found, NotEnough};

/// Median of values in any order; 0 for none.
fn median(values: &[f64]) -> f64 {
    crate::trend::rank::median(values).unwrap_or(0.0)
}

/// Mean; 0 for none.
fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
    if count > 0.0 { sum / count } else { 0.0 }
}
