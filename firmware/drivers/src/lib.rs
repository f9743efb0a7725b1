//! What the monitor is wired to, over embedded-hal 1.0.
//!
//! [`converter`] reads the gauges, [`crank`] the encoder or the index input, [`inputs`] sensors and keys, and
//! [`permit`] is the output that must be energised for the press to run; [`lamps`] tell people.
#![no_std]

#[cfg(test)]
extern crate std;

pub mod converter;
pub mod crank;
pub mod inputs;
pub mod lamps;
pub mod permit;
