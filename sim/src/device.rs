//! The controller's hardware, simulated: what answers the real drivers at the level of registers, pins and words.
//!
//! [`board::Board`] puts them together and plays a simulated stroke to them, reading by reading. Each device has the
//! faults of its kind, and all lose power at any instant.

pub mod board;
pub mod converter;
pub mod crank;
pub mod flash;
pub mod pin;
pub mod relay;

#[cfg(test)]
mod tests;
