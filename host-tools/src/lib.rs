//! The library behind the `bolster` program.

pub mod calibrate;
pub mod card;
pub mod cmd;
#[cfg(feature = "console")]
pub mod console;
pub mod controller;
pub mod diagnose;
pub mod feed;
pub mod figure;
pub mod import;
pub mod judge;
pub mod learn;
pub mod markup;
pub mod material;
pub mod output;
pub mod picture;
pub mod plan;
pub mod recording;
pub mod report;
pub mod review;
pub mod session;
pub mod spectrum;
pub mod spelling;
pub mod trend;
pub mod wear;
