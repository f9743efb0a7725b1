//! The monitor's core: strain-gauge frames in, verdicts and the run permit out.
//!
//! `no_std`, no heap, no panics, no unbounded loops. The order of the stages stands in [`monitor`];
//! every other module knows one thing and can be read alone.
#![no_std]

pub mod crank;
pub mod press;
pub mod units;
