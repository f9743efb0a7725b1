//! Claims about the console as a browser, a program or an attacker meets it: a real server on loopback, real HTTP.
#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::expect_used, unreachable_pub)]

mod api;
mod changing;
mod client;
mod hostile;
mod killed;
mod live;
mod load;
mod pages;
mod retention;
mod schema;
mod server;
mod shop;
mod signing;
mod taken;
mod wear;
