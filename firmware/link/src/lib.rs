//! What passes between the controller and a host.
//!
//! [`message`] says what they say to each other, [`packet`] how it looks on the line, [`station`] is the
//! controller's end of it and [`outbox`] what waits there to be sent. [`settings`] is all that a controller is set to, as
//! bytes. [`feed`] is the form in which frames are
//! handed to a controller in bulk, [`trial`] the run over such frames that both sides do alike so that their
//! digests can be compared.
#![no_std]

// What tests of other crates share with this one's names it from outside.
#[cfg(test)]
extern crate self as bolster_link;
#[cfg(test)]
extern crate std;

pub mod feed;
pub mod message;
pub mod outbox;
pub mod packet;
pub mod settings;
pub mod station;
pub mod trial;
