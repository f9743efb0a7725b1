//! The library behind the `bolster` program.

pub mod figure;
pub mod calibrate;
pub mod card;
pub mod cmd;
pub mod session;
pub mod judge;
pub mod learn;
pub mod import;
pub mod material;
pub mod output;
pub mod picture;
pub mod plan;
pub mod recording;
pub mod spelling;
