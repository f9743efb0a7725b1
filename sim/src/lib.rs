//! A machine that does not exist: press, die, strip and front end, seeded.
//!
//! [`scenario::Scenario`] is everything a run depends on; [`simulator::Simulator`] is an iterator over its strokes;
//! [`truth`] says what was done to each. A run is a pure function of its scenario: no clock,
//! no randomness of the system, the same bytes on every machine.
//!
//! Loads predicted here are estimates from handbook formulas; presses, dies and coils are invented.
//!
//! ```
//! use bolster_sim::{scenario::{self, Scenario}, simulator::Simulator};
//! let toml = scenario::find("small-press").ok_or("no such scenario")?;
//! let run = Simulator::new(&Scenario::from_toml(toml)?)?;
//! let rated = run.press().rated_kn;
//! for stroke in run.take(2) {
//!     assert!(stroke.truth.peak_kn < rated);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod bridge;
pub mod conditioner;
pub mod device;
pub mod drive;
pub mod element;
pub mod faults;
pub mod frame;
pub mod frames;
pub mod front_end;
pub mod material;
pub mod press;
pub mod scenario;
pub mod seed;
pub mod sensors;
pub mod simulator;
pub mod slide;
pub mod station;
pub mod strip;
pub mod truth;
