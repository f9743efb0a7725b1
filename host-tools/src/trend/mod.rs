//! Wear and drift over many strokes: how fast, since what change, and how many strokes are left.
//!
//! Strokes become [`cells`], cells become independent blocks (a coil each, where coils are marked) of each [`quantity`] with
//! what stock does taken out ([`series`]); [`step`]s are found and named ([`change`]), a robust [`mod@line`] since the last of
//! them says whether there is a trend and when it meets a limit, and [`chart`]s designed from their run lengths ([`arl`])
//! watch for what is no line. [`analysis`] puts it together; [`history`] reads recordings and verdict files;
//! [`limits`] takes from the cards what a trend runs towards.

pub mod analysis;
pub mod arl;
pub mod cells;
pub mod change;
pub mod chart;
pub mod history;
pub mod limits;
pub mod line;
pub mod quantity;
pub mod rank;
pub mod report;
pub mod series;
pub mod step;
#[cfg(test)]
mod testing;
#[cfg(test)]
mod tests;

pub use analysis::{
    Analysis, CONFIDENCE, ChartOutcome, FALSE_ALARM_STROKES, State, StrokesLeft, Trend, Wish,
};
pub use history::{Gatherer, HistoryError};
pub use limits::of_cards;
