//! The monitor's core: strain-gauge frames in, verdicts and the run permit out.
//!
//! `no_std`, no heap, no panics, no unbounded loops. The order of the stages stands in [`monitor`];
//! every other module knows one thing and can be read alone.
#![no_std]

#[cfg(test)]
extern crate std;

pub mod calibrate;
pub mod crank;
pub mod die;
pub mod digest;
pub mod features;
pub mod filter;
pub mod frame;
pub mod health;
pub mod journal;
pub mod kept;
pub mod ledger;
pub mod machine;
pub mod mode;
pub mod monitor;
pub mod often;
pub mod permit;
mod places;
pub mod press;
pub mod settings;
pub mod shape;
pub mod signature;
mod still;
pub mod stroke;
pub mod units;
pub mod verdict;
pub mod windows;
