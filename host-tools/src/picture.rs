//! Figures of recorded strokes: outcomes, readings and cards in, figure data out.

mod band;
mod cause;
mod frame;
mod stroke;
mod strokes;
mod trend;

use crate::figure::Verdict;

pub use band::{BAND_DEVIATIONS, LearntBand};
pub use cause::{StrokeCauses, diagnosed_signature};
pub use frame::frame_health;
pub use stroke::{StrokeReadings, capacity, signature};
pub use strokes::{load_centres, over_strokes, shares};
pub use trend::trend;

/// What stands under a picture's title.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caption {
    /// For example `Press P3, die bracket, monday.csv`.
    pub subtitle: String,
}

/// The figure's verdict of an outcome's word.
fn verdict(word: &str) -> Verdict {
    Verdict::from_word(word).unwrap_or(Verdict::Trip)
}

/// Upper case, as columns are labelled on a press.
fn label(name: &str) -> String {
    if name == "total" { name.to_owned() } else { name.to_uppercase() }
}
