//! The mps2-an386 board as the monitor needs it: registers, painted stack, measuring points.
#![no_std]

pub mod below;
pub mod flash;
pub mod measure;
pub mod mmio;
pub mod outputs;
pub mod place;
pub mod program;
pub mod restart;
pub mod sampler;
pub mod source;
pub mod stack;
pub mod uart;
