//! The console: what the program knows, in a browser on the shop's network, from the same binary.
//!
//! Strokes come from a [`feed`], are judged, go into the [`store`] and from there to whoever looks. A page shows what
//! is on disk; a stroke that was shown once is there after a power cut. Looking needs no role; changing a die's limits
//! needs an engineer's password ([`auth`]). TLS is left to a reverse proxy.

pub mod api;
pub mod app;
pub mod auth;
pub mod export;
pub mod feed;
pub mod followers;
pub mod guesses;
pub mod live;
#[cfg(feature = "mqtt")]
pub mod mqtt;
pub mod pages;
pub mod peer;
pub mod picture;
pub mod respond;
mod room;
pub mod server;
pub mod store;
mod unread;
pub mod wear;
