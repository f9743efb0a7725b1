//! A controller at the other end of a line: settings up, judged strokes, events, kept strokes and journal down.
//!
//! [`Line`] speaks packets over any stream of bytes, [`Client`] what host and controller say to each other
//! (`firmware/link/FORMAT.md`), with what was lost or doubled on the way set right. [`settings`] makes a controller's
//! settings of a press and a die; [`Emulator`] is a controller on this machine, and [`replay`] feeds it a recording.

mod client;
mod emulator;
mod line;
pub mod replay;
pub mod settings;

pub use client::{Client, ClientError, Heard};
pub use emulator::{Emulator, EmulatorError};
pub use line::{Line, LineError};
