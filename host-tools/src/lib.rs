//! The library behind the `bolster` program.

pub mod figure;
pub mod card;
pub mod output;
pub mod recording;
pub mod spelling;
