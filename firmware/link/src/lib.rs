//! What passes between the controller and a host.
//!
//! [`feed`] is the form in which frames are handed to a controller in bulk, [`trial`] the run over such
//! frames that both sides do alike so that their digests can be compared.
#![no_std]

#[cfg(test)]
extern crate std;

pub mod feed;
pub mod trial;
