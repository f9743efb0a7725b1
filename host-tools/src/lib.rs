//! The library behind the `bolster` program.

pub mod figure;
pub mod recording;
pub mod spelling;
