//! Calibrates a press's gauges against a reference load cell.
//!
//! [`run::Run`] reads the readings, [`series`] finds what belongs together, [`fit`] gives zero, gain and
//! cross-talk, [`mod@assess`] the errors at each step and the classes reached ([`class`]), [`claim`] what is missing
//! for a claim, [`stored`] the file the monitor loads, [`verify`] compares later, [`certificate`] says it in words.
//!
//! A calibration with a load cell is a statement about slow loads. It says nothing about fast ones.

pub mod assess;
pub mod bridge;
pub mod certificate;
pub mod claim;
pub mod class;
pub mod fit;
pub mod least_squares;
pub mod run;
pub mod series;
pub mod stored;
pub mod verify;

pub use assess::{Assessment, assess};
pub use fit::{CalibrateError, CrossTalk, Fitted, calibrate};
